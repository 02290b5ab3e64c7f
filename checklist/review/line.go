// Package review is the rules of readiness reviews: the list of what must be true
// before a step that cannot be undone, how each line of it stands, and who must give
// a go.
//
// A line is a check, which a program works out from data, or a question, which people
// answer. What depends on a clock, or on data that not every site has, is worked out
// once and kept as a [Fact] with its words; nothing here works it out again. So how a
// review stands follows from the facts, answers and waivers alone, the same at every
// site that has them. Start at [Book.Lines]. The checks are told by [Checks].
//
// Everything here is pure. Who signed what, and whether that holds, is the matter of
// package run, whose gates ask this package.
package review

import (
	"slices"
	"strings"
	"time"

	"pulk/checklist/procedure"
	"pulk/sync/clock"
)

// Outcome is how a check came out, or an answer. The numbers are on the wire.
type Outcome int64

// The outcomes. A number that is none of these counts as not known.
const (
	OK       Outcome = 0
	NotOK    Outcome = 1
	NotKnown Outcome = 2
)

func (o Outcome) String() string {
	switch o {
	case OK:
		return "ok"
	case NotOK:
		return "NOT OK"
	}
	return "not known"
}

// Key names a line: a check by its name, a question of the procedure by its id with
// [QuestionMark] before it, or a question that somebody asked by the change that
// asked it.
type Key struct {
	Name  string
	Asked clock.Dot
}

// QuestionMark stands before the id of a question of the procedure in a [Key].
const QuestionMark = "?"

// Fact is one word on a line: how a check came out, or an answer.
type Fact struct {
	Key     Key
	Dot     clock.Dot
	Ctx     clock.Context // what its author knew
	Outcome Outcome
	Text    string    // the facts, or the answer, in words
	Source  string    // where the facts come from; empty for answers
	Until   time.Time // how long it may be relied on; zero where time changes nothing
}

// Question is one that somebody asked in the review.
type Question struct {
	Dot  clock.Dot
	Text string
}

// Waiver is somebody's wish to go on though a line is not ok, that others granted who
// may. It has the grants that are to be believed, at least one, and no others.
type Waiver struct {
	Key    Key
	Dot    clock.Dot
	Ctx    clock.Context
	Person clock.Dot
	Reason string
	Risk   string
	Grants []Grant
}

// Grant is a second person's yes to a waiver.
type Grant struct {
	Dot    clock.Dot
	Ctx    clock.Context
	Person clock.Dot
}

// Book is all that was said in the review of one hold point, as some reader has it.
// What was voided is left out.
type Book struct {
	Form    *procedure.Review
	Facts   []Fact // checks, and answers by people who may answer
	Asked   []Question
	Waivers []Waiver
}

// Line is one line of a review, and how it stands.
type Line struct {
	Key     Key
	Text    string  // of a question; empty for a check
	Role    string  // who may answer it; empty for a check, or where anyone may
	Outcome Outcome // the worst of Last; not known where there is none
	// Last are the words on it that no other had seen, in the order of their dots:
	// several where people had not heard of each other.
	Last []Fact
	// Waived is the waiver that covers it, where it is not ok; or nil.
	Waived *Waiver
}

// Clear reports whether a line stands in nobody's way.
func (l *Line) Clear() bool { return l.Outcome == OK || l.Waived != nil }

// State says in a word or two how a line stands.
func (l *Line) State() string {
	if l.Outcome != OK && l.Waived != nil {
		return "waived"
	}
	return l.Outcome.String()
}

// Question reports whether people answer the line.
func (l *Line) Question() bool {
	return !l.Key.Asked.IsZero() || strings.HasPrefix(l.Key.Name, QuestionMark)
}

// Lines returns the lines: checks in the order of [Checks], those that this program
// does not know after them by name; then the questions of the procedure; then those
// that were asked, by their dots. A check has a line once a fact of it is there.
func (b *Book) Lines() []Line {
	var lines []Line
	for _, name := range b.checkNames() {
		lines = append(lines, b.line(Line{Key: Key{Name: name}}))
	}
	for _, q := range b.Form.Questions {
		lines = append(lines, b.line(Line{Key: Key{Name: QuestionMark + q.ID}, Text: q.Text, Role: q.Role}))
	}
	for _, q := range b.Asked {
		lines = append(lines, b.line(Line{Key: Key{Asked: q.Dot}, Text: q.Text}))
	}
	return lines
}

func (b *Book) checkNames() []string {
	var known, others []string
	for _, check := range Checks() {
		if slices.ContainsFunc(b.Facts, func(f Fact) bool { return f.Key == Key{Name: check.Name()} }) {
			known = append(known, check.Name())
		}
	}
	for _, f := range b.Facts {
		name := f.Key.Name
		if name != "" && !strings.HasPrefix(name, QuestionMark) && !slices.Contains(known, name) && !slices.Contains(others, name) {
			others = append(others, name)
		}
	}
	slices.Sort(others)
	return append(known, others...)
}

// line fills in how a line stands.
func (b *Book) line(l Line) Line {
	l.Last = b.last(l.Key)
	l.Outcome = NotKnown
	for i, f := range l.Last {
		if i == 0 || worse(f.Outcome, l.Outcome) {
			l.Outcome = f.Outcome
		}
	}
	if l.Outcome != OK {
		l.Waived = b.waiver(&l)
	}
	return l
}

// last returns the words on a line that no other word on it had seen.
func (b *Book) last(key Key) []Fact {
	var all []Fact
	for _, f := range b.Facts {
		if f.Key == key {
			all = append(all, f)
		}
	}
	list := slices.DeleteFunc(slices.Clone(all), func(f Fact) bool {
		return slices.ContainsFunc(all, func(other Fact) bool { return other.Ctx.Has(f.Dot) })
	})
	slices.SortFunc(list, func(x, y Fact) int { return x.Dot.Compare(y.Dot) })
	return list
}

// worse orders outcomes from ok over not known, and what is not understood, to not ok.
func worse(a, b Outcome) bool {
	rank := func(o Outcome) int {
		switch o {
		case OK:
			return 0
		case NotOK:
			return 2
		}
		return 1
	}
	return rank(a) > rank(b)
}

// waiver returns the first waiver that covers a line: who asked
// and who granted had both seen every word that speaks against the line.
func (b *Book) waiver(l *Line) *Waiver {
	if _, never := NotWaived(l.Key.Name); never {
		return nil
	}
	for i := range b.Waivers {
		if w := &b.Waivers[i]; w.Key == l.Key && !slices.ContainsFunc(l.Last, func(f Fact) bool { return f.Outcome != OK && !w.saw(f.Dot) }) {
			return w
		}
	}
	return nil
}

// Covers reports whether some waiver of a line was asked for and granted by people who
// had seen a change that speaks against it.
func (b *Book) Covers(key Key, against clock.Dot) bool {
	return slices.ContainsFunc(b.Waivers, func(w Waiver) bool { return w.Key == key && w.saw(against) })
}

// saw reports whether who asked for a waiver and someone who granted it had seen a
// change.
func (w *Waiver) saw(d clock.Dot) bool {
	return w.Ctx.Has(d) && slices.ContainsFunc(w.Grants, func(g Grant) bool { return g.Ctx.Has(d) })
}

// Name returns how people name the line: a check by its name, a question of the
// procedure by its id; one that was asked is named by whoever can name a change.
func (l *Line) Name() string { return strings.TrimPrefix(l.Key.Name, QuestionMark) }

// Words say how a line stands, with the facts.
func (l *Line) Words() string {
	what := l.Name()
	if l.Question() {
		what = strings.TrimSpace(what + " " + quoted(l.Text))
	}
	text := what + ": " + l.State()
	if facts := l.Facts(); facts != "" {
		text += ": " + facts
	}
	return text
}

func quoted(text string) string { return `"` + text + `"` }

// Facts returns the facts of a line in words, those of several sites one after the
// other; of a question that nobody answered, that.
func (l *Line) Facts() string {
	var texts []string
	for _, f := range l.Last {
		if !slices.Contains(texts, f.Text) {
			texts = append(texts, f.Text)
		}
	}
	if len(l.Last) == 0 && l.Question() {
		return "nobody has answered"
	}
	return strings.Join(texts, " / ")
}
