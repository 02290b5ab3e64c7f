package stock

import (
	"fmt"
	"slices"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// DecidingRole is the role of those who decide that what was stopped may be used, and that
// one item may stand for another. To stop is for everybody.
const DecidingRole = "quality"

// decides refuses what takes the role, to somebody with these roles.
func decides(roles []string, what string) error {
	if slices.Contains(roles, DecidingRole) {
		return nil
	}
	return fault.Refuse("let somebody with that role decide; see: pulk person list", "to %s is for the role %s", what, DecidingRole)
}

// Quarantine keeps a lot from being issued: everywhere, or at one place where at is not
// nil. Anybody may. Where the lot lies need not be known here.
func Quarantine(tx *changelog.Tx, it *Item, lot string, at *Location, why string) (clock.Dot, error) {
	if why == "" {
		return clock.Dot{}, fault.Misuse("give it with --why", "a quarantine needs a reason")
	}
	holds, err := HoldsOf(tx, it.ID)
	if err != nil {
		return clock.Dot{}, err
	}
	shelf := Shelf{Item: it.ID, Lot: lot}
	if at != nil {
		shelf.Location = at.ID
	}
	for _, h := range holds {
		if h.Stands() && h.Covers(shelf) {
			return clock.Dot{}, fault.Hint("nothing to do; see: pulk stock quarantined", "%s is in quarantine already (%s): %s", lotText(it, lot), tx.Name(h.ID), h.Why)
		}
	}
	known, err := lotKnown(tx, it, lot)
	if err != nil {
		return clock.Dot{}, err
	}
	if !known {
		return clock.Dot{}, fault.Hint("see: pulk stock history "+it.PartNumber, "nothing is known here of %s", lotText(it, lot))
	}
	return tx.Add(change.New(kind.LotHold, change.Ref(it.ID), change.Text(lot), change.Ref(shelf.Location), change.Text(why))), nil
}

func lotText(it *Item, lot string) string {
	if lot == "" {
		return it.PartNumber + " without a lot"
	}
	return it.PartNumber + " lot " + lot
}

func lotKnown(tx *changelog.Tx, it *Item, lot string) (bool, error) {
	all, err := MovementsOf(tx, it.ID)
	return slices.ContainsFunc(all, func(m Movement) bool { return m.Lot == lot }), err
}

// Release ends the holds of a lot that are known here, with a reason, and says how many;
// roles are those of who does it, among which is [DecidingRole]. A hold that another site has
// set meanwhile goes on.
func Release(tx *changelog.Tx, it *Item, lot, why string, roles []string) (int, error) {
	if why == "" {
		return 0, fault.Misuse("give it with --why", "a release from quarantine needs a reason")
	}
	if err := decides(roles, "release "+lotText(it, lot)+" from quarantine"); err != nil {
		return 0, err
	}
	holds, err := HoldsOf(tx, it.ID)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, h := range holds {
		if h.Stands() && h.Lot == lot {
			tx.Add(change.New(kind.LotRelease, change.Ref(h.ID), change.Text(why)))
			n++
		}
	}
	if n == 0 {
		return 0, fault.Hint("see: pulk stock quarantined", "%s is not in quarantine", lotText(it, lot))
	}
	return n, nil
}

// doubt refuses to issue a lot against which something speaks. A reason overrules all
// but a quarantine; it is returned as it is to be noted.
func doubt(it *Item, stacks []Stack, lot, day, overrule string) (string, error) {
	if lot == AnyLot {
		return "", nil
	}
	kind, stack := DoubtOf(stacks, lot, day)
	var what, hint string
	switch kind {
	case InQuarantine:
		return "", fault.Refuse("see why: pulk stock quarantined; the role "+DecidingRole+" ends it: pulk stock release", "%s is in quarantine", lotText(it, lot))
	case Expired:
		what, hint = fmt.Sprintf("%s expired on %s", lotText(it, lot), stack.Expires), "take another lot; or say why it is fit for this all the same: --why REASON"
	case NotFirst:
		what, hint = fmt.Sprintf("%s is not the first to expire", lotText(it, lot)), fmt.Sprintf("take lot %s first (%d, until %s); or say why not: --why REASON", stack.Lot, stack.Quantity, stack.Expires)
	default:
		return "", nil
	}
	if overrule == "" {
		return "", fault.Refuse(hint, "%s", what)
	}
	return what + ", taken all the same: " + overrule, nil
}

// issuedInQuarantine lists the issues and holds of a lot whose authors had not heard
// of each other.
func issuedInQuarantine(tx *changelog.Tx, holds []Hold, lot []Movement) ([]changelog.Conflict, error) {
	var list []changelog.Conflict
	for _, h := range holds {
		if !h.Stands() || h.Item != lot[0].Item || h.Lot != lot[0].Lot {
			continue
		}
		c, err := issuedUnder(tx, h, lot)
		if err != nil {
			return nil, err
		}
		if len(c.Sides) > 1 {
			list = append(list, c)
		}
	}
	return list, nil
}

func issuedUnder(tx *changelog.Tx, h Hold, all []Movement) (changelog.Conflict, error) {
	item, err := tx.Describe(h.Item)
	if err != nil {
		return changelog.Conflict{}, err
	}
	set, err := tx.Context(h.ID)
	if err != nil {
		return changelog.Conflict{}, err
	}
	c := changelog.Conflict{ID: "quarantine:" + tx.Name(h.ID), Kind: "issued in quarantine",
		What:   fmt.Sprintf("%s lot %s was issued by somebody who had not heard that it is in quarantine", item, h.Lot),
		Advice: "find where it went and decide on that; then void the issue if it did not happen, or release the lot: pulk stock release",
		Sides:  []changelog.Side{{Dot: h.ID, What: "quarantine: " + h.Why}}}
	for _, m := range all {
		if m.Kind != kind.StockIssue || !m.Voided.IsZero() || set.Has(m.ID) || !h.Covers(Shelf{m.Item, m.Lot, m.From}) {
			continue
		}
		issued, err := tx.Context(m.ID)
		if err != nil {
			return c, err
		}
		if issued.Has(h.ID) {
			continue
		}
		place, err := LocationLabel(tx, m.From)
		if err != nil {
			return c, err
		}
		c.Sides = append(c.Sides, changelog.Side{Dot: m.ID, What: fmt.Sprintf("issue %d from %s", m.Quantity, place)})
	}
	return c, nil
}

// KeepBack puts a lot at one place into quarantine, unless it is there already; it
// returns the hold that stands. Nothing need be known of the lot.
func KeepBack(tx *changelog.Tx, it *Item, lot string, at *Location, why string) (clock.Dot, error) {
	holds, err := HoldsOf(tx, it.ID)
	if err != nil {
		return clock.Dot{}, err
	}
	for _, h := range holds {
		if h.Stands() && h.Covers(Shelf{Item: it.ID, Lot: lot, Location: at.ID}) {
			return h.ID, nil
		}
	}
	return tx.Add(change.New(kind.LotHold, change.Ref(it.ID), change.Text(lot), change.Ref(at.ID), change.Text(why))), nil
}
