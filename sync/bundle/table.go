package bundle

import (
	"cmp"
	"fmt"
	"slices"

	"pulk/schema/kind"
)

// column is a list of numbers, filled from one end and read from the other.
type column struct {
	codes []uint64
	next  int
}

func (c *column) put(code uint64) { c.codes = append(c.codes, code) }

func (c *column) take() uint64 {
	code := c.codes[c.next]
	c.next++
	return code
}

// count returns how often code stands in the column.
func (c *column) count(code uint64) int {
	n := 0
	for _, have := range c.codes {
		if have == code {
			n++
		}
	}
	return n
}

// laneColumns hold lanes: code is site index, whether extra says more, class.
type laneColumns struct {
	code   column
	extra  column // epoch<<1 | whether branch says more
	branch column
}

// kindColumns hold the values of all changes of one kind.
type kindColumns struct {
	id     kind.ID
	layout *layout
	rows   int
	values []valueColumn
}

// valueColumn holds one column of a kind. Which parts are used follows from its
// type.
type valueColumn struct {
	code  column // number, mantissa, form of a ref or text, length of bytes
	extra column // scale; lengths of new texts
	texts []string
	next  int // into texts
}

func (c *valueColumn) text() string {
	c.next++
	return c.texts[c.next-1]
}

// table is the change-sets of a bundle, turned into columns. Its order is that of
// the fields; docs/bundle-format.md tells what each code means.
type table struct {
	shape    column // per set: changes<<3 | flags
	timeHigh column
	counter  column // per set with flagCounter
	person   column

	seenCount column // per set with flagSeen
	seenLane  laneColumns
	seenSeq   column
	seenForm  column

	kinds  column // per change
	byKind []*kindColumns

	refLane  laneColumns // of every new ref, in the order of the change-sets
	refForm  column      // 0 own lane, 1 other
	refSeq   column
	refIndex column

	timeLow []byte // per set, plain
	checks  []byte // 4 per seen row that needs one, plain

	rowLow, rowCheck int // next of timeLow and checks, when read
}

// Flags of a set's shape.
const (
	flagSeen     = 1 << iota // it has rows of context
	flagCounter              // its stamp has a counter
	flagBackward             // its time lies before the one it is counted from
	shapeBits    = 3
)

// Forms of a ref or text; from formRecent on it is a place in the recent ones.
const (
	formNone = iota
	formNew
	formLast
	formRecent
)

// Columns that belong to no kind; columnID gives the others.
const (
	idShape = 16 * (iota + 1)
	idTimeHigh
	idCounter
	idPerson
	idSeenCount
	idSeenLane
	idSeenSeq
	idSeenForm
	idKind
	idRefForm
	idRefLane
	idRefSeq
	idRefIndex
	idTimeLow
	idCheck
	idFirstKind = 1 << 12
)

var idNames = []string{"shape", "time_high", "counter", "person", "seen_count", "seen_lane", "seen_seq", "seen_form", "kind",
	"ref_form", "ref_lane", "ref_seq", "ref_index", "time_low", "check"}

// columnID numbers part (0 code, 1 extra, 2 text) of a column of a kind.
func columnID(id kind.ID, index, part int) uint32 {
	return idFirstKind + uint32(id&0xffff)<<12 + uint32(index)<<6 + uint32(part)<<4
}

func columnName(id uint32) string {
	if id < idFirstKind {
		return idNames[id/16-1]
	}
	id -= idFirstKind
	if k := kind.Lookup(kind.ID(id >> 12)); k != nil && int(id>>6&63) < len(k.Columns) {
		return k.Name + "." + k.Columns[id>>6&63].Name
	}
	return fmt.Sprintf("kind %d", id>>12)
}

// kindOf returns the columns of a kind, made where they are missing.
func (t *table) kindOf(id kind.ID) *kindColumns {
	i, ok := slices.BinarySearchFunc(t.byKind, id, func(k *kindColumns, id kind.ID) int { return cmp.Compare(k.id, id) })
	if !ok {
		l := layoutOf(id)
		t.byKind = slices.Insert(t.byKind, i, &kindColumns{id: id, layout: l, values: make([]valueColumn, len(l.columns))})
	}
	return t.byKind[i]
}

// carry takes the whole table over a wire: out of it or into it. Each column's
// length follows from the columns before it.
func (t *table) carry(w *wire, sets int) {
	w.numbers(&t.shape, sets, idShape)
	w.numbers(&t.timeHigh, sets, idTimeHigh)
	w.numbers(&t.counter, t.flagged(flagCounter), idCounter)
	w.numbers(&t.person, sets, idPerson)
	w.numbers(&t.seenCount, t.flagged(flagSeen), idSeenCount)
	seen := t.total(w, &t.seenCount, idSeenCount, 0)
	changes := t.total(w, &t.shape, idShape, shapeBits)
	w.hold(sets, changes, 0, seen)
	t.seenLane.carry(w, seen, idSeenLane)
	w.numbers(&t.seenSeq, seen, idSeenSeq)
	w.numbers(&t.seenForm, seen, idSeenForm)
	w.numbers(&t.kinds, changes, idKind)
	t.countKinds(w)
	w.hold(sets, changes, t.valueCount(), seen)
	news := t.person.count(formNew)
	for _, k := range t.byKind {
		news += k.carry(w)
	}
	w.numbers(&t.refForm, news, idRefForm)
	t.refLane.carry(w, t.refForm.count(1), idRefLane)
	w.numbers(&t.refSeq, news, idRefSeq)
	w.numbers(&t.refIndex, news, idRefIndex)
	t.carryTexts(w, w.packed, kind.Text)
	w.fixed(&t.timeLow, sets, 1, idTimeLow)
	w.fixed(&t.checks, t.seenForm.count(0), 4, idCheck)
	t.carryTexts(w, w.plain, kind.Bytes)
}

// valueCount returns how many values the changes have, whole payloads left out.
func (t *table) valueCount() int {
	n := 0
	for _, k := range t.byKind {
		if !k.layout.opaque {
			n += k.rows * len(k.values)
		}
	}
	return n
}

// flagged counts the sets with a flag.
func (t *table) flagged(flag uint64) int {
	n := 0
	for _, shape := range t.shape.codes {
		if shape&flag != 0 {
			n++
		}
	}
	return n
}

// total adds up a column of counts.
func (t *table) total(w *wire, c *column, id uint32, shift uint) int {
	total := uint64(0)
	for _, code := range c.codes {
		// No sum of what passes here can overflow: each is small.
		if total += code >> shift; code>>shift > 1<<20 || total > 1<<30 {
			w.fail("column %s: claims %d entries", columnName(id), code>>shift)
			return 0
		}
	}
	return int(total)
}

// countKinds makes the columns of the kinds that the column of kinds names.
func (t *table) countKinds(w *wire) {
	if !w.decoding || w.err != nil {
		return
	}
	for _, code := range t.kinds.codes {
		id := kind.ID(code)
		if code == 0 || code > 1<<31 || id < kind.FirstDescribed && kind.Lookup(id) == nil {
			w.fail("column kind: change kind %d; a newer program is needed", code)
			return
		}
		if len(t.byKind) > 1<<12 {
			w.fail("column kind: more than %d kinds", 1<<12)
			return
		}
		t.kindOf(id).rows++
	}
}

func (l *laneColumns) carry(w *wire, n int, id uint32) {
	w.numbers(&l.code, n, id)
	extras := 0
	for _, code := range l.code.codes {
		extras += int(code >> 2 & 1)
	}
	w.numbers(&l.extra, extras, id+4)
	branches := 0
	for _, code := range l.extra.codes {
		branches += int(code & 1)
	}
	w.numbers(&l.branch, branches, id+8)
}

// carry takes all of a kind but its texts over the wire, and returns how many refs
// in it are new.
func (k *kindColumns) carry(w *wire) int {
	news := 0
	for i := range k.values {
		c, id := &k.values[i], columnID(k.id, i, 0)
		w.numbers(&c.code, k.rows, id)
		switch k.layout.columns[i].Type {
		case kind.Decimal:
			w.numbers(&c.extra, k.rows, id+16)
		case kind.Ref:
			news += c.code.count(formNew)
		case kind.Text:
			w.numbers(&c.extra, c.code.count(formNew), id+16)
		}
	}
	return news
}

// carryTexts takes the texts of all columns of a type over the wire.
func (t *table) carryTexts(w *wire, through coder, typ kind.Type) {
	for _, k := range t.byKind {
		for i := range k.values {
			if w.err != nil {
				return
			}
			c := &k.values[i]
			lengths := &c.extra
			if typ == kind.Bytes {
				lengths = &c.code
			}
			if k.layout.columns[i].Type == typ {
				w.strings(&c.texts, lengths, through, columnID(k.id, i, 2))
			}
		}
	}
}
