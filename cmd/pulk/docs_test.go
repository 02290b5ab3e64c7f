package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
)

// TestDocs runs the examples of the documents: every block marked "console", in
// order, in one folder for each document, on a clock and with keys that are the
// same each time. A comment before a block sets the clock,
//
//	<!-- at 2027-01-06 09:00 -->
//
// or says what is typed at the terminal, a passphrase with a star before it:
//
//	<!-- types: d | 4.35 | *four cold words | q -->
func TestDocs(t *testing.T) {
	for _, name := range []string{"README.md", "DEVELOPERS.md", "docs/guide.md", "docs/carrying.md", "docs/assemblies.md", "docs/paper.md", "docs/kit.md", "docs/stock.md", "docs/freight.md", "docs/dangerous-goods.md"} {
		t.Run(filepath.Base(name), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join("../..", name)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			played := newReading(t).play(string(text))
			if !*update && sameText(string(text)) == sameText(played) {
				return
			}
			if *update {
				if err := os.WriteFile(path, []byte(played), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			t.Errorf("%s shows what the program does not print; look at the difference, then: go test ./cmd/pulk -run TestDocs -update\n%s", name, firstDifference(sameText(string(text)), sameText(played)))
		})
	}
}

// Sizes, names, digests and codes follow from every byte of the codec; that they
// are not quite today's is no fault of a document.
var passing = regexp.MustCompile(`\b([0-9a-f]{8}-[0-9a-f]{8}-[0-9a-z]+-[0-9a-f]{12}|[0-9a-f]{8}-\*\.fragment|parcel [0-9a-f]{8}|site [0-9a-f]{8}|([0-9A-HJKMNP-TV-Z]{4}-)+[0-9A-HJKMNP-TV-Z]{1,4}|[0-9a-f]{16,}|\d+ bytes)\b`)

func sameText(text string) string { return passing.ReplaceAllString(text, "(…)") }

// firstDifference returns the lines around the first one that differs.
func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	at := 0
	for at < len(w) && at < len(g) && w[at] == g[at] {
		at++
	}
	return fmt.Sprintf("line %d\nthe document:\n%s\nthe program:\n%s", at+1, strings.Join(around(w, at), "\n"), strings.Join(around(g, at), "\n"))
}

func around(lines []string, at int) []string {
	return lines[max(0, at-2):min(len(lines), at+12)]
}

// reading is one document being read by someone who types its examples.
type reading struct {
	t     *testing.T
	dir   string // where the commands run
	state string // what the shell keeps between commands
	now   time.Time
	typed []string
	seen  map[string]int
}

func newReading(t *testing.T) *reading {
	dir := t.TempDir()
	data, err := filepath.Abs("../../testdata")
	if err == nil {
		err = os.Symlink(data, filepath.Join(dir, "testdata"))
	}
	if err != nil {
		t.Fatal(err)
	}
	r := &reading{t: t, dir: dir, state: t.TempDir(), now: time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC), seen: map[string]int{}}
	r.keep("cwd", dir)
	r.keep("env", "")
	return r
}

func (r *reading) keep(name, text string) {
	if err := os.WriteFile(filepath.Join(r.state, name), []byte(text), 0o600); err != nil {
		r.t.Fatal(err)
	}
}

var (
	atComment    = regexp.MustCompile(`^<!-- at (\d{4}-\d\d-\d\d \d\d:\d\d) -->$`)
	typesComment = regexp.MustCompile(`^<!-- types: (.*) -->$`)
)

// play returns the document with the output that its examples have now.
func (r *reading) play(text string) string {
	var out []string
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		if m := atComment.FindStringSubmatch(lines[i]); m != nil {
			now, err := time.Parse("2006-01-02 15:04", m[1])
			if err != nil || now.Before(r.now) {
				r.t.Fatalf("line %d: %q does not follow %s", i+1, m[1], r.now)
			}
			r.now = now
		}
		if m := typesComment.FindStringSubmatch(lines[i]); m != nil {
			r.typed = strings.Split(m[1], " | ")
		}
		if lines[i] != "```console" {
			continue
		}
		var block []string
		for i++; i < len(lines) && lines[i] != "```"; i++ {
			block = append(block, lines[i])
		}
		out = append(append(out, r.playBlock(block)...), "```")
	}
	return strings.Join(out, "\n")
}

// playBlock runs the commands of a block: lines that begin with "$ ", and those
// with "> " that go on from them.
func (r *reading) playBlock(block []string) []string {
	var out []string
	for i := 0; i < len(block); i++ {
		command, ok := strings.CutPrefix(block[i], "$ ")
		if !ok {
			continue // output of before
		}
		out = append(out, block[i])
		for i+1 < len(block) && strings.HasPrefix(block[i+1], "> ") && strings.HasSuffix(command, "\\") {
			i++
			out = append(out, block[i])
			command += "\n" + block[i][2:]
		}
		if said := r.run(command); said != "" {
			out = append(out, strings.Split(strings.TrimRight(said, "\n"), "\n")...)
		}
	}
	return out
}

// run runs one command in a shell that remembers the folder, the environment and
// the exit code of the one before.
func (r *reading) run(command string) string {
	r.now = r.now.Add(time.Minute)
	r.seen[command]++
	script := `. "$S/env"; cd "$(cat "$S/cwd")"; (exit "$(cat "$S/code" 2>/dev/null || echo 0)")
` + command + `
code=$?; echo $code >"$S/code"; pwd >"$S/cwd"; export -p | grep PULK_ | grep -v PULK_TEST_ >"$S/env"; exit $code`
	shell := exec.Command("sh", "-c", script)
	shell.Dir = r.dir
	shell.Env = append(os.Environ(), "S="+r.state, envNow+"="+r.now.Format(time.RFC3339), fmt.Sprintf("%s=%s %d", envSeed, command, r.seen[command]))
	if len(r.typed) > 0 {
		r.keep("typed", strings.Join(r.typed, "\n")+"\n")
		shell.Env = append(shell.Env, envTypes+"="+filepath.Join(r.state, "typed"))
		r.typed = nil
	}
	said, err := shell.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		r.t.Fatalf("%s: %v", command, err)
	}
	if exit != nil && exit.ExitCode() > exitRefused {
		r.t.Errorf("%s: exit code %d\n%s", command, exit.ExitCode(), said)
	}
	return string(said)
}

var relativeLink = regexp.MustCompile(`\]\(([^)#:]+)?(#[^)]*)?\)`)

// TestLinks follows every link from one document to another, and to its headings.
func TestLinks(t *testing.T) {
	var documents []string
	for _, pattern := range []string{"../../*.md", "../../docs/*.md", "../../docs/decisions/*.md", "../../testdata/*.md"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		documents = append(documents, found...)
	}
	followed := 0
	for _, from := range documents {
		text, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range relativeLink.FindAllStringSubmatch(string(text), -1) {
			to := from
			if m[1] != "" {
				to = filepath.Join(filepath.Dir(from), m[1])
			}
			target, err := os.ReadFile(to)
			if info, statErr := os.Stat(to); err != nil && (statErr != nil || !info.IsDir()) {
				t.Errorf("%s links to %s, which is not there", from, m[1])
				continue
			}
			if m[2] != "" && !slices.Contains(anchors(string(target)), m[2]) {
				t.Errorf("%s links to %s%s: there is no such heading", from, m[1], m[2])
			}
			followed++
		}
	}
	if followed < 15 {
		t.Errorf("only %d links found", followed)
	}
}

// anchors returns the names of a document's headings, as links give them.
func anchors(text string) []string {
	var list []string
	for line := range strings.Lines(text) {
		heading, found := strings.CutPrefix(strings.TrimLeft(line, "#"), " ")
		if !found || !strings.HasPrefix(line, "#") {
			continue
		}
		name := strings.Map(func(r rune) rune {
			switch {
			case r == ' ':
				return '-'
			case r == '-' || r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r):
				return unicode.ToLower(r)
			}
			return -1
		}, strings.TrimSpace(heading))
		list = append(list, "#"+name)
	}
	return list
}
