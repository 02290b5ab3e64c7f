package stock

import (
	"cmp"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Made is a lot of a kit that was made up from parts, in one change-set: the kit came in
// and its parts went out. Each part is of one lot, so that a lot of kits tells what is in
// each of them.
type Made struct {
	Kit   Movement   // a receive; its lot is of this make-up alone
	Parts []Movement // issues, for all kits of the lot
}

// Stands reports whether nothing of it was voided.
func (m Made) Stands() bool {
	return m.Kit.Voided.IsZero() && !slices.ContainsFunc(m.Parts, func(p Movement) bool { return !p.Voided.IsZero() })
}

// balanced groups the movements of make-ups and break-downs: those of one change-set that
// take in and take out. Each group is in the order of the change-set; a make-up begins
// with what came in, a break-down with what went out.
func balanced(movements []Movement) [][]Movement {
	type set struct {
		lane clock.Lane
		seq  uint64
	}
	sets := map[set][]Movement{}
	for _, m := range movements {
		if m.Kind == kind.StockReceive || m.Kind == kind.StockIssue {
			at := set{m.ID.Lane, m.ID.Seq}
			sets[at] = append(sets[at], m)
		}
	}
	var groups [][]Movement
	for _, group := range sets {
		in := slices.ContainsFunc(group, func(m Movement) bool { return m.Kind == kind.StockReceive })
		out := slices.ContainsFunc(group, func(m Movement) bool { return m.Kind == kind.StockIssue })
		if in && out {
			slices.SortFunc(group, func(a, b Movement) int { return cmp.Compare(a.ID.Index, b.ID.Index) })
			groups = append(groups, group)
		}
	}
	slices.SortFunc(groups, func(a, b []Movement) int { return a[0].ID.Compare(b[0].ID) })
	return groups
}

// Makes returns the make-ups among movements, voided ones too, in the order of their ids.
// What does not come out even for each kit is none.
func Makes(movements []Movement) []Made {
	var list []Made
	for _, group := range balanced(movements) {
		kits := group[0].Quantity
		uneven := kits <= 0 || slices.ContainsFunc(group[1:], func(m Movement) bool { return m.Kind != kind.StockIssue || m.Quantity%kits != 0 })
		if group[0].Kind == kind.StockReceive && !uneven {
			list = append(list, Made{group[0], group[1:]})
		}
	}
	return list
}

// BalancedWith returns the movements of the make-up or break-down that one belongs to, it
// among them; nothing if it belongs to none.
func BalancedWith(movements []Movement, id clock.Dot) []Movement {
	for _, group := range balanced(movements) {
		if slices.ContainsFunc(group, func(m Movement) bool { return m.ID == id }) {
			return group
		}
	}
	return nil
}
