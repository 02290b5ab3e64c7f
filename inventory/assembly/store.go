package assembly

import (
	"cmp"
	"slices"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of plans. What is in a slot, and how it sits, is in
// register.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "assembly" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- assembly_plan is every plan that was taken in; which one holds is in register.
CREATE TABLE assembly_plan (
  dot      BLOB PRIMARY KEY,
  assembly BLOB,           -- dot of a unit
  title    TEXT NOT NULL,
  datum    TEXT NOT NULL,
  length_m TEXT NOT NULL,  -- decimal, or empty
  source   BLOB            -- dot of a revision
) STRICT, WITHOUT ROWID;
CREATE INDEX assembly_plan_assembly ON assembly_plan (assembly);

-- assembly_slot is every slot of a plan.
CREATE TABLE assembly_slot (
  dot         BLOB PRIMARY KEY,
  plan        BLOB,             -- dot
  place       INTEGER NOT NULL, -- order in the plan, from 0
  slot        TEXT NOT NULL,
  part_number TEXT NOT NULL,
  position_m  TEXT NOT NULL,    -- decimals, or empty
  depth_m     TEXT NOT NULL,
  channel     TEXT NOT NULL,
  note        TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX assembly_slot_plan ON assembly_slot (plan, place);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"assembly_plan", "assembly_slot"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.AssemblyPlan:
		return tx.Exec("INSERT INTO assembly_plan (dot, assembly, title, datum, length_m, source) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Text, v[3].Text, v[4].Ref.Key())
	case kind.AssemblySlot:
		return tx.Exec("INSERT INTO assembly_slot (dot, plan, place, slot, part_number, position_m, depth_m, channel, note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Num, v[2].Text, v[3].Text, v[4].Text, v[5].Text, v[6].Text, v[7].Text)
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	p, err := planWith(tx, id)
	if p == nil || err != nil {
		return "", err
	}
	if p.Title == "" {
		return "plan " + tx.Name(id), nil
	}
	return "plan " + tx.Name(id) + " (" + p.Title + ")", nil
}

// planWith returns a plan with its slots, or nil.
func planWith(tx *changelog.Tx, id clock.Dot) (*Plan, error) {
	p := &Plan{ID: id}
	var length string
	var source []byte
	found, err := tx.Row("SELECT title, datum, length_m, source FROM assembly_plan WHERE dot = ?", []any{id.Key()}, &p.Title, &p.Datum, &length, &source)
	if err != nil || !found {
		return nil, err
	}
	if p.Source, err = clock.DotFromKey(source); err != nil {
		return nil, err
	}
	// What a damaged program wrote as a number is left away.
	p.Length, _ = ParseMetres(length)
	err = tx.Each("SELECT slot, part_number, position_m, depth_m, channel, note FROM assembly_slot WHERE plan = ? ORDER BY place, dot", []any{id.Key()}, func(scan func(...any) error) error {
		var s Slot
		var position, depth string
		if err := scan(&s.Name, &s.Part, &position, &depth, &s.Channel, &s.Note); err != nil {
			return err
		}
		s.Position, _ = ParseMetres(position)
		s.Depth, _ = ParseMetres(depth)
		if p.Slot(s.Name) == nil {
			p.Slots = append(p.Slots, s)
		}
		return nil
	})
	return p, err
}

// planned lists the units that have a plan.
func planned(tx *changelog.Tx) ([]clock.Dot, error) {
	return tx.Dots("SELECT DISTINCT assembly FROM assembly_plan WHERE assembly IS NOT NULL ORDER BY assembly")
}

// List returns the assemblies that have a plan, in the order of their serials.
func List(tx *changelog.Tx) ([]*Assembly, error) {
	ids, err := planned(tx)
	if err != nil {
		return nil, err
	}
	var list []*Assembly
	for _, id := range ids {
		u, err := unit.ByID(tx, id)
		if err != nil {
			return nil, err
		}
		if u == nil { // it is not here yet
			continue
		}
		a, err := Load(tx, u)
		if err != nil {
			return nil, err
		}
		list = append(list, a)
	}
	slices.SortStableFunc(list, func(a, b *Assembly) int { return cmp.Compare(a.Unit.Serial, b.Unit.Serial) })
	return list, nil
}

// Load reads all that is known of an assembly.
func Load(tx *changelog.Tx, u *unit.Unit) (*Assembly, error) {
	a := &Assembly{Unit: u}
	fields, err := tx.Fields(u.ID)
	if err != nil {
		return nil, err
	}
	slots := map[string][]changelog.Register{}
	for _, r := range fields {
		switch {
		case r.Field == kind.FieldAssemblyPlan:
			a.PlanContested = r.Conflicted()
			if value, stands, err := tx.Stands(r); err != nil {
				return nil, err
			} else if stands {
				if a.Plan, err = planWith(tx, value.Ref); err != nil {
					return nil, err
				}
			}
		case r.Field == kind.FieldAssemblyLength:
			if value, stands, err := tx.Stands(r); err != nil {
				return nil, err
			} else if stands {
				a.Length, _ = ParseMetres(value.Text)
			}
		case r.Field == kind.FieldUnitSlot || builtFields[r.Field] != "":
			slots[r.Key] = append(slots[r.Key], r)
		}
	}
	if err := a.loadPositions(tx, slots); err != nil {
		return nil, err
	}
	a.Evaluate()
	return a, nil
}

// builtFields are those that say how a unit sits, in words.
var builtFields = map[kind.FieldID]string{kind.FieldAssemblyPosition: "the position", kind.FieldAssemblyDepth: "the depth", kind.FieldAssemblyChannel: "the channel"}

func (a *Assembly) loadPositions(tx *changelog.Tx, slots map[string][]changelog.Register) error {
	if a.Plan != nil {
		for _, s := range a.Plan.Slots {
			a.Positions = append(a.Positions, Position{Slot: s, Planned: true})
		}
	}
	var others []string
	for name := range slots {
		if a.Position(name) == nil {
			others = append(others, name)
		}
	}
	slices.Sort(others)
	for _, name := range others {
		a.Positions = append(a.Positions, Position{Slot: Slot{Name: name}})
	}
	for i := range a.Positions {
		if err := a.Positions[i].load(tx, a.Unit, slots[a.Positions[i].Slot.Name]); err != nil {
			return err
		}
	}
	a.Positions = slices.DeleteFunc(a.Positions, func(p Position) bool { return !p.Planned && len(p.Units) == 0 })
	return nil
}

func (p *Position) load(tx *changelog.Tx, assembly *unit.Unit, fields []changelog.Register) error {
	for _, r := range fields {
		if r.Field == kind.FieldUnitSlot {
			if err := p.loadUnits(tx, assembly, r); err != nil {
				return err
			}
		}
	}
	if len(p.Units) == 0 {
		return nil
	}
	for _, r := range fields {
		if builtFields[r.Field] != "" {
			if err := p.loadBuilt(tx, r); err != nil {
				return err
			}
		}
	}
	return nil
}

func (p *Position) loadUnits(tx *changelog.Tx, assembly *unit.Unit, r changelog.Register) error {
	list, err := unit.Occupants(tx, assembly.ID, r.Key)
	if err != nil {
		return err
	}
	for _, u := range list {
		o := Occupant{Unit: u}
		for _, v := range r.Values {
			if v.Ref == u.ID {
				o.Dot = v.Dot
			}
		}
		it, err := stock.ItemByID(tx, u.Item)
		if err != nil {
			return err
		}
		if it != nil {
			o.Part = it.PartNumber
		}
		put, err := tx.Entry(o.Dot)
		if err != nil {
			return err
		}
		p.Built.Person, p.Built.At = put.Person, put.At
		if put.Kind == kind.UnitInstall {
			p.Built.Run = put.Values[3].Ref
		}
		p.Units = append(p.Units, o)
	}
	return nil
}

// loadBuilt takes what a field says of the unit that is in the slot. What was said of
// one that is there no more does not count.
func (p *Position) loadBuilt(tx *changelog.Tx, r changelog.Register) error {
	counts := r
	counts.Values = nil
	for _, v := range r.Values {
		said, err := tx.Entry(v.Dot)
		if err != nil {
			return err
		}
		about := said.Kind != kind.AssemblyBuilt || slices.ContainsFunc(p.Units, func(o Occupant) bool { return o.ID == said.Values[2].Ref })
		if about {
			counts.Values = append(counts.Values, v)
		}
	}
	if counts.Conflicted() {
		p.Built.Contested = append(p.Built.Contested, builtFields[r.Field])
	}
	if len(counts.Values) == 0 || counts.Conflicted() {
		return nil
	}
	text := counts.Values[0].Text
	switch r.Field {
	case kind.FieldAssemblyPosition:
		p.Built.Position, _ = ParseMetres(text)
	case kind.FieldAssemblyDepth:
		p.Built.Depth, _ = ParseMetres(text)
	case kind.FieldAssemblyChannel:
		p.Built.Channel, p.Built.channelDot = text, counts.Values[0].Dot
	}
	return nil
}
