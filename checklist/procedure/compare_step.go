package procedure

import (
	"fmt"
	"slices"
	"strconv"
)

// compareSteps walks b and puts each removed step where it stood in a.
func compareSteps(a, b []Step) []Difference {
	oldIndex, newIndex := indexByID(a), indexByID(b)
	removedAfter := map[string][]Step{} // by id of the last step before that is still there
	anchor := ""
	for _, s := range a {
		if _, kept := newIndex[s.ID]; kept {
			anchor = s.ID
		} else {
			removedAfter[anchor] = append(removedAfter[anchor], s)
		}
	}
	var ds []Difference
	flush := func(anchor string) {
		for _, s := range removedAfter[anchor] {
			ds = append(ds, Difference{Removed, stepName(s.ID), "", summary(&s), ""})
		}
	}
	moved := movedSteps(a, b, oldIndex)
	flush("")
	for i := range b {
		s := &b[i]
		was, existed := oldIndex[s.ID]
		if !existed {
			ds = append(ds, Difference{Added, stepName(s.ID), "", "", summary(s)})
			continue
		}
		if moved[s.ID] {
			ds = append(ds, Difference{Moved, stepName(s.ID), "", place(a, was), place(b, i)})
		}
		ds = append(ds, compareStep(&a[was], s)...)
		flush(s.ID)
	}
	return ds
}

func indexByID(steps []Step) map[string]int {
	index := make(map[string]int, len(steps))
	for i := range steps {
		index[steps[i].ID] = i
	}
	return index
}

func stepName(id string) string { return fmt.Sprintf("step %q", id) }

func summary(s *Step) string {
	text := fmt.Sprintf("%s, %q", s.Kind, s.Text)
	if s.Irreversible {
		return "irreversible " + text
	}
	return text
}

// place says where step i stands.
func place(steps []Step, i int) string {
	if i == 0 {
		return "the beginning"
	}
	return "after " + stepName(steps[i-1].ID)
}

// movedSteps returns the ids of the fewest steps that must move to turn the
// order of a into that of b: all but a longest run that keeps its order.
func movedSteps(a, b []Step, oldIndex map[string]int) map[string]bool {
	var common []int // indices in a, in the order of b
	for i := range b {
		if was, ok := oldIndex[b[i].ID]; ok {
			common = append(common, was)
		}
	}
	moved := make(map[string]bool)
	for _, was := range common {
		moved[a[was].ID] = true
	}
	for _, was := range longestIncreasing(common) {
		delete(moved, a[was].ID)
	}
	return moved
}

// longestIncreasing returns a longest strictly increasing subsequence.
func longestIncreasing(numbers []int) []int {
	tails := []int{}                      // tails[k]: position of the smallest end of a run of k+1
	previous := make([]int, len(numbers)) // position before, in the run that ends here
	for i, n := range numbers {
		k, _ := slices.BinarySearchFunc(tails, n, func(at, n int) int { return numbers[at] - n })
		previous[i] = -1
		if k > 0 {
			previous[i] = tails[k-1]
		}
		if k == len(tails) {
			tails = append(tails, i)
		}
		tails[k] = i
	}
	var run []int
	for i := lastOf(tails); i >= 0; i = previous[i] {
		run = append(run, numbers[i])
	}
	slices.Reverse(run)
	return run
}

func lastOf(list []int) int {
	if len(list) == 0 {
		return -1
	}
	return list[len(list)-1]
}

func compareStep(a, b *Step) []Difference {
	where := stepName(b.ID)
	ds := compareFields(where, stepFields(a), stepFields(b))
	ds = append(ds, compareLists(where, "caution", a.Cautions, b.Cautions)...)
	ds = append(ds, compareLists(where, "after", a.After, b.After)...)
	ds = append(ds, compareLists(where, "needs", a.Needs, b.Needs)...)
	ds = append(ds, compareLists(where, "question of the review", questionTexts(a.Review), questionTexts(b.Review))...)
	return append(ds, compareLists(where, "uses", useTexts(a.Uses), useTexts(b.Uses))...)
}

func useTexts(uses []PartUse) []string {
	texts := make([]string, len(uses))
	for i, u := range uses {
		texts[i] = fmt.Sprintf("%d of %s", u.Quantity, u.Part)
	}
	return texts
}

// stepFields gives the single-valued parts of a step, always in one order.
func stepFields(s *Step) []field {
	fields := []field{{"kind", string(s.Kind)}, {"text", s.Text}, {"role", s.Role}, {"irreversible", strconv.FormatBool(s.Irreversible)},
		{"outdoor", strconv.FormatBool(s.Outdoor)}, {"heavy", strconv.FormatBool(s.Heavy)}}
	reading, record, sign := [6]string{}, [4]string{}, [2]string{}
	if r := s.Reading; r != nil {
		reading = [6]string{r.Quantity, r.Unit, r.Limits.In(r.Unit), strconv.Itoa(r.Repeat)}
		if r.Example != nil {
			reading[5] = r.Example.String()
		}
		if r.Instrument != nil {
			reading[4] = r.Instrument.String()
		}
	}
	if r := s.Record; r != nil {
		record = [4]string{r.What, r.Part, r.Label, r.Slot}
	}
	if g := s.Sign; g != nil {
		sign = [2]string{g.Role, strconv.Itoa(g.People)}
	}
	minutes := ""
	if s.WaitMinutes != 0 {
		minutes = strconv.FormatInt(s.WaitMinutes, 10)
	}
	fields = append(fields, reviewFields(s.Review)...)
	return append(fields,
		field{"quantity", reading[0]}, field{"unit", reading[1]}, field{"limits", reading[2]}, field{"repeat", reading[3]}, field{"instrument", reading[4]}, field{"example", reading[5]},
		field{"what to record", record[0]}, field{"part expected", record[1]}, field{"label", record[2]}, field{"slot", record[3]},
		field{"role that signs", sign[0]}, field{"people who sign", sign[1]}, field{"minutes", minutes})
}
