package unit

import (
	"testing"
	"time"

	"pulk/sync/clock"
)

func dot(n uint64) clock.Dot { return clock.Dot{Lane: clock.Lane{Site: 1}, Seq: n} }

// The calibration done last holds, of those that nobody voided; of two on one day the
// one that is due first, and then the same one everywhere, whatever came first.
func TestStanding(t *testing.T) {
	void := &CalibrationVoid{Why: "recalled"}
	for _, c := range []struct {
		name string
		list []Calibration
		want uint64
	}{
		{"none", nil, 0},
		{"one", []Calibration{{ID: dot(1), Calibrated: "2026-06-01", Due: "2027-06-01"}}, 1},
		{"last_done", []Calibration{{ID: dot(2), Calibrated: "2026-07-01", Due: "2026-08-01"}, {ID: dot(1), Calibrated: "2026-06-01", Due: "2029-06-01"}}, 2},
		{"voided", []Calibration{{ID: dot(1), Calibrated: "2026-06-01", Due: "2027-06-01"}, {ID: dot(2), Calibrated: "2026-07-01", Due: "2027-07-01", Voided: void}}, 1},
		{"all_voided", []Calibration{{ID: dot(1), Calibrated: "2026-06-01", Due: "2027-06-01", Voided: void}}, 0},
		{"one_day_first_due", []Calibration{{ID: dot(1), Calibrated: "2026-06-01", Due: "2027-06-01"}, {ID: dot(2), Calibrated: "2026-06-01", Due: "2026-12-01"}}, 2},
		{"one_day_same_due", []Calibration{{ID: dot(1), Calibrated: "2026-06-01", Due: "2027-06-01"}, {ID: dot(2), Calibrated: "2026-06-01", Due: "2027-06-01"}}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			for range 2 {
				got := uint64(0)
				if k := Standing(c.list); k != nil {
					got = k.ID.Seq
				}
				if got != c.want {
					t.Errorf("calibration %d holds; want %d", got, c.want)
				}
				for i, j := 0, len(c.list)-1; i < j; i, j = i+1, j-1 {
					c.list[i], c.list[j] = c.list[j], c.list[i]
				}
			}
		})
	}
}

// A calibration holds through its last day, in UTC.
func TestOverdue(t *testing.T) {
	k := Calibration{Due: "2026-12-31"}
	for at, want := range map[string]bool{"2026-12-31T23:59:59Z": false, "2027-01-01T00:00:00Z": true, "2027-01-01T05:00:00+06:00": false, "2026-01-01T00:00:00Z": false} {
		now, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		if k.Overdue(now) != want {
			t.Errorf("due %s, overdue at %s: %t; want %t", k.Due, at, !want, want)
		}
	}
}
