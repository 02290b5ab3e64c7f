package filled

import "testing"

func TestCode(t *testing.T) {
	for text, want := range map[string]Code{
		"pulk1 run stn-4 power-up@A":      {Run: "stn-4", Procedure: "power-up", Revision: "A"},
		"pulk1 procedure power-up@1.10":   {Procedure: "power-up", Revision: "1.10"},
		"pulk1 run stn-x1.2 cable-land@B": {Run: "stn-x1.2", Procedure: "cable-land", Revision: "B"},
	} {
		got, err := ParseCode(text)
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
		if got.String() != text {
			t.Errorf("%q is written again as %q", text, got)
		}
	}
	for _, text := range []string{"", "pulk1", "pulk2 run stn-4 power-up@A", "pulk1 run stn-4", "pulk1 run  power-up@A", "pulk1 run stn-4 power-up",
		"pulk1 run stn-4 power-up@", "pulk1 run stn-4 power-up@A ida", "pulk1 procedure @A", "PULK1 RUN STN-4 POWER-UP@A", "SM3-0107"} {
		if got, err := ParseCode(text); err == nil {
			t.Errorf("%q is taken: %+v", text, got)
		}
	}
}

func FuzzParseCode(f *testing.F) {
	f.Add("pulk1 run stn-4 power-up@A")
	f.Add("pulk1 procedure power-up@A")
	f.Fuzz(func(t *testing.T, text string) {
		if c, err := ParseCode(text); err == nil && c.String() != text {
			t.Errorf("%q is written again as %q", text, c)
		}
	})
}
