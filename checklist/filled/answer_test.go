package filled

import (
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

func step(kind procedure.Kind) *procedure.Step { return &procedure.Step{ID: "10", Kind: kind} }

func TestParseAnswer(t *testing.T) {
	for _, c := range []struct {
		kind        procedure.Kind
		typed, want string // want is the answer in its one form; "" is blank, "!" is refused
	}{
		{procedure.KindDo, "done", "done"}, {procedure.KindDo, " D ", "done"}, {procedure.KindDo, "-", ""}, {procedure.KindDo, "", ""},
		{procedure.KindDo, "yes", "!"}, {procedure.KindDo, "done twice", "!"},
		{procedure.KindConfirm, "y", "yes"}, {procedure.KindConfirm, "Yes", "yes"}, {procedure.KindConfirm, "no: frost on the seal", "no: frost on the seal"},
		{procedure.KindConfirm, "n  frost: two spots", "no: frost: two spots"}, {procedure.KindConfirm, "NO:frost", "no: frost"},
		{procedure.KindConfirm, "no", "!"}, {procedure.KindConfirm, "no:", "!"}, {procedure.KindConfirm, "yes and no", "!"}, {procedure.KindConfirm, "done", "!"},
		{procedure.KindReading, " 4.35   4.36 ", "4.35 4.36"}, {procedure.KindReading, "-4.0", "-4.0"}, {procedure.KindReading, "-", ""},
		{procedure.KindRecord, "SM3-0107", "SM3-0107"}, {procedure.KindRecord, "06:40 no wind", "06:40 no wind"},
		{procedure.KindWait, "06:40-07:05", "2027-01-05T06:40Z to 2027-01-05T07:05Z"}, {procedure.KindWait, "2350 - 0020", "2027-01-05T23:50Z to 2027-01-06T00:20Z"},
		{procedure.KindWait, "06:40", "!"}, {procedure.KindWait, "done", "!"}, {procedure.KindWait, "06:40-25:00", "!"},
		{procedure.KindHold, "go", "go"}, {procedure.KindWitness, "STOP", "stop"}, {procedure.KindHold, "go go", "!"}, {procedure.KindHold, "yes", "!"},
	} {
		got, err := ParseAnswer(step(c.kind), c.typed, "2027-01-05")
		text := got.String()
		if err != nil {
			text = "!"
		}
		if text != c.want || got.Blank != (c.want == "") {
			t.Errorf("%s %q: %q (blank %t, %v), want %q", c.kind, c.typed, text, got.Blank, err, c.want)
		}
	}
	if _, err := ParseAnswer(step(procedure.KindWait), "06:40-07:05", ""); err == nil {
		t.Error("a wait of no day is taken")
	}
}

func TestParseWhen(t *testing.T) {
	for _, c := range []struct{ typed, day, want string }{
		{"06:40", "2027-01-05", "2027-01-05T06:40Z"}, {"640", "2027-01-05", "2027-01-05T06:40Z"}, {"0640Z", "2027-01-05T09:00Z", "2027-01-05T06:40Z"},
		{"2027-01-04", "2027-01-05", "2027-01-04"}, {"2027-01-04 23:59", "", "2027-01-04T23:59Z"}, {"2027-01-04T23:59Z", "", "2027-01-04T23:59Z"},
		{"06:40", "", ""}, {"24:00", "2027-01-05", ""}, {"06:60", "2027-01-05", ""}, {"2027-02-29", "2027-01-05", ""}, {"2027-02-29 06:40", "", ""},
		{"", "2027-01-05", ""}, {"noon", "2027-01-05", ""}, {"mirre", "2027-01-05", ""},
	} {
		got, err := ParseWhen(c.typed, When(c.day))
		if (err != nil) != (c.want == "") || string(got) != c.want {
			t.Errorf("%q of %q: %q, %v; want %q", c.typed, c.day, got, err, c.want)
		}
	}
}

// What is taken is written in one form, and that is read again as the same.
func FuzzParseAnswer(f *testing.F) {
	for i := range procedure.Kinds() {
		for _, seed := range []string{"done", "yes", "no: frost", "4.35 4.36", "06:40-07:05", "go", "-"} {
			f.Add(uint8(i), seed)
		}
	}
	f.Fuzz(func(t *testing.T, number uint8, typed string) {
		kind := procedure.Kinds()[int(number)%len(procedure.Kinds())]
		a, err := ParseAnswer(step(kind), typed, "2027-01-05")
		if err != nil || a.Blank || kind == procedure.KindWait {
			return
		}
		again, err := ParseAnswer(step(kind), a.String(), "2027-01-05")
		if err != nil || again.String() != a.String() {
			t.Errorf("%s %q became %q, which is read as %q, %v", kind, typed, a, again, err)
		}
		if strings.TrimSpace(a.String()) != a.String() {
			t.Errorf("%q has spaces around it", a)
		}
	})
}

func FuzzParseWhen(f *testing.F) {
	for _, seed := range []string{"06:40", "0640", "2027-01-05", "2027-01-05 06:40", "2027-01-05T06:40Z"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		w, err := ParseWhen(typed, "2027-01-05")
		if err != nil {
			return
		}
		if again, err := ParseWhen(string(w), ""); err != nil || again != w {
			t.Errorf("%q became %q, which is read as %q, %v", typed, w, again, err)
		}
		if _, ok := w.Time(); !ok {
			t.Errorf("%q is no time", w)
		}
	})
}
