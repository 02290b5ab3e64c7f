package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/checklist/work"
	"pulk/sync/clock"
)

// TestDecodeKeys holds the decoding of keys to this: only a character that came
// alone is a key, whatever else came is text. The sequences are those of ECMA-48 and
// of the keypad's application mode.
func TestDecodeKeys(t *testing.T) {
	for _, test := range []struct {
		burst string
		want  []key
	}{
		{"d", []key{{keyRune, "d"}}},
		{"å", []key{{keyRune, "å"}}},
		{"\r", []key{{name: keyEnter}}},
		{"\n", []key{{name: keyEnter}}},
		{"\r\r\r", []key{{name: keyEnter}}}, // held down
		{"ddd", []key{{keyBurst, "ddd"}}},   // held down
		{"SM3-0101\r", []key{{keyScan, "SM3-0101"}}},
		{"SM3-0101\r\n", []key{{keyScan, "SM3-0101"}}},
		{"A1\rB2\r", []key{{keyScan, "A1"}, {keyScan, "B2"}}},
		{"y\r", []key{{keyScan, "y"}}}, // typed ahead, or a scan of one character: no key
		{"\x1b[A", []key{{name: keyUp}}},
		{"\x1bOB", []key{{name: keyDown}}},
		{"\x1b[6~", []key{{name: keyPageDown}}},
		{"\x1b[B\x1b[B", []key{{name: keyDown}, {name: keyDown}}},
		{"\x1b", []key{{name: keyEscape}}},
		{"\x1b[1;5C", nil}, // Ctrl and right: of no use here, and no letter C
		{"\x1b[200~", nil},
		{"\x1bOP", nil},
		{"\x7f", []key{{name: keyBackspace}}},
		{"ab\x03cd", []key{{name: keyLeave}}},
		{"\x04", []key{{name: keyLeave}}},
		{"\xff\xfe", nil},
		{"", nil},
	} {
		if got := decodeKeys([]byte(test.burst)); !slices.Equal(got, test.want) {
			t.Errorf("decodeKeys(%q) = %v, want %v", test.burst, got, test.want)
		}
	}
}

func FuzzDecodeKeys(f *testing.F) {
	for _, seed := range []string{"d", "\x1b[A", "SM3\r", "\x1b[", "\x1bO", "\x1b\x1b[5~", "é\x1b"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, burst []byte) {
		for _, k := range decodeKeys(burst) {
			if strings.ContainsAny(k.text, "\x1b\r\n") {
				t.Errorf("decodeKeys(%q): the text %q holds control characters", burst, k.text)
			}
		}
	})
}

var screenMorning = time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)

// testWords names people and entries by their numbers.
var testWords = work.Words{
	Person: func(d clock.Dot) string { return fmt.Sprintf("person-%d", d.Seq) },
	Name:   func(d clock.Dot) string { return fmt.Sprintf("stn-%d", d.Seq) },
	Asks:   stepAsksNow, Says: entryText,
}

// testSession returns a session at a fresh run of a procedure, and its scene.
func testSession(t *testing.T, text string, columns, rows int) *session {
	t.Helper()
	p, problems := procedure.Parse("try.yaml", []byte(text))
	if p == nil {
		t.Fatal(problems[0])
	}
	record := &run.Record{Run: clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 1}, Procedure: p, Title: p.Title}
	me := &crew.Person{ID: clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 9}, Code: "ida"}
	for _, role := range p.Roles {
		me.Roles = append(me.Roles, crew.Role{Code: role, Granted: true})
	}
	s := newSession(screenSize{columns, rows}, time.UTC)
	s.show(work.Look(run.Evaluate(record), me, screenMorning, testWords), screenMorning)
	return s
}

// seen returns the text of the screen, its lines joined as they were wrapped.
func seen(s *session) string {
	var words []string
	for _, r := range s.frame() {
		words = append(words, strings.Fields(r.text)...)
	}
	return strings.Join(words, " ")
}

// TestScreenFits plays every procedure of the test data on screens of several sizes.
// Every frame fits; every caution has been on the screen, whole, before any key
// answers its step.
func TestScreenFits(t *testing.T) {
	files, err := filepath.Glob("../../testdata/procedures/*.yaml")
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, size := range []screenSize{{80, 24}, {40, 14}, {132, 50}, {30, 10}} {
			t.Run(fmt.Sprintf("%s/%dx%d", filepath.Base(file), size.columns, size.rows), func(t *testing.T) {
				s := testSession(t, string(text), size.columns, size.rows)
				if size.columns < columnsMin {
					checkFrame(t, s)
					return
				}
				readOn(t, s, func() bool { return !s.hazards })
				for _, step := range s.scene.Steps {
					playStep(t, s, step)
				}
			})
		}
	}
}

func checkFrame(t *testing.T, s *session) {
	t.Helper()
	frame := s.frame()
	if len(frame) != s.size.rows {
		t.Fatalf("the frame has %d lines, the screen %d", len(frame), s.size.rows)
	}
	for _, r := range frame {
		if n := len([]rune(r.text)); n > s.size.columns {
			t.Fatalf("a line has %d columns, the screen %d: %q", n, s.size.columns, r.text)
		}
	}
}

// readOn presses Enter until it is read, and returns all that was on the screen.
func readOn(t *testing.T, s *session, read func() bool) string {
	t.Helper()
	var all strings.Builder
	for n := 0; !read(); n++ {
		if n > 60 {
			t.Fatalf("it does not end: %s", seen(s))
		}
		checkFrame(t, s)
		for _, r := range s.frame() {
			all.WriteString(strings.TrimRight(r.text, " ") + "\n")
		}
		s.press(key{name: keyEnter}, s.now.Add(time.Second))
	}
	return all.String()
}

func playStep(t *testing.T, s *session, step work.Step) {
	t.Helper()
	s.goTo(step.ID)
	if len(step.Cautions) > 0 {
		for _, k := range "dyngsrb12" {
			if e := s.press(key{keyRune, string(k)}, s.now.Add(time.Second)); e != nil || s.ask != nil {
				t.Fatalf("step %s: %q answers before the cautions were read", step.ID, k)
			}
			s.ask, s.list = nil, nil
		}
		if s.goTo(step.ID); s.scan(&step, "SM3-0101") != nil {
			t.Fatalf("step %s: a scan answers before the cautions were read", step.ID)
		}
		s.told = nil
		shown := readOn(t, s, func() bool { return s.cautionsRead(&step) })
		for _, caution := range step.Cautions {
			for _, r := range s.block(" ! CAUTION: ", caution, plain) {
				if !strings.Contains(shown, strings.TrimSpace(r.text)) {
					t.Errorf("step %s: this line of a caution was not on the screen: %q", step.ID, r.text)
				}
			}
		}
	}
	checkFrame(t, s)
	if !strings.Contains(seen(s), "STEP "+step.ID+",") {
		t.Errorf("step %s is not on the screen: %s", step.ID, seen(s))
	}
}

const screenProcedure = `id: try
title: Trying the screen
revision: "A"
hazards: [{name: Cold, caution: Gloves stay on.}]
roles: [quality]
steps:
  - {id: "10", kind: confirm, text: It is so.}
  - {id: "20", kind: reading, text: Measure it., reading: {quantity: voltage, unit: V, limits: none}}
  - {id: "25", kind: reading, text: Measure it well., reading: {quantity: voltage, unit: V, limits: none, instrument: {part: TOL-005}}}
  - {id: "30", kind: record, text: Scan it., record: {what: serial, label: module}}
  - {id: "50", kind: hold, text: Look at it., sign: {role: quality, people: 2}}
  - {id: "40", kind: do, text: Let it go., irreversible: true}
`

// TestPress tells what keys lead to, at each kind of step.
func TestPress(t *testing.T) {
	runes := func(text string) (keys []key) {
		for _, r := range text {
			keys = append(keys, key{keyRune, string(r)})
		}
		return keys
	}
	enter := key{name: keyEnter}
	with := func(lists ...[]key) []key { return slices.Concat(lists...) }
	for _, test := range []struct {
		name, step string
		keys       []key
		want       string // act, who does it, its text, its secret
	}{
		{"yes", "10", runes("y"), "yes ida  "},
		{"no_asks_what", "10", with(runes("nfrost"), []key{enter}), "no ida frost "},
		{"enter_is_no_yes", "10", []key{enter}, ""},
		{"a_held_key_is_no_answer", "10", []key{{keyBurst, "yyyy"}}, ""},
		{"a_scan_is_no_answer", "10", []key{{keyScan, "y"}}, ""},
		{"empty_field", "10", with(runes("n"), []key{enter, enter}), ""},
		{"escape_leaves_the_field", "10", with(runes("nfro"), []key{{name: keyEscape}}, runes("y")), "yes ida  "},
		{"digits_begin_a_reading", "20", with(runes("-4.5"), []key{enter}), "read ida -4.5 "},
		{"backspace", "20", with(runes("-4"), []key{{name: keyBackspace}}, runes("5"), []key{enter}), "read ida -5 "},
		{"a_scanned_number_waits_for_enter", "20", []key{{keyScan, "4.5"}}, ""},
		{"and_is_taken_by_it", "20", []key{{keyScan, "4.5"}, enter}, "read ida 4.5 "},
		{"a_scan_after_the_number_is_the_instrument", "25", with(runes("4.5"), []key{{keyScan, "TOL-5-12"}}), "read ida 4.5 with TOL-5-12 "},
		{"the_instrument_is_asked_for", "25", with(runes("4.5"), []key{enter, {keyBurst, "TOL-5-12"}, enter}), "read ida 4.5 with TOL-5-12 "},
		{"without_an_instrument", "25", with(runes("4.5"), []key{enter, enter}), "read ida 4.5 "},
		{"the_instrument_is_remembered", "25", with(runes("4.5"), []key{{keyScan, "TOL-5-12"}}, runes("4.6"), []key{enter, enter}), "read ida 4.5 with TOL-5-12 read ida 4.6 with TOL-5-12 "},
		{"a_unit_and_the_instrument_typed", "25", []key{{keyRune, "4"}, {keyBurst, " mV with TOL-5-12"}, enter}, "read ida 4 mV with TOL-5-12 "},
		{"scan_without_a_field", "30", []key{{keyScan, "SM3-0101"}}, "write ida SM3-0101 "},
		{"scan_into_the_field", "30", []key{enter, {keyScan, "SM3-0101"}}, "write ida SM3-0101 "},
		{"scan_in_two_parts", "30", []key{{keyBurst, "SM3-"}, {keyScan, "0101"}}, "write ida SM3-0101 "},
		{"letters_of_a_serial_are_no_keys", "30", []key{{keyBurst, "qqq"}}, ""},
		{"irreversible_asks_once_more", "40", []key{enter}, ""},
		{"irreversible_and_enter", "40", []key{enter, enter}, ""},
		{"irreversible_and_yes", "40", with([]key{enter}, runes("y")), "done ida  "},
		{"go_asks_for_the_passphrase", "50", with(runes("g"), []key{enter}, runes("four cold"), []key{enter}), "go ida  four cold"},
		{"go_by_another", "50", with(runes("g"), []key{{name: keyBackspace}, {name: keyBackspace}, {name: keyBackspace}, {keyBurst, "mirre"}, enter, {keyScan, "words"}}), "go mirre  words"},
		{"stop", "50", with(runes("s"), []key{enter}, runes("w"), []key{enter}), "stop ida  w"},
		{"enter_is_no_go", "50", []key{enter}, ""},
		{"note", "10", with(runes("twind rises"), []key{enter}), "note ida wind rises "},
		{"leave", "10", runes("q"), "leave"},
		{"ctrl_c_in_a_field", "20", with(runes("4"), []key{{name: keyLeave}}), "leave"},
		{"another_person", "10", with(runes("@mirre"), []key{enter}), "become mirre"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := testSession(t, screenProcedure, 80, 24)
			s.hazards = false
			s.nowRead(s.scene.Place)
			s.goTo(test.step)
			got := ""
			for _, k := range test.keys {
				if e := s.press(k, s.now.Add(time.Second)); e != nil {
					got += effectText(e)
				}
				checkFrame(t, s)
			}
			if got != test.want {
				t.Errorf("keys %v lead to %q, want %q; the screen: %s", test.keys, got, test.want, seen(s))
			}
		})
	}
}

func effectText(e *effect) string {
	switch {
	case e.leave:
		return "leave"
	case e.become != "":
		return "become " + e.become
	}
	return strings.Join([]string{e.tap.Act, e.as, e.tap.Text, e.secret}, " ")
}

// TestPressSettles holds keys to the step that they were meant for: one that comes
// just after another step came on the screen answers nothing.
func TestPressSettles(t *testing.T) {
	s := testSession(t, screenProcedure, 80, 24)
	s.hazards = false
	s.nowRead(s.scene.Place)
	s.goTo("10")
	if e := s.press(key{keyRune, "y"}, s.now.Add(settle-time.Millisecond)); e != nil {
		t.Errorf("a key answers a step that has just come: %q", effectText(e))
	}
	if e := s.press(key{keyRune, "y"}, s.now.Add(time.Millisecond)); e == nil {
		t.Error("a key answers nothing though the step stood there long enough")
	}
}

// TestSecretIsHidden looks for a passphrase on the screen.
func TestSecretIsHidden(t *testing.T) {
	s := testSession(t, screenProcedure, 80, 24)
	s.hazards = false
	s.nowRead(s.scene.Place)
	s.goTo("50")
	for _, k := range []key{{keyRune, "g"}, {name: keyEnter}, {keyBurst, "four cold"}} {
		s.press(k, s.now.Add(time.Second))
	}
	if text := seen(s); strings.Contains(text, "cold") || !strings.Contains(text, "*********") {
		t.Errorf("the screen shows %s", text)
	}
}

// TestGuideScreens holds the screens in the guide to what the program draws. The
// comment before one says of which procedure, which step, and which keys.
//
//	<!-- screen borehole-lowering 30 read -->
func TestGuideScreens(t *testing.T) {
	const path = "../../docs/guide.md"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	marked := regexp.MustCompile("(?s)<!-- screen (\\S+) (\\S+)( read)? -->\n```text\n.*?```")
	drawn := 0
	played := marked.ReplaceAllStringFunc(string(text), func(block string) string {
		drawn++
		m := marked.FindStringSubmatch(block)
		file, err := os.ReadFile("../../testdata/procedures/" + m[1] + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		s := testSession(t, string(file), 80, 24)
		s.hazards = false
		s.nowRead(s.scene.Place)
		s.goTo(m[2])
		if m[3] != "" {
			readOn(t, s, func() bool { return s.cautionsRead(s.step()) })
		}
		lines := []string{}
		for _, r := range s.frame() {
			lines = append(lines, strings.TrimRight(r.text, " "))
		}
		return block[:strings.Index(block, "```text\n")] + "```text\n" + strings.Join(lines, "\n") + "\n```"
	})
	if drawn == 0 {
		t.Error("the guide shows no screen")
	}
	if played == string(text) {
		return
	}
	if !*update {
		t.Errorf("the guide shows another screen; look at the difference, then: go test ./cmd/pulk -run TestGuideScreens -update\n%s", firstDifference(string(text), played))
		return
	}
	if err := os.WriteFile(path, []byte(played), 0o644); err != nil {
		t.Fatal(err)
	}
}
