package procedure

import (
	"fmt"
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

var stepKeys = []string{"id", "kind", "text", "cautions", "role", "after", "irreversible", "uses", "reading", "record", "sign", "minutes", "review", "outdoor", "heavy", "needs"}

// kindKeys says which kinds have a key that not every kind has, and whether
// they must have it.
var kindKeys = []struct {
	key      string
	required bool
	kinds    []Kind
}{
	{"reading", true, []Kind{KindReading}},
	{"record", true, []Kind{KindRecord}},
	{"sign", true, []Kind{KindHold, KindWitness}},
	{"minutes", true, []Kind{KindWait}},
	{"review", false, []Kind{KindHold}},
	{"irreversible", false, []Kind{KindDo, KindConfirm, KindReading, KindRecord, KindWait}},
	{"outdoor", false, []Kind{KindDo, KindConfirm, KindReading, KindRecord, KindWait}},
	{"heavy", false, []Kind{KindDo, KindConfirm, KindReading, KindRecord, KindWait}},
}

// step reads one step, and returns its nodes for the checks between steps.
func (r *reader) step(node *yaml.Node) (Step, fields) {
	f, ok := r.mapping(node, "a step", stepKeys...)
	if !ok {
		return Step{}, f
	}
	s := Step{ID: r.code(r.required(f, "a step", "id", stepForm.expected), "the step's id", stepForm)}
	what := "the step"
	if s.ID != "" {
		what = fmt.Sprintf("step %q", s.ID)
	}
	s.Kind = r.kind(r.required(f, what, "kind", "one of "+kindList()))
	s.Text = r.text(r.required(f, what, "text", "what to do, in words"), "the text", 1200)
	s.Cautions = r.texts(f.values["cautions"], "cautions", "a caution", 800)
	if role := f.values["role"]; role != nil {
		s.Role = r.code(role, "the role", roleForm)
	}
	s.After = r.codes(f.values["after"], "after", "the step's id", stepForm)
	s.Irreversible = r.truth(f.values["irreversible"], "irreversible")
	s.Outdoor = r.truth(f.values["outdoor"], "outdoor")
	s.Heavy = r.truth(f.values["heavy"], "heavy")
	s.Needs = r.codes(f.values["needs"], "needs", "the training or clearance", needForm)
	s.Uses = r.partUses(f.values["uses"], "uses")
	r.kindFields(&s, f, what)
	return s, f
}

// kindFields reads the keys that belong to some kinds only.
func (r *reader) kindFields(s *Step, f fields, what string) {
	for _, k := range kindKeys {
		belongs := slices.Contains(k.kinds, s.Kind)
		switch {
		case s.Kind == "": // reported already; nothing more can be said
		case belongs && k.required && f.values[k.key] == nil:
			r.fail(f.node, fmt.Sprintf("%s has no %q", what, k.key), fmt.Sprintf("it in a step of kind %s", s.Kind))
		case !belongs && f.values[k.key] != nil:
			r.fail(f.keys[k.key], fmt.Sprintf("%s of kind %s has %q", what, s.Kind, k.key), "that only in a step of kind "+joinKinds(k.kinds, " or "))
			s.Irreversible = s.Irreversible && k.key != "irreversible"
		}
	}
	s.Reading = r.reading(f.values["reading"])
	s.Record = r.record(f.values["record"])
	s.Sign = r.sign(f.values["sign"])
	s.Review = r.review(f.values["review"])
	if minutes := f.values["minutes"]; minutes != nil {
		const minutesMax = 366 * 24 * 60
		s.WaitMinutes = r.whole(minutes, "minutes", 1, minutesMax)
	}
}

func (r *reader) kind(node *yaml.Node) Kind {
	text, ok := r.scalar(node, "the kind", "one of "+kindList())
	if !ok {
		return ""
	}
	kind := Kind(text)
	if slices.Contains(Kinds(), kind) {
		return kind
	}
	expected := "one of " + kindList()
	if near, ok := r.suggest(text, strings.Split(kindList(), ", ")); ok {
		expected = fmt.Sprintf("%q perhaps; the kinds are %s", near, kindList())
	}
	r.fail(node, "the kind is "+quote(text), expected)
	return ""
}

func kindList() string { return joinKinds(Kinds(), ", ") }

func joinKinds(kinds []Kind, separator string) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = string(k)
	}
	return strings.Join(words, separator)
}

func (r *reader) record(node *yaml.Node) *Record {
	if node == nil {
		return nil
	}
	f, ok := r.mapping(node, "the record", "what", "part", "label", "slot")
	if !ok {
		return nil
	}
	record := &Record{Label: r.text(r.required(f, "the record", "label", "what it is, in a few words"), "the label", 80)}
	what := r.required(f, "the record", "what", "serial or text")
	if text, ok := r.scalar(what, "what", "serial or text"); ok {
		if text != RecordSerial && text != RecordText {
			r.fail(what, "what is "+quote(text), "serial or text")
		}
		record.What = text
	}
	if part := f.values["part"]; part != nil {
		record.Part = r.code(part, "the part", partForm)
		if record.What == RecordText {
			r.fail(f.keys["part"], `a record of text has "part"`, "that only in a record of a serial")
		}
	}
	if slot := f.values["slot"]; slot != nil {
		record.Slot = r.code(slot, "the slot", slotForm)
		if record.What == RecordText {
			r.fail(f.keys["slot"], `a record of text has "slot"`, "that only in a record of a serial")
		}
	}
	return record
}

func (r *reader) sign(node *yaml.Node) *Sign {
	if node == nil {
		return nil
	}
	f, ok := r.mapping(node, "sign", "role", "people")
	if !ok {
		return nil
	}
	sign := &Sign{Role: r.code(r.required(f, "sign", "role", roleForm.expected), "the role", roleForm)}
	if people := r.required(f, "sign", "people", "how many different people sign, at least 1"); people != nil {
		sign.People = int(r.whole(people, "people", 1, 10))
	}
	return sign
}
