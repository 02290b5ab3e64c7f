package link

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Contact is a time when the link is up: from Start to before End.
type Contact struct {
	Start, End time.Time
	// By names what makes it: satellites, or windows; sorted, each once.
	By []string
	// Highest and ElevationMaxDegrees are when and how high the highest of its
	// satellites stands; the zero time where no satellite is in it.
	Highest             time.Time
	ElevationMaxDegrees float64
}

// Length returns how long a contact is.
func (c Contact) Length() time.Duration { return c.End.Sub(c.Start) }

// Window is a time of every day in UTC, from From to before To, each since
// midnight. It wraps midnight where To is not after From.
type Window struct {
	From, To time.Duration
}

const day = 24 * time.Hour

var windowForm = regexp.MustCompile(`^([0-2][0-9]):([0-5][0-9])-([0-2][0-9]):([0-5][0-9])$`)

// ParseWindow reads a window such as "06:00-09:30" or, past midnight,
// "22:30-00:15". The whole day is "00:00-24:00".
func ParseWindow(text string) (Window, error) {
	m := windowForm.FindStringSubmatch(text)
	if m == nil {
		return Window{}, fmt.Errorf("%q is no daily window; expected UTC times such as 06:00-09:30", text)
	}
	at := func(hours, minutes string) time.Duration {
		h, _ := strconv.Atoi(hours) // digits, by the form
		m, _ := strconv.Atoi(minutes)
		return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
	}
	w := Window{at(m[1], m[2]), at(m[3], m[4])}
	switch {
	case w.From >= day || w.To > day:
		return Window{}, fmt.Errorf("%q goes past 24:00; a window that wraps midnight ends before it starts, such as 22:30-00:15", text)
	case w.From == w.To:
		return Window{}, fmt.Errorf("%q is empty; the whole day is 00:00-24:00", text)
	}
	return w, nil
}

// String returns the window as ParseWindow reads it.
func (w Window) String() string {
	clock := func(d time.Duration) string { return fmt.Sprintf("%02d:%02d", d/time.Hour, d%time.Hour/time.Minute) }
	return clock(w.From) + "-" + clock(w.To)
}

// length returns how much of a day the window is.
func (w Window) length() time.Duration {
	if w.To > w.From {
		return w.To - w.From
	}
	return w.To + day - w.From
}

// Daily returns the contacts of daily windows from one time up to another, in
// order, cut to that span. Windows that meet or overlap are one contact.
func Daily(windows []Window, from, until time.Time) []Contact {
	var list []Contact
	midnight := from.UTC().Truncate(day)
	for at := midnight.Add(-day); at.Before(until); at = at.Add(day) {
		for _, w := range windows {
			start := at.Add(w.From)
			list = append(list, Contact{Start: start, End: start.Add(w.length()), By: []string{w.String()}})
		}
	}
	return Clip(Merge(list), from, until)
}

// Always returns the one contact of a link that is never down.
func Always(from, until time.Time) []Contact {
	return Clip([]Contact{{Start: from, End: until, By: []string{"always"}}}, from, until)
}

// Merge returns contacts in order, those that meet or overlap made into one: a
// site has one radio, so two satellites in the sky are no faster than one.
func Merge(contacts []Contact) []Contact {
	sorted := slices.Clone(contacts)
	slices.SortStableFunc(sorted, func(a, b Contact) int {
		return cmp.Or(a.Start.Compare(b.Start), a.End.Compare(b.End), cmp.Compare(strings.Join(a.By, ","), strings.Join(b.By, ",")))
	})
	var list []Contact
	for _, c := range sorted {
		if !c.Start.Before(c.End) {
			continue
		}
		if n := len(list); n > 0 && !c.Start.After(list[n-1].End) {
			list[n-1] = join(list[n-1], c)
			continue
		}
		list = append(list, c)
	}
	return list
}

// join returns the contact of two that meet or overlap, of which a starts first.
func join(a, b Contact) Contact {
	joined := a
	if b.End.After(joined.End) {
		joined.End = b.End
	}
	if !b.Highest.IsZero() && (a.Highest.IsZero() || b.ElevationMaxDegrees > a.ElevationMaxDegrees) {
		joined.Highest, joined.ElevationMaxDegrees = b.Highest, b.ElevationMaxDegrees
	}
	joined.By = slices.Compact(slices.Sorted(slices.Values(slices.Concat(a.By, b.By))))
	return joined
}

// Clip returns what of contacts lies from one time up to another.
func Clip(contacts []Contact, from, until time.Time) []Contact {
	var list []Contact
	for _, c := range contacts {
		if c.Start.Before(from) {
			c.Start = from
		}
		if c.End.After(until) {
			c.End = until
		}
		if c.Start.Before(c.End) {
			list = append(list, c)
		}
	}
	return list
}

// Stretches cuts contacts into stretches no longer than most; 0 leaves them whole.
func Stretches(contacts []Contact, most time.Duration) []Contact {
	if most <= 0 {
		return contacts
	}
	var list []Contact
	for _, c := range contacts {
		for c.Length() > most {
			first := c
			first.End = c.Start.Add(most)
			list = append(list, first)
			c.Start = first.End
		}
		list = append(list, c)
	}
	return list
}
