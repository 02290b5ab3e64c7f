package kit

import (
	"testing"
	"time"
)

// TestRounds counts rounds by the calendar: the first on the first day, none on the day
// of the delivery.
func TestRounds(t *testing.T) {
	day := func(text string) time.Time {
		d, err := time.Parse(time.DateOnly, text)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, c := range []struct {
		from, until string
		delays      []Delay
		days        float64
		want        int64
	}{
		{"2027-01-01", "2027-01-08", nil, 7, 1},
		{"2027-01-01", "2027-01-09", nil, 7, 2}, // on the 1st and the 8th
		{"2027-01-01", "2027-12-31", nil, 1, 364},
		{"2027-01-01", "2027-01-03", nil, 0.5, 4},
		{"2027-01-01", "2027-01-02", nil, 30, 1},
		{"2027-01-01", "2027-01-08", []Delay{{Days: 7, Probability: 0.1}}, 7, 2}, // the latest counts
		{"2027-01-01", "2027-01-08", nil, 0, 0},
	} {
		r := Request{From: day(c.from), Until: day(c.until), Delays: c.delays}
		if got := r.Rounds(c.days); got != c.want {
			t.Errorf("every %g days from %s to %s: %d, want %d", c.days, c.from, c.until, got, c.want)
		}
	}
}
