package run_test

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/fault"
)

func readIn(unit string) *procedure.Step {
	return &procedure.Step{ID: "10", Kind: procedure.KindReading, Reading: &procedure.Reading{Quantity: "value", Unit: unit}}
}

// What people type, and what is kept: each value with what was typed behind it, where
// that is something else, and the instrument.
func TestParseReadings(t *testing.T) {
	for _, c := range []struct{ unit, typed, want string }{
		{"MOhm", "550", "550"},
		{"MOhm", "550 561 548", "550 561 548"},
		{"MOhm", "550 MOhm", "550"},
		{"MOhm", "0.55 GOhm", "550 (0.55 GOhm)"},
		{"MOhm", "0.55 GOhm 561 MOhm", "550 (0.55 GOhm) 561"},
		{"MOhm", "0.550 GΩ", "550 (0.550 GΩ)"},
		{"Cel", "14.0 °F", "-10.00 (14.0 °F)"},
		{"Cel", "-12 C", "-12 (-12 C)"},              // C is the coulomb, and can only mean Cel here
		{"[kn_i]", "12 kt", "12 (12 kt)"},            // as kt is a thousand tonnes
		{"C", "12 C", "12"},                          // and here it is the coulomb
		{"MOhm", "550 with TST-1", "550 with TST-1"}, //
		{"MOhm", "0.55 GOhm with TST-1", "550 (0.55 GOhm) with TST-1"},
		{"widgets", "3", "3"},
		{"widgets", "3 widgets", "3"},
	} {
		readings, with, err := run.ParseReadings(readIn(c.unit), strings.Fields(c.typed))
		var got []string
		for i := range readings {
			got = append(got, readings[i].Value.String())
			if typed := readings[i].Typed; typed != "" {
				got = append(got, "("+typed+")")
			}
		}
		if with != "" {
			got = append(got, "with "+with)
		}
		if text := strings.Join(got, " "); err != nil || text != c.want {
			t.Errorf("%q in %s: %q, %v; want %q", c.typed, c.unit, text, err, c.want)
		}
	}
}

func TestParseReadingsRefuses(t *testing.T) {
	for _, c := range []struct{ unit, typed, want string }{
		{"MOhm", "", "step 10 needs a reading of value"},
		{"MOhm", "with TST-1", "step 10 needs a reading of value"},
		{"MOhm", "about 550", `"about" is not a decimal number`},
		{"MOhm", "0,55", `"0,55" is not a decimal number`},
		{"MOhm", "550 V", "V is a unit of voltage, MOhm one of resistance"},
		{"MOhm", "550 Mohm", `"Mohm" is no UCUM code`},
		{"MOhm", "0.55 GOhm 561", "some of the values have a unit and some have none"},
		{"MOhm", "550 561 GOhm", "some of the values have a unit and some have none"},
		{"Cel", "5 V", "V is a unit of voltage, Cel one of temperature"},
		{"MOhm", "9000000000000000000 TOhm", "too great"},
		{"widgets", "3 dozen", "widgets, to which nothing can be converted"},
		{"MOhm", "550 TST-1", `"TST-1" is no UCUM code`},
	} {
		readings, _, err := run.ParseReadings(readIn(c.unit), strings.Fields(c.typed))
		var usage *fault.Usage
		if !errors.As(err, &usage) || !strings.Contains(err.Error(), c.want) || usage.Hint == "" || readings != nil {
			t.Errorf("%q in %s: %v, %v; want wrong use: %s", c.typed, c.unit, readings, err, c.want)
		}
	}
}

// Whatever is typed, it is taken whole or not at all, and never panics.
func TestParseReadingsAnything(t *testing.T) {
	word := rapid.OneOf(rapid.SampledFrom([]string{"1", "-2.5", "with", "GOhm", "Ohm", "V", "TST-1", "%", "1e3", "MΩ"}), rapid.String())
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(word, 0, 6).Draw(t, "words")
		readings, _, err := run.ParseReadings(readIn("MOhm"), words)
		if (err == nil) != (len(readings) > 0) {
			t.Fatalf("%q: %v, %v", words, readings, err)
		}
	})
}
