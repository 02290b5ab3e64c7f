package count

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/sync/clock"
)

func dot(n int) clock.Dot { return clock.Dot{Lane: clock.Lane{Site: 1}, Seq: uint64(n)} }

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name      string
		earlier   []Entry
		counted   int64
		held      int64
		tolerance int64
		want      Verdict
	}{
		{"as_held", nil, 9, 9, 0, AsHeld},
		{"first_differs", nil, 6, 9, 0, Recount},
		{"more_than_tolerance", nil, 6, 9, 2, Recount},
		{"within_below", nil, 7, 9, 2, Within},
		{"within_above", nil, 11, 9, 2, Within},
		{"two_agree", []Entry{{Counted: 6, Held: 9}}, 6, 9, 0, Agreed},
		{"two_agree_though_stock_moved", []Entry{{Counted: 6, Held: 9}}, 4, 7, 0, Agreed},
		{"same_figure_though_stock_moved", []Entry{{Counted: 6, Held: 9}}, 6, 7, 0, Recount},
		{"third_agrees_with_first", []Entry{{Counted: 6, Held: 9}, {Counted: 5, Held: 9}}, 6, 9, 0, Agreed},
		{"second_finds_what_is_held", []Entry{{Counted: 6, Held: 9}}, 9, 9, 0, AsHeld},
		{"below_zero_on_record", nil, 0, -2, 1, Recount},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := Judge(c.earlier, Entry{Counted: c.counted, Held: c.held}, c.tolerance); got != c.want {
				t.Errorf("Judge(%v, %d of %d, tolerance %d) = %d; want %d", c.earlier, c.counted, c.held, c.tolerance, got, c.want)
			}
		})
	}
}

func TestLines(t *testing.T) {
	ring, tape := Lot{dot(1), "L1"}, Lot{dot(2), ""}
	at := func(minute int) time.Time { return time.Date(2027, 1, 5, 6, minute, 0, 0, time.UTC) }
	first, second := Entry{ID: dot(10), Lot: ring, Person: dot(5), At: at(1)}, Entry{ID: dot(11), Lot: ring, Person: dot(6), At: at(2)}
	settled := Settlement{ID: dot(11), Lot: ring, Movement: dot(12), Knew: func(d clock.Dot) bool { return d.Seq <= 11 }}

	lines := Lines([]Lot{ring, tape}, []Entry{second, first}, []Settlement{settled})
	if len(lines) != 2 || lines[0].Open() || !lines[1].Open() || lines[0].Twice {
		t.Fatalf("lines = %+v; want the ring settled once, and the tape open", lines)
	}
	if l := lines[0]; l.Entries[0].ID != first.ID || !l.CountedBy(dot(5)) || l.CountedBy(dot(7)) {
		t.Errorf("entries = %+v; want those of 5 and 6, the earliest first", l.Entries)
	}

	settled.Void = true
	third := Entry{ID: dot(13), Lot: ring, Person: dot(5), At: at(3)}
	lines = Lines([]Lot{ring}, []Entry{first, second, third}, []Settlement{settled})
	if l := lines[0]; !l.Open() || len(l.Entries) != 1 || l.Entries[0].ID != third.ID {
		t.Errorf("after the void = %+v; want it open with what was counted since", l)
	}

	settled.Void = false
	if lines = Lines(nil, nil, []Settlement{settled, {ID: dot(20), Lot: ring}}); !lines[0].Twice {
		t.Error("settled by two sites is not told")
	}
	if lines = Lines(nil, []Entry{{ID: dot(10), Lot: tape, Voided: true}}, nil); len(lines) != 0 {
		t.Errorf("a voided entry of what was not asked for = %+v; want no line", lines)
	}
}

// What came in which order does not matter to what a sheet shows.
func TestLinesInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var entries []Entry
		var settlements []Settlement
		for i := range rapid.IntRange(0, 12).Draw(t, "n") {
			lot := Lot{dot(rapid.IntRange(1, 2).Draw(t, "item")), ""}
			if rapid.IntRange(0, 4).Draw(t, "settles") == 0 {
				settlements = append(settlements, Settlement{ID: dot(100 + i), Lot: lot, Movement: dot(200 + i), Void: rapid.Bool().Draw(t, "void"),
					Knew: func(d clock.Dot) bool { return d.Seq <= uint64(100+i) }})
				continue
			}
			entries = append(entries, Entry{ID: dot(100 + i), Lot: lot, Person: dot(rapid.IntRange(5, 7).Draw(t, "person")),
				At: time.Unix(int64(rapid.IntRange(0, 3).Draw(t, "minute")), 0), Voided: rapid.Bool().Draw(t, "voided")})
		}
		want := Lines(nil, entries, settlements)
		got := Lines(nil, rapid.Permutation(entries).Draw(t, "order"), rapid.Permutation(settlements).Draw(t, "order of settlements"))
		if len(got) != len(want) {
			t.Fatalf("%d lines; want %d", len(got), len(want))
		}
		for i := range got {
			if got[i].Lot != want[i].Lot || got[i].Open() != want[i].Open() || got[i].Twice != want[i].Twice || !got[i].Open() && got[i].Settled.ID != want[i].Settled.ID || len(got[i].Entries) != len(want[i].Entries) {
				t.Fatalf("line %d = %+v; want %+v", i, got[i], want[i])
			}
			for k, e := range got[i].Entries {
				if e.ID != want[i].Entries[k].ID {
					t.Fatalf("line %d entry %d = %v; want %v", i, k, e.ID, want[i].Entries[k].ID)
				}
			}
		}
	})
}
