package main

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"pulk/sync/link"
	"pulk/sync/linkbook"
)

// RFC 5545: lines end in CRLF (section 3.1), are folded so that none has more than
// 75 octets and no character is cut in two, and times in UTC end in Z (3.3.5).
func TestCalendarKeepsTheStandard(t *testing.T) {
	start := time.Date(2027, 1, 5, 5, 42, 40, 0, time.FixedZone("stn", -3*3600))
	plan := &linkbook.Plan{Link: &linkbook.Link{Code: "evening-sat"}, Description: link.Description{Budget: link.Budget{SendBitsPerSecond: 2400}}}
	for i := range 30 {
		at := start.Add(time.Duration(i) * 100 * time.Minute)
		by := "RELAY; " + strings.Repeat("ø", i) + ", 'Ü' \\ " + strings.Repeat("x", 2*i)
		plan.Contacts = append(plan.Contacts, link.Contact{Start: at, End: at.Add(11 * time.Minute), By: []string{by}, Highest: at.Add(5 * time.Minute), ElevationMaxDegrees: 51})
	}
	text := string(calendarOf([]*linkbook.Plan{plan}, start))
	if n := strings.Count(text, "\n"); n == 0 || n != strings.Count(text, "\r\n") || !strings.HasSuffix(text, "END:VCALENDAR\r\n") {
		t.Errorf("not all of %d lines end in CRLF", n)
	}
	for line := range strings.SplitSeq(text, "\r\n") {
		if len(line) > 75 || strings.ToValidUTF8(line, "") != line {
			t.Errorf("%d octets, or a character cut in two: %q", len(line), line)
		}
	}
	whole := strings.ReplaceAll(text, "\r\n ", "")
	if stamps := regexp.MustCompile(`(?m)^DT(START|END|STAMP)[:;].*\r$`).FindAllString(whole, -1); len(stamps) != 90 {
		t.Errorf("%d times", len(stamps))
	} else {
		for _, stamp := range stamps {
			if !regexp.MustCompile(`^DT(START|END|STAMP):2027\d{4}T\d{6}Z\r$`).MatchString(stamp) {
				t.Errorf("%q is no time in UTC", stamp)
			}
		}
	}
	for _, want := range []string{"DTSTART:20270105T084240Z\r\n", `By RELAY\; ` + strings.Repeat("ø", 29) + `\, 'Ü' \\ ` + strings.Repeat("x", 58) + `. The`} {
		if !strings.Contains(whole, want) {
			t.Errorf("unfolded, it does not hold %q", want)
		}
	}
}
