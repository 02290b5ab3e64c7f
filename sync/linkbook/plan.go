package linkbook

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"pulk/schema/fault"
	"pulk/sync/clock"
	"pulk/sync/link"
)

// FragmentHeaderBytes is what the header and check of one of our fragments take at
// the most, of bundles as large as a link carries (docs/fragment-format.md).
const FragmentHeaderBytes = 20

// Plan is a link in the days ahead, as seen from one of its ends.
type Plan struct {
	Link        *Link
	Description link.Description
	From, Until time.Time
	Contacts    []link.Contact
	Warnings    []string // what makes it less sure
}

// Plan tells when a link is open from one time to another, with the rates as the
// site self sees them. Elements too old to be relied on are refused, unless force
// is set.
func (l *Link) Plan(self clock.SiteID, from, until time.Time, force bool) (*Plan, error) {
	p := &Plan{Link: l, From: from, Until: until}
	if len(l.Contested) > 0 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("link %s: people gave different values for %s, and none of them counts: pulk conflict list", l.Code, strings.Join(l.Contested, ", ")))
	}
	var err error
	if p.Description, err = link.Describe(l.Settings); err != nil {
		return nil, fault.Hint("pulk link set "+l.Code+" mends it", "link %s: %w", l.Code, err)
	}
	if self == l.To {
		p.Description.Budget = p.Description.Budget.Reverse()
		if p.Description.Budget.SendBitsPerSecond == 0 {
			return nil, fault.Hint("send by another link, or by stick", "link %s has no way from here to the other site", l.Code)
		}
	}
	if p.Description.Budget.MessageBytesMax > 0 {
		p.Description.Budget.HeaderBytes = FragmentHeaderBytes
	}
	usable, err := p.usable(force)
	if err != nil {
		return nil, err
	}
	p.Contacts, err = p.Description.Contacts(usable, from, until.Add(beyond(p.Description)))
	p.trim()
	var lost *link.PropagationError
	if errors.As(err, &lost) {
		p.Warnings = append(p.Warnings, fmt.Sprintf("link %s: %s", l.Code, strings.ReplaceAll(err.Error(), "\n", "; ")))
		err = nil
	}
	return p, err
}

// beyond is how far past the end of a plan contacts are looked for, so that the last
// one is whole.
func beyond(d link.Description) time.Duration {
	if d.Open == link.ByAlways {
		return 0
	}
	return 24 * time.Hour
}

// trim leaves the contacts that begin before the end of the plan, and moves that end
// to where the last of them ends.
func (p *Plan) trim() {
	n := len(p.Contacts)
	for n > 0 && !p.Contacts[n-1].Start.Before(p.Until) {
		n--
	}
	p.Contacts = p.Contacts[:n]
	if n > 0 && p.Contacts[n-1].End.After(p.Until) {
		p.Until = p.Contacts[n-1].End
	}
}

// usable returns the elements to go by. Those that are too old are left out and told
// about; where all are, it is an error.
func (p *Plan) usable(force bool) ([]link.Elements, error) {
	d := p.Description
	if d.Open != link.BySatellites {
		return nil, nil
	}
	var usable []link.Elements
	var tooOld []string
	for _, s := range p.Link.Satellites {
		if !d.Uses(s.CatalogNumber) {
			continue
		}
		age := p.From.Sub(s.Epoch).Abs() // they are as wrong before their epoch as behind it
		told := fmt.Sprintf("the elements of %s are %.1f days old", s.Label(), age.Hours()/24)
		if s.Epoch.After(p.From) {
			told = fmt.Sprintf("the elements of %s are of %.1f days ahead (is the clock right?)", s.Label(), age.Hours()/24)
		}
		switch {
		case age > d.ElementsRefuse && !force:
			tooOld = append(tooOld, told)
			continue
		case age > d.ElementsWarn:
			p.Warnings = append(p.Warnings, told+": passes may begin minutes sooner or later; fetch fresh ones")
		}
		usable = append(usable, s.Elements)
	}
	switch {
	case len(usable) > 0:
		for _, told := range tooOld {
			p.Warnings = append(p.Warnings, told+", and are left out; --force takes them all the same")
		}
		return usable, nil
	case len(tooOld) > 0:
		return nil, fault.RefuseBecause(tooOld, fmt.Sprintf("fetch fresh ones: pulk link elements %s FILE; or --force, and listen early and late", p.Link.Code),
			"link %s: no elements are young enough to say when it is open (at most %.0f days)", p.Link.Code, d.ElementsRefuse.Hours()/24)
	}
	return nil, fault.Hint(fmt.Sprintf("give them: pulk link elements %s FILE", p.Link.Code), "link %s has no elements of its satellites", p.Link.Code)
}
