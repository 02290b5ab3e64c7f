package assembly

import (
	"fmt"
	"strings"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// SetPlan takes in a plan for an assembly. It is refused for parts that are not in the
// catalogue. A plan that replaces another needs a reason; one that says the same as the
// plan that holds is not written, and false is returned.
func SetPlan(tx *changelog.Tx, a *Assembly, next *Plan, why string) (bool, error) {
	for _, slot := range next.Slots {
		if slot.Part == "" {
			continue
		}
		if it, err := stock.FindItem(tx, slot.Part); err != nil {
			return false, fmt.Errorf("slot %s: %w", slot.Name, err)
		} else if !it.Serialised {
			return false, fault.Misuse("plan a part that has serial numbers", "slot %s: %s comes without serial numbers", slot.Name, slot.Part)
		}
	}
	if a.Plan != nil && a.Plan.same(next) {
		return false, nil
	}
	if (a.Plan != nil || a.PlanContested) && why == "" {
		return false, fault.Misuse("say why with --why", "%s has a plan already; another one needs a reason", a.Unit.Serial)
	}
	id := tx.Add(change.New(kind.AssemblyPlan, change.Ref(a.Unit.ID), change.Text(next.Title), change.Text(next.Datum), change.Text(metresText(next.Length)), change.Ref(next.Source)))
	for i, s := range next.Slots {
		tx.Add(change.New(kind.AssemblySlot, change.Ref(id), change.Num(int64(i)), change.Text(s.Name), change.Text(s.Part),
			change.Text(metresText(s.Position)), change.Text(metresText(s.Depth)), change.Text(s.Channel), change.Text(s.Note)))
	}
	tx.AssignRef(a.Unit.ID, kind.FieldAssemblyPlan, "", id, why)
	return true, nil
}

// same reports whether two plans say the same.
func (p *Plan) same(q *Plan) bool {
	return p.Source == q.Source && strings.Join(p.lines(), "\n") == strings.Join(q.lines(), "\n")
}

func (p *Plan) lines() []string {
	list := []string{p.Title + "\x00" + p.Datum + "\x00" + metresText(p.Length)}
	for _, s := range p.Slots {
		list = append(list, strings.Join([]string{s.Name, s.Part, metresText(s.Position), metresText(s.Depth), s.Channel, s.Note}, "\x00"))
	}
	return list
}

// Fit puts a unit into a slot of an assembly, as one that [Assembly.MayFit] allows.
func Fit(tx *changelog.Tx, a *Assembly, u *unit.Unit, f Fitting) error {
	it, err := stock.ItemByID(tx, u.Item)
	if err != nil {
		return err
	}
	part := ""
	if it != nil {
		part = it.PartNumber
	}
	if err := a.MayFit(u, part, f); err != nil {
		return err
	}
	if err := unit.Install(tx, u, a.Unit, f.Slot, f.Run); err != nil {
		return err
	}
	if f.Channel == "" && a.Plan != nil {
		f.Channel = a.Plan.Slot(f.Slot).Channel
	}
	before, err := tx.Fields(a.Unit.ID)
	if err != nil {
		return err
	}
	if f.Position == nil && f.Depth == nil && f.Channel == "" && !saidBefore(before, f.Slot) {
		return nil
	}
	built(tx, a, u, f, "")
	return nil
}

// saidBefore reports whether something is said about how a slot's unit sits.
func saidBefore(fields []changelog.Register, slot string) bool {
	for _, r := range fields {
		if builtFields[r.Field] != "" && r.Key == slot {
			return true
		}
	}
	return false
}

func built(tx *changelog.Tx, a *Assembly, u *unit.Unit, f Fitting, why string) {
	tx.Add(change.New(kind.AssemblyBuilt, change.Ref(a.Unit.ID), change.Text(f.Slot), change.Ref(u.ID), change.Text(metresText(f.Position)),
		change.Text(metresText(f.Depth)), change.Text(f.Channel), change.Ref(f.Run), change.Num(int64(f.Step+1)), change.Text(why)))
}

// SetBuilt says how the unit in a slot sits: what f gives, and for the rest what was
// said before. What was said otherwise before is replaced with a reason only.
func SetBuilt(tx *changelog.Tx, a *Assembly, f Fitting, why string) error {
	p := a.Position(f.Slot)
	if p == nil || len(p.Units) == 0 {
		return fault.Refuse("fit one first: pulk assembly fit "+a.Unit.Serial+" "+f.Slot+" UNIT", "slot %s of %s holds nothing", f.Slot, a.Unit.Serial)
	}
	if len(p.Units) > 1 {
		return fault.Refuse("look which one is in it, then: pulk conflict list", "slot %s of %s was given to several units by people who had not heard of each other", f.Slot, a.Unit.Serial)
	}
	if in := a.channelIn(f.Channel); in != "" && in != f.Slot {
		return fault.Refuse("read the fibre's mark again; mend the wrong one first", "channel %s of %s is used by slot %s already", f.Channel, a.Unit.Serial, in)
	}
	changes := len(p.Built.Contested) > 0 || differs(f.Position, p.Built.Position) || differs(f.Depth, p.Built.Depth) || f.Channel != "" && p.Built.Channel != "" && f.Channel != p.Built.Channel
	if changes && why == "" {
		return fault.Misuse("say why with --why", "slot %s of %s was said to be otherwise; another value needs a reason", f.Slot, a.Unit.Serial)
	}
	if f.Position == nil {
		f.Position = p.Built.Position
	}
	if f.Depth == nil {
		f.Depth = p.Built.Depth
	}
	if f.Channel == "" {
		f.Channel = p.Built.Channel
	}
	built(tx, a, p.Units[0].Unit, f, why)
	return nil
}

func differs(next, before *decimal.Decimal) bool {
	return next != nil && before != nil && next.Cmp(*before) != 0
}

// SetLength says how long the assembly is as built, in metres.
func SetLength(tx *changelog.Tx, a *Assembly, length decimal.Decimal, why string) error {
	if differs(&length, a.Length) && why == "" {
		return fault.Misuse("say why with --why", "%s was said to be %s m long; another value needs a reason", a.Unit.Serial, a.Length)
	}
	tx.AssignText(a.Unit.ID, kind.FieldAssemblyLength, "", length.String(), why)
	return nil
}

// Unfit takes the unit out of a slot, to a location.
func Unfit(tx *changelog.Tx, a *Assembly, slot string, to *stock.Location, why string) (*unit.Unit, error) {
	p := a.Position(slot)
	if p == nil || len(p.Units) == 0 {
		return nil, fault.Refuse("see: pulk assembly show "+a.Unit.Serial, "slot %s of %s holds nothing", slot, a.Unit.Serial)
	}
	if len(p.Units) > 1 {
		return nil, fault.Refuse("look which one is in it, then: pulk conflict list", "slot %s of %s was given to several units by people who had not heard of each other", slot, a.Unit.Serial)
	}
	u := p.Units[0].Unit
	return u, unit.Remove(tx, u, to, why)
}

// Undo takes a unit out of its assembly again where the change-set of a change put it
// in: a scan that was voided. It goes back to where it lay before. It returns whether
// there was anything to undo.
func Undo(tx *changelog.Tx, scan, id clock.Dot, why string) (bool, error) {
	u, err := unit.ByID(tx, id)
	if u == nil || err != nil || !u.Installed() {
		return false, err
	}
	events, err := unit.Events(tx, id)
	if err != nil {
		return false, err
	}
	last := unit.LastInstall(events)
	if last == nil || last.Dot.Lane != scan.Lane || last.Dot.Seq != scan.Seq || last.Assembly != u.Assembly {
		return false, nil
	}
	before, err := stock.LocationByID(tx, unit.PlaceBefore(events, last.Dot))
	if err == nil && before == nil {
		before, err = stock.LocationByID(tx, u.Place)
	}
	if err != nil {
		return false, err
	}
	if before == nil {
		return false, fault.Refuse("take it out first: pulk unit remove "+u.Serial+" --to LOC --why REASON", "nobody knows where %s lay before", u.Serial)
	}
	return true, unit.Remove(tx, u, before, "the scan was voided: "+why)
}
