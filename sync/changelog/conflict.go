package changelog

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Conflict is something that a person must look at: values that had not seen each
// other, or a state that cannot be right. It follows from the state and is never
// stored, so it is the same at every site.
type Conflict struct {
	ID      string // stable while the conflict lasts
	Kind    string // such as "field", "unit in two places", "step done twice"
	What    string // in plain words
	Urgent  bool   // an irreversible step is concerned: shown first
	Sides   []Side
	Advice  string    // what to do next
	Field   *Register // for conflicts of a field: settled by choosing a side
	Choices []Value   // the field's values, one per side
}

// Side is one of the changes in a conflict.
type Side struct {
	Dot  clock.Dot
	What string // the value, or what was done
}

// Conflicter is a [Projector] that finds conflicts of its own kinds. It calls found
// with one after the other, in any order, and ends with the first error.
type Conflicter interface {
	Conflicts(tx *Tx, found func(Conflict) error) error
}

// Found calls found with each conflict of a list, if the list could be made.
func Found(found func(Conflict) error, list []Conflict, err error) error {
	for _, c := range list {
		if err == nil {
			err = found(c)
		}
	}
	return err
}

// Describer is a [Projector] that can name entities in words that people use:
// "item CON-014", "location stn-store". It returns "" for what it does not know.
type Describer interface {
	Describe(tx *Tx, entity clock.Dot) (string, error)
}

// Describe names an entity in words that people use, or by its id; it says so where
// the entity is not here yet.
func (tx *Tx) Describe(entity clock.Dot) (string, error) {
	if entity.IsZero() {
		return "none", nil
	}
	for _, projector := range tx.log.projectors {
		if describer, ok := projector.(Describer); ok {
			text, err := describer.Describe(tx, entity)
			if text != "" || err != nil {
				return text, err
			}
		}
	}
	here, err := tx.Here(entity)
	if err == nil && !here {
		return tx.Name(entity) + " (not here yet)", nil
	}
	return tx.Name(entity), err
}

// ShowValue returns a field's value in words.
func (tx *Tx) ShowValue(field kind.FieldID, v Value) (string, error) {
	f := kind.LookupField(field)
	switch {
	case f != nil && f.Type == kind.Int:
		return fmt.Sprint(v.Int), nil
	case f != nil && f.Type == kind.Ref || !v.Ref.IsZero():
		return tx.Describe(v.Ref)
	}
	return v.Text, nil
}

// EachConflict calls found with every conflict, in no order of use to people: a store
// may have more than are worth keeping in memory.
func (tx *Tx) EachConflict(found func(Conflict) error) error {
	if err := tx.fieldConflicts(found); err != nil {
		return err
	}
	for _, projector := range tx.log.projectors {
		if conflicter, ok := projector.(Conflicter); ok {
			if err := conflicter.Conflicts(tx, found); err != nil {
				return fmt.Errorf("%s: %w", projector.Name(), err)
			}
		}
	}
	return nil
}

// Conflicts lists all conflicts, urgent ones first.
func (tx *Tx) Conflicts() ([]Conflict, error) {
	list, _, err := tx.FirstConflicts(math.MaxInt)
	return list, err
}

// FirstConflicts lists so many conflicts at most, urgent ones first, and tells how many
// there are.
func (tx *Tx) FirstConflicts(most int) (list []Conflict, all int, err error) {
	err = tx.EachConflict(func(c Conflict) error {
		all++
		list = append(list, c)
		if len(list)-most >= most {
			slices.SortStableFunc(list, byUrgency)
			clear(list[most:])
			list = list[:most]
		}
		return nil
	})
	slices.SortStableFunc(list, byUrgency)
	return list[:min(most, len(list))], all, err
}

func byUrgency(a, b Conflict) int {
	if a.Urgent != b.Urgent {
		if a.Urgent {
			return -1
		}
		return 1
	}
	return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
}

func (tx *Tx) fieldConflicts(found func(Conflict) error) error {
	contested, err := tx.Contested()
	if err != nil {
		return err
	}
	for _, r := range contested {
		field := kind.LookupField(r.Field)
		if field != nil && field.Policy == kind.Latest {
			continue // labels: the latest stands, nobody is asked
		}
		c, err := tx.fieldConflict(r, field)
		if err == nil {
			err = found(c)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (tx *Tx) fieldConflict(r Register, field *kind.Field) (Conflict, error) {
	entity, err := tx.Describe(r.Entity)
	if err != nil {
		return Conflict{}, err
	}
	name := fmt.Sprintf("field %d", r.Field)
	until := "none of the values counts until it is settled"
	if field != nil {
		name = field.Name
		if field.Policy == kind.Safest {
			until = "the most careful value counts until it is settled"
		}
	}
	id := tx.Name(r.Entity) + ":" + name
	if r.Key != "" {
		id += ":" + r.Key
		name += " [" + r.Key + "]"
	}
	c := Conflict{ID: id, Kind: "field", Field: &r, Choices: r.Values,
		What:   fmt.Sprintf("%s: %s was given %d values by people who had not seen each other's; %s", entity, name, len(r.Values), until),
		Advice: "pulk conflict settle " + id + " --take N --why REASON"}
	for _, v := range r.Values {
		text, err := tx.ShowValue(r.Field, v)
		if err != nil {
			return Conflict{}, err
		}
		c.Sides = append(c.Sides, Side{Dot: v.Dot, What: text})
	}
	return c, nil
}

// Conflicts of the log itself: forked lanes, and two sites with one code.
func (sites) Conflicts(tx *Tx, found func(Conflict) error) error {
	list, err := tx.forkConflicts()
	if err := Found(found, list, err); err != nil {
		return err
	}
	list, err = tx.siteCodeConflicts()
	return Found(found, list, err)
}

func (tx *Tx) siteCodeConflicts() ([]Conflict, error) {
	byCode := map[string][]clock.Dot{}
	err := tx.Each("SELECT dot, code FROM site WHERE code IN (SELECT code FROM site GROUP BY code HAVING count(DISTINCT site) > 1) ORDER BY code, dot", nil,
		func(scan func(...any) error) error {
			var key []byte
			var code string
			if err := scan(&key, &code); err != nil {
				return err
			}
			dot, err := clock.DotFromKey(key)
			byCode[code] = append(byCode[code], dot)
			return err
		})
	var list []Conflict
	for code, dots := range byCode {
		c := Conflict{ID: "site-code:" + code, Kind: "two sites with one code",
			What:   fmt.Sprintf("%d sites call themselves %q", len(dots), code),
			Advice: "set up one of them anew with another code; its old changes stay"}
		for _, dot := range dots {
			c.Sides = append(c.Sides, Side{Dot: dot, What: fmt.Sprintf("site %08x", uint32(dot.Site))})
		}
		list = append(list, c)
	}
	return list, err
}

func (tx *Tx) forkConflicts() ([]Conflict, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	var list []Conflict
	for _, l := range table.all() {
		if l.parent == nil {
			continue
		}
		list = append(list, Conflict{
			ID: fmt.Sprintf("fork:%s-%d", tx.LaneName(l.name), l.forkSeq), Kind: "one number used twice",
			What: fmt.Sprintf("%s used numbers from %d on twice: its store was restored from an older copy, or copied, and went on writing. Both histories are kept and count",
				tx.LaneName(l.name.Base()), l.forkSeq),
			Advice: "look whether something was done twice; at that site run: pulk site renew",
			Sides: []Side{
				{Dot: clock.Dot{Lane: l.parent.name, Seq: l.forkSeq}, What: "one history"},
				{Dot: clock.Dot{Lane: l.name, Seq: l.forkSeq}, What: "the other"},
			},
		})
	}
	return list, nil
}
