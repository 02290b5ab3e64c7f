package linkbook

import (
	"errors"
	"strings"
	"testing"
	"time"

	"pulk/schema/fault"
	"pulk/sync/clock"
)

// oldLink is a link over satellites with elements so many days old.
func oldLink(t *testing.T, days ...float64) *Link {
	t.Helper()
	l := &Link{Code: "evening-sat", From: 1, To: 2, Settings: evening(t)}
	for i, age := range days {
		e := elements(t)[1] // sun-synchronous
		e.CatalogNumber = 90001 + i
		e.Name = "AGED"
		e.Epoch = start.Add(-time.Duration(age * 24 * float64(time.Hour)))
		l.Satellites = append(l.Satellites, Satellite{e, clock.Dot{}})
	}
	return l
}

// Elements are warned about beyond 7 days and refused beyond 30, or as the link's
// settings say.
func TestPlanAndTheAgeOfElements(t *testing.T) {
	for _, c := range []struct {
		name             string
		ages             []float64
		force            bool
		refused          bool
		warnings         int
		satellitesWarned string
	}{
		{"fresh", []float64{6.9}, false, false, 0, ""},
		{"warned", []float64{7.1}, false, false, 1, "7.1 days old"},
		{"refused", []float64{30.1}, false, true, 0, ""},
		{"forced", []float64{30.1}, true, false, 1, "30.1 days old"},
		{"one_of_two_left_out", []float64{1, 40}, false, false, 1, "left out"},
		{"a_little_ahead", []float64{-0.5}, false, false, 0, ""},
		{"clock_wrong", []float64{-12}, false, false, 1, "is the clock right?"},
		{"clock_very_wrong", []float64{-31}, false, true, 0, ""},
		{"none", nil, false, true, 0, ""},
	} {
		p, err := oldLink(t, c.ages...).Plan(1, start, start.Add(24*time.Hour), c.force)
		if (err != nil) != c.refused {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var refused *fault.Refused
		if c.name == "refused" && !errors.As(err, &refused) {
			t.Errorf("%s: %v is no refusal", c.name, err)
		}
		if err == nil && (len(p.Warnings) != c.warnings || !strings.Contains(strings.Join(p.Warnings, ""), c.satellitesWarned) || len(p.Contacts) == 0) {
			t.Errorf("%s: warnings %q, %d contacts", c.name, p.Warnings, len(p.Contacts))
		}
	}
	l := oldLink(t, 40)
	l.Settings["elements_warn_days"], l.Settings["elements_refuse_days"] = "41", "50"
	if p, err := l.Plan(1, start, start.Add(24*time.Hour), false); err != nil || len(p.Warnings) != 0 {
		t.Errorf("with its own ages: %v, %v", p, err)
	}
}

// The other end sees the rates the other way round; without a way back it sends
// nothing.
func TestPlanFromTheOtherEnd(t *testing.T) {
	l := &Link{Code: "mail", From: 1, To: 2, Settings: map[string]string{"open": "22:00-02:00", "out_bits_per_second": "2400", "back_bits_per_second": "64000", "message_bytes": "1000"}}
	until := start.Add(36 * time.Hour)
	p, err := l.Plan(2, start, until, false)
	if err != nil || p.Description.Budget.SendBitsPerSecond != 64000 || p.Description.Budget.ReceiveBitsPerSecond != 2400 || p.Description.Budget.HeaderBytes != FragmentHeaderBytes {
		t.Fatalf("%+v, %v", p, err)
	}
	// From 06:00 the next windows begin at 22:00; the plan ends at 18:00 the day after.
	if len(p.Contacts) != 1 || p.Contacts[0].Length() != 4*time.Hour || p.Until != until {
		t.Errorf("contacts %v until %s", p.Contacts, p.Until)
	}
	if p, err := l.Plan(1, start, start.Add(17*time.Hour), false); err != nil || len(p.Contacts) != 1 || p.Until != start.Add(20*time.Hour) {
		t.Errorf("a contact under way at the end of the plan is not whole: %+v, %v", p, err)
	}
	l.Settings["back_bits_per_second"] = "0"
	if p, err := l.Plan(2, start, until, false); err == nil {
		t.Errorf("without a way back: %+v", p)
	}
}

// A setting in conflict is warned about, and its default counts.
func TestPlanWarnsOfConflicts(t *testing.T) {
	l := &Link{Code: "mail", From: 1, To: 2, Contested: []string{"loss_percent"},
		Settings: map[string]string{"open": "always", "out_bits_per_second": "2400", "back_bits_per_second": "2400"}}
	p, err := l.Plan(1, start, start.Add(time.Hour), false)
	if err != nil || len(p.Warnings) != 1 || !strings.Contains(p.Warnings[0], "loss_percent") {
		t.Errorf("%+v, %v", p, err)
	}
}
