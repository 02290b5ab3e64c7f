package procedure

import (
	"fmt"
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v4"

	"pulk/checklist/ucum"
	"pulk/schema/decimal"
)

// Input is a name that formulas of limits may use. Exactly one of Step, Target, Place
// and Value is set.
type Input struct {
	Name   string
	Step   string           // id of the step whose reading it is
	Target string           // what is known of the run's target as built: see [TargetData]
	Slot   string           // of a target that is an assembly: the slot that is meant; or ""
	Place  string           // what is known of the run's place: see [PlaceData]
	Value  *decimal.Decimal // a number of the rule itself
	Source string           // of Value: who says so; or ""

	Unit    string           // UCUM code; of a step that of its reading
	Example *decimal.Decimal // a value as it may be, which formulas are tried on
}

// TargetData and PlaceData name what is known of a target and a place, with the UCUM
// codes that it is kept in.
var (
	TargetData = map[string]string{"length": "m", "position": "m", "depth": "m"}
	PlaceData  = map[string]string{"latitude": "deg", "elevation": "m"}
)

// String says where an input comes from: `the reading of step "20"`, "the depth of the
// target as built, in m, 2450 for example", "5 dbar (common practice)".
func (in *Input) String() string {
	text := ""
	switch {
	case in.Step != "":
		return fmt.Sprintf("the reading of step %q", in.Step)
	case in.Value != nil:
		text = strings.TrimSuffix(in.Value.String()+" "+in.Unit, " 1")
		if in.Source != "" {
			text += " (" + in.Source + ")"
		}
		return text
	case in.Slot != "":
		text = "the " + in.Target + " of slot " + in.Slot + " of the target as built"
	case in.Target != "":
		text = "the " + in.Target + " of the target as built"
	default:
		text = "the " + in.Place + " of the place"
	}
	text += ", in " + in.Unit
	if in.Example != nil {
		text += ", " + in.Example.String() + " for example"
	}
	return text
}

// Input returns the input with a name; nil where there is none.
func (p *Procedure) Input(name string) *Input {
	i := slices.IndexFunc(p.Inputs, func(in Input) bool { return in.Name == name })
	if i < 0 {
		return nil
	}
	return &p.Inputs[i]
}

const inputExpected = "one of step, target, place and value"

// inputs reads the mapping of names to where their values come from.
func (r *reader) inputs(node *yaml.Node) []Input {
	if node == nil {
		return nil
	}
	if node.Kind != yaml.MappingNode {
		r.fail(node, "inputs is "+describe(node), `names, each with where it comes from, such as depth: {target: depth, unit: m, example: 2450}`)
		return nil
	}
	if len(node.Content) > 2*itemsMax {
		r.fail(node, fmt.Sprintf("inputs has %d names", len(node.Content)/2), fmt.Sprintf("at most %d", itemsMax))
		return nil
	}
	var inputs []Input
	seen := map[string]bool{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		name := r.code(node.Content[i], "the name of an input", inputForm)
		if seen[name] && name != "" {
			r.fail(node.Content[i], fmt.Sprintf("input %q is given twice", name), "it once")
		}
		seen[name] = true
		inputs = append(inputs, r.input(name, node.Content[i+1]))
	}
	return inputs
}

func (r *reader) input(name string, node *yaml.Node) Input {
	in := Input{Name: name}
	what := fmt.Sprintf("input %q", name)
	f, ok := r.mapping(node, what, "step", "target", "slot", "place", "value", "source", "unit", "example")
	if !ok {
		return in
	}
	if step := f.values["step"]; step != nil {
		in.Step = r.code(step, "the step's id", stepForm)
	}
	in.Target = r.known(f.values["target"], "target", TargetData)
	in.Place = r.known(f.values["place"], "place", PlaceData)
	in.Value = r.decimal(f.values["value"], "value")
	if slot := f.values["slot"]; slot != nil {
		in.Slot = r.code(slot, "the slot", slotForm)
	}
	if source := f.values["source"]; source != nil {
		in.Source = r.text(source, "the source", 200)
	}
	r.checkInput(&in, f, what)
	return in
}

// known reads a word of a table.
func (r *reader) known(node *yaml.Node, what string, table map[string]string) string {
	var words []string
	for word := range table {
		words = append(words, word)
	}
	slices.Sort(words)
	expected := "one of " + strings.Join(words, ", ")
	text, ok := r.scalar(node, what, expected)
	if ok && table[text] == "" {
		r.fail(node, fmt.Sprintf("%s is %s", what, quote(text)), expected)
		return ""
	}
	return text
}

// checkInput: an input comes from one thing, and has what goes with that.
func (r *reader) checkInput(in *Input, f fields, what string) {
	var from []string
	for _, key := range []string{"step", "target", "place", "value"} {
		if f.values[key] != nil {
			from = append(from, key)
		}
	}
	if len(from) != 1 {
		r.fail(f.node, fmt.Sprintf("%s has %d of step, target, place and value", what, len(from)), inputExpected)
		return
	}
	goes := map[string][]string{"step": nil, "target": {"slot", "unit", "example"}, "place": {"unit", "example"}, "value": {"source", "unit"}}[from[0]]
	for _, key := range []string{"slot", "source", "unit", "example"} {
		node := f.values[key]
		switch needed := key == "unit" || key == "example"; {
		case node != nil && !slices.Contains(goes, key):
			r.fail(f.keys[key], fmt.Sprintf("%s has %q beside %q", what, key, from[0]), "that only beside "+map[string]string{"slot": "target", "source": "value", "unit": "target, place and value", "example": "target and place"}[key])
		case node == nil && needed && slices.Contains(goes, key):
			r.fail(f.node, fmt.Sprintf("%s has no %q", what, key), "it beside "+from[0])
		}
	}
	if unit := f.values["unit"]; unit != nil && slices.Contains(goes, "unit") {
		in.Unit = r.inputUnit(unit, in)
	}
	if example := f.values["example"]; example != nil {
		in.Example = r.decimal(example, "example")
	}
}

// inputUnit reads a unit, which must be one of what is kept.
func (r *reader) inputUnit(node *yaml.Node, in *Input) string {
	code := r.code(node, "the unit", unitForm)
	unit, err := ucum.Parse(code)
	if code == "" {
		return ""
	}
	if err != nil {
		r.fail(node, err.Error(), unitForm.expected)
		return ""
	}
	kept := TargetData[in.Target] + PlaceData[in.Place]
	if kept == "" {
		return code
	}
	if inKept, err := ucum.Parse(kept); err == nil && !inKept.Same(unit) {
		r.fail(node, fmt.Sprintf("%s is kept in %s, and the unit is %s", in.Target+in.Place, kept, quote(code)), "a unit of "+inKept.Dimension().Name())
	}
	return code
}
