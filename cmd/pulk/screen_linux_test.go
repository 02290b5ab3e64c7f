package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

const hubProcedure = `id: hub
title: Opening the surface hub
revision: "A"
hazards:
  - {name: 380 V direct current, caution: Only a person cleared for electrical work opens the hub.}
  - {name: Cold, caution: Local rules and medical staff decide who may work outside.}
roles: [technician, quality]
steps:
  - {id: "10", kind: confirm, text: "The breaker is open, locked and tagged.", role: technician}
  - id: "20"
    kind: reading
    text: Measure the resistance from the earth bar to the camp's earth conductor.
    cautions: [Keep one hand off the bar.]
    role: technician
    reading: {quantity: earth bond resistance, unit: Ohm, limits: {max: 0.50}, repeat: 2}
  - {id: "25", kind: record, text: Write down who else is in the hut., record: {what: text, label: who is here}}
  - {id: "27", kind: wait, text: Let the cable discharge through the resistor., minutes: 5, cautions: [Do not touch the ends.]}
  - {id: "28", kind: do, text: Sweep the floor of the hut.}
  - {id: "30", kind: hold, text: Both look at the readings above., sign: {role: quality, people: 2}}
  - {id: "40", kind: do, text: Close the breaker., irreversible: true, cautions: [Stand beside the door.], after: ["27"]}
  - {id: "50", kind: do, text: Write the time on the tag.}
`

// hut is a store with a run of hubProcedure, and people who can sign.
type hut struct {
	t     *testing.T
	store string
}

const hutRun = "stn-7"

func newHut(t *testing.T) *hut {
	h := &hut{t: t, store: filepath.Join(t.TempDir(), "stn.db")}
	path := filepath.Join(t.TempDir(), "hub.yaml")
	if err := os.WriteFile(path, []byte(hubProcedure), 0o644); err != nil {
		t.Fatal(err)
	}
	h.pulk("init", "--campaign", "Vindur Deep", "--code", "stn", "--name", "Vindur Plateau Camp")
	for i, code := range []string{"ida", "mirre"} {
		h.pulk("person", "add", code, "--name", code, "--role", "technician", "--role", "quality")
		h.makesKey(code, hutWords[i])
	}
	h.pulk("procedure", "import", path, "--as", "ida")
	if said := h.pulk("run", "start", "hub", "--as", "ida"); !strings.Contains(said, hutRun) {
		t.Fatal(said)
	}
	return h
}

var hutWords = []string{"four cold words", "five very cold words"}

func (h *hut) makesKey(person, words string) {
	h.t.Helper()
	path := filepath.Join(h.t.TempDir(), "words")
	if err := os.WriteFile(path, []byte(words+"\n"), 0o600); err != nil {
		h.t.Fatal(err)
	}
	command := h.command("2027-01-05T07:00:00Z", "person", "key", person, "--as", person)
	command.Env = append(command.Env, "PULK_PASSPHRASE_FILE="+path)
	if out, err := command.CombinedOutput(); err != nil {
		h.t.Fatalf("%v\n%s", err, out)
	}
}

func (h *hut) command(now string, args ...string) *exec.Cmd {
	command := exec.Command("pulk", args...)
	command.Env = append(os.Environ(), envNow+"="+now, envSeed+"=hut", "PULK_STORE="+h.store, "TERM=xterm")
	return command
}

func (h *hut) pulk(args ...string) string {
	h.t.Helper()
	out, err := h.command("2027-01-05T07:00:00Z", args...).CombinedOutput()
	if err != nil {
		h.t.Fatalf("pulk %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// console is a terminal with a person before it.
type console struct {
	t       *testing.T
	master  *os.File
	command *exec.Cmd
	ended   chan error

	mu      sync.Mutex
	lines   []string
	all     strings.Builder // every byte that came
	columns int
}

// openConsole starts a command at a terminal of that size.
func openConsole(t *testing.T, columns, rows int, command *exec.Cmd) *console {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no terminals can be made here: %v", err)
	}
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0)
	}
	if err == nil {
		err = unix.IoctlSetWinsize(int(master.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: uint16(rows), Col: uint16(columns)})
	}
	if err != nil {
		t.Fatal(err)
	}
	slave, err := os.OpenFile("/dev/pts/"+strconv.Itoa(n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	c := &console{t: t, master: master, command: command, ended: make(chan error, 1), lines: make([]string, rows), columns: columns}
	command.Stdin, command.Stdout, command.Stderr = slave, slave, slave
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	slave.Close()
	go c.watch()
	go func() { c.ended <- command.Wait() }()
	t.Cleanup(func() { command.Process.Kill(); master.Close() })
	return c
}

var control = regexp.MustCompile(`^\x1b\[(\??[0-9;]*)([A-Za-z])`)

// watch keeps the screen as the terminal's person sees it. It knows what the program
// sends, and no more.
func (c *console) watch() {
	row := 0
	buf := make([]byte, 4096)
	rest := ""
	for {
		n, err := c.master.Read(buf)
		if err != nil {
			return
		}
		c.mu.Lock()
		c.all.Write(buf[:n])
		rest += string(buf[:n])
		for rest != "" {
			if m := control.FindStringSubmatch(rest); m != nil {
				rest = rest[len(m[0]):]
				switch {
				case m[2] == "H":
					fmt.Sscanf(m[1], "%d", &row)
					row--
				case m[2] == "J":
					clear(c.lines)
				case m[2] == "K" && row < len(c.lines):
					c.lines[row] = ""
				}
				continue
			}
			if rest[0] == 0x1b {
				break // the rest of it has still to come
			}
			text := rest
			if end := strings.IndexByte(rest, 0x1b); end >= 0 {
				text = rest[:end]
			}
			if row < len(c.lines) {
				c.lines[row] += text
			}
			rest = rest[len(text):]
		}
		c.mu.Unlock()
	}
}

func (c *console) screen() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return strings.Join(c.lines, "\n")
}

// sees waits until all of the texts are on the screen.
func (c *console) sees(texts ...string) {
	c.t.Helper()
	missing := ""
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		screen := c.screen()
		missing = ""
		for _, text := range texts {
			if !strings.Contains(screen, text) {
				missing = text
			}
		}
		if missing == "" {
			return
		}
	}
	c.t.Fatalf("the screen does not show %q:\n%s", missing, c.screen())
}

// types sends bytes at once, as a key or a scanner does, and leaves a person's pause.
func (c *console) types(texts ...string) {
	c.t.Helper()
	for _, text := range texts {
		if _, err := c.master.WriteString(text); err != nil {
			c.t.Fatal(err)
		}
		time.Sleep(3 * burstGap)
	}
}

// leaves waits for the program to end by itself.
func (c *console) leaves() {
	c.t.Helper()
	select {
	case err := <-c.ended:
		if err != nil {
			c.t.Fatalf("it ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		c.t.Fatalf("it does not leave:\n%s", c.screen())
	}
}

// TestScreen carries a run out at a terminal of 80 columns and 24 lines: cautions
// before keys, a scan, another process at the same run, a wait that outlives the
// program, an undo, two signatures at one keyboard, what cannot be undone.
func TestScreen(t *testing.T) {
	t.Parallel()
	h := newHut(t)
	c := openConsole(t, 80, 24, h.command("2027-01-05T08:00:00Z", "run", "work", hutRun, "--as", "ida"))
	c.sees("380 V DIRECT CURRENT", "I HAVE READ THIS")
	c.types("y")
	c.sees("I HAVE READ THIS") // a key answers nothing yet
	c.types("\r")
	c.sees("STEP 10, 1 of 8", "next   20 (caution) Measure")
	c.types("HUB-0001\r")
	c.sees("scanned HUB-0001: this step takes no scan")
	c.types("yyyy") // held down, or a scan without Enter
	c.sees("came too fast")
	c.types("y")
	c.sees("STEP 20", "! CAUTION: Keep one hand off the bar.", "I HAVE READ THE CAUTION")
	c.types("0", ".", "3", "\r") // Enter only reads the caution
	c.sees("STEP 20", "type the number")
	c.types("0", ".", "3", " 0.31", "\r")
	c.sees("STEP 25", "step 20: 0.31 Ohm, within limits")
	c.types("Mirre Aalto\r") // no field is open
	c.sees("STEP 27", "step 25: recorded Mirre Aalto", "Do not touch the ends.")
	h.pulk("run", "check", hutRun, "28", "--as", "mirre")
	c.sees("others", "mirre step 28: done")
	c.types("\r", "\r")
	c.sees("STEP 30", "wait   27: ", "min", "left")

	c.command.Process.Kill()
	<-c.ended
	c = openConsole(t, 80, 24, h.command("2027-01-05T08:05:00Z", "run", "work", hutRun, "--as", "ida"))
	c.sees("I HAVE READ THIS")
	c.types("\r", "w")
	c.sees("STEP 27", "the time is over", "I HAVE READ THE CAUTION")
	c.types("\r", "\r")
	c.sees("STEP 30", "step 27: done, the time is over")
	c.types("u")
	c.sees("which entry is not to be relied on", "> ", "step 27: done")
	c.types("\x1b[B", "\x1b[B", "\r", "the wrong man", "\r") // done, waiting, the record
	c.sees("STEP 25", "is voided; it stays on record")
	c.types("Tomas\r")
	c.sees("STEP 30", "has 0")
	c.types("g", "\r", "not the words", "\r")
	c.sees("the passphrase does not open this key", "has 0")
	c.types("g", "\r", hutWords[0], "\r")
	c.sees("step 30: signed go by ida", "has 1", "who signs GO at 30 (1 of 2 have)> _")
	c.types("ida", "\r", hutWords[0], "\r")
	c.sees("REFUSED: ida has signed step 30 already")
	c.types("g", "\x7f", "\x7f", "\x7f", "mirre", "\r", hutWords[1], "\r")
	c.sees("STEP 40", "! THIS CANNOT BE UNDONE.", "step 30: signed go by mirre")
	c.types("\r", "\r")
	c.sees("THIS CANNOT BE UNDONE: Done, step 40", "y yes")
	c.types("\r") // no yes
	c.sees("y yes")
	c.types("y")
	c.sees("STEP 50")
	c.types("\x03")
	c.leaves()
	h.checkRecord()
	if all := c.all.String(); !strings.HasSuffix(strings.TrimSpace(all), "Left. Everything so far is saved.") || !strings.Contains(all, "\x1b[?1049l") {
		t.Errorf("the terminal is not given back; the last that came: %q", all[max(0, len(all)-200):])
	}
	for _, m := range regexp.MustCompile(`\x1b\[([0-9;]*)m`).FindAllStringSubmatch(c.all.String(), -1) {
		if m[1] != "0" && m[1] != "1" && m[1] != "7" {
			t.Errorf("the screen uses %q: only bold and reverse, and no colour", m[0])
		}
	}
	for _, secret := range hutWords {
		if strings.Contains(c.all.String(), secret) {
			t.Errorf("a passphrase was shown")
		}
	}
}

// checkRecord holds the run to what was done in TestScreen: each thing once.
func (h *hut) checkRecord() {
	h.t.Helper()
	var detail struct {
		Steps []struct {
			Step    string
			Done    bool
			Entries []struct {
				What, Person string
				Voided       bool
			}
		} `json:"step_list"`
	}
	if err := json.Unmarshal([]byte(h.pulk("run", "show", hutRun, "--json")), &detail); err != nil {
		h.t.Fatal(err)
	}
	var lines []string
	for _, step := range detail.Steps {
		line := step.Step
		for _, e := range step.Entries {
			line += fmt.Sprintf("; %s, %s", e.What, e.Person)
			if e.Voided {
				line += ", voided"
			}
		}
		lines = append(lines, fmt.Sprintf("%s: %v", line, step.Done))
	}
	want := `10; done, ida: true
20; 0.3 Ohm, ida; 0.31 Ohm, ida: true
25; Tomas, ida; Mirre Aalto, ida, voided: true
27; waiting since then, ida; done, ida: true
28; done, mirre: true
30; signed go as quality, ida; signed go as quality, mirre: true
40; done, ida: true
50: false`
	if got := strings.Join(lines, "\n"); got != want {
		h.t.Errorf("the record is\n%s\nwant\n%s", got, want)
	}
	h.pulk("verify")
}

// resizes changes the window.
func (c *console) resizes(columns, rows int) {
	c.t.Helper()
	c.mu.Lock()
	c.lines = make([]string, rows)
	c.mu.Unlock()
	if err := unix.IoctlSetWinsize(int(c.master.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: uint16(rows), Col: uint16(columns)}); err != nil {
		c.t.Fatal(err)
	}
}

// interrupted types two parts shortly after each other, and signals come between them,
// as the runtime sends itself when it is busy.
func (c *console) interrupted(first, second string) {
	c.t.Helper()
	if _, err := c.master.WriteString(first); err != nil {
		c.t.Fatal(err)
	}
	pid := c.command.Process.Pid
	for range 10 {
		threads, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", pid))
		if err != nil {
			c.t.Fatal(err)
		}
		for _, thread := range threads {
			if id, err := strconv.Atoi(thread.Name()); err == nil {
				unix.Tgkill(pid, id, unix.SIGURG) // a thread that has just ended is no matter
			}
		}
		time.Sleep(time.Millisecond)
	}
	c.types(second)
}

// TestScreenSizes follows the window, and goes on in it after it was too small.
// Somebody else who goes on reads the hazards for themselves.
func TestScreenSizes(t *testing.T) {
	t.Parallel()
	h := newHut(t)
	c := openConsole(t, 80, 24, h.command("2027-01-05T08:00:00Z", "run", "work", hutRun, "--as", "ida"))
	c.sees("I HAVE READ THIS")
	c.types("\r")
	c.sees("STEP 10, 1 of 8")
	c.resizes(120, 40)
	c.sees("STEP 10, 1 of 8", "next   20", strings.Repeat("-", tableWidth))
	c.resizes(30, 8)
	c.sees("The window is too small.")
	c.resizes(40, 14)
	c.sees("STEP 10, 1 of 8")
	for range 5 { // a scan is one scan, though signals come in the middle of it
		c.interrupted("HUB-", "0001\r")
		c.sees("scanned HUB-0001: ")
		c.types("p", "\x1b[A") // takes the answer off the screen
	}
	c.types("@", "mirre", "\r")
	c.sees("380 V DIRECT CURRENT", "I HAVE READ THIS")
	c.types("\r", "y")
	c.sees("STEP 20", "mirre")
	c.types("q")
	c.leaves()
	if shown := h.pulk("run", "show", hutRun); !strings.Contains(shown, "done mirre") {
		t.Errorf("the answer is not mirre's:\n%s", shown)
	}
}

// TestScreenSimple asks line by line where the terminal can do no more, or is told.
func TestScreenSimple(t *testing.T) {
	t.Parallel()
	h := newHut(t)
	for _, way := range []string{"dumb", "line"} {
		command := h.command("2027-01-05T08:00:00Z", "run", "work", hutRun, "--as", "ida")
		if way == "dumb" {
			command.Env = append(command.Env, "TERM=dumb")
		} else {
			command.Args = append(command.Args, "--line")
		}
		c := openConsole(t, 80, 24, command)
		for range 500 {
			c.mu.Lock()
			all := c.all.String()
			c.mu.Unlock()
			if strings.Contains(all, "Enter when read> ") {
				break
			}
			time.Sleep(20 * time.Millisecond)
		}
		c.types("q\r")
		c.leaves()
		c.mu.Lock()
		all := c.all.String()
		c.mu.Unlock()
		if !strings.Contains(all, "! 380 V direct current: ") || strings.Contains(all, "\x1b") {
			t.Errorf("%s: %q", way, all)
		}
	}
}
