package assembly

import (
	"errors"
	"strings"
	"testing"

	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/clock"
)

func named(serial string, n uint64) *unit.Unit {
	return &unit.Unit{ID: clock.Dot{Seq: n}, Serial: serial, State: unit.Released}
}

// half is a string of three slots of which slot 1 holds SM-1.
func half() *Assembly {
	plan := &Plan{Slots: []Slot{{Name: "1", Part: "SM3-001", Channel: "c1"}, {Name: "2", Part: "SM3-001", Channel: "c2"}, {Name: "top", Part: "STR-018"}}}
	a := &Assembly{Unit: named("STG-07", 1), Plan: plan}
	for _, s := range plan.Slots {
		a.Positions = append(a.Positions, Position{Slot: s, Planned: true})
	}
	a.Positions[0].Units = []Occupant{{Unit: named("SM-1", 2), Part: "SM3-001"}}
	a.Positions[0].Built.Channel = "c1"
	a.Evaluate()
	return a
}

func TestMayFit(t *testing.T) {
	second, box := named("SM-2", 3), named("BOX", 4)
	for _, c := range []struct {
		name      string
		unit      *unit.Unit
		part      string
		fitting   Fitting
		contested bool
		want      string // beginning of the refusal; none where it may be fitted
		hint      string
	}{
		{"as_planned", second, "SM3-001", Fitting{Slot: "2"}, false, "", ""},
		{"other_channel", second, "SM3-001", Fitting{Slot: "2", Channel: "c9"}, false, "", ""},
		{"taken", second, "SM3-001", Fitting{Slot: "1"}, false, "slot 1 of STG-07 holds SM-1", "pulk assembly unfit STG-07 1"},
		{"twice", named("SM-1", 2), "SM3-001", Fitting{Slot: "2"}, false, "SM-1 is in slot 1 of STG-07 already", "scan the unit that is really there"},
		{"wrong_part", box, "STR-018", Fitting{Slot: "2"}, false, "slot 2 of STG-07 is planned for SM3-001, but BOX is STR-018", "belongs into slot top"},
		{"no_such_slot", second, "SM3-001", Fitting{Slot: "3"}, false, `the plan of STG-07 has no slot "3"`, "the next empty one is 2"},
		{"channel_taken", second, "SM3-001", Fitting{Slot: "2", Channel: "c1"}, false, "channel c1 of STG-07 is used by slot 1", "pulk assembly built STG-07 1 --channel"},
		{"two_plans", second, "SM3-001", Fitting{Slot: "2"}, true, "STG-07 has several plans", "pulk conflict list"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := half()
			if a.PlanContested = c.contested; c.contested {
				a.Plan = nil
			}
			err := a.MayFit(c.unit, c.part, c.fitting)
			var refused *fault.Refused
			switch {
			case c.want == "" && err != nil:
				t.Errorf("refused: %v", err)
			case c.want != "" && !errors.As(err, &refused):
				t.Errorf("MayFit gives %v, want a refusal that begins with %q", err, c.want)
			case c.want != "" && (!strings.HasPrefix(refused.Error(), c.want) || !strings.Contains(refused.Hint, c.hint)):
				t.Errorf("refused with %q, hint %q; want %q, hint with %q", refused, refused.Hint, c.want, c.hint)
			}
		})
	}
}

func TestDeviations(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(a *Assembly)
		slot   string
		want   string
	}{
		{"none", func(*Assembly) {}, "1", ""},
		{"empty_slot", func(*Assembly) {}, "2", ""},
		{"wrong_part", func(a *Assembly) { a.Positions[0].Units[0].Part = "STR-018" }, "1", "SM-1 is STR-018, planned is SM3-001"},
		{"failed", func(a *Assembly) { a.Positions[0].Units[0].State = unit.Failed }, "1", "SM-1 is failed"},
		{"other_channel", func(a *Assembly) { a.Positions[0].Built.Channel = "c9" }, "1", "it answers on channel c9, planned is c1"},
		{"two_slots", func(a *Assembly) { a.Positions[1].Units = a.Positions[0].Units }, "1", "SM-1 is in slot 2 too"},
		{"two_units", func(a *Assembly) {
			a.Positions[0].Units = append(a.Positions[0].Units, Occupant{Unit: named("SM-2", 3), Part: "SM3-001"})
		}, "1", "2 units were fitted by people who had not heard of each other"},
		{"channel_twice", func(a *Assembly) {
			a.Positions[2].Units = []Occupant{{Unit: named("BOX", 4), Part: "STR-018"}}
			a.Positions[2].Built.Channel = "c1"
		}, "top", "channel c1 is used by slot 1 too"},
		{"not_in_plan", func(a *Assembly) { a.Positions[0].Planned, a.Positions[0].Slot.Part = false, "" }, "1", "the plan has no such slot"},
		{"told_twice", func(a *Assembly) { a.Positions[0].Built.Contested = []string{"the depth"} }, "1", "the depth was told differently by people who had not heard of each other"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := half()
			c.change(a)
			a.Evaluate()
			if got := strings.Join(a.Position(c.slot).Deviations, "; "); got != c.want {
				t.Errorf("slot %s: %q, want %q", c.slot, got, c.want)
			}
		})
	}
}

func TestFacts(t *testing.T) {
	number := func(text string) *decimal.Decimal {
		d, err := decimal.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		return &d
	}
	a := half()
	a.Plan.Length, a.Length = number("2150"), number("2147.5")
	a.Positions[0].Slot.Depth, a.Positions[0].Built.Depth = number("2000"), number("1999.6")
	f := a.Facts()
	if f.LengthPlannedMetres.String() != "2150" || f.LengthBuiltMetres.String() != "2147.5" {
		t.Errorf("lengths are %v and %v", f.LengthPlannedMetres, f.LengthBuiltMetres)
	}
	one, top := f.Slots["1"], f.Slots["top"]
	if one.Place != 1 || one.DepthPlannedMetres.String() != "2000" || one.DepthBuiltMetres.String() != "1999.6" || one.PositionBuiltMetres != nil {
		t.Errorf("slot 1: %+v", one)
	}
	if top.Place != 3 || top.DepthBuiltMetres != nil {
		t.Errorf("slot top: %+v", top)
	}
}
