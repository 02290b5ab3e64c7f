package procedure

import (
	"fmt"

	yaml "go.yaml.in/yaml/v4"
)

// check reports breaches of the rules that hold between the parts of a
// procedure. Each rule skips what could not be read, which is reported already.
func (r *reader) check(p *Procedure, f fields, sources []fields) {
	r.checkIDs(p, sources)
	r.checkRoles(p, f, sources)
	r.checkIrreversible(p, sources)
	r.checkParts(p, f, sources)
	r.checkSlots(p, sources)
	r.checkReviews(p, sources)
}

// checkSlots: a slot is filled by one step.
func (r *reader) checkSlots(p *Procedure, sources []fields) {
	line := map[string]int{}
	for i := range p.Steps {
		if p.Steps[i].Record == nil || p.Steps[i].Record.Slot == "" {
			continue
		}
		slot, at := p.Steps[i].Record.Slot, valueOf(sources[i].values["record"], "slot")
		if first := line[slot]; first != 0 {
			r.fail(at, fmt.Sprintf("slot %q is filled twice", slot), fmt.Sprintf("another slot; the first is on line %d", first))
			continue
		}
		line[slot] = at.Line
	}
}

// checkIDs: step ids are unique, and "after" names earlier steps.
func (r *reader) checkIDs(p *Procedure, sources []fields) {
	line, all := map[string]int{}, map[string]bool{}
	for i := range p.Steps {
		all[p.Steps[i].ID] = true
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		for j, id := range s.After {
			at := sources[i].values["after"].Content[j]
			switch {
			case id == "" || line[id] != 0:
			case id == s.ID:
				r.fail(at, fmt.Sprintf("step %q comes after itself", id), "the id of an earlier step")
			case all[id]:
				r.fail(at, fmt.Sprintf("step %q stands later in the file", id), "the id of an earlier step")
			default:
				r.fail(at, fmt.Sprintf("there is no step %q", id), r.expectedEarlier(id, p.Steps[:i]))
			}
		}
		if s.ID == "" {
			continue
		}
		if first := line[s.ID]; first != 0 {
			r.fail(sources[i].values["id"], fmt.Sprintf("step id %q is used twice", s.ID), fmt.Sprintf("another id; the first is on line %d", first))
			continue
		}
		line[s.ID] = sources[i].values["id"].Line
	}
}

func (r *reader) expectedEarlier(id string, earlier []Step) string {
	if r.full() {
		return "the id of an earlier step"
	}
	ids := make([]string, len(earlier))
	for i := range earlier {
		ids[i] = earlier[i].ID
	}
	if near, ok := r.suggest(id, ids); ok {
		return fmt.Sprintf("the id of an earlier step; %q perhaps", near)
	}
	return "the id of an earlier step"
}

// checkRoles: every role named is declared, and every role declared is named.
func (r *reader) checkRoles(p *Procedure, f fields, sources []fields) {
	used := map[string]bool{}
	check := func(role string, at *yaml.Node) {
		used[role] = true
		for _, declared := range p.Roles {
			if role == declared || role == "" {
				return
			}
		}
		if role != "" {
			expected := "a role of the list roles"
			if near, ok := r.suggest(role, p.Roles); ok {
				expected += fmt.Sprintf("; %q perhaps", near)
			}
			r.fail(at, fmt.Sprintf("role %q is not declared", role), expected)
		}
	}
	for i := range p.Steps {
		check(p.Steps[i].Role, sources[i].values["role"])
		if sign := p.Steps[i].Sign; sign != nil {
			check(sign.Role, valueOf(sources[i].values["sign"], "role"))
		}
		reviewRoles(p.Steps[i].Review, sources[i].values["review"], check)
	}
	for i, role := range p.Roles {
		if role != "" && !used[role] {
			r.warn(f.values["roles"].Content[i], fmt.Sprintf("role %q is named by no step", role), "a step of that role, or the role left out")
		}
	}
}

// checkIrreversible: what cannot be undone has a hold point before it, and a
// caution.
func (r *reader) checkIrreversible(p *Procedure, sources []fields) {
	held := false
	for i := range p.Steps {
		s := &p.Steps[i]
		held = held || s.Kind == KindHold
		if !s.Irreversible {
			continue
		}
		at := sources[i].keys["irreversible"]
		if !held {
			r.fail(at, fmt.Sprintf("step %q is irreversible and no hold point comes before it", s.ID), "a step of kind hold earlier in the file")
		}
		if len(s.Cautions) == 0 {
			r.warn(at, fmt.Sprintf("step %q is irreversible and has no caution", s.ID), "a caution that says what cannot be undone")
		}
	}
}

// checkParts: what the steps use is declared, and adds up to what is declared.
func (r *reader) checkParts(p *Procedure, f fields, sources []fields) {
	declared, sum := map[string]int64{}, map[string]int64{}
	names := make([]string, len(p.Parts))
	for i, part := range p.Parts {
		declared[part.Part], names[i] = part.Quantity, part.Part
	}
	for i := range p.Steps {
		for j, use := range p.Steps[i].Uses {
			at := valueOf(sources[i].values["uses"].Content[j], "part")
			if _, ok := declared[use.Part]; !ok && use.Part != "" {
				expected := "a part of the list parts"
				if near, ok := r.suggest(use.Part, names); ok {
					expected += fmt.Sprintf("; %q perhaps", near)
				}
				r.fail(at, fmt.Sprintf("part %q is not declared", use.Part), expected)
			}
			sum[use.Part] += use.Quantity
		}
	}
	for i, part := range p.Parts {
		if part.Part == "" || part.Quantity == 0 {
			continue
		}
		at := valueOf(f.values["parts"].Content[i], "quantity")
		switch used := sum[part.Part]; {
		case used > part.Quantity:
			r.fail(at, fmt.Sprintf("the steps use %d of %q and %d are declared", used, part.Part, part.Quantity), fmt.Sprintf("%d", used))
		case used < part.Quantity:
			r.warn(at, fmt.Sprintf("the steps use %d of %q and %d are declared", used, part.Part, part.Quantity), fmt.Sprintf("%d, or a step that uses the rest", used))
		}
	}
}

// valueOf returns the value of key in a mapping node, or the node itself.
func valueOf(mapping *yaml.Node, key string) *yaml.Node {
	for i := 0; i+1 < len(mapping.Content); i += 2 {
		if mapping.Content[i].Value == key {
			return mapping.Content[i+1]
		}
	}
	return mapping
}
