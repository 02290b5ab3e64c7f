package assembly

import (
	"fmt"
	"slices"
	"strings"

	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Conflicts implements [changelog.Conflicter]: a unit in two slots of one assembly, a
// fibre or channel that two slots use, and a unit that is not of the part that a plan
// asks for. Two units in one slot, two plans and two depths are conflicts of their
// fields.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := conflicts(tx)
	return changelog.Found(found, list, err)
}

func conflicts(tx *changelog.Tx) ([]changelog.Conflict, error) {
	ids, err := withSlots(tx)
	if err != nil {
		return nil, err
	}
	var list []changelog.Conflict
	for _, id := range ids {
		u, err := unit.ByID(tx, id)
		if err != nil {
			return nil, err
		}
		if u == nil {
			continue
		}
		a, err := Load(tx, u)
		if err != nil {
			return nil, err
		}
		list = append(list, a.conflicts(tx)...)
	}
	return list, nil
}

// withSlots lists the units that have, or had, something in a slot.
func withSlots(tx *changelog.Tx) ([]clock.Dot, error) {
	fields, err := tx.FieldOfAll(kind.FieldUnitSlot)
	var ids []clock.Dot
	for _, r := range fields {
		if len(ids) == 0 || ids[len(ids)-1] != r.Entity {
			ids = append(ids, r.Entity)
		}
	}
	slices.SortFunc(ids, clock.Dot.Compare)
	return slices.Compact(ids), err
}

func (a *Assembly) conflicts(tx *changelog.Tx) []changelog.Conflict {
	var list []changelog.Conflict
	twice := func(noun, prefix, key string, sides []changelog.Side, what, advice string) {
		if len(sides) > 1 {
			list = append(list, changelog.Conflict{ID: noun + ":" + tx.Name(a.Unit.ID) + ":" + key, Kind: what, Advice: advice, Sides: sides,
				What: fmt.Sprintf("%s was given %d slots of %s by people who had not heard of each other", strings.TrimSpace(prefix+" "+key), len(sides), a.Unit.Serial)})
		}
	}
	var serials, channels []string
	inSlots, onChannel := map[string][]changelog.Side{}, map[string][]changelog.Side{}
	for _, p := range a.Positions {
		for _, u := range p.Units {
			if inSlots[u.Serial] == nil {
				serials = append(serials, u.Serial)
			}
			inSlots[u.Serial] = append(inSlots[u.Serial], changelog.Side{Dot: u.Dot, What: u.Serial + " fitted in slot " + p.Slot.Name})
			if p.Planned && p.Slot.Part != "" && u.Part != p.Slot.Part {
				list = append(list, a.wrongPart(tx, p, u))
			}
		}
		if c := p.Built.Channel; c != "" {
			if onChannel[c] == nil {
				channels = append(channels, c)
			}
			onChannel[c] = append(onChannel[c], changelog.Side{Dot: p.Built.channelDot, What: "channel " + c + " used by slot " + p.Slot.Name + ", " + p.Units[0].Serial})
		}
	}
	for _, serial := range serials {
		twice("slots", "", serial, inSlots[serial], "unit in two slots", fmt.Sprintf("look where it is, take it out and fit it there: pulk unit remove %s --to LOC --why REASON", serial))
	}
	for _, c := range channels {
		twice("channel", "channel", c, onChannel[c], "channel used twice", fmt.Sprintf("find out which slot answers on it, and mend the other: pulk assembly built %s SLOT --channel CHANNEL --why REASON", a.Unit.Serial))
	}
	return list
}

func (a *Assembly) wrongPart(tx *changelog.Tx, p Position, u Occupant) changelog.Conflict {
	return changelog.Conflict{ID: "part:" + tx.Name(u.Dot), Kind: "unit not of the part planned",
		What:   fmt.Sprintf("slot %s of %s is planned for %s, and holds %s, which is %s", p.Slot.Name, a.Unit.Serial, p.Slot.Part, u.Serial, u.Part),
		Advice: fmt.Sprintf("take it out, or take in a plan that has it: pulk assembly unfit %s %s --to LOC --why REASON; pulk assembly plan %s FILE.csv --why REASON", a.Unit.Serial, p.Slot.Name, a.Unit.Serial),
		Sides:  []changelog.Side{{Dot: a.Plan.ID, What: "planned: " + p.Slot.Part}, {Dot: u.Dot, What: "fitted: " + u.Serial + ", " + u.Part}}}
}
