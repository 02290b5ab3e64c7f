package bundle_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"pulk/schema/kind"
	"pulk/sync/bundle/daytest"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// linkDays are two standard days, of which the second is sent.
func linkDays() (yesterday, today []*change.Set) {
	sets := daytest.Days(daySeed, 2)
	first := sets[0].At.Time().Truncate(24 * time.Hour)
	cut := slices.IndexFunc(sets, func(s *change.Set) bool { return !s.At.Time().Truncate(24 * time.Hour).Equal(first) })
	return sets[:cut], sets[cut:]
}

// news returns about n changes that are to be sent, and all that the other side has
// already: a whole day after another, or some of the middle of a day. One change is
// the first check-off there, as it may go out alone.
func news(n int) (history, sets []*change.Set) {
	yesterday, today := linkDays()
	if n >= 2000 {
		return yesterday, today
	}
	from := 800
	if n == 1 {
		for today[from].Changes[0].Kind != kind.StepCheck.ID || len(today[from].Seen) > 0 {
			from++
		}
	}
	to := from + 1
	for changesOf(today[from:to]) < n {
		to++
	}
	return append(slices.Clone(yesterday), today[:from]...), today[from:to]
}

// shortJSON writes an object for each change as a person would design it who knows
// that it goes over a thin link: no id of its own, as its place says it; other
// entities by short names, alike on both sides; milliseconds.
func shortJSON(tb testing.TB, names *shortNames, sets []*change.Set) []byte {
	var buf bytes.Buffer
	for _, set := range sets {
		for i := range set.Changes {
			buf.Write(shortLine(tb, names, set, i))
		}
	}
	return buf.Bytes()
}

func shortLine(tb testing.TB, names *shortNames, set *change.Set, i int) []byte {
	c := &set.Changes[i]
	k := kind.Lookup(c.Kind)
	fields := [][2]any{{"kind", k.Name}, {"at", set.At.Millis()}, {"by", names.of(set.Person)}}
	for j, column := range k.Columns {
		value := jsonValue(column, c.Values[j], names.of)
		if value == nil || value == "" {
			continue
		}
		fields = append(fields, [2]any{column.Name, value})
	}
	var buf bytes.Buffer
	for j, field := range fields {
		value, err := json.Marshal(field[1])
		if err != nil {
			tb.Fatal(err)
		}
		fmt.Fprintf(&buf, "%c%q:%s", ",{"[min(1, max(0, 1-j))], field[0], value)
	}
	return append(buf.Bytes(), "}\n"...)
}

// shortNames numbers entities in the order in which they are first named.
type shortNames struct{ numbers map[clock.Dot]string }

func newShortNames() *shortNames { return &shortNames{map[clock.Dot]string{}} }

func (n *shortNames) of(d clock.Dot) string {
	if d.IsZero() {
		return ""
	}
	if _, ok := n.numbers[d]; !ok {
		n.numbers[d] = fmt.Sprintf("e%d", len(n.numbers))
	}
	return n.numbers[d]
}

// zstdAfter packs p as zstd best does for somebody who has history already: as a
// dictionary, or without, whichever is smaller.
func zstdAfter(tb testing.TB, history, p []byte) []byte {
	plain := zstdBest(tb, p)
	w, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithEncoderCRC(false), zstd.WithWindowSize(8<<20),
		zstd.WithEncoderDictRaw(1, history))
	if err != nil {
		tb.Fatal(err)
	}
	if with := w.EncodeAll(p, nil); len(with) < len(plain) {
		return with
	}
	return plain
}

// rival is a general way to send facts that somebody who has a history lacks. It
// returns false where a tool that it needs is missing.
type rival struct {
	name string
	size func(tb testing.TB, history, sets []*change.Set) (int, bool)
}

var rivals = []rival{
	{"json-zstd", func(tb testing.TB, _, sets []*change.Set) (int, bool) {
		return len(zstdBest(tb, asJSON(tb, sets))), true
	}},
	{"short-json-zstd", func(tb testing.TB, history, sets []*change.Set) (int, bool) {
		names := newShortNames()
		return len(zstdAfter(tb, shortJSON(tb, names, history), shortJSON(tb, names, sets))), true
	}},
	{"changeset-zstd", func(tb testing.TB, history, sets []*change.Set) (int, bool) {
		program, ok := changesetProgram(tb)
		if !ok {
			return 0, false
		}
		before, after := changesets(tb, program, history, sets)
		return len(zstdAfter(tb, before, after)), true
	}},
	{"git-bundle", gitBundle},
}

// changesetProgram builds testdata/changeset.c with the SQLite that the program
// itself uses, once.
func changesetProgram(tb testing.TB) (string, bool) {
	tb.Helper()
	if builtChangeset != "" {
		return builtChangeset, true
	}
	gcc, err := exec.LookPath("gcc")
	if err != nil {
		tb.Log("gcc is not installed: SQLite changesets are not measured")
		return "", false
	}
	source, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/mattn/go-sqlite3").Output()
	if err != nil {
		tb.Fatalf("go list: %v", err)
	}
	folder, err := os.MkdirTemp("", "pulk-changeset-")
	if err != nil {
		tb.Fatal(err)
	}
	path, dir := filepath.Join(folder, "changeset"), strings.TrimSpace(string(source))
	out, err := exec.Command(gcc, "-O0", "-w", "-DSQLITE_ENABLE_SESSION", "-DSQLITE_ENABLE_PREUPDATE_HOOK", "-DSQLITE_THREADSAFE=0", "-DSQLITE_OMIT_LOAD_EXTENSION",
		"-I", dir, "-o", path, "testdata/changeset.c", "-lm").CombinedOutput()
	if err != nil {
		tb.Fatalf("gcc: %v\n%s", err, out)
	}
	builtChangeset = path
	tb.Cleanup(func() {
		builtChangeset = ""
		os.RemoveAll(folder)
	})
	return path, true
}

// builtChangeset is there until the test or benchmark that asked for it first ends.
var builtChangeset string

// changesets returns the changesets, as the session extension makes them, of a
// history and of what came after it.
func changesets(tb testing.TB, program string, history, sets []*change.Set) (before, after []byte) {
	var script bytes.Buffer
	script.WriteString(sqlSchema())
	script.WriteString("\x01")
	numbers := &rowNumbers{map[clock.Dot]int64{}}
	script.WriteString(sqlInserts(numbers, history))
	script.WriteString("\x01")
	script.WriteString(sqlInserts(numbers, sets))
	cmd := exec.Command(program)
	cmd.Stdin = &script
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		tb.Fatalf("changeset: %v", err)
	}
	text, rest, _ := bytes.Cut(out, []byte("\n"))
	var first, second int
	if _, err := fmt.Sscan(string(text), &first, &second); err != nil || len(rest) != first+second {
		tb.Fatalf("changeset: %q and %d bytes: %v", text, len(rest), err)
	}
	return rest[:first], rest[first:]
}

// sqlSchema has a table for each kind, with the kind's columns. A row's key is one
// whole number, of which the upper bits are the site's: rows of several sites can be
// put together, and no key is shorter.
func sqlSchema() string {
	var text strings.Builder
	for _, k := range kind.All() {
		fmt.Fprintf(&text, "CREATE TABLE %q (row_id INTEGER PRIMARY KEY, written_at INTEGER, written_by INTEGER", k.Name)
		for _, column := range k.Columns {
			fmt.Fprintf(&text, ", %q", column.Name)
		}
		text.WriteString(");\n")
	}
	return text.String()
}

// rowNumbers gives every entity its row.
type rowNumbers struct{ of map[clock.Dot]int64 }

func (n *rowNumbers) text(d clock.Dot) string {
	if d.IsZero() {
		return "NULL"
	}
	if _, ok := n.of[d]; !ok {
		n.of[d] = int64(d.Site&0xf)<<32 + int64(len(n.of)) + 1
	}
	return fmt.Sprint(n.of[d])
}

func sqlInserts(numbers *rowNumbers, sets []*change.Set) string {
	var text strings.Builder
	for _, set := range sets {
		for i, c := range set.Changes {
			k := kind.Lookup(c.Kind)
			fmt.Fprintf(&text, "INSERT INTO %q VALUES (%s, %d, %s", k.Name, numbers.text(set.ID(i)), set.At.Millis(), numbers.text(set.Person))
			for j, column := range k.Columns {
				text.WriteString(", " + sqlValue(numbers, column.Type, c.Values[j]))
			}
			text.WriteString(");\n")
		}
	}
	return text.String()
}

func sqlValue(numbers *rowNumbers, t kind.Type, v change.Value) string {
	switch {
	case t == kind.Ref:
		return numbers.text(v.Ref)
	case t == kind.Decimal:
		return "'" + v.Decimal().String() + "'" // text keeps the digits as written
	case t == kind.Bytes:
		return "x'" + hex.EncodeToString([]byte(v.Text)) + "'"
	case t == kind.Text && v.Text == "":
		return "NULL"
	case t == kind.Text:
		return "'" + strings.ReplaceAll(v.Text, "'", "''") + "'"
	}
	return fmt.Sprint(v.Num)
}

// gitFiles are ways to lay lines into files: all in one, one a day, one a day and
// person, one for each run (and one for what belongs to none).
var gitFiles = []func(names *shortNames, set *change.Set, c *change.Change) string{
	func(*shortNames, *change.Set, *change.Change) string { return "log" },
	func(_ *shortNames, set *change.Set, _ *change.Change) string {
		return set.At.Time().Format("2006-01-02")
	},
	func(names *shortNames, set *change.Set, _ *change.Change) string {
		return set.At.Time().Format("2006-01-02-") + names.of(set.Person)
	},
	func(names *shortNames, _ *change.Set, c *change.Change) string {
		for i, column := range kind.Lookup(c.Kind).Columns {
			if column.Name == "run" {
				return "run-" + names.of(c.Values[i].Ref)
			}
		}
		return "other"
	},
}

// gitBundle commits the history, then the news, as lines of short JSON in files, and
// returns the smallest of the bundles of the second commit, which rely on the first.
func gitBundle(tb testing.TB, history, sets []*change.Set) (int, bool) {
	if _, err := exec.LookPath("git"); err != nil {
		tb.Log("git is not installed: git bundle is not measured")
		return 0, false
	}
	best := 0
	for _, file := range gitFiles {
		folder := tb.TempDir()
		git := func(args ...string) {
			cmd := exec.Command("git", append([]string{"-C", folder, "-c", "core.compression=9", "-c", "pack.compression=9", "-c", "pack.window=250", "-c", "pack.depth=250", "-c", "gc.auto=0"}, args...)...)
			at := history[len(history)-1].At.Time().Format(time.RFC3339)
			cmd.Env = append(os.Environ(), "GIT_CONFIG_GLOBAL=/dev/null", "GIT_CONFIG_SYSTEM=/dev/null", "GIT_AUTHOR_NAME=stn", "GIT_AUTHOR_EMAIL=stn", "GIT_COMMITTER_NAME=stn", "GIT_COMMITTER_EMAIL=stn",
				"GIT_AUTHOR_DATE="+at, "GIT_COMMITTER_DATE="+at)
			if out, err := cmd.CombinedOutput(); err != nil {
				tb.Fatalf("git %s: %v\n%s", strings.Join(args, " "), err, out)
			}
		}
		git("init", "-q", "-b", "main")
		names := newShortNames()
		for i, part := range [][]*change.Set{history, sets} {
			gitAppend(tb, folder, names, part, file)
			git("add", ".")
			git("commit", "-q", "-m", "day")
			git("tag", fmt.Sprintf("t%d", i))
		}
		git("bundle", "create", "-q", "news", "t0..main")
		info, err := os.Stat(filepath.Join(folder, "news"))
		if err != nil {
			tb.Fatal(err)
		}
		if size := int(info.Size()); best == 0 || size < best {
			best = size
		}
	}
	return best, true
}

func gitAppend(tb testing.TB, folder string, names *shortNames, sets []*change.Set, file func(*shortNames, *change.Set, *change.Change) string) {
	texts := map[string][]byte{}
	for _, set := range sets {
		for i := range set.Changes {
			name := file(names, set, &set.Changes[i])
			texts[name] = append(texts[name], shortLine(tb, names, set, i)...)
		}
	}
	for name, text := range texts {
		path := filepath.Join(folder, name)
		have, _ := os.ReadFile(path)
		if err := os.WriteFile(path, append(have, text...), 0o666); err != nil {
			tb.Fatal(err)
		}
	}
}
