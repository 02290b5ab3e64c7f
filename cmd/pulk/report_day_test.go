package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"golang.org/x/net/html"
)

var updateReports = flag.Bool("update-reports", false, "write testdata/report anew")

// withoutDigest blots out the state digest, which changes with every new table.
func withoutDigest(text []byte) []byte {
	return regexp.MustCompile(`((?i)state digest) [0-9a-f]{16}`).ReplaceAll(text, []byte("$1 (blotted out)"))
}

func golden(t *testing.T, name string, got []byte) {
	got = withoutDigest(got)
	t.Helper()
	path := filepath.Join("testdata", "report", name)
	if *updateReports {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; look at it, then: go test ./cmd/pulk -run Report -update-reports\ngot:\n%s", path, got)
	}
}

func rendered(t *testing.T, report *dayReport) (text, page []byte) {
	t.Helper()
	var buf bytes.Buffer
	writeDayText(&buf, report)
	page, err := dayPage(report)
	if err != nil {
		t.Fatal(err)
	}
	return buf.Bytes(), page
}

// The story at both ends, and the same twice over: nothing in it depends on a map's
// order or on a clock.
func TestReportOfAStory(t *testing.T) {
	s := newStory(t).tell()
	for _, site := range []string{"stn", "home"} {
		report := s.report(site, storyDay)
		text, page := rendered(t, report)
		golden(t, site+".txt", text)
		golden(t, site+".html", page)
		checkPage(t, page)
		checkWidth(t, text)
	}
	first, err := json.Marshal(s.report("stn", storyDay))
	if err != nil {
		t.Fatal(err)
	}
	for range 10 {
		again, err := json.Marshal(s.report("stn", storyDay))
		if err != nil || !bytes.Equal(first, again) {
			t.Fatalf("made twice, the report differs (%v):\n%s\n%s", err, first, again)
		}
	}
}

// What the story's day must tell, whatever it looks like.
func TestReportTellsWhatHappened(t *testing.T) {
	s := newStory(t).tell()
	r := s.report("stn", storyDay)
	if len(r.Runs) != 1 || len(r.NotHere) != 1 || len(r.Needs.Conflicts) != 1 || len(r.Needs.Gates) != 2 || len(r.Needs.NCs) != 1 {
		t.Fatalf("runs %d, not here %d, conflicts %d, gates %d, open nonconformances %d; want 1, 1, 1, 2, 1",
			len(r.Runs), len(r.NotHere), len(r.Needs.Conflicts), len(r.Needs.Gates), len(r.Needs.NCs))
	}
	if len(r.SignOffs) != 2 || r.SignOffs[0].Standing != "overtaken" || r.SignOffs[0].Person != "oskar" || r.SignOffs[0].FellAt == nil {
		t.Errorf("sign-offs %+v; want two, overtaken, oskar's first", r.SignOffs)
	}
	if len(r.NCs) != 2 || r.NCs[0].Open || r.NCs[0].Decisions[0].Disposition != "rework" || !r.NCs[1].Open {
		t.Errorf("nonconformances %+v; want one for rework, one open", r.NCs)
	}
	var failed, voided []string
	for _, e := range r.Runs[0].Events {
		if e.Bad && e.Reading != nil {
			failed = append(failed, fmt.Sprintf("%s %s %s: %s, by %s", e.Step, e.Reading.Value, e.Reading.Unit, e.Reading.Verdict, e.Person))
		}
		if e.Voided {
			voided = append(voided, e.Step+" "+e.Text)
		}
	}
	if want := "40 12 [ppm]: fail high, by mirre"; len(failed) != 1 || failed[0] != want {
		t.Errorf("failed readings %q; want %q", failed, want)
	}
	if want := "130 string cable: SC-0008"; len(voided) != 1 || voided[0] != want {
		t.Errorf("voided entries %q; want %q", voided, want)
	}
	if n := r.Counts; n.Checks != 8 || n.Readings != 11 || n.Failed != 1 || n.Records != 2 || n.SignOffs != 2 || n.Movements != 2 {
		t.Errorf("counts %+v; want 8 checks, 11 readings (1 failed), 2 records, 2 sign-offs, 2 movements", n)
	}
}

// Days on which nothing, or nothing yet, happened.
func TestReportOfQuietDays(t *testing.T) {
	s := newStory(t).tell()
	for _, c := range []struct {
		name    string
		day     time.Time
		changes int
		remark  string
	}{
		{"before_the_first", storyDay.AddDate(0, 0, -9), 0, ""},
		{"first", storyDay.AddDate(0, 0, -1), 25, ""},
		{"future", storyDay.AddDate(0, 0, 3), 0, "this day has not begun"},
		{"far_future", time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), 0, "this day has not begun"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := s.report("stn", c.day)
			if r.Counts.Changes != c.changes || len(r.Runs) != 0 {
				t.Errorf("%d changes and %d runs; want %d and none", r.Counts.Changes, len(r.Runs), c.changes)
			}
			if !strings.HasPrefix(r.Remark, c.remark) || c.remark == "" && r.Remark != "" {
				t.Errorf("remark %q; want %q", r.Remark, c.remark)
			}
			if len(r.Holds) == 0 || len(r.Needs.NCs) != 1 {
				t.Error("what needs someone now is not told, though it does not depend on the day")
			}
			text, page := rendered(t, r)
			checkPage(t, page)
			checkWidth(t, text)
		})
	}
	empty := newStory(t)
	r := empty.report("ship", storyDay)
	text, page := rendered(t, r)
	checkPage(t, page)
	if !bytes.Contains(text, []byte("Nothing.\n")) {
		t.Errorf("a fresh store has something that needs someone:\n%s", text)
	}
}

func TestParseDay(t *testing.T) {
	now := time.Date(2027, 1, 5, 23, 30, 0, 0, time.FixedZone("", -3*60*60)) // the 6th in UTC
	for _, c := range []struct{ text, want string }{
		{"today", "2027-01-06"}, {"yesterday", "2027-01-05"}, {"2027-01-04", "2027-01-04"}, {"1999-12-31", "1999-12-31"},
		{"tomorrow", ""}, {"2027-02-30", ""}, {"27-01-05", ""}, {"", ""}, {"1969-12-31", ""},
	} {
		day, err := parseDay(c.text, now)
		if got := day.Format(time.DateOnly); c.want == "" && err == nil || c.want != "" && (err != nil || got != c.want) {
			t.Errorf("parseDay(%q) = %s, %v; want %q", c.text, got, err, c.want)
		}
	}
}

// Whatever people type must stand in the page as text.
func TestReportPageEscapes(t *testing.T) {
	const hostile = `</title></svg><script>alert(1)</script><img src=x onerror="y"> & "'` + "`{{.}}"
	at := storyDay.Add(7 * time.Hour)
	low := "1"
	r := &dayReport{Campaign: hostile, Site: hostile, SiteName: hostile, Date: "2027-01-05", MadeAt: at, StateDigest: "00", Remark: hostile,
		Needs: dayNeeds{Conflicts: []dayConflict{{ID: hostile, Urgent: true, What: hostile, Advice: hostile, Sides: []daySide{{hostile, hostile, hostile, at, hostile, hostile}}}},
			Gates: []dayHold{{Run: hostile, Title: hostile, Step: hostile, Kind: "hold", Waits: []string{hostile}}},
			NCs:   []dayNC{{ID: hostile, Text: hostile, Run: hostile, Step: hostile, Unit: hostile, RaisedBy: hostile, Open: true}},
			Short: []dayShort{{Item: hostile, Name: hostile, Place: hostile, Have: -2, Unit: hostile, BelowZero: true}}},
		Runs: []dayRun{{ID: hostile, Title: hostile, Procedure: hostile, Revision: hostile, Target: hostile, StartedBy: hostile, Events: []dayEvent{
			{ID: hostile, At: at, Person: hostile, Kind: "step.reading", Step: hostile, Bad: true, Reading: &dayReading{Quantity: hostile, Value: "0", Unit: hostile, Limits: hostile, Min: &low, Verdict: "fail low"}},
			{ID: hostile, At: at, Person: hostile, Kind: "run.note", Text: hostile}}}},
		NCs:      []dayNC{{ID: hostile, Text: hostile, RaisedBy: hostile, Decisions: []dayDecision{{hostile, hostile, hostile, at}}}},
		SignOffs: []daySignOff{{ID: hostile, Run: hostile, Title: hostile, Person: hostile, Role: hostile, Verdict: hostile, Standing: hostile, Because: hostile, By: hostile, FellAt: &at}},
		Reviews: []reviewDetail{{reviewRow: reviewRow{ID: hostile, Title: hostile, noGo: []string{hostile}}, LineRows: []reviewLineRow{{Line: hostile, Question: hostile, State: hostile, Role: hostile,
			Facts: []reviewFactRow{{Outcome: hostile, Facts: hostile, Until: hostile}}}}}},
		Waivers:  []waiverRow{{ID: hostile, Run: hostile, Step: hostile, Line: hostile, Reason: hostile, Risk: hostile, AskedBy: hostile, By: hostile, ByRole: hostile, Standing: hostile}},
		Stock:    []dayMovement{{ID: hostile, Person: hostile, Kind: hostile, Item: hostile, Lot: hostile, From: hostile, Note: hostile}},
		Expiring: []dayExpiry{{Item: hostile, Name: hostile, Lot: hostile, Place: hostile, Unit: hostile, Expires: hostile, Days: -3}},
		Due:      []dayDue{{Unit: hostile, Due: hostile, Days: -3}},
		Units:    []dayUnitEvent{{ID: hostile, Person: hostile, Kind: hostile, Unit: hostile, Text: hostile}},
		Others:   []dayOther{{hostile, at, hostile, hostile}},
		Sites:    []daySite{{Code: hostile, Gaps: []string{hostile}}},
		Counts:   dayCounts{People: []string{hostile}, Sites: map[string]int{hostile: 1}}}
	_, page := rendered(t, r)
	checkPage(t, page)
	if n := bytes.Count(page, []byte("<script")) + bytes.Count(page, []byte("<img")); n > 0 {
		t.Errorf("%d elements came out of what people typed:\n%s", n, page)
	}
}

// allowed are the attributes that a page may have; none of them can fetch anything.
var allowed = regexp.MustCompile(`^(lang|charset|name|content|class|id|role|viewbox|aria-label|aria-labelledby|datetime|x|y|x1|x2|y1|y2|cx|cy|r|d|width|height|text-anchor)$`)

// checkPage holds a page to its promises: it parses with every element closed where
// it must be, has nothing that could be fetched or run, and its drawings are named.
func checkPage(t *testing.T, page []byte) {
	t.Helper()
	for _, word := range []string{"http:", "https:", "//", "url(", "@import", "javascript:"} {
		text := regexp.MustCompile(`(?s)&lt;.*?&gt;`).ReplaceAll(page, nil)
		if bytes.Contains(text, []byte(word)) {
			t.Errorf("the page holds %q, which could reach outside it", word)
		}
	}
	tokens := html.NewTokenizer(bytes.NewReader(page))
	var open []string
	for {
		switch tokens.Next() {
		case html.ErrorToken:
			if tokens.Err() != io.EOF || len(open) > 0 {
				t.Errorf("the page ends with %v, %v open", tokens.Err(), open)
			}
			return
		case html.StartTagToken:
			token := tokens.Token()
			checkElement(t, token)
			if token.Data != "meta" {
				open = append(open, token.Data)
			}
		case html.EndTagToken:
			token := tokens.Token()
			if len(open) == 0 || open[len(open)-1] != token.Data {
				t.Fatalf("</%s> closes %v", token.Data, open)
			}
			open = open[:len(open)-1]
		}
	}
}

func checkElement(t *testing.T, token html.Token) {
	t.Helper()
	switch token.Data {
	case "script", "link", "img", "iframe", "object", "embed", "a", "form", "input", "base", "use", "image", "foreignobject":
		t.Errorf("the page has an element %s", token)
	}
	named := token.Data != "svg"
	for _, a := range token.Attr {
		if !allowed.MatchString(a.Key) {
			t.Errorf("the page has an attribute %s in %s", a.Key, token)
		}
		named = named || strings.HasPrefix(a.Key, "aria-label")
	}
	if !named {
		t.Errorf("a drawing has no name: %s", token)
	}
}

func checkWidth(t *testing.T, text []byte) {
	t.Helper()
	for i, line := range strings.Split(string(text), "\n") {
		if n := utf8.RuneCountInString(line); n > tableWidth {
			t.Errorf("line %d has %d characters: %s", i+1, n, line)
		}
	}
}
