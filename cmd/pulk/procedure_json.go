package main

import (
	"pulk/checklist/limit"
	"pulk/checklist/procedure"
)

// problemRow is a row of pulk procedure lint --json.
type problemRow struct {
	File     string `json:"file"`
	Line     int    `json:"line"`
	Column   int    `json:"column"`   // from 1, in characters
	Severity string `json:"severity"` // error or warning
	What     string `json:"what"`
	Expected string `json:"expected"`
}

func problemRows(problems []procedure.Problem) []problemRow {
	rows := []problemRow{}
	for _, p := range problems {
		rows = append(rows, problemRow{p.File, p.Line, p.Column, string(p.Severity), p.What, p.Expected})
	}
	return rows
}

// differenceRow is a row of pulk procedure compare --json.
type differenceRow struct {
	Where  string `json:"where"`  // step "40", tools, the procedure
	Change string `json:"change"` // added, removed, changed or moved
	Field  string `json:"field"`  // which part of it; empty for the whole
	From   string `json:"from"`
	To     string `json:"to"`
}

func differenceRows(differences []procedure.Difference) []differenceRow {
	rows := []differenceRow{}
	for _, d := range differences {
		rows = append(rows, differenceRow{d.Where, string(d.Change), d.Field, d.From, d.To})
	}
	return rows
}

// procedureJSON is pulk procedure show --json. Its fields are those of the format,
// docs/procedure-format.md, all of them there.
type procedureJSON struct {
	ID        string        `json:"id"`
	Title     string        `json:"title"`
	Revision  string        `json:"revision"`
	Withdrawn string        `json:"withdrawn"` // the reason; empty if it was not
	Hazards   []hazardJSON  `json:"hazards"`
	Tools     []string      `json:"tools"`
	Parts     []partUseJSON `json:"parts"`
	Roles     []string      `json:"roles"`
	Inputs    []inputJSON   `json:"inputs"`
	Steps     []stepJSON    `json:"steps"`
}

// hazardJSON is a hazard of a procedure.
type hazardJSON struct {
	Name    string `json:"name"`
	Caution string `json:"caution"`
}

// partUseJSON is a quantity of a part.
type partUseJSON struct {
	Part     string `json:"part"`
	Quantity int64  `json:"quantity"` // in the item's unit of issue
}

// reviewForm is what a procedure says of a readiness review.
type reviewForm struct {
	Roles         []string         `json:"roles"`          // each gives a go, by as many different people
	WaiverRole    string           `json:"waiver_role"`    // empty: nothing can be waived
	TransportDays int64            `json:"transport_days"` // least days before the last transport; 0: none are asked for
	Questions     []reviewQuestion `json:"questions"`
}

// reviewQuestion is a question of a procedure's review.
type reviewQuestion struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	Role string `json:"role"` // who may answer; empty: anyone
}

func reviewFormOf(r *procedure.Review) *reviewForm {
	if r == nil {
		return nil
	}
	form := &reviewForm{Roles: r.Roles, WaiverRole: r.WaiverRole, TransportDays: r.TransportDays, Questions: []reviewQuestion{}}
	for _, q := range r.Questions {
		form.Questions = append(form.Questions, reviewQuestion(q))
	}
	return form
}

// stepJSON is a step of a procedure, as the file has it.
type stepJSON struct {
	ID           string        `json:"id"`
	Kind         string        `json:"kind"`
	Text         string        `json:"text"`
	Cautions     []string      `json:"cautions"`
	Role         string        `json:"role"`
	After        []string      `json:"after"`
	Irreversible bool          `json:"irreversible"`
	Uses         []partUseJSON `json:"uses"`
	Quantity     string        `json:"quantity"`  // of a reading, in words
	Unit         string        `json:"unit"`      // of a reading, UCUM
	Min          *string       `json:"min"`       // of a reading, in its unit, digits as written
	Max          *string       `json:"max"`       // the same
	MinRule      string        `json:"min_rule"`  // of a reading with limits, how its uncertainty counts at min: simple, guarded or non-binary
	MinGuard     *string       `json:"min_guard"` // width of the guard band at min in expanded uncertainties; null with the rule simple
	MaxRule      string        `json:"max_rule"`  // the same at max
	MaxGuard     *string       `json:"max_guard"`
	Instrument   string        `json:"instrument"` // of a reading: "required", or empty; only readings with one in calibration count
	InstrumentOf string        `json:"instrument_part"`
	Repeat       int           `json:"repeat"`        // of a reading: how many values
	Record       string        `json:"record"`        // serial or text
	Part         string        `json:"expected_part"` // of a serial
	Slot         string        `json:"slot"`          // of a serial: of the run's target
	SignRole     string        `json:"sign_role"`     // of a hold or witness point
	SignPeople   int           `json:"sign_people"`
	Review       *reviewForm   `json:"review"` // of a hold point: the readiness review that it needs, or null
	WaitMinutes  int64         `json:"wait_minutes"`

	Formulas []formulaJSON `json:"formulas"` // of a reading: the limits that are worked out; min and max are then null
	Example  *string       `json:"example"`  // of a reading: a value as it may be
	Outdoor  bool          `json:"outdoor"`  // the weather must allow it
	Heavy    bool          `json:"heavy"`    // rest after an arrival at height must be over
	Needs    []string      `json:"needs"`    // trainings and medical clearances, by code
}

func procedureJSONOf(p *procedure.Procedure, withdrawn string) procedureJSON {
	out := procedureJSON{ID: p.ID, Title: p.Title, Revision: p.Revision, Withdrawn: withdrawn, Hazards: []hazardJSON{},
		Tools: append([]string{}, p.Tools...), Parts: partUses(p.Parts), Roles: append([]string{}, p.Roles...), Inputs: inputsJSON(p.Inputs), Steps: []stepJSON{}}
	for _, h := range p.Hazards {
		out.Hazards = append(out.Hazards, hazardJSON(h))
	}
	for i := range p.Steps {
		out.Steps = append(out.Steps, stepJSONOf(&p.Steps[i]))
	}
	return out
}

func partUses(parts []procedure.PartUse) []partUseJSON {
	rows := []partUseJSON{}
	for _, p := range parts {
		rows = append(rows, partUseJSON(p))
	}
	return rows
}

func stepJSONOf(s *procedure.Step) stepJSON {
	out := stepJSON{ID: s.ID, Kind: string(s.Kind), Text: s.Text, Cautions: append([]string{}, s.Cautions...), Role: s.Role,
		After: append([]string{}, s.After...), Irreversible: s.Irreversible, Uses: partUses(s.Uses), WaitMinutes: s.WaitMinutes, Formulas: []formulaJSON{},
		Outdoor: s.Outdoor, Heavy: s.Heavy, Needs: append([]string{}, s.Needs...)}
	if r := s.Reading; r != nil {
		out.Quantity, out.Unit, out.Repeat = r.Quantity, r.Unit, r.Repeat
		if r.Limits.Min != nil {
			text := r.Limits.Min.String()
			out.Min = &text
		}
		if r.Limits.Max != nil {
			text := r.Limits.Max.String()
			out.Max = &text
		}
		out.Formulas, out.Example = formulasJSON(r), boundText(r.Example)
		out.ruleOf(r)
	}
	if s.Record != nil {
		out.Record, out.Part, out.Slot = s.Record.What, s.Record.Part, s.Record.Slot
	}
	if s.Sign != nil {
		out.SignRole, out.SignPeople = s.Sign.Role, s.Sign.People
	}
	out.Review = reviewFormOf(s.Review)
	return out
}

// ruleOf fills in how the uncertainty of a reading counts.
func (s *stepJSON) ruleOf(r *procedure.Reading) {
	if !r.Limits.None() {
		s.MinRule, s.MinGuard = decisionJSON(r.Limits.AtMin)
		s.MaxRule, s.MaxGuard = decisionJSON(r.Limits.AtMax)
	}
	if r.Instrument != nil {
		s.Instrument, s.InstrumentOf = "required", r.Instrument.Part
	}
}

func decisionJSON(d limit.Decision) (rule string, guard *string) {
	if d.Rule == limit.Simple {
		return d.Rule.String(), nil
	}
	text := "1"
	if d.Guard != nil {
		text = d.Guard.String()
	}
	return d.Rule.String(), &text
}
