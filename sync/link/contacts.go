package link

import (
	"errors"
	"time"
)

// Contacts returns when a link is open from one time to another, given elements of
// its satellites. Where elements give no place for some of the time, the error
// holds a *PropagationError for each such satellite, and the contacts are those
// that the others, and the time before, make.
func (d Description) Contacts(satellites []Elements, from, until time.Time) ([]Contact, error) {
	switch d.Open {
	case ByAlways:
		return Always(from, until), nil
	case ByWindows:
		return Daily(d.Windows, from, until), nil
	case BySatellites:
		passes, err := Passes(satellites, d.Site, from, until)
		return PassContacts(passes), err
	}
	return nil, errors.New("nothing says when the link is open")
}

// PassContacts makes contacts of passes.
func PassContacts(passes []Pass) []Contact {
	var list []Contact
	for _, p := range passes {
		list = append(list, Contact{Start: p.Rise, End: p.Set, By: []string{p.Satellite}, Highest: p.Highest, ElevationMaxDegrees: p.HighestElevationDegrees})
	}
	return Merge(list)
}
