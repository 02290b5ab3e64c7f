package bundle

import "pulk/schema/kind"

// rule says how a column of a kind is predicted.
type rule struct {
	kind.Column
	slot slot
	step stepRule
}

// stepRule says what a column has to do with the steps of a run.
type stepRule uint8

const (
	noStep      stepRule = iota
	stepItself           // predicted as the one after the run's last step, and remembered
	stepPlusOne          // the same, but not remembered
	stepReading          // a decimal, predicted as the last one of that step
)

// layout is a kind as its columns lie in a bundle. Kinds from kind.FirstDescribed
// on have one column of whole payloads.
type layout struct {
	opaque    bool
	columns   []rule
	run, step int // columns of the kind, or -1
}

// slot is a group of columns whose refs or texts tend to be the same ones: those
// with one name, with the exceptions in slotAlias.
type slot uint8

// slotAlias lists the columns that share the slot of another name.
var slotAlias = map[string]string{"from": "place", "to": "place", "at": "place", "location": "place", "parent": "place",
	"assembly": "unit", "target": "unit", "entity": "unit"}

const slotPerson slot = 0

var (
	opaqueLayout = &layout{opaque: true, columns: []rule{{Column: kind.Column{Name: "payload", Type: kind.Text}}}, run: -1, step: -1}
	layouts      = makeLayouts()
)

func layoutOf(id kind.ID) *layout {
	if uint64(id) < uint64(len(layouts)) && layouts[id] != nil {
		return layouts[id]
	}
	return opaqueLayout
}

func makeLayouts() []*layout {
	slots := map[string]slot{"person": slotPerson}
	made := make([]*layout, kind.FirstDescribed)
	for _, k := range kind.All() {
		if k.ID < kind.FirstDescribed {
			made[k.ID] = makeLayout(k, slots)
		}
	}
	return made
}

func makeLayout(k *kind.Kind, slots map[string]slot) *layout {
	l := &layout{run: -1, step: -1}
	for i, column := range k.Columns {
		name := column.Name
		if alias, ok := slotAlias[name]; ok {
			name = alias
		}
		if _, ok := slots[name]; !ok {
			slots[name] = slot(len(slots))
		}
		r := rule{Column: column, slot: slots[name]}
		switch {
		case column.Name == "run" && column.Type == kind.Ref:
			l.run = i
		case column.Name == "step" && column.Type == kind.Uint && l.run >= 0:
			l.step, r.step = i, stepItself
		case column.Name == "step_plus_one" && column.Type == kind.Uint && l.run >= 0:
			l.step, r.step = i, stepPlusOne
		case column.Type == kind.Decimal && l.step >= 0:
			r.step = stepReading
		}
		l.columns = append(l.columns, r)
	}
	return l
}
