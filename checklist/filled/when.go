package filled

import (
	"fmt"
	"regexp"
	"strings"
	"time"
)

// When is a time as a sheet of paper tells it, in UTC: "2027-01-05T06:40Z", or
// "2027-01-05" where only the day stands there, or nothing.
type When string

const (
	dayForm   = "2006-01-02"
	clockForm = "2006-01-02T15:04Z"
)

var clockPattern = regexp.MustCompile(`^([01]?[0-9]|2[0-3]):?([0-5][0-9])Z?$`)

// ParseWhen reads a day, a time of the given day, or both: "2027-01-05", "06:40",
// "0640", "2027-01-05 06:40", with or without a Z.
func ParseWhen(text string, day When) (When, error) {
	text = strings.TrimSpace(text)
	if at, err := time.Parse(dayForm, text); err == nil {
		return When(at.Format(dayForm)), nil
	}
	date, clock := day.Day(), text
	if i := strings.IndexAny(text, " T"); i > 0 {
		date, clock = text[:i], text[i+1:]
	}
	parts := clockPattern.FindStringSubmatch(clock)
	if parts == nil {
		return "", fmt.Errorf("%.40q is no time: write it like 06:40, 2027-01-05 or 2027-01-05 06:40, in UTC", text)
	}
	at, err := time.Parse(clockForm, fmt.Sprintf("%sT%02s:%sZ", date, parts[1], parts[2]))
	if err != nil {
		return "", fmt.Errorf("%.40q: of which day? write it like 2027-01-05 06:40, in UTC", text)
	}
	return When(at.Format(clockForm)), nil
}

// Day returns the day alone, as 2027-01-05; empty where none is told.
func (w When) Day() string { return string(w[:min(len(w), len(dayForm))]) }

// Time returns the time, or the start of the day where only that is told; false where
// nothing is.
func (w When) Time() (time.Time, bool) {
	for _, form := range []string{clockForm, dayForm} {
		if at, err := time.Parse(form, string(w)); err == nil {
			return at, true
		}
	}
	return time.Time{}, false
}

// String is the time for people.
func (w When) String() string { return strings.Replace(string(w), "T", " ", 1) }
