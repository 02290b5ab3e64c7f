package run

import (
	"fmt"
	"strings"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/ucum"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
)

// ParseReadings reads what was typed at a reading step: numbers, each alone or with a
// unit behind it, and at the end "with" and the serial of the instrument, if one is
// told. Values in another unit are converted to the step's; what was typed is kept.
// A unit behind one number and not behind another is refused, as it would be a guess
// which it belongs to.
func ParseReadings(step *procedure.Step, words []string) (readings []Measured, with string, err error) {
	words = strings.Fields(strings.Join(words, " "))
	if n := len(words); n >= 2 && words[n-2] == "with" {
		words, with = words[:n-2], words[n-1]
	}
	bare := 0
	for i := 0; i < len(words); i++ {
		value, err := decimal.Parse(words[i])
		if err != nil {
			return nil, "", fault.Misuse(fmt.Sprintf("give the number, in %s or with another unit behind it: 0.5 %s", step.Reading.Unit, step.Reading.Unit), "step %s: %s", step.ID, err)
		}
		unit := ""
		if i+1 < len(words) {
			if _, err := decimal.Parse(words[i+1]); err != nil {
				i++
				unit = words[i]
			}
		}
		if unit == "" {
			bare++
		}
		m, err := measuredIn(step, value, unit)
		if err != nil {
			return nil, "", err
		}
		readings = append(readings, m)
	}
	switch {
	case len(readings) == 0:
		return nil, "", fault.Misuse(fmt.Sprintf("give it in %s", step.Reading.Unit), "step %s needs a reading of %s", step.ID, step.Reading.Quantity)
	case bare > 0 && bare < len(readings):
		return nil, "", fault.Misuse("write the unit behind each of them, or behind none", "step %s: some of the values have a unit and some have none", step.ID)
	}
	return readings, with, nil
}

// measuredIn converts a value to the unit of a step.
func measuredIn(step *procedure.Step, value decimal.Decimal, typed string) (Measured, error) {
	if typed == "" || typed == step.Reading.Unit {
		return Measured{Value: value}, nil
	}
	to, err := ucum.Parse(step.Reading.Unit)
	if err != nil {
		return Measured{}, fault.Misuse("give it in "+step.Reading.Unit, "step %s is in %s, to which nothing can be converted", step.ID, step.Reading.Unit)
	}
	from, err := unitTyped(typed, to)
	if err != nil {
		return Measured{}, fault.Misuse(fmt.Sprintf("give it in %s, or in another unit of %s by its UCUM code", step.Reading.Unit, to.Dimension().Name()), "step %s: %s", step.ID, err)
	}
	converted, err := ucum.Convert(value, from, to)
	if err != nil {
		return Measured{}, fault.Misuse(fmt.Sprintf("step %s is a reading of %s: give it in %s", step.ID, to.Dimension().Name(), step.Reading.Unit), "%s", err)
	}
	return Measured{Value: converted, Typed: value.String() + " " + typed}, nil
}

// unitTyped reads a unit as people write it: a UCUM code, or a way of writing one that
// can only be meant here, as °F where the step is in Cel.
func unitTyped(typed string, to ucum.Unit) (ucum.Unit, error) {
	u, err := ucum.Parse(typed)
	if err == nil && u.Same(to) {
		return u, nil
	}
	if meant, ok := ucum.Alias(typed); ok {
		if other, wrong := ucum.Parse(meant); wrong == nil && other.Same(to) {
			return other, nil
		}
	}
	return u, err
}

// Spread says how far the readings that do a step lie apart, with more of them
// in hand; false where there are fewer than two.
func (s *State) Spread(n int, more ...decimal.Decimal) (limit.Spread, bool) {
	var values []decimal.Decimal
	good, _ := s.all.good(n, kind.StepReading)
	for _, e := range good {
		values = append(values, e.Value)
	}
	values = append(values, more...)
	if len(values) < 2 {
		return limit.Spread{}, false
	}
	return limit.SpreadOf(values)
}
