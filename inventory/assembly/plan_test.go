package assembly

import (
	"os"
	"strings"
	"testing"
)

const heading = "slot,part_number,position_m,depth_m,channel,note\n"

func TestParsePlanOfTheExamples(t *testing.T) {
	for path, want := range map[string]int{"string-7.csv": 8, "cable-2.csv": 48} {
		source, err := os.ReadFile("../../testdata/assemblies/" + path)
		if err != nil {
			t.Fatal(err)
		}
		slots, faults := ParsePlan(source)
		if len(slots) != want || len(faults) > 0 {
			t.Errorf("%s: %d slots, faults %v; want %d slots", path, len(slots), faults, want)
		}
	}
}

func TestParsePlanNamesEveryBadCell(t *testing.T) {
	for _, c := range []struct {
		name, source string
		want         []string
	}{
		{"no_slot", heading, []string{"2:0: the plan has no slot"}},
		{"heading", "slot,part\n", []string{`1:2: the column is called "part"`, "1:3: the column is missing"}},
		{"cells", heading + "a b,SM3-001,1e3,0x1,two words,\n", []string{"2:1: slot", "2:3: position_m", "2:4: depth_m", "2:5: channel"}},
		{"far", heading + "1,,100001,-100001,,\n", []string{"2:3: position_m", "2:4: depth_m"}},
		{"twice", heading + "1,,,,7,\n1,,,,7,\n", []string{`3:1: slot "1" stands in line 2 already`, `3:5: channel "7" stands in line 2 already`}},
		{"no_name", heading + ",,,,,\n", []string{"2:1: slot"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			slots, faults := ParsePlan([]byte(c.source))
			if slots != nil || len(faults) < len(c.want) {
				t.Fatalf("slots %v, faults %v", slots, faults)
			}
			for i, want := range c.want {
				if !strings.HasPrefix(faults[i].String(), want) {
					t.Errorf("fault %d is %q, want it to begin with %q", i, faults[i], want)
				}
			}
		})
	}
}

// What is taken keeps the rules of docs/assembly-plan.md, and says the same again when
// it is written down as it was read.
func FuzzPlan(f *testing.F) {
	f.Add([]byte(heading + "1,SM3-001,2055,2000,1,\"lowest, 90 m above the weights\"\n"))
	f.Add([]byte(heading + "top,,0,-1.50,,\n"))
	f.Add([]byte("\xef\xbb\xbf" + heading + "F01,CON-008,180,,F01,\n"))
	f.Fuzz(func(t *testing.T, source []byte) {
		slots, faults := ParsePlan(source)
		if (len(faults) > 0) == (len(slots) > 0) {
			t.Fatalf("%d slots and %d faults", len(slots), len(faults))
		}
		names, channels := map[string]bool{}, map[string]bool{}
		for _, s := range slots {
			if s.Name == "" || names[s.Name] || s.Channel != "" && channels[s.Channel] {
				t.Fatalf("took slot %+v", s)
			}
			names[s.Name], channels[s.Channel] = true, true
			for _, number := range []string{metresText(s.Position), metresText(s.Depth)} {
				if again, err := ParseMetres(number); err != nil || metresText(again) != number {
					t.Fatalf("%q is read as %v, %v", number, again, err)
				}
			}
		}
	})
}
