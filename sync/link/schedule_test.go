package link

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var evening = time.Date(2027, 1, 5, 18, 0, 0, 0, time.UTC)

func TestParseWindow(t *testing.T) {
	for text, want := range map[string]Window{
		"06:00-09:30": {6 * time.Hour, 9*time.Hour + 30*time.Minute},
		"22:30-00:15": {22*time.Hour + 30*time.Minute, 15 * time.Minute},
		"00:00-24:00": {0, day},
		"23:59-00:00": {23*time.Hour + 59*time.Minute, 0},
	} {
		got, err := ParseWindow(text)
		if err != nil || got != want || got.String() != text {
			t.Errorf("ParseWindow(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "6:00-9:30", "06:00", "06:00-06:00", "24:00-01:00", "00:00-24:01", "25:00-26:00", "06:60-07:00", " 06:00-07:00", "06:00-07:00Z"} {
		if got, err := ParseWindow(text); err == nil {
			t.Errorf("ParseWindow(%q) = %v; want an error", text, got)
		}
	}
}

func TestDailyWrapsMidnight(t *testing.T) {
	windows := []Window{{23 * time.Hour, time.Hour}}
	got := Daily(windows, evening.Add(6*time.Hour+30*time.Minute), evening.Add(31*time.Hour))
	hour := func(h float64) time.Time { return evening.Add(time.Duration(h * float64(time.Hour))) }
	want := []Contact{{Start: hour(6.5), End: hour(7)}, {Start: hour(29), End: hour(31)}}
	if len(got) != 2 || got[0].Start != want[0].Start || got[0].End != want[0].End || got[1].Start != want[1].Start || got[1].End != want[1].End {
		t.Errorf("got %v; want %v", got, want)
	}
}

// Every minute is in a contact just when it is in a window.
func TestDailyAgainstTheClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		minute := rapid.IntRange(0, 24*60-1)
		var windows []Window
		for range rapid.IntRange(0, 4).Draw(t, "windows") {
			from, to := minute.Draw(t, "from"), minute.Draw(t, "to")
			if from != to {
				windows = append(windows, Window{time.Duration(from) * time.Minute, time.Duration(to) * time.Minute})
			}
		}
		from := evening.Add(time.Duration(minute.Draw(t, "start")) * time.Minute)
		until := from.Add(time.Duration(rapid.IntRange(1, 3*24*60).Draw(t, "minutes")) * time.Minute)
		contacts := Daily(windows, from, until)
		disjoint(t, contacts)
		for at := from; at.Before(until); at = at.Add(7 * time.Minute) {
			sinceMidnight := time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
			want := slices.ContainsFunc(windows, func(w Window) bool {
				if w.From < w.To {
					return sinceMidnight >= w.From && sinceMidnight < w.To
				}
				return sinceMidnight >= w.From || sinceMidnight < w.To
			})
			if got := up(contacts, at); got != want {
				t.Fatalf("windows %v at %s: up %t; want %t", windows, at, got, want)
			}
		}
	})
}

func up(contacts []Contact, at time.Time) bool {
	return slices.ContainsFunc(contacts, func(c Contact) bool { return !at.Before(c.Start) && at.Before(c.End) })
}

// disjoint fails where contacts are empty, out of order, or meet.
func disjoint(t *rapid.T, contacts []Contact) {
	for i, c := range contacts {
		if !c.Start.Before(c.End) || i > 0 && !contacts[i-1].End.Before(c.Start) {
			t.Fatalf("contact %d of %v is empty, or meets the one before", i, contacts)
		}
	}
}

// Merged contacts cover what the given ones cover, name who makes them, and keep the
// highest.
func TestMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []Contact
		for range rapid.IntRange(0, 8).Draw(t, "contacts") {
			start := evening.Add(time.Duration(rapid.IntRange(0, 100).Draw(t, "start")) * time.Minute)
			c := Contact{Start: start, End: start.Add(time.Duration(rapid.IntRange(0, 30).Draw(t, "length")) * time.Minute),
				By: []string{rapid.SampledFrom([]string{"A", "B", "C"}).Draw(t, "by")}}
			if c.By[0] != "C" { // a window
				c.Highest, c.ElevationMaxDegrees = c.Start, float64(rapid.IntRange(1, 90).Draw(t, "elevation"))
			}
			list = append(list, c)
		}
		merged := Merge(list)
		disjoint(t, merged)
		for minute := range 140 {
			at := evening.Add(time.Duration(minute) * time.Minute)
			if up(list, at) != up(merged, at) {
				t.Fatalf("at %s: %v became %v", at, list, merged)
			}
		}
		for _, m := range merged {
			var by []string
			highest := 0.0
			for _, c := range list {
				if c.Length() > 0 && !c.Start.Before(m.Start) && !c.End.After(m.End) {
					by = append(by, c.By...)
					highest = max(highest, c.ElevationMaxDegrees)
				}
			}
			slices.Sort(by)
			if !slices.Equal(m.By, slices.Compact(by)) || m.ElevationMaxDegrees != highest || m.Highest.IsZero() != (highest == 0) {
				t.Fatalf("%v of %v: by %v, highest %g; want %v, %g", m, list, m.By, m.ElevationMaxDegrees, by, highest)
			}
		}
	})
}

func TestStretchesKeepTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		contacts := Always(evening, evening.Add(time.Duration(rapid.IntRange(1, 500).Draw(t, "minutes"))*time.Minute))
		most := time.Duration(rapid.IntRange(1, 90).Draw(t, "most")) * time.Minute
		at := contacts[0].Start
		for _, c := range Stretches(contacts, most) {
			if c.Start != at || c.Length() > most || c.Length() <= 0 {
				t.Fatalf("stretch %v after %s, at most %s", c, at, most)
			}
			at = c.End
		}
		if at != contacts[0].End {
			t.Fatalf("the stretches end at %s, not %s", at, contacts[0].End)
		}
	})
}
