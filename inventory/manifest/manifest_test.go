package manifest

import (
	"testing"

	"pgregory.net/rapid"

	"pulk/inventory/stock"
	"pulk/sync/clock"
)

// dot makes an id for tests.
func dot(n uint64) clock.Dot { return clock.Dot{Lane: clock.Lane{Site: clock.SiteID(1)}, Seq: n} }

func span(t *testing.T, text string) stock.Span {
	t.Helper()
	s, err := stock.ParseSpan(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func logger(t *testing.T, text string) Reading {
	s := span(t, text)
	return Reading{s.Lowest, s.Highest, s.Told}
}

// TestFindings goes through the ways in which a crate can differ from its list.
func TestFindings(t *testing.T) {
	crate, other := dot(1), dot(2)
	ring := Piece{Item: dot(10), Lot: "L1"}
	ring2 := Piece{Item: dot(10), Lot: "L2"}
	tape := Piece{Item: dot(11)}
	module := Piece{Item: dot(12), Unit: dot(20)}
	twin := Piece{Item: dot(12), Unit: dot(21)}
	line := func(p Piece, n int64) Line { return Line{Item: p.Item, Lot: p.Lot, Unit: p.Unit, Quantity: n} }
	c := Crate{ID: crate, Kept: span(t, "5..25"), Lines: []Line{line(ring, 30), line(tape, 2), line(module, 1)}}
	self := Scan{ID: dot(100), Crate: crate}
	all := []Scan{self, {Crate: crate, Piece: ring, Quantity: 30}, {Crate: crate, Piece: tape, Quantity: 2}, {Crate: crate, Piece: module, Quantity: 1}}
	with := func(extra ...Scan) []Scan { return append(append([]Scan{}, all...), extra...) }
	for _, k := range []struct {
		name  string
		scans []Scan
		want  []Finding
	}{
		{"nothing arrived", nil, nil},
		{"another crate arrived", []Scan{{Crate: other}}, nil},
		{"all of it", all, nil},
		{"counted in two goes", []Scan{self, {Crate: crate, Piece: ring, Quantity: 10}, {Crate: crate, Piece: ring, Quantity: 20}, all[2], all[3]}, nil},
		{"only the crate was scanned", []Scan{self}, []Finding{{What: Short, Piece: ring, Quantity: 30}, {What: Short, Piece: tape, Quantity: 2}, {What: Short, Piece: module, Quantity: 1}}},
		{"a piece tells that its crate is there", all[1:2], []Finding{{What: Short, Piece: tape, Quantity: 2}, {What: Short, Piece: module, Quantity: 1}}},
		{"one roll short", []Scan{self, all[1], {Crate: crate, Piece: tape, Quantity: 1}, all[3]}, []Finding{{What: Short, Piece: tape, Quantity: 1}}},
		{"three rings over", with(Scan{Crate: crate, Piece: ring, Quantity: 3}), []Finding{{What: Over, Piece: ring, Quantity: 3}}},
		{"a lot that is not listed", with(Scan{Crate: crate, Piece: ring2, Quantity: 4}), []Finding{{What: Over, Piece: ring2, Quantity: 4}}},
		{"a module that is not listed", with(Scan{Crate: crate, Piece: twin, Quantity: 1}), []Finding{{What: Over, Piece: twin, Quantity: 1}}},
		{"one module for another", []Scan{self, all[1], all[2], {Crate: crate, Piece: twin, Quantity: 1}}, []Finding{{What: Short, Piece: module, Quantity: 1}, {What: Over, Piece: twin, Quantity: 1}}},
		{"a unit scanned by two people", with(all[3]), nil},
		{"what another crate holds counts there", with(Scan{Crate: other, Piece: ring, Quantity: 3}), nil},
		{"taken unopened", []Scan{{ID: dot(100), Crate: crate, Whole: true}}, nil},
		{"unopened, but a piece was looked at", []Scan{{ID: dot(100), Crate: crate, Whole: true}, {Crate: crate, Piece: tape, Quantity: 1}}, []Finding{{What: Short, Piece: tape, Quantity: 1}}},
		{"damaged, and there", []Scan{self, all[1], {ID: dot(101), Crate: crate, Piece: tape, Quantity: 2, Condition: Damaged, Note: "torn"}, all[3]},
			[]Finding{{What: Harmed, Piece: tape, Quantity: 2, Note: "torn", Cause: dot(101)}}},
		{"the crate itself damaged", with(Scan{ID: dot(102), Crate: crate, Condition: Damaged, Quantity: 1}), []Finding{{What: Harmed, Cause: dot(102)}}},
		{"said to be too warm", with(Scan{ID: dot(102), Crate: crate, Condition: WrongTemperature}), []Finding{{What: TooWarm, Cause: dot(102)}}},
		{"logger within", with(Scan{ID: dot(102), Crate: crate, Logger: logger(t, "5..25")}), nil},
		{"logger too low", with(Scan{ID: dot(102), Crate: crate, Logger: logger(t, "4.9..25")}), []Finding{{What: TooWarm, Cause: dot(102)}}},
		{"logger too high", with(Scan{ID: dot(102), Crate: crate, Logger: logger(t, "5..25.01")}), []Finding{{What: TooWarm, Cause: dot(102)}}},
		{"damaged, whatever the logger says: looked at once", with(Scan{ID: dot(102), Crate: crate, Condition: Damaged, Logger: logger(t, "-40..-30")}), []Finding{{What: Harmed, Cause: dot(102)}}},
	} {
		got := Findings(c, k.scans)
		if len(got) != len(k.want) {
			t.Errorf("%s: %v, want %v", k.name, got, k.want)
			continue
		}
		for i := range got {
			if got[i] != k.want[i] {
				t.Errorf("%s: difference %d is %+v, want %+v", k.name, i, got[i], k.want[i])
			}
		}
	}
	c.Kept = stock.Span{}
	if got := Findings(c, with(Scan{ID: dot(102), Crate: crate, Logger: logger(t, "-60..70")})); len(got) != 0 {
		t.Errorf("a logger of a crate that is kept at no temperature: %v", got)
	}
}

// TestFindingsAddUp: what is listed, less what is short, and what is over, is what was
// found, whatever was scanned in whatever order.
func TestFindingsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pieces := []Piece{{Item: dot(10), Lot: "a"}, {Item: dot(10), Lot: "b"}, {Item: dot(11)}, {Item: dot(12), Unit: dot(20)}, {Item: dot(12), Unit: dot(21)}}
		crate := dot(1)
		c := Crate{ID: crate}
		listed, found := map[Piece]int64{}, map[Piece]int64{}
		for i, p := range pieces {
			n := rapid.Int64Range(0, 5).Draw(t, "listed")
			if !p.Unit.IsZero() {
				n = min(n, 1)
			}
			if n > 0 {
				c.Lines = append(c.Lines, Line{Item: p.Item, Lot: p.Lot, Unit: p.Unit, Quantity: n})
				listed[pieces[i]] = n
			}
		}
		scans := []Scan{{ID: dot(99), Crate: crate}}
		for i := range rapid.IntRange(0, 12).Draw(t, "scans") {
			p := rapid.SampledFrom(pieces).Draw(t, "piece")
			s := Scan{ID: dot(uint64(100 + i)), Crate: crate, Piece: p, Quantity: rapid.Int64Range(1, 4).Draw(t, "quantity"), Condition: Condition(rapid.IntRange(0, 2).Draw(t, "condition"))}
			if !p.Unit.IsZero() {
				s.Quantity = 1
			}
			scans = append(scans, s)
			if found[p] += s.Quantity; !p.Unit.IsZero() {
				found[p] = 1
			}
		}
		got := Findings(c, scans)
		sum := map[Piece]int64{}
		for p, n := range listed {
			sum[p] += n
		}
		harmed := 0
		for _, f := range got {
			switch f.What {
			case Short:
				sum[f.Piece] -= f.Quantity
			case Over:
				sum[f.Piece] += f.Quantity
			default:
				harmed++
			}
			if f.Quantity < 1 {
				t.Fatalf("a difference of %d", f.Quantity)
			}
		}
		for _, p := range pieces {
			if sum[p] != found[p] {
				t.Fatalf("%v: listed %d, found %d, by the differences %d", p, listed[p], found[p], sum[p])
			}
		}
		bad := 0
		for _, s := range scans {
			if s.Condition != Good {
				bad++
			}
		}
		if harmed != bad {
			t.Fatalf("%d were scanned as not good, %d differences say so", bad, harmed)
		}
		backwards := append([]Scan{}, scans...)
		for i, j := 0, len(backwards)-1; i < j; i, j = i+1, j-1 {
			backwards[i], backwards[j] = backwards[j], backwards[i]
		}
		again := Findings(c, backwards)
		for i := range got {
			if got[i] != again[i] {
				t.Fatalf("in another order %v, not %v", again[i], got[i])
			}
		}
	})
}

// TestState goes through the life of a manifest.
func TestState(t *testing.T) {
	m := &Manifest{Crates: []Crate{{ID: dot(1), GrossGrams: 2000, SidesMM: [3]int64{1000, 1000, 500}}, {ID: dot(2), GrossGrams: 500, SidesMM: [3]int64{100, 100, 100}}}}
	check := func(want State) {
		t.Helper()
		if got := m.State(); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
	check(Made)
	m.Sent = &Sending{}
	check(UnderWay)
	m.Bookings = append(m.Bookings, Booking{Crate: dot(2)})
	check(PartArrived)
	m.Bookings = append(m.Bookings, Booking{Crate: dot(1)})
	check(Arrives)
	m.Voided = true
	check(IsVoid)
	if m.GrossGrams() != 2500 || m.Litres() != 501 {
		t.Errorf("%d g, %g L", m.GrossGrams(), m.Litres())
	}
	if (&Manifest{}).State() != Made {
		t.Error("one whose crates are not here yet is not made")
	}
}
