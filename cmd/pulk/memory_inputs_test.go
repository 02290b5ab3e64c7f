package main

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/carrier"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// worstInput is a list of bundles that the station sends home, each as large in one
// respect as the limits let through. Of a bundle that its writer refuses to make,
// half of the last lane is left out, again and again.
type worstInput struct {
	name    string
	taken   bool // or refused
	quick   bool // run in a short test, too
	bundles func(home clock.SiteID) [][]byte
}

// slowInputs took a minute together, and up to 59 MB: they are for -large.
var slowInputs = []string{"context_grows", "refs", "values", "one_after_another"}

// draft is a bundle that is being made.
type draft struct {
	lanes  []clock.Lane
	sets   map[clock.Lane][]*change.Set
	acks   []bundle.Ack
	random *rand.Rand
	made   int
}

func newDraft() *draft {
	return &draft{sets: map[clock.Lane][]*change.Set{}, random: rand.New(rand.NewPCG(1, 2))}
}

var worstStart = clock.StampAt(time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC))

// add puts a change-set at the end of a lane.
func (d *draft) add(lane clock.Lane, person clock.Dot, seen []change.Seen, changes ...change.Change) {
	if d.sets[lane] == nil {
		d.lanes = append(d.lanes, lane)
	}
	d.made++
	d.sets[lane] = append(d.sets[lane], &change.Set{Lane: lane, Seq: uint64(len(d.sets[lane]) + 1), Campaign: daytest.Campaign,
		At: worstStart + clock.Stamp(d.made*7919)<<16, Person: person, Seen: seen, Changes: changes})
}

// ref returns one of 2^50 references that no coder can foresee.
func (d *draft) ref() change.Value { return change.Ref(d.dot()) }

func (d *draft) dot() clock.Dot {
	lane := clock.Lane{Site: daytest.Ship, Epoch: uint16(d.random.IntN(1 << 12))}
	return clock.Dot{Lane: lane, Seq: d.random.Uint64N(1<<40-2) + 1, Index: uint16(d.random.IntN(change.MaxChanges))}
}

// text returns random letters, of which no coder makes much less than half.
func (d *draft) text(size int) string {
	raw := make([]byte, size/2)
	for i := range raw {
		raw[i] = byte(d.random.Uint32())
	}
	return hex.EncodeToString(raw)
}

func (d *draft) bundle(home clock.SiteID) *bundle.Bundle {
	b := &bundle.Bundle{Campaign: daytest.Campaign, From: daytest.Station, To: home, At: worstStart, Clock: d.acks}
	for _, lane := range d.lanes {
		b.Segments = append(b.Segments, bundle.Segment{Lane: lane, From: 1, Sets: d.sets[lane], Statement: -1})
	}
	return b
}

func signWorst(message []byte) []byte { return ed25519.Sign(daytest.Key(), message) }

// encode returns the largest bundle of a draft that can be made.
func (d *draft) encode(home clock.SiteID) [][]byte {
	for {
		b := d.bundle(home)
		if err := b.Chain(nil); err != nil {
			panic(err)
		}
		data, err := bundle.Encode(b, signWorst)
		if err == nil {
			return [][]byte{data}
		}
		if !errors.Is(err, bundle.ErrTooLarge) {
			panic(err)
		}
		last := d.lanes[len(d.lanes)-1]
		if keep := len(d.sets[last]) * 7 / 8; keep > 0 {
			d.sets[last] = d.sets[last][:keep]
		} else {
			d.lanes = d.lanes[:max(1, len(d.lanes)*7/8)]
		}
	}
}

// each returns a bundle of n change-sets of the station, each of some changes.
func each(n int, fn func(d *draft, i int) []change.Change) func(clock.SiteID) [][]byte {
	return func(home clock.SiteID) [][]byte {
		d := newDraft()
		for i := range n {
			d.add(daytest.Normal, clock.Dot{}, nil, fn(d, i)...)
		}
		return d.encode(home)
	}
}

// lanesOf returns n lanes of a site.
func lanesOf(site clock.SiteID, n int) []clock.Lane {
	var lanes []clock.Lane
	for i := range n {
		lanes = append(lanes, clock.Lane{Site: site, Epoch: uint16(i)})
	}
	return lanes
}

func worstInputs() []worstInput {
	most := bundle.DefaultLimits
	check := func(d *draft) change.Change {
		return change.New(kind.StepCheck, d.ref(), change.Num(1<<62), change.Num(1<<62))
	}
	return []worstInput{
		{"day", true, true, func(home clock.SiteID) (list [][]byte) {
			_, err := daytest.Bundles(1, 2, home, func(data []byte) error { list = append(list, data); return nil })
			if err != nil {
				panic(err)
			}
			return list
		}},
		{"change_sets", true, false, func(home clock.SiteID) [][]byte {
			d := newDraft()
			for range most.Sets {
				d.add(daytest.Normal, d.dot(), nil, check(d))
			}
			return d.encode(home)
		}},
		{"changes", true, true, each(most.Changes/change.MaxChanges, func(d *draft, _ int) (list []change.Change) {
			for range change.MaxChanges {
				list = append(list, check(d))
			}
			return list
		})},
		{"values", true, false, each(most.Values/13, func(d *draft, i int) []change.Change {
			name := func() change.Value { return change.Text(d.text(8)) }
			n := change.Num(1 << 62)
			return []change.Change{change.New(kind.ItemAdd, name(), name(), name(), name(), n, n, n, n, n, n, name(), n, n)}
		})},
		{"refs", true, false, each(most.Values/4, func(d *draft, i int) []change.Change {
			return []change.Change{change.New(kind.UnitInstall, d.ref(), d.ref(), change.Text(d.text(8)), d.ref())}
		})},
		{"readings", true, false, each(most.Values/5, func(d *draft, i int) []change.Change {
			return []change.Change{change.New(kind.StepReading, d.ref(), change.Num(int64(i)), change.Value{Num: -1 << 62, Scale: 18}, change.Num(2), d.ref())}
		})},
		{"context", true, true, func(home clock.SiteID) [][]byte {
			d, lanes := newDraft(), lanesOf(daytest.Ship, change.MaxSeen)
			for i := range most.Seen / change.MaxSeen {
				var rows []change.Seen
				for _, lane := range lanes {
					rows = append(rows, change.Seen{Lane: lane, Seq: uint64(1 + i), Check: d.random.Uint32()})
				}
				d.add(daytest.Normal, clock.Dot{}, rows, check(d))
			}
			return d.encode(home)
		}},
		{"context_grows", true, false, func(home clock.SiteID) [][]byte {
			d, lanes := newDraft(), lanesOf(daytest.Ship, 2048)
			for i := range 4 * len(lanes) {
				row := change.Seen{Lane: lanes[i%len(lanes)], Seq: uint64(1 + i), Check: d.random.Uint32()}
				d.add(daytest.Normal, clock.Dot{}, []change.Seen{row}, check(d))
			}
			return d.encode(home)
		}},
		{"one_long_text", true, false, each(1, func(d *draft, _ int) []change.Change {
			return []change.Change{change.New(kind.RevisionImport, change.Text("p"), change.Text("A"), change.Text("t"), change.Value{}, change.Text(d.text(change.MaxBytes-1000)), change.Bytes(nil))}
		})},
		{"one_long_text_of_zeros", true, true, each(1, func(d *draft, _ int) []change.Change {
			return []change.Change{change.New(kind.StepRecord, d.ref(), change.Num(1), change.Text(strings.Repeat("\x00", change.MaxBytes-1000)), change.Value{})}
		})},
		{"long_texts", true, false, each(most.Block>>15, func(d *draft, _ int) []change.Change {
			return []change.Change{change.New(kind.StepRecord, d.ref(), change.Num(1), change.Text(d.text(1<<15)), change.Value{})}
		})},
		{"long_texts_of_zeros", true, true, each(most.Block>>15, func(d *draft, _ int) []change.Change {
			return []change.Change{change.New(kind.StepRecord, d.ref(), change.Num(1), change.Text(strings.Repeat("\x00", 1<<15)), change.Value{})}
		})},
		{"bytes", true, false, each(most.Changes/4, func(d *draft, _ int) []change.Change {
			return []change.Change{change.New(kind.StepSign, d.ref(), change.Num(1), change.Num(0), change.Text(d.text(6)), change.Bytes([]byte(d.text(32))), d.ref(), change.Bytes([]byte(d.text(64))))}
		})},
		{"unknown_kinds", true, false, each(most.Changes, func(d *draft, i int) []change.Change {
			return []change.Change{{Kind: kind.ID(1000 + i%4000), Raw: []byte(d.text(20))}}
		})},
		{"unknown_long", true, false, each(most.Block>>20, func(d *draft, i int) []change.Change {
			return []change.Change{{Kind: 1000, Raw: []byte(d.text(change.MaxBytes - 100))}}
		})},
		{"acknowledged_lanes", true, true, func(home clock.SiteID) [][]byte {
			d := newDraft()
			for _, lane := range append(lanesOf(daytest.Station, 1<<14), lanesOf(daytest.Ship, 1<<14)...) {
				d.acks = append(d.acks, bundle.Ack{Lane: lane, Seq: clock.SeqMax, Check: 1})
			}
			d.acks = d.acks[len(d.acks)-bundle.MaxAcks:]
			d.add(daytest.Normal, clock.Dot{}, nil, check(d))
			return d.encode(home)
		}},
		{"segments", true, false, func(home clock.SiteID) [][]byte {
			d := newDraft()
			for _, lane := range lanesOf(daytest.Station, bundle.MaxSegments) {
				d.add(lane, clock.Dot{}, nil, check(d))
			}
			return d.encode(home)
		}},
		{"one_after_another", true, false, inARow(4, most.Sets, func(d *draft) (clock.Dot, []change.Change) {
			return d.dot(), []change.Change{check(d)}
		})},
		{"small_changes", true, false, inARow(8, most.Changes/change.MaxChanges, func(d *draft) (clock.Dot, []change.Change) {
			return clock.Dot{}, slices.Repeat([]change.Change{change.New(kind.StepCheck, change.Value{}, change.Num(0), change.Num(0))}, change.MaxChanges)
		})},
		{"forked", true, false, func(home clock.SiteID) [][]byte {
			one := func(*draft) (clock.Dot, []change.Change) {
				return clock.Dot{}, slices.Repeat([]change.Change{change.New(kind.StepCheck, change.Value{}, change.Num(0), change.Num(0))}, change.MaxChanges)
			}
			other := func(*draft) (clock.Dot, []change.Change) {
				return clock.Dot{}, slices.Repeat([]change.Change{change.New(kind.StepCheck, change.Value{}, change.Num(1), change.Num(0))}, change.MaxChanges)
			}
			n := most.Changes / change.MaxChanges
			return append(inARow(4, n, one)(home), inARow(4, n, other)(home)...)
		}},
		{"field_conflicts", true, false, func(home clock.SiteID) [][]byte {
			d := newDraft()
			for i := range most.Changes / 2 {
				entity := change.Ref(clock.Dot{Lane: daytest.Normal, Seq: uint64(i + 1)})
				for _, lane := range []clock.Lane{daytest.Normal, daytest.Expedited} {
					d.add(lane, clock.Dot{}, nil, change.New(kind.AssignText, entity, change.Num(int64(kind.FieldUnitState)), change.Text(""), change.Text(d.text(8)), change.Text(d.text(30))))
				}
			}
			return d.encode(home)
		}},
		{"stock_conflicts", true, false, each(most.Values/10, func(d *draft, i int) []change.Change {
			return []change.Change{change.New(kind.StockIssue, d.ref(), change.Text(d.text(8)), d.ref(), change.Num(5), change.Num(1), change.Value{}, change.Num(0), change.Text(d.text(8)))}
		})},
		{"waiting", true, true, waitingInput(most, check)},
		{"cut_off", false, true, func(home clock.SiteID) [][]byte {
			data := each(most.Block>>15, func(d *draft, _ int) []change.Change {
				return []change.Change{change.New(kind.StepRecord, d.ref(), change.Num(1), change.Text(d.text(1<<15)), change.Value{})}
			})(home)[0]
			return [][]byte{data[:len(data)-1]}
		}},
	}
}

// inARow returns n bundles of one lane that go on from each other.
func inARow(n, sets int, next func(d *draft) (clock.Dot, []change.Change)) func(clock.SiteID) [][]byte {
	return func(home clock.SiteID) (list [][]byte) {
		d, head := newDraft(), change.Hash{}
		for i := range n {
			d.sets[daytest.Normal] = nil
			for j := range sets {
				person, changes := next(d)
				d.add(daytest.Normal, person, nil, changes...)
				d.sets[daytest.Normal][j].Seq += uint64(i * sets)
			}
			b := d.bundle(home)
			b.Segments = b.Segments[:1]
			b.Segments[0].From = uint64(1 + i*sets)
			if previous := head; i > 0 {
				b.Segments[0].Previous = &previous
			}
			if err := b.Chain(nil); err != nil {
				panic(err)
			}
			head = b.Segments[0].Head
			data, err := bundle.Encode(b, signWorst)
			if err != nil {
				panic(err)
			}
			list = append(list, data)
		}
		return list
	}
}

// waitingInput returns bundles whose beginning is missing, of which the store must keep
// one more each time.
func waitingInput(most bundle.Limits, check func(d *draft) change.Change) func(clock.SiteID) [][]byte {
	return func(home clock.SiteID) (list [][]byte) {
		for n := range 6 {
			d := newDraft()
			for i := range most.Sets {
				d.add(daytest.Normal, clock.Dot{}, nil, change.New(kind.RunNote, d.ref(), change.Num(0), change.Text(d.text(most.Block/most.Sets*3/4))))
				d.sets[daytest.Normal][i].Seq += uint64(1 + (n+1)*most.Sets)
			}
			for {
				b := d.bundle(home)
				b.Segments[0].From = d.sets[daytest.Normal][0].Seq
				b.Segments[0].Previous = &change.Hash{byte(n)}
				if err := b.Chain(nil); err != nil {
					panic(err)
				}
				data, err := bundle.Encode(b, signWorst)
				if err == nil {
					list = append(list, data)
					break
				}
				if !errors.Is(err, bundle.ErrTooLarge) {
					panic(err)
				}
				d.sets[daytest.Normal] = d.sets[daytest.Normal][:len(d.sets[daytest.Normal])*7/8]
			}
		}
		return list
	}
}

// parcelName is how a folder calls parcel n of the station.
func parcelName(home clock.SiteID, n int) string {
	return carrier.Name{From: uint32(daytest.Station), To: uint32(home), Slot: "log", Digest: fmt.Sprintf("%012x", n)}.String()
}

// endless hands over what is no bundle at all, and has no end.
func (m *memory) endless(t *testing.T) {
	sparse := filepath.Join(t.TempDir(), parcelName(m.home, 1))
	file, err := os.Create(sparse)
	if err != nil {
		t.Fatal(err)
	}
	if err := file.Truncate(10 << 30); err != nil {
		t.Skipf("no sparse files here: %v", err)
	}
	file.Close()
	magic := filepath.Join(t.TempDir(), "magic.bundle")
	if err := os.WriteFile(magic, append([]byte(bundle.Magic+"\x01\x00"), bytes.Repeat([]byte{0xff}, 1<<20)...), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/dev/zero", "/dev/urandom", sparse, magic} {
		m.within(t, false, "bundle", "take", path, "--store", m.store(t))
		m.within(t, false, "bundle", "show", path)
	}
	m.within(t, false, "exchange", filepath.Dir(sparse), "--store", m.store(t))
}
