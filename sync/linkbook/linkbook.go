// Package linkbook knows the links of a campaign: between which sites, when they
// are open, what they carry, and where their satellites are.
//
// Links are changes in the log like all else. So home sees what the station said of
// its link, and can send it fresh elements. The package is one of sync, as it is
// about the way between sites and of no domain.
package linkbook

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"time"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/link"
)

// Link is a link between two sites, as the one at From describes it.
type Link struct {
	ID       clock.Dot
	Code     string
	Name     string
	From, To clock.SiteID
	// Settings are the values that stand, by name; Contested names those that were
	// given several by people who had not seen each other's, which do not count.
	Settings   map[string]string
	Contested  []string
	Satellites []Satellite // the latest elements of each, by catalogue number
}

// Satellite is elements, and the change that brought them.
type Satellite struct {
	link.Elements
	From clock.Dot
}

var codeForm = regexp.MustCompile(`^[a-z][a-z0-9-]{1,23}$`)

// SatellitesMax is of how many satellites a link takes elements: a link uses few,
// and each is a change that travels.
const SatellitesMax = 24

// Add describes a link from this site to another. Settings not given have their
// defaults. The code must be free.
func Add(tx *changelog.Tx, code, name string, to clock.SiteID, settings map[string]string) (clock.Dot, error) {
	if !codeForm.MatchString(code) {
		return clock.Dot{}, fault.Misuse("use 2 to 24 small letters, digits and hyphens, a letter first", "%q cannot be the code of a link", code)
	}
	if to == tx.Self().Site {
		return clock.Dot{}, fault.Misuse("name the other site", "a link leads to another site")
	}
	if _, err := link.Describe(settings); err != nil {
		return clock.Dot{}, err
	}
	links, err := List(tx)
	if err != nil {
		return clock.Dot{}, err
	}
	if slices.ContainsFunc(links, func(l *Link) bool { return l.Code == code }) {
		return clock.Dot{}, fault.Hint("choose another code, or change that link: pulk link set "+code, "link %q is already there", code)
	}
	id := tx.Add(change.New(kind.LinkAdd, change.Text(code), change.Text(name), change.Num(int64(to))))
	assign(tx, id, nil, settings)
	return id, nil
}

// Set gives settings of a link new values, and returns the names of those that were
// not so before.
func Set(tx *changelog.Tx, l *Link, settings map[string]string) ([]string, error) {
	after := map[string]string{}
	for name, value := range l.Settings {
		after[name] = value
	}
	for name, value := range settings {
		after[name] = value
	}
	if _, err := link.Describe(after); err != nil {
		return nil, err
	}
	return assign(tx, l.ID, l.Settings, settings), nil
}

// Rename gives a link another name.
func Rename(tx *changelog.Tx, l *Link, name string) {
	tx.AssignText(l.ID, kind.FieldLinkName, "", name, "")
}

func assign(tx *changelog.Tx, id clock.Dot, before, settings map[string]string) []string {
	var changed []string
	for _, s := range link.Settings() { // in a fixed order
		value, given := settings[s.Name]
		if given && (before == nil || before[s.Name] != value) {
			tx.AssignText(id, kind.FieldLinkSetting, s.Name, value, "")
			changed = append(changed, s.Name)
		}
	}
	return changed
}

// Remove takes a link out of use.
func Remove(tx *changelog.Tx, l *Link, why string) {
	tx.AssignText(l.ID, kind.FieldLinkState, "", "removed", why)
}

// AddElements adds what of sets is later than what is known, for the satellites
// that the link uses, and returns those. Others are passed over.
func AddElements(tx *changelog.Tx, l *Link, sets []link.Elements) ([]link.Elements, error) {
	d, err := link.Describe(l.Settings)
	if err != nil {
		return nil, err
	}
	latest := map[int]link.Elements{}
	for _, e := range sets {
		if known, ok := latest[e.CatalogNumber]; d.Uses(e.CatalogNumber) && (!ok || e.Epoch.After(known.Epoch)) {
			latest[e.CatalogNumber] = e
		}
	}
	if len(latest) > SatellitesMax {
		return nil, fault.Misuse(fmt.Sprintf("say which ones it uses: pulk link set %s --satellites \"NUMBER, NUMBER\"", l.Code),
			"the elements are of %d satellites, and a link takes at most %d", len(latest), SatellitesMax)
	}
	for _, known := range l.Satellites {
		if e, ok := latest[known.CatalogNumber]; ok && !e.Epoch.After(known.Epoch) {
			delete(latest, e.CatalogNumber)
		}
	}
	var added []link.Elements
	for _, e := range latest {
		added = append(added, e)
	}
	slices.SortFunc(added, func(a, b link.Elements) int { return cmp.Compare(a.CatalogNumber, b.CatalogNumber) })
	for _, e := range added {
		tx.Add(change.New(kind.LinkElements, change.Ref(l.ID), change.Num(int64(e.CatalogNumber)), change.Text(e.OMM())))
	}
	return added, nil
}

// List returns the links in use, in the order of their codes.
func List(tx *changelog.Tx) ([]*Link, error) {
	links, err := all(tx)
	if err != nil {
		return nil, err
	}
	var list []*Link
	for _, l := range links {
		removed, err := fill(tx, l)
		if err != nil {
			return nil, err
		}
		if !removed {
			list = append(list, l)
		}
	}
	return list, nil
}

// Find returns the link with a code, or with an id where two have one code.
func Find(tx *changelog.Tx, text string) (*Link, error) {
	links, err := List(tx)
	if err != nil {
		return nil, err
	}
	var found []*Link
	for _, l := range links {
		if l.Code == text || tx.Name(l.ID) == text {
			found = append(found, l)
		}
	}
	switch len(found) {
	case 0:
		return nil, fault.Hint("see: pulk link list", "no link %q is in use here", text)
	case 1:
		return found[0], nil
	}
	return nil, fault.Hint("name it by its id: "+tx.Name(found[0].ID)+" or "+tx.Name(found[1].ID), "%d links have the code %q", len(found), text)
}

// Between returns the links in use between two sites, whichever described them.
func Between(tx *changelog.Tx, a, b clock.SiteID) ([]*Link, error) {
	links, err := List(tx)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(links, func(l *Link) bool { return !(l.From == a && l.To == b || l.From == b && l.To == a) }), nil
}

// fill reads a link's fields and satellites, and reports whether it was removed.
func fill(tx *changelog.Tx, l *Link) (removed bool, err error) {
	fields, err := tx.Fields(l.ID)
	if err != nil {
		return false, err
	}
	l.Settings = map[string]string{}
	for _, r := range fields {
		value, ok, err := tx.Stands(r)
		switch {
		case err != nil:
			return false, err
		case r.Field == kind.FieldLinkState:
			removed = ok && value.Text == "removed"
		case r.Field == kind.FieldLinkSetting && !ok:
			l.Contested = append(l.Contested, r.Key)
		case r.Field == kind.FieldLinkSetting:
			l.Settings[r.Key] = value.Text
		case r.Field == kind.FieldLinkName && ok:
			l.Name = value.Text
		}
	}
	return removed, fillSatellites(tx, l)
}

// fillSatellites reads the latest elements of each satellite. What this program
// cannot read, as a later one wrote it, is passed over.
func fillSatellites(tx *changelog.Tx, l *Link) error {
	return eachElements(tx, l.ID, func(dot clock.Dot, omm string) error {
		sets, err := link.ParseElements([]byte(omm))
		if err != nil {
			return nil
		}
		for _, e := range sets {
			n := len(l.Satellites)
			switch {
			case n == 0 || l.Satellites[n-1].CatalogNumber != e.CatalogNumber:
				l.Satellites = append(l.Satellites, Satellite{e, dot})
			case e.Epoch.After(l.Satellites[n-1].Epoch):
				l.Satellites[n-1] = Satellite{e, dot}
			}
		}
		return nil
	})
}

// Oldest returns the age of the oldest elements that a description uses; false
// where there are none.
func (l *Link) Oldest(d link.Description, now time.Time) (time.Duration, bool) {
	age, ok := time.Duration(0), false
	for _, s := range l.Satellites {
		if d.Uses(s.CatalogNumber) {
			age, ok = max(age, now.Sub(s.Epoch)), true
		}
	}
	return age, ok
}
