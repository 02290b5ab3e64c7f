package assembly

import (
	"fmt"
	"strings"

	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/clock"
)

// Fitting is how a unit is put into a slot.
type Fitting struct {
	Slot     string
	Position *decimal.Decimal // as built, in metres, or nil where not known yet
	Depth    *decimal.Decimal // as built, in metres, or nil where not known yet
	Channel  string           // as built; empty means as planned
	Run      clock.Dot        // or none
	Step     int              // of the run, or -1
}

// MayFit refuses a unit, which is of a part number, that does not belong into a slot:
// the scan is the last moment at which that costs nothing. Without a plan any unit may
// go into any slot that is free.
func (a *Assembly) MayFit(u *unit.Unit, part string, f Fitting) error {
	name := a.Unit.Serial
	if a.PlanContested {
		return fault.Refuse("settle which plan holds: pulk conflict list", "%s has several plans by people who had not heard of each other", name)
	}
	if in := a.slotOf(u.ID); in != "" {
		return fault.Refuse("scan the unit that is really there; if the other scan was wrong: "+a.unfit(in), "%s is in slot %s of %s already", u.Serial, in, name)
	}
	if p := a.Position(f.Slot); p != nil && len(p.Units) > 0 {
		return fault.Refuse("read the slot again; if the other scan was wrong: "+a.unfit(f.Slot), "slot %s of %s holds %s", f.Slot, name, p.Units[0].Serial)
	}
	channel := f.Channel
	if a.Plan != nil {
		slot := a.Plan.Slot(f.Slot)
		if slot == nil {
			return fault.Refuse(a.whichSlots(), "the plan of %s has no slot %q", name, f.Slot)
		}
		if slot.Part != "" && slot.Part != part {
			return fault.Refuse(a.whereTo(part, slot.Part), "slot %s of %s is planned for %s, but %s is %s", f.Slot, name, slot.Part, u.Serial, part)
		}
		if channel == "" {
			channel = slot.Channel
		}
	}
	if in := a.channelIn(channel); in != "" {
		return fault.Refuse("read the fibre's mark again; if the other one is wrong: pulk assembly built "+name+" "+in+" --channel CHANNEL --why REASON", "channel %s of %s is used by slot %s already", channel, name, in)
	}
	return nil
}

func (a *Assembly) unfit(slot string) string {
	return fmt.Sprintf("pulk assembly unfit %s %s --to LOC --why REASON", a.Unit.Serial, slot)
}

// slotOf returns the slot that holds a unit, or nothing.
func (a *Assembly) slotOf(id clock.Dot) string {
	for _, p := range a.Positions {
		for _, u := range p.Units {
			if u.ID == id {
				return p.Slot.Name
			}
		}
	}
	return ""
}

// channelIn returns the slot whose unit answers on a channel, or nothing.
func (a *Assembly) channelIn(channel string) string {
	for _, p := range a.Positions {
		if channel != "" && len(p.Units) > 0 && p.Built.Channel == channel {
			return p.Slot.Name
		}
	}
	return ""
}

func (a *Assembly) whichSlots() string {
	if next := a.Next(); next != nil {
		return fmt.Sprintf("the next empty one is %s; see: pulk assembly show %s", next.Slot.Name, a.Unit.Serial)
	}
	return "every slot is filled; see: pulk assembly show " + a.Unit.Serial
}

// whereTo says what to take, and which empty slots are for what was scanned.
func (a *Assembly) whereTo(part, planned string) string {
	hint := "take one of " + planned
	var free []string
	for _, p := range a.Positions {
		if p.Planned && len(p.Units) == 0 && p.Slot.Part == part {
			free = append(free, p.Slot.Name)
		}
	}
	if len(free) > 0 {
		hint += "; this one belongs into slot " + strings.Join(free[:min(3, len(free))], ", or ")
	}
	return hint
}
