package crew

import (
	"regexp"
	"slices"
	"time"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Arrival is that somebody came to a place to sleep there.
type Arrival struct {
	ID           clock.Dot
	Location     clock.Dot // or none
	HeightMetres int64
	At           time.Time
}

// Sort tells trainings from medical clearances.
type Sort int64

// The sorts of clearance. Their numbers travel.
const (
	Training Sort = 0
	Medical  Sort = 1
)

func (s Sort) String() string {
	if s == Training {
		return "training"
	}
	return "medical clearance" // what is not understood is the more careful one
}

// Clearance is a training or a medical clearance: whether it is there, and until when.
// Nothing says why, or why not.
type Clearance struct {
	ID    clock.Dot
	Code  string
	Sort  Sort
	Valid bool
	Until string // the last day, YYYY-MM-DD
	// Disputed tells that people who had not seen each other's word said otherwise: the
	// more careful one stands.
	Disputed bool
}

// Holds reports whether a clearance is there on the day of a time, in UTC.
func (c Clearance) Holds(at time.Time) bool {
	return c.Valid && dayForm.MatchString(c.Until) && at.UTC().Format(time.DateOnly) <= c.Until
}

var dayForm = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)

func unixMinutes(n int64) time.Time { return time.Unix(n*60, 0).UTC() }

// Arrivals returns where a person came to sleep, the first arrival first.
func Arrivals(tx *changelog.Tx, person clock.Dot) ([]Arrival, error) { return arrivalsOf(tx, person) }

// Clearances returns, by code, what stands of a person's clearances: the word of
// whoever had seen all others, and of several that had not the most careful one.
func Clearances(tx *changelog.Tx, person clock.Dot) ([]Clearance, error) {
	list, err := clearancesOf(tx, person)
	if err != nil {
		return nil, err
	}
	contexts := make([]clock.Context, len(list))
	for i := range list {
		if contexts[i], err = tx.Context(list[i].ID); err != nil {
			return nil, err
		}
	}
	var stand []Clearance
	for i, c := range list {
		replaced := false
		for j := range list {
			replaced = replaced || list[j].Code == c.Code && contexts[j].Has(list[i].ID)
		}
		n := len(stand) - 1
		switch {
		case replaced:
		case n < 0 || stand[n].Code != c.Code:
			stand = append(stand, c)
		default:
			c.Disputed = true
			if stand[n].Disputed = true; c.lessThan(stand[n]) {
				stand[n] = c
			}
		}
	}
	return stand, nil
}

// Conflicts implements [changelog.Conflicter]: a clearance of which people said different
// things who had not seen each other's word. It is shown where it is kept.
func (Personal) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := disputed(tx)
	return changelog.Found(found, list, err)
}

func disputed(tx *changelog.Tx) ([]changelog.Conflict, error) {
	persons, err := tx.Dots("SELECT DISTINCT person FROM clearance WHERE person IS NOT NULL ORDER BY person")
	var list []changelog.Conflict
	for _, person := range persons {
		if err != nil {
			return nil, err
		}
		var stand []Clearance
		if stand, err = Clearances(tx, person); err != nil {
			return nil, err
		}
		for _, c := range stand {
			if !c.Disputed {
				continue
			}
			code, err := Label(tx, person)
			if err != nil {
				return nil, err
			}
			list = append(list, changelog.Conflict{ID: "clearance:" + code + ":" + c.Code, Kind: "clearance disputed",
				What:   "people who had not seen each other's word said different things of clearance " + c.Code + " of " + code + "; the more careful one stands",
				Advice: "let who may enter it say how it is: pulk clearance set, pulk clearance withdraw",
				Sides:  []changelog.Side{{Dot: c.ID, What: "what stands"}}})
		}
	}
	return list, err
}

// lessThan orders by how much is allowed.
func (c Clearance) lessThan(d Clearance) bool {
	if c.Valid != d.Valid {
		return !c.Valid
	}
	return c.Until < d.Until
}

// Heights that an arrival may have: from the shore of the Dead Sea to above any camp.
const (
	lowestMetres  = -430
	highestMetres = 8850
)

// Arrive writes that a person came to a place to sleep there.
func Arrive(tx *changelog.Tx, person, location clock.Dot, heightMetres int64, at time.Time) (clock.Dot, error) {
	switch {
	case heightMetres < lowestMetres || heightMetres > highestMetres:
		return clock.Dot{}, fault.Misuse("give it in metres above the sea", "nobody sleeps at %d m", heightMetres)
	case at.After(tx.Author().Now):
		return clock.Dot{}, fault.Misuse("enter it after the arrival", "%s is yet to come", at.UTC().Format("2006-01-02 15:04Z"))
	}
	tx.SetClass(clock.Confined)
	return tx.Add(change.New(kind.PersonArrive, change.Ref(person), change.Ref(location), change.Num(heightMetres), change.Num(at.Unix()/60))), nil
}

// The roles of those who enter that somebody has a training, or a medical clearance.
const (
	TrainingRole = "training-officer"
	MedicalRole  = "medical-officer"
)

// SetClearance writes that a person has a training or a medical clearance up to and
// with a day, or has it not any more. That somebody has it is entered by somebody else,
// in the role for it; that somebody has it no more by anybody.
func SetClearance(tx *changelog.Tx, me, person *Person, c Clearance) (clock.Dot, error) {
	if c.Valid {
		role := TrainingRole
		if c.Sort != Training {
			role = MedicalRole
		}
		switch {
		case !me.Has(role):
			return clock.Dot{}, fault.Refuse("let somebody with that role enter it", "a %s is entered by the role %s, which %s does not hold", c.Sort, role, me.Code)
		case me.ID == person.ID:
			return clock.Dot{}, fault.Refuse("let somebody else with that role enter it", "nobody enters their own %s", c.Sort)
		}
	}
	if err := CheckCode(c.Sort.String(), c.Code); err != nil {
		return clock.Dot{}, err
	}
	state := int64(0)
	if !c.Valid {
		if err := c.sortOf(tx, person.ID); err != nil {
			return clock.Dot{}, err
		}
	}
	if c.Valid {
		state = 1
		if day, err := time.Parse(time.DateOnly, c.Until); err != nil {
			return clock.Dot{}, fault.Misuse("give the last day as 2027-03-31", "%q is no day", c.Until)
		} else if day.AddDate(0, 0, 1).Before(tx.Author().Now) {
			return clock.Dot{}, fault.Misuse("give a day to come, or withdraw it", "%s is over", c.Until)
		}
	} else {
		c.Until = ""
	}
	tx.SetClass(clock.Confined)
	return tx.Add(change.New(kind.PersonClearance, change.Ref(person.ID), change.Text(c.Code), change.Num(int64(c.Sort)), change.Num(state), change.Text(c.Until))), nil
}

// sortOf fills in what sort of clearance a code is, by what was entered before.
func (c *Clearance) sortOf(tx *changelog.Tx, person clock.Dot) error {
	list, err := clearancesOf(tx, person)
	for _, other := range list {
		if other.Code == c.Code {
			c.Sort = other.Sort
		}
	}
	return err
}

// VoidPersonal says that an arrival, or an entry about a clearance, is not to be relied
// on: it was a mistake. Nothing is erased.
func VoidPersonal(tx *changelog.Tx, target clock.Dot) error {
	var there, voided bool
	_, err := tx.Row(`SELECT EXISTS (SELECT 1 FROM arrival WHERE dot = ?1) OR EXISTS (SELECT 1 FROM clearance WHERE dot = ?1),
		EXISTS (SELECT 1 FROM personal_void WHERE target = ?1)`, []any{target.Key()}, &there, &voided)
	switch {
	case err != nil:
		return err
	case !there:
		return fault.Hint("see: pulk person exposure", "%s is no arrival and no clearance that is here", tx.Name(target))
	case voided:
		return fault.Hint("nothing to do", "%s is voided already", tx.Name(target))
	}
	tx.SetClass(clock.Confined)
	tx.Add(change.New(kind.Void, change.Ref(target), change.Value{}, change.Value{}))
	return nil
}

// Holding returns which of some codes a person has on the day of a time, and which not.
func Holding(list []Clearance, codes []string, at time.Time) (has, lacks []string) {
	for _, code := range codes {
		i := slices.IndexFunc(list, func(c Clearance) bool { return c.Code == code })
		if i >= 0 && list[i].Holds(at) {
			has = append(has, code)
		} else {
			lacks = append(lacks, code)
		}
	}
	return has, lacks
}
