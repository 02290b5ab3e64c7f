package main

import (
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"pulk/sync/linkbook"
)

// calendarOf writes the passes of links as an iCalendar file (RFC 5545), all times in
// UTC. A pass keeps its UID as long as it begins in the same minute, so that a
// calendar that takes the file again does not show it twice.
func calendarOf(plans []*linkbook.Plan, now time.Time) []byte {
	calendar := ics.NewCalendarFor("pulk")
	calendar.SetProductId("-//pulk//link passes//EN")
	calendar.SetMethod(ics.MethodPublish)
	for _, p := range plans {
		for i, contact := range p.Contacts {
			row := passRowOf(p, i)
			event := calendar.AddEvent(fmt.Sprintf("%s-%s@pulk", p.Link.Code, contact.Start.UTC().Format("20060102T1504")))
			event.SetDtStampTime(now)
			event.SetStartAt(contact.Start)
			event.SetEndAt(contact.End)
			event.SetSummary(fmt.Sprintf("Link %s open, %s bytes", p.Link.Code, grouped(row.PayloadBytes)))
			told := fmt.Sprintf("By %s. The largest bundle that it carries: %s bytes.", strings.Join(contact.By, ", "), grouped(row.PayloadBytes))
			if row.ElevationMax != nil {
				told += fmt.Sprintf(" Highest at %s, %.0f° above the horizon.", contact.Highest.UTC().Format("15:04:05Z"), *row.ElevationMax)
			}
			event.SetDescription(told)
		}
	}
	return []byte(calendar.Serialize(ics.WithNewLineWindows))
}
