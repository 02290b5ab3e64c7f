package main

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func signWith(key ed25519.PrivateKey) func([]byte) []byte {
	return func(message []byte) []byte { return ed25519.Sign(key, message) }
}

// stepRow is a step of pulk run show --json.
type stepRow struct {
	Step    string     `json:"step"`
	Kind    string     `json:"kind"`
	Text    string     `json:"text"`
	Done    bool       `json:"done"`
	Blocked []string   `json:"blocked"`
	Entries []entryRow `json:"entries"`
	Spread  *spreadRow `json:"spread,omitempty"` // of the readings that count, where there are several
	Limits  *limitsRow `json:"limits,omitempty"` // of a reading whose limits are worked out: for whoever reads now
	Gate    *gateRow   `json:"gate,omitempty"`
	Cannot  bool       `json:"irreversible"`
	Outdoor bool       `json:"outdoor"`
	Heavy   bool       `json:"heavy"`
	Needs   []string   `json:"needs"`           // trainings and medical clearances
	Now     []string   `json:"conditions_now"`  // of a step outdoors that is open: why it must not be done now, and advice
	Earlier []entryRow `json:"earlier_entries"` // of another revision, in which the step was not the same: they do not count
}

// spreadRow says how far the readings of a step lie apart, in its unit. Each of them is
// judged, not their mean.
type spreadRow struct {
	Readings  int    `json:"readings"`
	Mean      string `json:"mean"`
	Range     string `json:"range"`
	Deviation string `json:"standard_deviation"` // with n - 1
	text      string
}

// entryRow is an entry about a step.
type entryRow struct {
	ID     string `json:"id"`
	What   string `json:"what"`
	At     string `json:"at"`
	Person string `json:"person"`
	Voided bool   `json:"voided"`
	// Revision is the revision that it was written on, where the run is on another now.
	Revision string `json:"revision,omitempty"`

	Reading *dayReading `json:"reading,omitempty"`
	Paper   *paperRow   `json:"paper,omitempty"` // if it was typed in from paper; at and person are then those of the typing

	Allowed *allowedRow `json:"allowed_by,omitempty"` // by what it was allowed, if the step asks for conditions
}

// paperRow is how an entry stood on a sheet of paper.
type paperRow struct {
	WrittenBy string `json:"written_by"`
	WrittenAt string `json:"written_at"` // YYYY-MM-DD or YYYY-MM-DDThh:mmZ; empty where the sheet does not say
	Answer    string `json:"answer"`
	Why       string `json:"why"` // why it was taken in where a rule of the work had stopped the deed
}

// paperRowOf tells how an entry stood on paper; nil where it did not.
func paperRowOf(tx *changelog.Tx, e *run.Entry) (*paperRow, error) {
	if e.Paper == nil {
		return nil, nil
	}
	row := &paperRow{WrittenBy: e.Paper.Name, WrittenAt: string(e.Paper.Written), Answer: e.Paper.Answer, Why: e.Paper.Why}
	if e.Paper.Writer.IsZero() {
		return row, nil
	}
	var err error
	row.WrittenBy, err = crew.Label(tx, e.Paper.Writer)
	return row, err
}

// paperText says of an entry that it stood on paper, to be put behind what it says.
func paperText(tx *changelog.Tx, e *run.Entry) (string, error) {
	row, err := paperRowOf(tx, e)
	if row == nil || err != nil {
		return "", err
	}
	text := " (from paper: " + row.WrittenBy
	if row.WrittenAt != "" {
		text += " " + e.Paper.Written.String()
	}
	if row.Why != "" {
		text += "; AGAINST A RULE: " + row.Why
	}
	return text + ")", nil
}

// gateRow is the state of a hold or witness point.
type gateRow struct {
	Open     bool         `json:"open"`
	Need     int          `json:"need"`
	Have     int          `json:"have"`
	Role     string       `json:"role"`
	Shut     []string     `json:"shut_because"`
	SignOffs []signOffRow `json:"sign_offs"`
	// Review is the readiness review that it needs, or null.
	Review *reviewDetail `json:"review"`
	// Risks are the conditional passes before it, whose risk a go takes.
	Risks []string `json:"conditional_passes"`
}

// signOffRow is one sign-off and whether it holds.
type signOffRow struct {
	ID       string `json:"id"`
	Person   string `json:"person"`
	Verdict  string `json:"verdict"`
	At       string `json:"at"`
	Standing string `json:"standing"`
	Because  string `json:"because"`
}

// runDetail is pulk run show --json.
type runDetail struct {
	runRow
	StepRows    []stepRow   `json:"step_list"`
	NCs         []string    `json:"nonconformances"`
	Notes       []entryRow  `json:"notes"`
	Attachments []attachRow `json:"attachments"` // of the run, its steps and its nonconformances
	Moves       []moveRow   `json:"moves"`       // from one revision to another
	Later       *laterRow   `json:"later_revision,omitempty"`
}

func (c *call) runShow() error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk run list", "%s", err)
		}
		detail, err := runDetailFor(tx, id, c.env.now())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(detail)
		}
		c.printRun(detail)
		return nil
	})
}

// runDetailFor tells of a run: of one whose start is not here yet, what is here.
func runDetailFor(tx *changelog.Tx, id clock.Dot, now time.Time) (runDetail, error) {
	record, err := run.Load(tx, id)
	if err == nil {
		return runDetailOf(tx, run.Evaluate(record), now)
	}
	if !errors.Is(err, run.ErrNotHere) {
		return runDetail{}, err
	}
	s, loadErr := run.Awaited(tx, id)
	if loadErr != nil {
		return runDetail{}, loadErr
	}
	if len(s.Entries) == 0 {
		return runDetail{}, noRun(err)
	}
	detail, err := runDetailOf(tx, s, now)
	detail.State, detail.StartedAt, detail.StartedBy = stateNotHere, "", ""
	return detail, err
}

// stateNotHere is the state of a run whose start is not here yet.
const stateNotHere = "not here yet"

func runDetailOf(tx *changelog.Tx, s *run.State, now time.Time) (runDetail, error) {
	row, err := runRowOf(tx, s)
	detail := runDetail{runRow: row, NCs: []string{}, Notes: []entryRow{}, StepRows: []stepRow{}}
	if err != nil {
		return detail, err
	}
	about := []clock.Dot{s.Run}
	for _, nc := range s.NCs {
		about = append(about, nc.Entry.Dot)
	}
	if detail.Attachments, err = attachedOf(tx, about...); err != nil {
		return detail, err
	}
	allowed, err := conditions.AllowedBy(tx, s.Run)
	if err != nil {
		return detail, err
	}
	for _, step := range s.Steps {
		sr, err := stepRowOf(tx, s, step)
		if err == nil {
			err = addConditions(tx, s, step, &sr, allowed, now)
		}
		if err != nil {
			return detail, err
		}
		detail.StepRows = append(detail.StepRows, sr)
	}
	if err := detail.addRevisions(tx, s); err != nil {
		return detail, err
	}
	for _, nc := range s.NCs {
		state := "OPEN"
		if !nc.Open {
			state = nc.Disposition.String()
		}
		detail.NCs = append(detail.NCs, fmt.Sprintf("%s %s: %s", tx.Name(nc.Entry.Dot), state, nc.Entry.Text))
	}
	for i := range s.Entries {
		e := &s.Entries[i]
		// Of a run whose start is not here no step is known: all entries are told here.
		if e.Kind != kind.RunNote && e.Kind != kind.RunEnd && (s.Procedure != nil || e.Kind == kind.NCRaise) {
			continue
		}
		er, err := entryRowOf(tx, s, e, false)
		if err != nil {
			return detail, err
		}
		if e.Step != run.NoStep && s.Procedure == nil {
			er.What = fmt.Sprintf("step %s: %s", s.StepName(e), er.What)
		}
		detail.Notes = append(detail.Notes, er)
	}
	return detail, nil
}

func stepRowOf(tx *changelog.Tx, s *run.State, step run.StepState) (stepRow, error) {
	row := stepRow{Step: step.Step.ID, Kind: string(step.Step.Kind), Text: step.Step.Text, Done: step.Done,
		Blocked: append([]string{}, step.Blocked...), Entries: []entryRow{}, Earlier: []entryRow{}, Cannot: step.Step.Irreversible}
	for _, e := range step.Earlier {
		er, err := entryRowOf(tx, s, e, false)
		if err != nil {
			return row, err
		}
		row.Earlier = append(row.Earlier, er)
	}
	for _, list := range []struct {
		entries []*run.Entry
		voided  bool
	}{{step.Entries, false}, {step.Voided, true}} {
		for _, e := range list.entries {
			er, err := entryRowOf(tx, s, e, list.voided)
			if err != nil {
				return row, err
			}
			row.Entries = append(row.Entries, er)
		}
	}
	if spread, ok := s.Spread(step.Number); ok {
		row.Spread = &spreadRow{spread.N, spread.Mean.String(), spread.Range.String(), spread.Deviation.String(), spreadText(spread, step.Step.Reading.Unit)}
	}
	row.Limits = limitsRowOf(s, step.Number)
	if step.Gate == nil {
		return row, nil
	}
	row.Gate = &gateRow{Open: step.Gate.Open, Need: step.Gate.Need, Have: step.Gate.Have, Role: step.Gate.Role,
		Shut: append([]string{}, step.Gate.Shut...), SignOffs: []signOffRow{}, Risks: risksOf(tx, s, step.Gate)}
	for _, so := range step.Gate.SignOffs {
		sr, err := signOffRowOf(tx, so)
		if err != nil {
			return row, err
		}
		row.Gate.SignOffs = append(row.Gate.SignOffs, sr)
	}
	if step.Gate.Review == nil {
		return row, nil
	}
	detail, err := reviewDetailOf(tx, s, step.Number)
	row.Gate.Review = &detail
	return row, err
}

func signOffRowOf(tx *changelog.Tx, so run.SignOff) (signOffRow, error) {
	person, err := crew.Label(tx, so.Entry.Person)
	sr := signOffRow{ID: tx.Name(so.Entry.Dot), Person: person, Verdict: so.Entry.Verdict.String(), At: *jsonTime(so.Entry.At.Time()), Standing: string(so.Standing)}
	if so.By != nil {
		sr.Because = fmt.Sprintf("%s (%s)", so.By.Why, tx.Name(so.By.Dot))
	}
	return sr, err
}

// risksOf says in words which conditional passes lie before a gate.
func risksOf(tx *changelog.Tx, s *run.State, gate *run.Gate) []string {
	risks := []string{}
	for _, e := range gate.Conditional {
		risks = append(risks, fmt.Sprintf("step %s: %s (%s)", s.Steps[e.Step].Step.ID, entryText(s, e), tx.Name(e.Dot)))
	}
	return risks
}

func entryRowOf(tx *changelog.Tx, s *run.State, e *run.Entry, voided bool) (entryRow, error) {
	person, err := crew.Label(tx, e.Person)
	if err != nil {
		return entryRow{}, err
	}
	paper, err := paperRowOf(tx, e)
	if err != nil {
		return entryRow{}, err
	}
	behind, err := paperText(tx, e)
	row := entryRow{ID: tx.Name(e.Dot), What: entryText(s, e), At: *jsonTime(e.At.Time()), Person: person, Voided: voided, Revision: s.RevisionOf(e), Paper: paper}
	if err != nil || e.Kind != kind.StepReading {
		row.What += behind
		return row, err
	}
	if row.Reading, err = readingOf(tx, s, e); row.Reading.Instrument != "" {
		row.What += "; with " + row.Reading.Instrument
		if e.Due != "" {
			row.What += ", calibrated to " + e.Due
		}
	}
	row.What += behind
	return row, err
}

// entryText says in words what an entry says.
func entryText(s *run.State, e *run.Entry) string {
	switch e.Kind {
	case kind.StepCheck:
		if e.Answer != 0 {
			return "NO"
		}
		return "done"
	case kind.StepReading:
		if step := s.StepOf(e); step != nil && step.Reading != nil {
			return readingWords(step.Reading, &e.Measured, s.Judge(e))
		}
		return e.Value.String()
	case kind.StepBegin:
		return "waiting since then"
	case kind.StepSign:
		return "signed " + e.Verdict.String() + " as " + e.Role
	case kind.NCDispose:
		return "decided " + e.Disposition.String() + ": " + e.Text
	case kind.RunEnd:
		if e.Answer == 1 {
			return "abandoned: " + e.Text
		}
		return "ended"
	}
	if text := revisionEntryText(s, e); text != "" {
		return text
	}
	if text := reviewEntryText(s, e); text != "" {
		return text
	}
	return e.Text
}

func (c *call) printRun(d runDetail) {
	if d.State == stateNotHere {
		c.printf("run %s: its start is not here yet; it comes with another bundle\n", d.ID)
		c.printf("what is here about it does not say which procedure it is of; its gates count as shut\n")
		c.printRunRest(d)
		return
	}
	c.printf("run %s: %s\n%s revision %s on %s, started %s by %s; %d of %d steps done, %s\n", d.ID, d.Title, d.Procedure, d.Revision, d.Target, d.StartedAt, d.StartedBy, d.Done, d.Steps, d.State)
	if d.Owner != "" {
		c.printf("looked after by %s\n", d.Owner)
	}
	if d.Steps == 0 {
		c.printf("its procedure is not here yet\n")
	}
	for _, m := range d.Moves {
		c.printBlock("", m.words())
	}
	if d.Later != nil {
		c.printLater(d.ID, d.Revision, d.Later)
	}
	for _, step := range d.StepRows {
		c.printStepRow(step, step.Step == d.Next)
	}
	c.printRunRest(d)
}

// printRunRest prints what is about a run as a whole.
func (c *call) printRunRest(d runDetail) {
	if len(d.NCs) > 0 {
		c.printf("\nNonconformances\n")
		for _, text := range d.NCs {
			c.printBlock("  ", text)
		}
	}
	if len(d.Attachments) > 0 {
		c.printf("\nAttachments\n")
		for _, a := range d.Attachments {
			c.printBlock("  ", a.About+": "+a.words())
		}
	}
	if len(d.Notes) > 0 {
		c.printf("\n%s\n", map[bool]string{true: "Entries", false: "Notes"}[d.State == stateNotHere])
		for _, note := range d.Notes {
			c.printBlock("  ", fmt.Sprintf("%s %s %s: %s", note.At, note.Person, note.ID, note.What))
		}
	}
}

// printStepRow prints a step with a mark before it: done, next, shut or open.
func (c *call) printStepRow(step stepRow, next bool) {
	mark := "    "
	switch {
	case step.Done:
		mark = " ok "
	case next:
		mark = " >> "
	case len(step.Blocked) > 0:
		mark = " -- "
	}
	if next {
		for _, warning := range step.Now {
			c.printBlock("           ! ", warning)
		}
	}
	text := step.Text
	if step.Cannot {
		text = "CANNOT BE UNDONE. " + text
	}
	if step.Kind == string(procedure.KindHold) || step.Kind == string(procedure.KindWitness) {
		text = step.Kind + " point: " + text
	}
	c.printBlock(fmt.Sprintf("%s%-6s ", mark, step.Step), text)
	if asks := step.asksText(); asks != "" {
		c.printBlock("             = ", asks)
	}
	for _, e := range step.Entries {
		what := e.What
		if e.Voided {
			what += " (VOIDED)"
		}
		if e.Revision != "" {
			what += " (revision " + e.Revision + ")"
		}
		c.printBlock("             . ", fmt.Sprintf("%s  %s %s %s", what, e.Person, e.At, e.ID))
		if e.Allowed != nil {
			c.printBlock("               ", e.Allowed.words())
		}
	}
	if step.Limits != nil && !step.Done {
		c.printBlock("             = ", step.Limits.text())
	}
	if step.Spread != nil {
		c.printBlock("             = ", step.Spread.text)
	}
	for _, e := range step.Earlier {
		c.printBlock("             ~ ", fmt.Sprintf("%s  %s %s %s (revision %s: does not count, the step was another)", e.What, e.Person, e.At, e.ID, e.Revision))
	}
	if step.Gate != nil {
		c.printGate(step.Gate)
	} else if next {
		return
	}
}

func (c *call) printGate(g *gateRow) {
	if rv := g.Review; rv != nil {
		c.printf("             readiness review: %s; see: pulk review show %s\n", rv.state(), rv.ID)
		for _, w := range rv.Waivers {
			c.printBlock("             WAIVER ", w.words())
		}
	}
	if g.Open {
		c.printf("             gate open: %d of %d as %s\n", g.Have, g.Need, g.Role)
	} else if len(g.SignOffs) > 0 || g.Review != nil && g.Review.Opened != "" {
		for _, reason := range g.Shut {
			c.printBlock("             SHUT: ", reason)
		}
	}
	for _, risk := range g.Risks {
		c.printBlock("             ! ", "a go takes the risk of "+risk)
	}
	for _, so := range g.SignOffs {
		line := fmt.Sprintf("%s by %s: %s", so.Verdict, so.Person, so.Standing)
		if so.Because != "" {
			line += ", by " + so.Because
		}
		c.printBlock("             * ", line)
	}
}
