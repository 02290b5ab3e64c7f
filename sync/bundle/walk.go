package bundle

import (
	"encoding/binary"
	"fmt"
	"unicode/utf8"

	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// walker turns change-sets into columns or back, one change-set after another.
// What it remembers of those before predicts the next; both directions run the
// same code, so that they remember the same.
type walker struct {
	table    *table
	bundle   *Bundle
	sites    *siteTable
	decoding bool
	err      error

	set      *change.Set // at hand
	millis   int64       // of the set before
	seen     map[clock.Lane]uint64
	refs     [256]recall[clock.Dot]
	texts    [256]recall[string]
	lastRef  map[habit]clock.Dot
	lastSeq  map[clock.Lane]uint64   // of the latest new ref to each lane
	nextStep map[clock.Dot]int64     // by run
	revision map[clock.Dot]clock.Dot // by run, where it starts in this bundle
	readings map[readingAt]change.Value
}

// habit names what a person did last in columns of a slot.
type habit struct {
	person clock.Dot
	slot   slot
}

// readingAt names a step of a revision; of the zero revision where the run did not
// start in this bundle.
type readingAt struct {
	revision clock.Dot
	step     int64
}

func newWalker(b *Bundle, t *table, sites *siteTable, decoding bool) *walker {
	return &walker{
		table: t, bundle: b, sites: sites, decoding: decoding,
		millis: b.At.Millis(), seen: map[clock.Lane]uint64{}, lastRef: map[habit]clock.Dot{},
		lastSeq: map[clock.Lane]uint64{}, nextStep: map[clock.Dot]int64{}, revision: map[clock.Dot]clock.Dot{}, readings: map[readingAt]change.Value{},
	}
}

func (w *walker) fail(format string, args ...any) {
	if w.err == nil {
		where := ""
		if w.set != nil {
			where = fmt.Sprintf("change-set %s/%d: ", w.set.Lane, w.set.Seq)
		}
		w.err = fmt.Errorf(where+format, args...)
	}
}

// walk goes through all change-sets of the bundle.
func (w *walker) walk() error {
	for i := range w.bundle.Segments {
		for _, set := range w.bundle.Segments[i].Sets {
			w.set = set
			w.oneSet(set)
			if w.err != nil {
				return w.err
			}
		}
	}
	return nil
}

func (w *walker) oneSet(set *change.Set) {
	w.shape(set)
	w.ref(&w.table.person, slotPerson, clock.Dot{}, &set.Person)
	w.context(set)
	size := 64 + 32*len(set.Seen)
	for i := range set.Changes {
		size += w.change(&set.Changes[i])
		if c := &set.Changes[i]; c.Kind == kind.RunStart.ID && w.err == nil {
			w.revision[set.ID(i)] = c.Values[0].Ref
		}
	}
	if size > change.MaxBytes && w.err == nil && len(set.Canonical()) > change.MaxBytes {
		w.fail("larger than %d bytes", change.MaxBytes)
	}
}

// shape carries the number of changes and the time.
func (w *walker) shape(set *change.Set) {
	if w.decoding {
		w.takeShape(set)
		return
	}
	t, flags := w.table, uint64(0)
	if len(set.Seen) > 0 {
		flags |= flagSeen
	}
	if counter := set.At.Counter(); counter > 0 {
		flags |= flagCounter
		t.counter.put(uint64(counter))
	}
	step := set.At.Millis() - w.millis
	if step < 0 {
		flags |= flagBackward
		step = -step
	}
	w.millis = set.At.Millis()
	t.shape.put(uint64(len(set.Changes))<<shapeBits | flags)
	t.timeHigh.put(uint64(step) >> 8)
	t.timeLow = append(t.timeLow, byte(step))
}

// takeShape reads the time; the changes have been made already.
func (w *walker) takeShape(set *change.Set) {
	t := w.table
	flags, high := t.shape.take(), t.timeHigh.take()
	step := int64(high<<8 | uint64(t.timeLow[t.rowLow]))
	t.rowLow++
	millis := w.millis + step
	if flags&flagBackward != 0 {
		millis = w.millis - step
	}
	if high >= 1<<40 || millis < 0 || millis >= 1<<48 || step == 0 && flags&flagBackward != 0 {
		w.fail("time out of range")
		return
	}
	set.At, w.millis = clock.Stamp(millis)<<16, millis
	if flags&flagCounter != 0 {
		counter := t.counter.take()
		if counter == 0 || counter > 1<<16-1 {
			w.fail("counter %d", counter)
		}
		set.At |= clock.Stamp(counter & 0xffff)
	}
}

// context carries what the site had learnt.
func (w *walker) context(set *change.Set) {
	if len(set.Seen) == 0 {
		return
	}
	if !w.decoding {
		w.table.seenCount.put(uint64(len(set.Seen)))
	}
	for i := range set.Seen {
		row := &set.Seen[i]
		w.lane(&w.table.seenLane, &row.Lane)
		w.seenRow(row)
		if row.Lane == set.Lane || row.Lane.Branch != 0 {
			w.fail("context names lane %s", row.Lane)
		}
		if i > 0 && set.Seen[i-1].Compare(*row) >= 0 {
			w.fail("context out of order")
		}
	}
}

// seenRow carries number and check. The number is counted from the one seen
// before, at first from the header's clock; so is the check taken from there.
func (w *walker) seenRow(row *change.Seen) {
	predicted, ok := w.seen[row.Lane]
	if !ok {
		predicted = w.sites.acked[row.Lane]
	}
	w.offset(&w.table.seenSeq, &row.Seq, predicted)
	if row.Seq == 0 || row.Seq > clock.SeqMax {
		w.fail("context with number %d", row.Seq)
		return
	}
	w.seen[row.Lane] = row.Seq
	known, isKnown := w.sites.checks[ackPlace{row.Lane, row.Seq}]
	t := w.table
	if !w.decoding {
		if isKnown && known == row.Check {
			t.seenForm.put(1)
			return
		}
		t.seenForm.put(0)
		t.checks = binary.BigEndian.AppendUint32(t.checks, row.Check)
		return
	}
	switch form := t.seenForm.take(); {
	case form == 1 && isKnown:
		row.Check = known
	case form == 0:
		row.Check = binary.BigEndian.Uint32(t.checks[4*t.rowCheck:])
		t.rowCheck++
		if isKnown && row.Check == known {
			w.fail("check written long")
		}
	default:
		w.fail("form %d of a check", form)
	}
}

// offset carries a number as its distance from a prediction.
func (w *walker) offset(c *column, value *uint64, predicted uint64) {
	if w.decoding {
		*value = predicted + uint64(unzigzag(c.take()))
		return
	}
	c.put(zigzag(int64(*value - predicted)))
}

// change carries the values of one change and returns about how many canonical
// bytes they take, at most.
func (w *walker) change(c *change.Change) int {
	k := w.table.kindOf(c.Kind)
	if !w.decoding {
		w.table.kinds.put(uint64(c.Kind))
		k.rows++
	}
	if k.layout.opaque {
		return w.opaque(k, c)
	}
	if len(c.Values) != len(k.layout.columns) {
		w.fail("kind %d with %d values", c.Kind, len(c.Values))
		return 0
	}
	size := 10
	for i := range c.Values {
		size += w.value(k, i, c.Values) + len(c.Values[i].Text)
	}
	return size
}

// opaque carries a change as its canonical payload.
func (w *walker) opaque(k *kindColumns, c *change.Change) int {
	known := kind.Lookup(c.Kind)
	value := change.Value{Text: string(c.Raw)}
	if !w.decoding && known != nil {
		value.Text = string(change.AppendPayload(nil, w.set.Lane, known.Columns, c.Values))
	}
	w.text(&k.values[0], nil, &value.Text)
	if w.decoding && known != nil && w.err == nil {
		values, err := change.ParsePayload(w.set.Lane, known.Columns, []byte(value.Text))
		if err != nil {
			w.fail("%s: %v", known.Name, err)
		}
		c.Values = values
	} else if w.decoding {
		c.Raw = []byte(value.Text)
	}
	return 10 + len(value.Text)
}

// value carries column i of a change and returns how many canonical bytes it takes
// at most, texts left out.
func (w *walker) value(k *kindColumns, i int, values []change.Value) int {
	value, c, rule := &values[i], &k.values[i], &k.layout.columns[i]
	switch rule.Type {
	case kind.Uint:
		w.count(c, k.layout, rule, values, value)
	case kind.Int:
		w.signed(&c.code, &value.Num, 0)
	case kind.Decimal:
		w.decimal(c, k.layout, rule, values, value)
	case kind.Ref:
		w.ref(&c.code, rule.slot, w.set.Person, &value.Ref)
		return 24
	case kind.Text:
		w.text(c, &w.texts[rule.slot], &value.Text)
		if !utf8.ValidString(value.Text) {
			w.fail("%s is not UTF-8", rule.Name)
		}
	case kind.Bytes:
		if w.decoding {
			value.Text = c.text()
		} else {
			c.code.put(uint64(len(value.Text)))
			c.texts = append(c.texts, value.Text)
		}
	}
	return 11
}

// signed carries a number of either sign as its distance from a prediction.
func (w *walker) signed(c *column, value *int64, predicted int64) {
	if w.decoding {
		*value = predicted + unzigzag(c.take())
	} else {
		c.put(zigzag(*value - predicted))
	}
}

// count carries a Uint; a step as its distance from the one after the run's last.
func (w *walker) count(c *valueColumn, l *layout, rule *rule, values []change.Value, value *change.Value) {
	switch {
	case rule.step != noStep:
		run := values[l.run].Ref
		w.signed(&c.code, &value.Num, w.nextStep[run])
		if rule.step == stepItself {
			w.nextStep[run] = value.Num + 1
		}
	case w.decoding:
		value.Num = int64(c.code.take())
	default:
		c.code.put(uint64(value.Num))
	}
	if value.Num < 0 {
		w.fail("%s out of range", rule.Name)
	}
}

// decimal carries a reading as its distance from the last one of that step.
func (w *walker) decimal(c *valueColumn, l *layout, rule *rule, values []change.Value, value *change.Value) {
	var last change.Value
	var at readingAt
	if rule.step == stepReading {
		at = readingAt{w.revision[values[l.run].Ref], values[l.step].Num}
		last = w.readings[at]
	}
	scale := int64(value.Scale)
	w.signed(&c.extra, &scale, int64(last.Scale))
	if scale < 0 || scale > decimal.MaxScale {
		w.fail("%s with %d digits after the point", rule.Name, scale)
		return
	}
	value.Scale = uint8(scale)
	if value.Scale != last.Scale {
		last.Num = 0
	}
	w.signed(&c.code, &value.Num, last.Num)
	if rule.step == stepReading {
		w.readings[at] = *value
	}
}

// shortText is the longest text that is recalled.
const shortText = 64

// text carries a text: none, a recent one of its slot, or a new one. Without list
// it is never a recent one.
func (w *walker) text(c *valueColumn, list *recall[string], value *string) {
	if w.decoding {
		w.takeText(c, list, value)
		return
	}
	place := -1
	if list != nil && len(*value) <= shortText {
		place = list.find(*value)
	}
	switch {
	case *value == "":
		c.code.put(formNone)
	case place >= 0:
		c.code.put(formRecent + uint64(place))
		list.use(place)
	default:
		c.code.put(formNew)
		c.extra.put(uint64(len(*value)))
		c.texts = append(c.texts, *value)
		rememberText(list, *value)
	}
}

func (w *walker) takeText(c *valueColumn, list *recall[string], value *string) {
	switch form := c.code.take(); {
	case form == formNone:
		*value = ""
	case form == formNew:
		*value = c.text()
		if *value == "" || list != nil && len(*value) <= shortText && list.find(*value) >= 0 {
			w.fail("text written long")
		}
		rememberText(list, *value)
	case list != nil && form >= formRecent && form-formRecent < uint64(len(list.recent)):
		*value = list.recent[form-formRecent]
		list.use(int(form - formRecent))
	default:
		w.fail("form %d of a text", form)
	}
}
