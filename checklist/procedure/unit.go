package procedure

import (
	"fmt"
	"slices"

	yaml "go.yaml.in/yaml/v4"

	"pulk/checklist/ucum"
)

// checkUnit warns about a unit that is no UCUM code, or that is one and seldom
// meant, such as C, the coulomb. It is not refused: a reading in it can be taken and
// judged, only not converted.
func (r *reader) checkUnit(node *yaml.Node, unit string) {
	if slices.Contains(ucum.Common(), unit) {
		return
	}
	meant, alias := ucum.Alias(unit)
	_, err := ucum.Parse(unit)
	if err == nil && !alias {
		return
	}
	expected := `a UCUM code such as "MOhm", "Cel", "bar" or "N.m"`
	if alias {
		expected = fmt.Sprintf("%q", meant)
	} else if near, ok := r.suggest(unit, ucum.Common()); ok {
		expected = fmt.Sprintf("%q perhaps", near)
	}
	r.warn(node, fmt.Sprintf("the unit %s is not known", quote(unit)), expected)
}
