package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// reportCommand runs pulk with a store of the story, as a user would.
func reportCommand(s *story, site string, args ...string) (code int, stdout, stderr string) {
	var out, talk bytes.Buffer
	code = invoke(context.Background(), append([]string{"pulk", "report", "day", "--store", s.sites[site].Store().Path()}, args...),
		&env{stdin: strings.NewReader(""), stdout: &out, stderr: &talk, now: func() time.Time { return s.now }, getenv: func(string) string { return "" }, local: storyZone})
	return code, out.String(), talk.String()
}

func TestReportCommand(t *testing.T) {
	s := newStory(t).tell()
	page := filepath.Join(t.TempDir(), "day.html")
	code, text, talk := reportCommand(s, "stn", "--date", "2027-01-05", "--html", page)
	want, _ := os.ReadFile("testdata/report/stn.txt")
	if code != 0 || string(withoutDigest([]byte(text))) != string(want) {
		t.Errorf("exit %d, %s; the text differs from testdata/report/stn.txt:\n%s", code, talk, text)
	}
	got, err := os.ReadFile(page)
	if want, _ := os.ReadFile("testdata/report/stn.html"); err != nil || !bytes.Equal(withoutDigest(got), want) {
		t.Errorf("the page differs from testdata/report/stn.html (%v)", err)
	}
	if !strings.Contains(talk, "wrote "+page) || strings.Contains(text, page) {
		t.Errorf("the talk belongs on stderr, the report on stdout; stderr has %q", talk)
	}
	code, text, talk = reportCommand(s, "stn", "--json")
	var report dayReport
	if err := json.Unmarshal([]byte(text), &report); code != 0 || err != nil || report.Date != "2027-01-05" || len(report.Runs) != 1 {
		t.Errorf("--json: exit %d, %v, %s, date %q with %d runs; want today's with 1", code, err, talk, report.Date, len(report.Runs))
	}
	if code, _, talk = reportCommand(s, "stn", "--date", "soon"); code != exitUsage || !strings.Contains(talk, "hint:") {
		t.Errorf("--date soon: exit %d, %q; want %d and a hint", code, talk, exitUsage)
	}
	if code, _, talk = reportCommand(s, "stn", "--html", filepath.Join(page, "no", "folder")); code != exitFailed {
		t.Errorf("a page that cannot be written: exit %d, %q; want %d", code, talk, exitFailed)
	}
}
