// Package assembly knows what goes where in an assembly: a string with its modules, a
// cable with its fibres.
//
// An assembly is a unit. Its plan ([Plan]) names its slots in order and says for each
// which part is expected, where, and on which fibre or channel. What is in a slot is a
// fact of the unit there (see [pulk/inventory/unit]); how it came to sit is said beside
// that. [Evaluate] puts plan and facts together, and [Assembly.MayFit] is the rule of
// the scan; both are pure. Formulas take their numbers from [Assembly.Facts].
package assembly

import (
	"fmt"
	"slices"

	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/sync/clock"
)

// Assembly is a unit with slots, as planned and as built.
type Assembly struct {
	Unit *unit.Unit
	// Plan is the plan that holds; nil where there is none, or where people who had not
	// heard of each other took in several.
	Plan          *Plan
	PlanContested bool
	Length        *decimal.Decimal // as built, in metres; nil where unknown or contested
	// Positions are the slots of the plan in its order; behind them, by name, those that
	// hold something and are in no plan.
	Positions []Position
}

// Position is a slot as planned and as built.
type Position struct {
	Slot       Slot // as planned; only its name where Planned is false
	Planned    bool
	Units      []Occupant // what is in it; several where people had not heard of each other
	Built      Built
	Deviations []string // what is not as planned, or contested, in words
}

// Occupant is a unit in a slot.
type Occupant struct {
	*unit.Unit
	Part string
	Dot  clock.Dot // of the change that put it there
}

// Built is how the unit in a slot came to sit there. Numbers are nil, and the channel
// empty, where nobody said so or several did.
type Built struct {
	Position *decimal.Decimal // along the assembly from its upper end, in metres
	Depth    *decimal.Decimal // below the plan's datum, in metres
	Channel  string
	Run      clock.Dot // that it was fitted in, or none
	Person   clock.Dot
	At       clock.Stamp
	// Contested names what was said differently by people who had not heard of each other.
	Contested []string

	channelDot clock.Dot // of the change that tells the channel
}

// Fitted returns how many slots of the plan hold something.
func (a *Assembly) Fitted() int {
	n := 0
	for i := range a.Positions {
		if a.Positions[i].Planned && len(a.Positions[i].Units) > 0 {
			n++
		}
	}
	return n
}

// Next returns the first slot of the plan that is empty, or nil.
func (a *Assembly) Next() *Position {
	for i := range a.Positions {
		if p := &a.Positions[i]; p.Planned && len(p.Units) == 0 {
			return p
		}
	}
	return nil
}

// Deviating returns how many slots are not as planned.
func (a *Assembly) Deviating() int {
	n := 0
	for i := range a.Positions {
		if len(a.Positions[i].Deviations) > 0 {
			n++
		}
	}
	return n
}

// Position returns the position of a slot, or nil.
func (a *Assembly) Position(slot string) *Position {
	i := slices.IndexFunc(a.Positions, func(p Position) bool { return p.Slot.Name == slot })
	if i < 0 {
		return nil
	}
	return &a.Positions[i]
}

// Evaluate finds what is not as planned, and tells it in each position.
func (a *Assembly) Evaluate() {
	channels := map[string][]string{} // slots by channel
	homes := map[clock.Dot][]string{} // slots by unit
	for i := range a.Positions {
		p := &a.Positions[i]
		for _, u := range p.Units {
			homes[u.ID] = append(homes[u.ID], p.Slot.Name)
		}
		if len(p.Units) > 0 && p.Built.Channel != "" {
			channels[p.Built.Channel] = append(channels[p.Built.Channel], p.Slot.Name)
		}
	}
	for i := range a.Positions {
		p := &a.Positions[i]
		p.Deviations = a.deviations(p)
		for _, u := range p.Units {
			if other := without(homes[u.ID], p.Slot.Name); other != "" {
				p.Deviations = append(p.Deviations, u.Serial+" is in slot "+other+" too")
			}
		}
		if other := without(channels[p.Built.Channel], p.Slot.Name); other != "" && len(p.Units) > 0 {
			p.Deviations = append(p.Deviations, "channel "+p.Built.Channel+" is used by slot "+other+" too")
		}
	}
}

// without returns the first of some slots that is another one.
func without(slots []string, slot string) string {
	for _, other := range slots {
		if other != slot {
			return other
		}
	}
	return ""
}

func (a *Assembly) deviations(p *Position) []string {
	var list []string
	if len(p.Units) == 0 {
		return nil
	}
	if a.Plan != nil && !p.Planned {
		list = append(list, "the plan has no such slot")
	}
	if len(p.Units) > 1 {
		list = append(list, fmt.Sprintf("%d units were fitted by people who had not heard of each other", len(p.Units)))
	}
	for _, u := range p.Units {
		if p.Slot.Part != "" && u.Part != p.Slot.Part {
			list = append(list, fmt.Sprintf("%s is %s, planned is %s", u.Serial, u.Part, p.Slot.Part))
		}
		if unit.OutOfUse(u.State) {
			list = append(list, u.Serial+" is "+u.State)
		}
	}
	if p.Slot.Channel != "" && p.Built.Channel != "" && p.Built.Channel != p.Slot.Channel {
		list = append(list, "it answers on channel "+p.Built.Channel+", planned is "+p.Slot.Channel)
	}
	for _, what := range p.Built.Contested {
		list = append(list, what+" was told differently by people who had not heard of each other")
	}
	return list
}

// Facts are the numbers of an assembly for a formula: an expected value can hang on
// how deep a slot is or how long the cable is. They are values and know no store:
// whoever evaluates a formula is handed them.
type Facts struct {
	LengthPlannedMetres, LengthBuiltMetres *decimal.Decimal // nil where unknown
	Slots                                  map[string]SlotFacts
}

// SlotFacts are the numbers of one slot, by its name; nil where unknown. What is built
// is of the unit that is in it now.
type SlotFacts struct {
	Place                                      int // in the order of the plan, from 1; 0 where the plan has it not
	PositionPlannedMetres, PositionBuiltMetres *decimal.Decimal
	DepthPlannedMetres, DepthBuiltMetres       *decimal.Decimal
}

// Facts returns the numbers of the assembly.
func (a *Assembly) Facts() Facts {
	f := Facts{LengthBuiltMetres: a.Length, Slots: map[string]SlotFacts{}}
	if a.Plan != nil {
		f.LengthPlannedMetres = a.Plan.Length
	}
	for i := range a.Positions {
		p := &a.Positions[i]
		s := SlotFacts{PositionPlannedMetres: p.Slot.Position, DepthPlannedMetres: p.Slot.Depth,
			PositionBuiltMetres: p.Built.Position, DepthBuiltMetres: p.Built.Depth}
		if p.Planned {
			s.Place = i + 1
		}
		f.Slots[p.Slot.Name] = s
	}
	return f
}
