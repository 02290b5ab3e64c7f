package main

import (
	"bytes"
	_ "embed"
	"html/template"
	"slices"
	"strings"
	"time"
)

//go:embed report_day.html
var dayTemplateText string

// dayTemplate parses the template with the words of a report.
func dayTemplate(r *dayReport) (*template.Template, error) {
	return template.New("day").Funcs(template.FuncMap{
		"moment": r.moment, "full": r.fullMoment, "span": r.span, "when": func(t *time.Time) string { return r.fullMoment(*t) },
		"iso":   func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
		"lines": func(x dayRun) []dayLine { return x.lines() }, "plots": func(x dayRun) []rangePlot { return x.plots() },
		"onTarget": func(x dayRun) string { return onTarget(&x) }, "summary": func(x dayRun) string { return x.summary(r) },
		"about": func(x dayNC) string { return x.about() }, "state": func(x dayNC) string { return x.state() },
		"later": later, "first": upperFirst, "here": func(x dayNotHere) string { return x.said() }, "shown": func(x []dayNC) []dayNC { return x[:min(len(x), openShown)] },
		"more": r.Needs.moreNCs, "moreConflicts": r.Needs.moreOfConflicts, "noExpiry": r.expiresNothing, "stands": func(x daySignOff) string { return x.stands(r) },
		"review": func(x reviewDetail) string { return x.heading() }, "noGo": func(x reviewDetail) []string { return x.noGo },
		"line": func(x reviewLineRow) string { return x.words() }, "waiver": func(x waiverRow) string { return x.words() },
		"where": func(x dayMovement) string { return x.where() }, "short": func(x dayShort) string { return x.said() },
		"expiry": func(x dayExpiry) string { return x.said() }, "due": func(x dayDue) string { return x.said() }, "told": func(x daySite) []string { return x.told(r) },
		"bad":     func(mark string) bool { return slices.Contains([]string{"FAIL", "NO", "STOP", "VOID", "NC"}, mark) },
		"glyph":   func(mark string) string { return strings.TrimSpace(glyphs[mark] + " " + mark) },
		"short40": shortLabel, "right": func(x, w float64) float64 { return round1(x + w) },
		"axisY":  func() float64 { return timelineTop + rowHeight*float64(len(r.Runs)) },
		"tickY":  func() float64 { return timelineTop + rowHeight*float64(len(r.Runs)) + 12 },
		"localY": func() float64 { return timelineTop + rowHeight*float64(len(r.Runs)) + 25 },
		"join":   strings.Join, "expiryDays": func() int { return expiryDays },
		"timeline": r.timeline, "ages": r.ageBars, "zoneText": r.zoneText, "counts": r.Counts.told, "changes": func() string { return plural(r.Counts.Changes, "change", "changes") },
	}).Parse(dayTemplateText)
}

// dayPage renders a report as one page that needs nothing beside it.
func dayPage(r *dayReport) ([]byte, error) {
	t, err := dayTemplate(r)
	if err != nil {
		return nil, err
	}
	var page bytes.Buffer
	err = t.Execute(&page, r)
	return page.Bytes(), err
}

// glyphs are the shapes that stand beside the marks, the same as in the charts.
var glyphs = map[string]string{"FAIL": "▲", "NO": "▲", "GO": "◆", "STOP": "■", "NC": "!", "VOID": "×"}

// shortLabel cuts a label to what fits the timeline.
func shortLabel(text string) string {
	const runesMax = 54
	if runes := []rune(text); len(runes) > runesMax {
		return string(runes[:runesMax-1]) + "…"
	}
	return text
}
