package seasons

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"
)

// ledger records movements and knows every balance that follows from them.
type ledger struct {
	balances  map[holding]int
	expiries  map[lotKey]time.Time
	lots      []lotKey // as delivered
	movements []movement
}

type lotKey struct{ part, lot string }

// holding is one lot in one place.
type holding struct {
	lotKey
	place string
}

type movement struct {
	at       time.Time
	of       lotKey
	from, to string // empty = from outside, or used up
	quantity int
	reason   string
	run      string
}

func newLedger() ledger {
	return ledger{balances: map[holding]int{}, expiries: map[lotKey]time.Time{}}
}

// receive books a delivery. Items with a shelf life get a lot of their own
// that expires expiresOn; others (zero expiresOn) carry no lot.
func (l *ledger) receive(at time.Time, part, place string, quantity int, expiresOn time.Time) {
	of := lotKey{part: part}
	if !expiresOn.IsZero() {
		of.lot = fmt.Sprintf("L%s-%03d", at.Format("0601"), len(l.lots)+1)
		l.lots = append(l.lots, of)
		l.expiries[of] = expiresOn
	}
	l.book(movement{at: at, of: of, to: place, quantity: quantity, reason: "receive"})
}

// draw takes up to quantity of part from place, what expires first going
// first, and books it towards to. It returns how much it took.
func (l *ledger) draw(at time.Time, part, place, to string, quantity int, reason, run string) int {
	taken := 0
	for _, h := range l.held(part, place) {
		n := min(quantity-taken, l.balances[h])
		if n == 0 {
			break
		}
		l.book(movement{at: at, of: h.lotKey, from: place, to: to, quantity: n, reason: reason, run: run})
		taken += n
	}
	return taken
}

func (l *ledger) book(m movement) {
	if m.from != "" {
		l.balances[holding{m.of, m.from}] -= m.quantity
	}
	if m.to != "" {
		l.balances[holding{m.of, m.to}] += m.quantity
	}
	l.movements = append(l.movements, m)
}

// held returns the holdings of part in place that are not empty, what expires
// first coming first. An empty part means all parts, an empty place all places.
func (l *ledger) held(part, place string) []holding {
	var found []holding
	for h, n := range maps.All(l.balances) {
		if n > 0 && (part == "" || h.part == part) && (place == "" || h.place == place) {
			found = append(found, h)
		}
	}
	slices.SortFunc(found, func(a, b holding) int {
		return cmp.Or(
			cmp.Compare(a.part, b.part),
			l.expiries[a.lotKey].Compare(l.expiries[b.lotKey]),
			cmp.Compare(a.lot, b.lot),
			cmp.Compare(a.place, b.place))
	})
	return found
}

func (l *ledger) lotRows() [][]string {
	rows := [][]string{{"part_number", "lot", "expires_on"}}
	for _, k := range l.lots {
		rows = append(rows, []string{k.part, k.lot, l.expiries[k].Format(time.DateOnly)})
	}
	return rows
}

func (l *ledger) movementRows() [][]string {
	rows := [][]string{{"at", "part_number", "lot", "from", "to", "quantity", "reason", "run"}}
	for _, m := range l.movements {
		rows = append(rows, []string{
			stamp(m.at), m.of.part, m.of.lot, m.from, m.to, strconv.Itoa(m.quantity), m.reason, m.run,
		})
	}
	return rows
}
