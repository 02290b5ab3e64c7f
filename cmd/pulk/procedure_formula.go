package main

import (
	"strings"

	"pulk/checklist/procedure"
)

// inputJSON is what a formula of a procedure is worked out from.
type inputJSON struct {
	Name    string  `json:"name"`
	From    string  `json:"from"`    // step, target, place or value
	Of      string  `json:"of"`      // the step's id, or what is known of the target or the place
	Slot    string  `json:"slot"`    // of a target that is an assembly
	Unit    string  `json:"unit"`    // UCUM
	Value   *string `json:"value"`   // of a value
	Source  string  `json:"source"`  // of a value
	Example *string `json:"example"` // what formulas are tried on
}

func inputsJSON(inputs []procedure.Input) []inputJSON {
	rows := []inputJSON{}
	for _, in := range inputs {
		row := inputJSON{Name: in.Name, Slot: in.Slot, Unit: in.Unit, Value: boundText(in.Value), Source: in.Source, Example: boundText(in.Example)}
		switch {
		case in.Step != "":
			row.From, row.Of = "step", in.Step
		case in.Target != "":
			row.From, row.Of = "target", in.Target
		case in.Place != "":
			row.From, row.Of = "place", in.Place
		default:
			row.From = "value"
		}
		rows = append(rows, row)
	}
	return rows
}

// formulaJSON is a limit that is worked out.
type formulaJSON struct {
	Limit   string `json:"limit"` // min, max, expected or tolerance
	Formula string `json:"formula"`
}

func formulasJSON(r *procedure.Reading) []formulaJSON {
	rows := []formulaJSON{}
	if r.Computed == nil {
		return rows
	}
	for name, bound := range r.Computed.Each() {
		if bound.Formula != nil {
			rows = append(rows, formulaJSON{name, bound.Formula.Text})
		}
	}
	return rows
}

// printInputs lists what the formulas of a procedure are worked out from.
func (c *call) printInputs(p *procedure.Procedure) {
	if len(p.Inputs) == 0 {
		return
	}
	c.printf("Inputs of limits:\n")
	for i := range p.Inputs {
		c.printBlock("  - ", p.Inputs[i].Name+": "+p.Inputs[i].String())
	}
}

// printTrials shows each limit that is worked out, on the examples of the file, so that
// its writer sees the units through to the end.
func (c *call) printTrials(p *procedure.Procedure) {
	for i := range p.Steps {
		r := p.Steps[i].Reading
		if r == nil || r.Computed == nil {
			continue
		}
		limits, worked, err := r.LimitsAt(p.Examples())
		if err != nil {
			continue // an error of the file, told already
		}
		var lines []string
		for _, w := range worked {
			lines = append(lines, w.String())
		}
		c.printBlock("  step "+p.Steps[i].ID+": ", limits.In(r.Unit)+" on the examples: "+strings.Join(lines, "; "))
	}
}
