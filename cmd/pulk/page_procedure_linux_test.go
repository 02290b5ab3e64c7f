package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulk/checklist/procedure"
)

// TestPageThroughProcedure taps the power-up of a string through on a tablet, all 37
// steps of it: readings, records, waits of hours, hold and witness points. Where a
// wait is, the program is ended and comes back when its time is over.
func TestPageThroughProcedure(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("it taps for a minute")
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("there is no chromium here; apt-get install chromium, and this test taps through the page")
	}
	text, err := os.ReadFile("../../testdata/procedures/power-up.yaml")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "power-up.yaml")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	p, problems := procedure.Parse(path, text)
	if p == nil {
		t.Fatal(problems)
	}
	h := &hut{t: t, store: filepath.Join(t.TempDir(), "stn.db")}
	h.pulk("init", "--campaign", "Vindur Deep", "--code", "stn", "--name", "Vindur Plateau Camp")
	add := []string{"person", "add", "ida", "--name", "Ida Brekke"}
	for _, role := range p.Roles {
		add = append(add, "--role", role)
	}
	h.pulk(add...)
	h.makesKey("ida", hutWords[0])
	h.pulk("item", "import", "../../testdata/catalogue.csv", "--as", "ida")
	h.pulk("location", "add", "hut", "--name", "Surface hut", "--as", "ida")
	instruments := 0
	for _, step := range p.Steps {
		if step.Record != nil && step.Record.What == procedure.RecordSerial {
			h.pulk("unit", "add", "SN-"+step.ID, "--part", step.Record.Part, "--at", "hut", "--as", "ida")
		}
		if r := step.Reading; r != nil && r.Instrument != nil {
			h.pulk("unit", "add", "INS-"+step.ID, "--part", r.Instrument.Part, "--at", "hut", "--as", "ida")
			h.pulk("unit", "calibrate", "INS-"+step.ID, "--certificate", "C-1", "--on", "2026-09-01", "--due", "2027-09-01", "--uncertainty", r.Unit+": 0.02", "--as", "ida")
			instruments++
		}
	}
	if instruments < 2 {
		t.Fatalf("%d readings ask for an instrument; one is to be scanned and one typed", instruments)
	}
	h.pulk("procedure", "import", path, "--as", "ida")
	run := regexp.MustCompile(`stn-\d+`).FindString(h.pulk("run", "start", "power-up", "--as", "ida"))

	s := newPageServer(h)
	s.run = run
	now := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
	s.start(now.Format(time.RFC3339))
	b := newTablet(t, s.front.URL)
	b.enters("ida", hutWords[0])
	b.sees("I have read this")
	b.taps("I have read this")
	tapped := 0
	for range 4 * len(p.Steps) {
		id := b.stepShown()
		if id == "" {
			break
		}
		n, ok := p.StepIndex(id)
		if !ok {
			t.Fatalf("the page shows step %q", id)
		}
		if waited := b.carriesOut(&p.Steps[n]); waited {
			s.stop()
			now = now.Add(time.Duration(p.Steps[n].WaitMinutes+30) * time.Minute)
			s.start(now.Format(time.RFC3339))
			b.enters("ida", hutWords[0])
			b.sees("The time is over.")
			if b.stepShown() != id {
				b.taps("Wait, step " + id)
			}
			b.taps("[data-act='over']")
		}
		b.changes(id)
		tapped++
	}
	b.sees("All 37 steps are done")
	if tapped != len(p.Steps) {
		t.Errorf("%d steps were tapped, want each once: %d", tapped, len(p.Steps))
	}
	b.taps("[data-act='end']", "#sure")
	b.sees("The run has ended.")
	if shown := h.pulk("run", "show", run); !strings.Contains(shown, "37 of 37 steps done, ended") || strings.Contains(shown, "Nonconformances") {
		t.Errorf("the record is\n%s", shown)
	}
	for _, step := range p.Steps {
		if step.Reading != nil && step.Reading.Instrument != nil {
			if shown := h.pulk("run", "show", run, "--json"); !strings.Contains(shown, "INS-"+step.ID) {
				t.Errorf("the record of step %s names no instrument", step.ID)
			}
		}
	}
	h.pulk("verify")
}

// stepShown returns the id of the step on the page; empty where all are done.
func (b *tablet) stepShown() string {
	b.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		head := asks[string](b, "document.getElementById('step')?.innerText ?? ''")
		if m := regexp.MustCompile(`^Step ([^,]+), `).FindStringSubmatch(head); m != nil {
			return m[1]
		}
		if strings.HasPrefix(head, "All ") {
			return ""
		}
	}
	b.t.Fatalf("no step is shown:\n%s", b.text())
	return ""
}

// changes waits until another step is on the page.
func (b *tablet) changes(id string) {
	b.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if b.stepShown() != id {
			return
		}
	}
	b.t.Fatalf("step %s does not get done:\n%s", id, b.text())
}

// carriesOut taps what a step asks for. It returns true where the time of a wait has
// to pass before it is done.
func (b *tablet) carriesOut(step *procedure.Step) (waits bool) {
	b.t.Helper()
	if len(step.Cautions) > 0 {
		b.taps("#read")
	}
	switch step.Kind {
	case procedure.KindDo:
		b.taps("[data-act='done']")
	case procedure.KindConfirm:
		b.taps("[data-act='yes']")
	case procedure.KindWait:
		b.taps("[data-act='begin']")
		b.sees("waiting until") // the site has taken it
		return true
	case procedure.KindHold, procedure.KindWitness:
		b.taps("[data-act='go']", "#sure")
		return false
	case procedure.KindRecord:
		text := "SN-" + step.ID
		if step.Record.What == procedure.RecordText {
			text = "noted"
		}
		b.taps("[data-act='write']")
		b.types("#text", text)
		b.taps("#take")
	case procedure.KindReading:
		b.taps("[data-act='read']")
		for i := range step.Reading.Repeat {
			if i > 0 {
				b.quickly("[data-key='next']")
			}
			for _, digit := range goodValue(step) {
				b.quickly("[data-key='" + string(digit) + "']")
			}
		}
		if step.Reading.Instrument != nil {
			b.namesInstrument("INS-" + step.ID)
		}
		b.taps("#take")
	}
	if step.Irreversible {
		b.taps("#sure")
	}
	return false
}

// namesInstrument gives the serial of the instrument that numbers are taken with: by a
// scanner, whose keys go to no field, or typed where the number pad has a field for it.
func (b *tablet) namesInstrument(serial string) {
	b.t.Helper()
	b.scans = !b.scans
	named := func() string { return asks[string](b, "document.getElementById('with').value") }
	if !b.scans {
		b.types("#with", serial)
	}
	// On a busy machine keys may come too far apart for a scanner's: it is scanned again.
	for n := 0; b.scans && n < 5 && named() != serial; n++ {
		b.do(chromedp.KeyEvent(serial + "\r"))
	}
	if got := named(); got != serial {
		b.t.Fatalf("the page has %q for the instrument %s", got, serial)
	}
	b.picture("instrument-" + serial)
}
