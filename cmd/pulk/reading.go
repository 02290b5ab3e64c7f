package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/checklist/ucum"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// checkReading takes what was typed at a reading step and says what came of it.
func checkReading(tx *changelog.Tx, doing *run.Doing, n int, words []string) (string, error) {
	step := doing.Steps[n].Step
	readings, with, err := run.ParseReadings(step, words)
	if err != nil {
		return "", err
	}
	if with != "" {
		if err := measureWith(tx, step, with, readings); err != nil {
			return "", err
		}
	}
	judgements, err := doing.Read(n, readings)
	if err != nil {
		return "", err
	}
	var lines []string
	var good []decimal.Decimal
	if limits := limitsRowOf(doing.State, n); limits != nil {
		lines = append(lines, fmt.Sprintf("step %s: %s", step.ID, limits.text()))
	}
	for i, j := range judgements {
		lines = append(lines, fmt.Sprintf("step %s: %s", step.ID, toldReading(step, &readings[i], j)))
		if j.Counts() {
			good = append(good, readings[i].Value)
		}
	}
	if s, ok := doing.Spread(n, good...); ok && len(good) > 0 {
		lines = append(lines, fmt.Sprintf("step %s: %s", step.ID, spreadText(s, step.Reading.Unit)))
	}
	return strings.Join(lines, "\n"), nil
}

// measureWith completes readings with what is known of the instrument they were taken
// with. It must be of the part that the step asks for, and in use.
func measureWith(tx *changelog.Tx, step *procedure.Step, serial string, readings []run.Measured) error {
	part := ""
	if step.Reading.Instrument != nil {
		part = step.Reading.Instrument.Part
	}
	u, err := unit.FindBySerial(tx, serial)
	if u, err = amongTwins(tx, u, part, serial, err); err != nil {
		return err
	}
	if is, err := partOf(tx, u.Item); err != nil {
		return err
	} else if part != "" && is != part {
		return fault.Refuse("take one of those; see: pulk unit list --part "+part, "step %s is read with a %s, but %s is a %s", step.ID, part, u.Serial, is)
	}
	if slices.Contains([]string{unit.Quarantined, unit.Failed, unit.Scrapped}, u.State) {
		return fault.Refuse("take another one", "%s is %s", u.Serial, u.State)
	}
	list, err := unit.Calibrations(tx, u.ID)
	if err != nil {
		return err
	}
	for i := range readings {
		m := &readings[i]
		m.Instrument = u.ID
		standing := unit.Standing(list)
		if standing == nil {
			continue
		}
		m.Calibration, m.Due = standing.ID, standing.Due
		if m.U, err = uncertaintyOf(standing, m.Value, step.Reading.Unit); err != nil {
			return err
		}
	}
	return nil
}

// uncertaintyOf works out what a calibration states for a value in a unit; unknown
// where it states nothing for that dimension.
func uncertaintyOf(c *unit.Calibration, value decimal.Decimal, code string) (limit.Uncertainty, error) {
	if _, err := ucum.Parse(code); err != nil {
		return limit.Uncertainty{}, nil // a unit that nothing can be stated in
	}
	var other *ucum.DimensionError
	for _, s := range c.Statements {
		u, err := limit.Stated(s).At(value, code)
		if !errors.As(err, &other) {
			return u, err
		}
	}
	return limit.Uncertainty{}, nil
}

// toldReading says to its reader what came of a reading.
func toldReading(step *procedure.Step, m *run.Measured, j run.Judgement) string {
	r := step.Reading
	value, limits := valueText(r, m), j.Limits.String()
	said := ""
	switch {
	case j.Outcome.Bad():
		said = fmt.Sprintf("%s is %s its limits %s. A nonconformance is open and shuts the gates of this run", value, badWords(m, j), limits)
	case j.Flag != "" && j.Limits.Formula != "":
		said = fmt.Sprintf("%s is kept and DOES NOT COUNT: %s", value, j.Flag)
	case j.Flag != "":
		said = fmt.Sprintf("%s is kept and DOES NOT COUNT: %s. Take it again with an instrument in calibration", value, j.Flag)
	case j.Outcome == limit.ConditionalPass:
		said = fmt.Sprintf("%s is a CONDITIONAL PASS of its limits %s: whoever signs next takes the risk, by name", value, limits)
	case j.Outcome.Good():
		said = fmt.Sprintf("%s, within limits %s", value, limits)
	default:
		said = fmt.Sprintf("%s is kept and NOT JUDGED: limits %s need the uncertainty of the instrument, and its certificate states none for this", value, limits)
	}
	return said + probabilityText(m, j)
}

// badWords say how a reading fails, ending before its limits.
func badWords(m *run.Measured, j run.Judgement) string {
	switch {
	case j.Outcome == limit.ConditionalFail:
		return "a CONDITIONAL FAIL, OUTSIDE"
	case j.Limits.Inside(m.Value):
		return "in the GUARD BAND of"
	}
	return "OUTSIDE"
}

// valueText says a value, and what was typed where that is something else.
func valueText(r *procedure.Reading, m *run.Measured) string {
	text := strings.TrimSpace(m.Value.String() + " " + unitText(r.Unit))
	if m.Typed != "" {
		text += " (typed " + m.Typed + ")"
	}
	return text
}

// probabilityText says the uncertainty and the probability of conformance, where they
// are known.
func probabilityText(m *run.Measured, j run.Judgement) string {
	if !m.U.Known() {
		return ""
	}
	text := "; " + m.U.String()
	if j.HasProbability {
		text += ", conforms with " + limit.Percent(j.Probability)
	}
	return text
}

// readingWords says a reading on record in a line.
func readingWords(r *procedure.Reading, m *run.Measured, j run.Judgement) string {
	text := valueText(r, m)
	switch {
	case j.Outcome.Bad():
		text += " " + strings.TrimPrefix(badWords(m, j), "in the ") + " " + j.Limits.String()
	case j.Flag != "":
		text += " DOES NOT COUNT: " + j.Flag
	case j.Outcome == limit.ConditionalPass:
		text += " CONDITIONAL PASS " + j.Limits.String()
	case !j.Outcome.Good():
		text += " NOT JUDGED " + j.Limits.String()
	}
	return text + probabilityText(m, j)
}

func spreadText(s limit.Spread, code string) string {
	return fmt.Sprintf("%d readings: mean %s, range %s, standard deviation %s %s; each is judged", s.N, s.Mean, s.Range, s.Deviation, code)
}
