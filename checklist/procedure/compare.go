package procedure

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Change says what became of something between two revisions.
type Change string

// The changes.
const (
	Added   Change = "added"
	Removed Change = "removed"
	Changed Change = "changed"
	Moved   Change = "moved"
)

// Difference is one thing in which two revisions differ, in a reader's words.
type Difference struct {
	Change   Change
	Where    string // `step "40"`, `hazard "Cold"`, "tools", "the procedure"
	Field    string // which part of it, such as "limits"; "" for the whole
	From, To string // as the reader sees them; From is "" if added, To if removed
}

// String is one line: `step "340": limits changed from "at most 8.25 kN" to …`.
func (d Difference) String() string {
	subject := d.Where
	if d.Field != "" {
		subject += ": " + d.Field
	}
	switch d.Change {
	case Added:
		return fmt.Sprintf("%s added: %s", subject, d.To)
	case Removed:
		return fmt.Sprintf("%s removed: %s", subject, d.From)
	}
	return fmt.Sprintf("%s %s from %s to %s", subject, d.Change, orNothing(d.From), orNothing(d.To))
}

func orNothing(text string) string {
	if text == "" {
		return "nothing"
	}
	return strconv.Quote(text)
}

// Compare lists what differs from a to b, in the order in which b is read:
// head, hazards, tools, parts, roles, inputs, steps. Steps are matched by id, hazards by
// name and parts by part number. A step counts as moved when it left the order
// of the others; the fewest such moves are told. Equal procedures give none.
func Compare(a, b *Procedure) []Difference {
	var ds []Difference
	head := func(p *Procedure) []field {
		return []field{{"id", p.ID}, {"title", p.Title}, {"revision", p.Revision}}
	}
	ds = append(ds, compareFields("the procedure", head(a), head(b))...)
	ds = append(ds, compareNamed("hazard", hazardPairs(a.Hazards), hazardPairs(b.Hazards))...)
	ds = append(ds, compareLists("tools", "", a.Tools, b.Tools)...)
	ds = append(ds, compareNamed("part", partPairs(a.Parts), partPairs(b.Parts))...)
	ds = append(ds, compareLists("roles", "", a.Roles, b.Roles)...)
	ds = append(ds, compareNamed("input", inputPairs(a.Inputs), inputPairs(b.Inputs))...)
	return append(ds, compareSteps(a.Steps, b.Steps)...)
}

// field is one part of something, as a reader sees it.
type field struct{ name, value string }

// compareFields reports the fields, in one order in both, whose values differ.
func compareFields(where string, a, b []field) []Difference {
	var ds []Difference
	for i := range a {
		if a[i].value != b[i].value {
			ds = append(ds, Difference{Changed, where, a[i].name, a[i].value, b[i].value})
		}
	}
	return ds
}

func hazardPairs(hazards []Hazard) []field {
	pairs := make([]field, len(hazards))
	for i, h := range hazards {
		pairs[i] = field{h.Name, h.Caution}
	}
	return pairs
}

func inputPairs(inputs []Input) []field {
	pairs := make([]field, len(inputs))
	for i := range inputs {
		pairs[i] = field{inputs[i].Name, inputs[i].String()}
	}
	return pairs
}

func partPairs(uses []PartUse) []field {
	pairs := make([]field, len(uses))
	for i, u := range uses {
		pairs[i] = field{u.Part, strconv.FormatInt(u.Quantity, 10)}
	}
	return pairs
}

// compareNamed compares lists of named values; a name that stands twice is
// matched in turn.
func compareNamed(sort string, a, b []field) []Difference {
	var ds []Difference
	left := slices.Clone(a)
	var kept []field // of b
	for _, now := range b {
		where := fmt.Sprintf("%s %q", sort, now.name)
		i := slices.IndexFunc(left, func(f field) bool { return f.name == now.name })
		if i < 0 {
			ds = append(ds, Difference{Added, where, "", "", now.value})
			continue
		}
		if left[i].value != now.value {
			ds = append(ds, Difference{Changed, where, "", left[i].value, now.value})
		}
		left = slices.Delete(left, i, i+1)
		kept = append(kept, now)
	}
	for _, gone := range left {
		ds = append(ds, Difference{Removed, fmt.Sprintf("%s %q", sort, gone.name), "", gone.value, ""})
	}
	if before, after := namesOf(without(a, left)), namesOf(kept); before != after {
		ds = append(ds, Difference{Moved, sort + "s", "order", before, after})
	}
	return ds
}

// without returns all but one of each of the fields in gone.
func without(all, gone []field) []field {
	var rest []field
	gone = slices.Clone(gone)
	for _, f := range slices.Backward(all) {
		if i := slices.Index(gone, f); i >= 0 {
			gone = slices.Delete(gone, i, i+1)
			continue
		}
		rest = append(rest, f)
	}
	slices.Reverse(rest)
	return rest
}

func namesOf(fields []field) string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return strings.Join(names, ", ")
}

// compareLists compares lists of texts. As many removed as added are told as
// changes, one into the other, in their order.
func compareLists(where, name string, a, b []string) []Difference {
	removed, added := subtract(a, b), subtract(b, a)
	var ds []Difference
	for i := range max(len(removed), len(added)) {
		switch {
		case len(removed) == len(added):
			ds = append(ds, Difference{Changed, where, name, removed[i], added[i]})
		default:
			if i < len(removed) {
				ds = append(ds, Difference{Removed, where, name, removed[i], ""})
			}
			if i < len(added) {
				ds = append(ds, Difference{Added, where, name, "", added[i]})
			}
		}
	}
	if len(ds) == 0 && !slices.Equal(a, b) {
		ds = append(ds, Difference{Moved, where, strings.TrimSpace(name + " order"), strings.Join(a, "; "), strings.Join(b, "; ")})
	}
	return ds
}

// subtract returns a without one occurrence for each item of b, in order.
func subtract(a, b []string) []string {
	left := slices.Clone(b)
	var rest []string
	for _, item := range a {
		if i := slices.Index(left, item); i >= 0 {
			left = slices.Delete(left, i, i+1)
			continue
		}
		rest = append(rest, item)
	}
	return rest
}
