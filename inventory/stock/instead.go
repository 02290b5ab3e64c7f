package stock

import (
	"fmt"
	"slices"
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Stands returns what may stand for an item.
func Stands(tx *changelog.Tx, item clock.Dot) ([]Stand, error) {
	said, err := substituteRows(tx, item)
	if err != nil {
		return nil, err
	}
	for i := range said {
		ctx, err := tx.Context(said[i].ID)
		if err != nil {
			return nil, err
		}
		said[i].Knew = ctx.Has
	}
	return StandsFor(said, item), nil
}

// SetSubstitute says that stand may be taken in place of it, by people with a role or by
// everybody; or takes that back. Roles are those of who does it: that it may is said by
// [DecidingRole], that it may no more by anybody.
func SetSubstitute(tx *changelog.Tx, it, stand *Item, role string, allowed bool, why string, roles []string) error {
	switch {
	case it.ID == stand.ID:
		return fault.Misuse("name two items", "%s is no substitute for itself", it.PartNumber)
	case it.Serialised || stand.Serialised:
		return fault.Misuse("units are chosen one by one: pulk unit list", "an item with serial numbers has no substitute here")
	case it.UnitOfIssue != stand.UnitOfIssue:
		return fault.Misuse("one piece stands for one piece", "%s is counted in %s, %s in %s", it.PartNumber, it.UnitOfIssue, stand.PartNumber, stand.UnitOfIssue)
	case why == "":
		return fault.Misuse("give it with --why", "a substitute needs a reason")
	}
	list, err := Stands(tx, it.ID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(s Stand) bool { return s.Item == stand.ID })
	if i < 0 && !allowed {
		return fault.Hint("see: pulk item show "+it.PartNumber, "%s does not stand for %s", stand.PartNumber, it.PartNumber)
	}
	if i >= 0 && allowed && strings.Join(list[i].Roles, " ") == role {
		return fault.Hint("nothing to do", "%s stands for %s already", stand.PartNumber, it.PartNumber)
	}
	yes := int64(0)
	if allowed {
		yes = 1
	}
	if allowed {
		if err := decides(roles, "say that "+stand.PartNumber+" may stand for "+it.PartNumber); err != nil {
			return err
		}
	}
	tx.Add(change.New(kind.ItemSubstitute, change.Ref(it.ID), change.Ref(stand.ID), change.Text(role), change.Num(yes), change.Text(why)))
	return nil
}

// MayStand refuses to take an item in place of another where nobody has said that it may
// be, or not by people with these roles.
func MayStand(tx *changelog.Tx, stand, wanted *Item, roles []string) error {
	list, err := Stands(tx, wanted.ID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(s Stand) bool { return s.Item == stand.ID })
	if i < 0 {
		hint := fmt.Sprintf("the role %s says so: pulk item substitute %s %s --why REASON", DecidingRole, wanted.PartNumber, stand.PartNumber)
		back, err := Stands(tx, stand.ID)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(back, func(s Stand) bool { return s.Item == wanted.ID }) {
			hint = fmt.Sprintf("%s may stand for %s, and not the other way; %s", wanted.PartNumber, stand.PartNumber, hint)
		}
		return fault.Refuse(hint, "%s may not stand for %s", stand.PartNumber, wanted.PartNumber)
	}
	for _, role := range list[i].Roles {
		if !slices.Contains(roles, role) {
			return fault.Refuse("let somebody with that role issue it", "to take %s in place of %s is for the role %s", stand.PartNumber, wanted.PartNumber, role)
		}
	}
	return nil
}

// IssueInstead issues one item in place of another that was wanted; roles are those of
// who does it. See [Issue] for the rest.
func IssueInstead(tx *changelog.Tx, stand, wanted *Item, roles []string, lot string, from *Location, quantity int64, run clock.Dot, step int, note, overrule string) ([]Draw, error) {
	if err := MayStand(tx, stand, wanted, roles); err != nil {
		return nil, err
	}
	first := tx.Next()
	draws, err := Issue(tx, stand, lot, from, quantity, run, step, note, overrule)
	if err != nil {
		return nil, err
	}
	movement := first
	for range draws {
		tx.Add(change.New(kind.StockInstead, change.Ref(movement), change.Ref(wanted.ID)))
		movement.Index++
	}
	return draws, nil
}

// standsText tells what may stand for an item and how much of it lies at a place.
func standsText(tx *changelog.Tx, it *Item, from *Location) (string, error) {
	list, err := Stands(tx, it.ID)
	if err != nil {
		return "", err
	}
	text := ""
	for _, s := range list {
		other, err := ItemByID(tx, s.Item)
		if err != nil {
			return "", err
		}
		if other == nil {
			continue
		}
		stacks, err := Stacks(tx, other, from)
		if err != nil {
			return "", err
		}
		text += fmt.Sprintf("; %s may stand for it, %d fit for use at %s: --instead-of %s", other.PartNumber, Fit(stacks, Day(tx.Author().Now)), from.Code, it.PartNumber)
	}
	return text, nil
}
