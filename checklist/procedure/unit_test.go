package procedure

import (
	"regexp"
	"strings"
	"testing"
)

// Source of both lists: ucum-essence.xml in the repository ucum-org/ucum, the
// entries <prefix>, <base-unit> and <unit> with isMetric, as far as used here.
var (
	ucumPrefixes = strings.Fields("T G M k h d c m u n p")
	ucumMetric   = strings.Fields("m s g rad K cd Hz N Pa W A V F Ohm S Cel H lm lx l L t bar B B[SPL] B[W] bit By")
	ucumPlain    = strings.Fields("% [ppm] [ppb] deg min h d [kn_i]")
)

var exponent = regexp.MustCompile(`[0-9]+$`)

// ucumTerm reports whether a term is a unit, a prefix before a metric unit, or
// the number 1, each with an exponent or none.
func ucumTerm(term string) bool {
	if term == "1" {
		return true
	}
	term = exponent.ReplaceAllString(term, "")
	for _, unit := range ucumPlain {
		if term == unit {
			return true
		}
	}
	for _, unit := range ucumMetric {
		prefix, ok := strings.CutSuffix(term, unit)
		if !ok {
			continue
		}
		if prefix == "" {
			return true
		}
		for _, known := range ucumPrefixes {
			if prefix == known {
				return true
			}
		}
	}
	return false
}

func ucumCode(code string) bool {
	for _, term := range strings.FieldsFunc(code, func(c rune) bool { return c == '.' || c == '/' }) {
		if !ucumTerm(term) {
			return false
		}
	}
	return code != ""
}

func TestKnownUnitsAreUCUM(t *testing.T) {
	for _, unit := range knownUnits {
		if !ucumCode(unit) {
			t.Errorf("%s is no UCUM code", unit)
		}
	}
	for written, meant := range unitAliases {
		known := false
		for _, unit := range knownUnits {
			known = known || unit == meant
			if unit == written {
				t.Errorf("%s is known and needs no alias", written)
			}
		}
		if !known {
			t.Errorf("%s is taken to mean %s, which is not known", written, meant)
		}
	}
	for _, wrong := range []string{"rpm", "MΩ", "kmin", "Mohm", "", "m[kn_i]"} {
		if ucumCode(wrong) {
			t.Errorf("the check takes %q for a UCUM code", wrong)
		}
	}
}
