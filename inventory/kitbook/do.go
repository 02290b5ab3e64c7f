package kitbook

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pulk/inventory/kit"
	"pulk/inventory/stock"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// maxName bounds the name of a plan, in bytes.
const maxName = 60

// MaxLines is how many lines a plan that is kept can have: it is one change-set.
const MaxLines = change.MaxChanges - 1

// Keep keeps a plan under a name. It is refused for a name that a plan has which
// nobody voided.
func Keep(tx *changelog.Tx, p *Plan) (clock.Dot, error) {
	if p.Name == "" || len(p.Name) > maxName || strings.ContainsAny(p.Name, " \t\n,:@") {
		return clock.Dot{}, fault.Misuse("use letters, digits and hyphens", "%q cannot be the name of a plan", p.Name)
	}
	if len(p.Lines) > MaxLines {
		return clock.Dot{}, fault.Misuse("plan for fewer places at once", "the plan has %d lines, and %d can be kept", len(p.Lines), MaxLines)
	}
	list, err := List(tx)
	if err != nil {
		return clock.Dot{}, err
	}
	for _, other := range list {
		if other.Name == p.Name && other.Voided == nil {
			return clock.Dot{}, fault.Hint("choose another name; or void it: pulk kit void "+p.Name+" --why REASON", "a plan %s is kept already (%s)", p.Name, tx.Name(other.ID))
		}
	}
	id := tx.Add(change.New(kind.KitPlan, change.Text(p.Name), change.Text(p.From), change.Text(p.Until), change.Text(p.Late), change.Ref(p.At), change.Text(p.Runs),
		number(p.Confidence), whole(p.Caps[0]), number(p.Caps[1]), whole(p.Caps[2]), number(p.OddsNow), number(p.Odds), number(p.OddsBound), change.Text(p.Note)))
	for _, l := range p.Lines {
		tx.Add(change.New(kind.KitLine, change.Ref(id), change.Ref(l.Item), change.Num(basisNumber(l.Basis)), change.Num(int64(l.Class)), change.Num(l.Installed), change.Num(l.Needed),
			change.Num(l.Pack), number(l.RatePerHour*perMillion), number(l.FailuresKnown), number(l.Expected), change.Num(l.There), change.Num(l.Send),
			number(l.OddsNow), number(l.Odds), change.Num(l.MassGrams), number(l.Litres), change.Num(l.Cents)))
	}
	return id, nil
}

// perMillion: rates are kept in failures per million unit-hours.
const perMillion = 1e6

var bases = []kit.Basis{kit.Spare, kit.Consumable, kit.NoRate}

func basisNumber(b kit.Basis) int64 {
	for i, known := range bases {
		if b == known {
			return int64(i)
		}
	}
	panic("kitbook: a basis without a number: " + string(b))
}

func whole(x float64) change.Value { return change.Num(int64(math.Round(x))) }

// number keeps a figure to six digits after the point, which is finer than it is known.
func number(x float64) change.Value {
	return change.Dec(decimal.Decimal{Mantissa: int64(math.Round(x * 1e6)), Scale: 6})
}

// Find returns the plan with a name or an id. A voided plan is found by its id alone.
func Find(tx *changelog.Tx, name string) (*Plan, error) {
	list, err := List(tx)
	if err != nil {
		return nil, err
	}
	var found []*Plan
	for _, p := range list {
		if tx.Name(p.ID) == name {
			return p, nil
		}
		if p.Name == name && p.Voided == nil {
			found = append(found, p)
		}
	}
	switch len(found) {
	case 0:
		return nil, fault.Hint("see: pulk kit list", "no plan %q is kept here", name)
	case 1:
		return found[0], nil
	}
	return nil, fault.Hint("sites that had not heard of each other kept them; give the id instead: pulk kit list", "%d plans are called %s", len(found), name)
}

// VoidPlan says that a plan is not to be relied on.
func VoidPlan(tx *changelog.Tx, p *Plan, why string) error {
	switch {
	case p.Voided != nil:
		return fault.Hint("nothing to do", "%s is voided already", tx.Name(p.ID))
	case why == "":
		return fault.Misuse("give it with --why", "voiding needs a reason")
	}
	tx.Add(change.New(kind.Void, change.Ref(p.ID), change.Value{}, change.Text(why)))
	return nil
}

// Of is a plan as it was made, to be kept: of a choice under caps, or of a plan item
// by item. Parts are found in the catalogue.
func Of(tx *changelog.Tx, name string, plan *kit.Plan, capped *kit.Capped) (*Plan, error) {
	p := &Plan{Name: name, From: plan.From.Format(time.DateOnly), Until: plan.Until.Format(time.DateOnly), Confidence: plan.Target, OddsBound: -1}
	var late []string
	for _, d := range plan.Delays {
		late = append(late, fmt.Sprintf("%g=%g", d.Days, d.Probability))
	}
	p.Late = strings.Join(late, " ")
	if p.OddsNow, p.Odds = plan.Odds(); capped != nil {
		plan = capped.Plan
		p.OddsNow, p.Odds, p.OddsBound = capped.Before, capped.Odds, capped.Bound
		for r, most := range capped.Caps {
			if !math.IsInf(most, 1) {
				p.Caps[r] = most
			}
		}
	}
	for i := range plan.Lines {
		l := &plan.Lines[i]
		it, err := stock.FindItem(tx, l.PartNumber)
		if err != nil {
			return nil, err
		}
		p.Lines = append(p.Lines, lineOf(it.ID, l))
	}
	return p, nil
}

func lineOf(item clock.Dot, l *kit.Line) Line {
	out := Line{Item: item, Basis: l.Basis, Class: l.Terms.Class, Installed: l.Installed, Needed: l.Terms.Needed, Pack: max(1, l.Terms.Pack),
		Expected: l.Expected, There: l.Good, Send: l.Send, OddsNow: -1, Odds: -1, MassGrams: l.SendMassGrams, Litres: l.SendLitres, Cents: l.PriceCents * l.Send}
	if l.OddsKnown {
		out.OddsNow, out.Odds = l.OddsNow, l.OddsSent
	}
	if l.Basis == kit.Spare {
		out.RatePerHour, out.FailuresKnown = l.RatePerHour, l.FailuresKnown()
		if out.Needed == 0 {
			out.Needed = l.Installed
		}
	}
	return out
}
