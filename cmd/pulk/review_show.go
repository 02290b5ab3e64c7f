package main

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/review"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// reviewRow is a readiness review of --json.
type reviewRow struct {
	ID      string   `json:"id"` // RUN:STEP
	Run     string   `json:"run"`
	Title   string   `json:"title"`
	Step    string   `json:"step"`
	Opened  string   `json:"opened_at"` // the last time; empty where it was not
	Go      bool     `json:"go"`
	Open    int      `json:"lines_open"` // neither ok nor waived
	Lines   int      `json:"lines"`
	Missing []string `json:"roles_without_go"` // of another person each
	Because []string `json:"not_go_because"`

	noGo []string // of those, what is about no line
}

// reviewDetail is pulk review show --json.
type reviewDetail struct {
	reviewRow
	LineRows  []reviewLineRow   `json:"line_list"`
	Waivers   []waiverRow       `json:"waivers"` // all that were ever asked for
	Decisions []reviewDecideRow `json:"decisions"`
}

// reviewLineRow is a line of a review.
type reviewLineRow struct {
	Line     string          `json:"line"`     // the check's name, or the question's id
	Question string          `json:"question"` // its text; empty for a check
	Role     string          `json:"role"`     // who may answer; empty: anyone, or a check
	About    string          `json:"about"`    // what a check asks; empty for a question
	State    string          `json:"state"`    // ok, NOT OK, not known, waived
	Outcome  string          `json:"outcome"`  // the same, as if nothing had been waived
	Waiver   string          `json:"waiver"`   // its id, or empty
	Facts    []reviewFactRow `json:"facts"`    // those that no other had seen; several where sites had not heard of each other
}

// reviewFactRow is how a check came out, or an answer.
type reviewFactRow struct {
	ID      string `json:"id"`
	Outcome string `json:"outcome"`
	Facts   string `json:"facts"`
	Source  string `json:"source"`
	Until   string `json:"until"` // how long it may be relied on; empty where time changes nothing
	At      string `json:"at"`
	Person  string `json:"person"`
}

// waiverRow is a waiver.
type waiverRow struct {
	ID       string `json:"id"`
	Run      string `json:"run"`
	Step     string `json:"step"`
	Line     string `json:"line"`
	Reason   string `json:"reason"`
	Risk     string `json:"risk"`
	AskedBy  string `json:"asked_by"`
	AskedAt  string `json:"asked_at"`
	Granted  bool   `json:"granted"` // as it must be
	By       string `json:"granted_by"`
	ByRole   string `json:"granted_as"`
	At       string `json:"granted_at"`
	Standing string `json:"standing"` // granted, asked for, or why it does not count
}

// reviewDecideRow is a go or no-go.
type reviewDecideRow struct {
	signOffRow
	Role string `json:"role"`
	Text string `json:"text"`
}

// reviewRowOf tells of the review of a hold point.
func reviewRowOf(tx *changelog.Tx, s *run.State, n int) reviewRow {
	rv := s.Steps[n].Gate.Review
	row := reviewRow{ID: reviewName(tx, s, n), Run: tx.Name(s.Run), Title: s.Title, Step: s.Steps[n].Step.ID, Go: rv.Go, Lines: len(rv.Lines),
		Missing: append([]string{}, rv.Missing...), Because: append([]string{}, rv.Shut...), noGo: rv.NoGo}
	if k := len(rv.Opened); k > 0 {
		row.Opened = *jsonTime(rv.Opened[k-1].At.Time())
	}
	for i := range rv.Lines {
		if !rv.Lines[i].Clear() {
			row.Open++
		}
	}
	return row
}

// state says in a few words how a review stands.
func (row *reviewRow) state() string {
	switch {
	case row.Opened == "":
		return "not opened"
	case row.Go:
		return "GO"
	case row.Open > 0:
		return plural(row.Open, "line", "lines") + " open"
	}
	return "waits for a go"
}

func reviewDetailOf(tx *changelog.Tx, s *run.State, n int) (reviewDetail, error) {
	rv := s.Steps[n].Gate.Review
	d := reviewDetail{reviewRow: reviewRowOf(tx, s, n), LineRows: []reviewLineRow{}, Waivers: []waiverRow{}, Decisions: []reviewDecideRow{}}
	for i := range rv.Lines {
		row, err := reviewLineOf(tx, s, &rv.Lines[i])
		if err != nil {
			return d, err
		}
		d.LineRows = append(d.LineRows, row)
	}
	var err error
	if d.Waivers, err = waiverRows(tx, s, rv.Waivers); err != nil {
		return d, err
	}
	for _, so := range rv.Decisions {
		row, err := signOffRowOf(tx, so)
		if err != nil {
			return d, err
		}
		if so.Entry.Verdict != run.Go {
			row.Verdict = "no-go"
		}
		d.Decisions = append(d.Decisions, reviewDecideRow{row, so.Entry.Role, so.Entry.Text})
	}
	return d, nil
}

func reviewLineOf(tx *changelog.Tx, s *run.State, l *review.Line) (reviewLineRow, error) {
	row := reviewLineRow{Line: l.Name(), Question: l.Text, Role: l.Role, State: l.State(), Outcome: l.Outcome.String(), Facts: []reviewFactRow{}}
	if !l.Key.Asked.IsZero() {
		row.Line = tx.Name(l.Key.Asked)
	}
	if check := review.CheckByName(l.Key.Name); check != nil {
		row.About = check.About()
	}
	if l.Waived != nil {
		row.Waiver = tx.Name(l.Waived.Dot)
	}
	for _, f := range l.Last {
		info, err := tx.Info(f.Dot)
		if err != nil {
			return row, err
		}
		person, err := crew.Label(tx, info.Person)
		if err != nil {
			return row, err
		}
		fact := reviewFactRow{ID: tx.Name(f.Dot), Outcome: f.Outcome.String(), Facts: f.Text, Source: f.Source, At: *jsonTime(info.At.Time()), Person: person}
		if !f.Until.IsZero() {
			fact.Until = *jsonTime(f.Until)
		}
		row.Facts = append(row.Facts, fact)
	}
	return row, nil
}

// waiverRows tells of waivers.
func waiverRows(tx *changelog.Tx, s *run.State, waivers []run.Waiver) ([]waiverRow, error) {
	rows := []waiverRow{}
	for _, w := range waivers {
		row := waiverRow{ID: tx.Name(w.Entry.Dot), Run: tx.Name(s.Run), Step: s.StepName(w.Entry), Line: lineText(s, w.Entry), Reason: w.Entry.Text, Risk: w.Entry.Risk,
			AskedAt: *jsonTime(w.Entry.At.Time()), Granted: w.Stands, Standing: "asked for"}
		var err error
		if row.AskedBy, err = crew.Label(tx, w.Entry.Person); err != nil {
			return nil, err
		}
		for _, g := range w.Grants {
			if !row.Granted || g.Standing == run.Holds {
				row.At, row.ByRole, row.Standing = *jsonTime(g.Entry.At.Time()), g.Entry.Role, "the grant does not count: "+string(g.Standing)
				if row.By, err = crew.Label(tx, g.Entry.Person); err != nil {
					return nil, err
				}
			}
		}
		switch {
		case row.Granted:
			row.Standing = "granted"
		case w.Standing != run.Holds:
			row.Standing = string(w.Standing)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// words say all of a waiver.
func (row *waiverRow) words() string {
	text := fmt.Sprintf("run %s step %s, %s: %s; risk: %s. Asked for by %s %s", row.Run, row.Step, row.Line, row.Reason, row.Risk, row.AskedBy, row.AskedAt)
	if row.By != "" {
		text += fmt.Sprintf(", granted by %s as %s %s", row.By, row.ByRole, row.At)
	}
	if !row.Granted {
		text += ". Does not count: " + row.Standing
	}
	return text + " [" + row.ID + "]"
}

func (c *call) reviewList() error {
	return c.view(func(tx *changelog.Tx) error {
		runs, err := run.Unended(tx)
		if c.Bool("all") && err == nil {
			runs, err = run.List(tx)
		}
		if err != nil {
			return err
		}
		rows, rd := []reviewRow{}, run.NewReader(tx)
		t := newTable("review", "run", "state", "no go yet")
		for _, summary := range runs {
			list, err := reviewsOf(tx, rd, summary)
			if err != nil {
				return err
			}
			for _, row := range list {
				rows = append(rows, row)
				t.add(row.ID, row.Title, row.state(), strings.Join(row.Missing, ", "))
			}
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No hold point of a run that goes on asks for a readiness review.")
		return nil
	})
}

// reviewsOf tells of the reviews that a run's hold points ask for.
func reviewsOf(tx *changelog.Tx, rd *run.Reader, summary run.Summary) ([]reviewRow, error) {
	revision, err := run.RevisionNow(tx, summary)
	if err != nil {
		return nil, err
	}
	p, err := rd.Procedure(revision)
	if err != nil || p == nil || !p.Reviewed() {
		return nil, err
	}
	record, err := rd.Load(summary.ID)
	if err != nil {
		return nil, err
	}
	s := run.Evaluate(record)
	var rows []reviewRow
	for n := range s.Steps {
		if s.Steps[n].Step.Review != nil {
			rows = append(rows, reviewRowOf(tx, s, n))
		}
	}
	return rows, nil
}

func (c *call) reviewShow() error {
	return c.view(func(tx *changelog.Tx) error {
		d, err := reviewByName(tx, c.Args().First())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(d)
		}
		c.printReview(&d, false)
		return nil
	})
}

// reviewByName tells of the review that people name RUN or RUN:STEP.
func reviewByName(tx *changelog.Tx, name string) (reviewDetail, error) {
	runName, step, _ := strings.Cut(name, ":")
	id, err := tx.ParseName(runName)
	if err != nil {
		return reviewDetail{}, fault.Misuse("see: pulk review list", "%s", err)
	}
	record, err := run.Load(tx, id)
	if err != nil {
		return reviewDetail{}, noRun(err)
	}
	s := run.Evaluate(record)
	n, err := s.ReviewedStep(step)
	if err != nil {
		return reviewDetail{}, err
	}
	return reviewDetailOf(tx, s, n)
}

// printReviewOf prints a review after something was done in it; brief leaves out the
// lines that are ok.
func (c *call) printReviewOf(name string, brief bool) error {
	return c.view(func(tx *changelog.Tx) error {
		d, err := reviewByName(tx, name)
		if err == nil {
			c.printReview(&d, brief)
		}
		return err
	})
}

func (c *call) printReview(d *reviewDetail, brief bool) {
	c.printf("readiness review %s: %s: %s\n", d.ID, d.Title, d.state())
	if d.Opened == "" {
		c.printf("next: pulk review open %s\n", d.ID)
		return
	}
	t := newTable("line", "state", "facts", "told")
	for _, row := range d.LineRows {
		if !brief || row.State != review.OK.String() {
			t.add(row.Line, row.State, row.facts(), row.told())
		}
	}
	if !brief || len(t.rows) > 0 {
		t.print(c.env, "no lines")
	}
	for _, w := range d.Waivers {
		c.printBlock("WAIVER ", w.words())
	}
	for _, row := range d.Decisions {
		c.printBlock("* ", row.words())
	}
	for _, reason := range d.noGo {
		c.printBlock("SHUT: ", reason)
	}
}

// facts says what is known of a line: the question, and the facts.
func (row *reviewLineRow) facts() string {
	var texts []string
	if row.Question != "" {
		texts = append(texts, row.Question)
	}
	for _, f := range row.Facts {
		text := f.Facts
		if slices.ContainsFunc(row.Facts, func(other reviewFactRow) bool { return other.Outcome != f.Outcome }) {
			text = f.Outcome + ": " + text
		}
		if f.Until != "" {
			text += ", until " + strings.TrimSuffix(f.Until, ":00Z") + "Z"
		}
		if text != "" && !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	if len(row.Facts) == 0 && row.Role != "" {
		texts = append(texts, "(for "+row.Role+")")
	}
	return strings.Join(texts, " / ")
}

// told says who told how a line stands.
func (row *reviewLineRow) told() string {
	var texts []string
	for _, f := range row.Facts {
		texts = append(texts, f.Person+" "+f.ID)
	}
	return strings.Join(texts, ", ")
}

// words say all of a go or no-go.
func (row *reviewDecideRow) words() string {
	text := fmt.Sprintf("%s as %s by %s %s: %s", row.Verdict, row.Role, row.Person, row.At, row.Standing)
	if row.Because != "" {
		text += ", by " + row.Because
	}
	return text + afterColon(row.Text)
}
