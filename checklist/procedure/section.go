package procedure

import (
	"fmt"
	"slices"

	yaml "go.yaml.in/yaml/v4"
)

func (r *reader) hazards(node *yaml.Node) []Hazard {
	var hazards []Hazard
	for _, item := range r.list(node, "hazards", itemsMax) {
		f, ok := r.mapping(item, "a hazard", "name", "caution")
		if !ok {
			continue
		}
		hazard := Hazard{
			Name:    r.text(r.required(f, "a hazard", "name", "the hazard in a few words"), "the hazard's name", 80),
			Caution: r.text(r.required(f, "a hazard", "caution", "what keeps people safe from it"), "the hazard's caution", 800),
		}
		named := func(h Hazard) bool { return h.Name == hazard.Name }
		if hazard.Name != "" && slices.ContainsFunc(hazards, named) {
			r.warn(f.values["name"], fmt.Sprintf("hazard %s is given twice", quote(hazard.Name)), "it once, with the whole caution")
		}
		hazards = append(hazards, hazard)
	}
	return hazards
}

// texts reads a list of prose items; what names the list and one its item.
func (r *reader) texts(node *yaml.Node, what, one string, runesMax int) []string {
	var texts []string
	for _, item := range r.list(node, what, itemsMax) {
		text := r.text(item, one, runesMax)
		if text != "" && slices.Contains(texts, text) {
			r.warn(item, fmt.Sprintf("%s %s is given twice", one, quote(text)), "it once")
		}
		texts = append(texts, text)
	}
	return texts
}

// codes reads a list of identifiers, each at most once.
func (r *reader) codes(node *yaml.Node, what, one string, form codeForm) []string {
	var codes []string
	seen := map[string]bool{}
	for _, item := range r.list(node, what, itemsMax) {
		code := r.code(item, one, form)
		if code != "" && seen[code] {
			r.fail(item, fmt.Sprintf("%s names %q twice", what, code), "each once")
		}
		seen[code] = true
		codes = append(codes, code)
	}
	return codes
}

// partUses reads a list of parts with quantities, each part at most once.
func (r *reader) partUses(node *yaml.Node, what string) []PartUse {
	var uses []PartUse
	seen := map[string]bool{}
	for _, item := range r.list(node, what, itemsMax) {
		f, ok := r.mapping(item, "an item of "+what, "part", "quantity")
		if !ok {
			uses = append(uses, PartUse{}) // keeps indices in step with the nodes
			continue
		}
		use := PartUse{
			Part:     r.code(r.required(f, "an item of "+what, "part", partForm.expected), "the part", partForm),
			Quantity: r.quantity(r.required(f, "an item of "+what, "quantity", "how many, in the part's unit of issue")),
		}
		if use.Part != "" && seen[use.Part] {
			r.fail(f.values["part"], fmt.Sprintf("%s names %q twice", what, use.Part), "each part once, with the whole quantity")
		}
		seen[use.Part] = true
		uses = append(uses, use)
	}
	return uses
}

// quantityMax bounds each quantity, so that sums over a procedure cannot overflow.
const quantityMax = 1_000_000

func (r *reader) quantity(node *yaml.Node) int64 {
	return r.whole(node, "the quantity", 1, quantityMax)
}
