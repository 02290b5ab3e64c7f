package formula_test

import (
	"testing"

	"pulk/checklist/formula"
)

// What a formula costs to read and to work out; the first one read in a process costs
// a millisecond more.
func BenchmarkParse(b *testing.B) {
	inputs, _ := given(b, "depth=2100 m, latitude=-72.5 deg")
	bar := unit(b, "bar")
	for b.Loop() {
		if _, err := formula.Parse("hole_pressure(depth, latitude)", inputs, bar); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEval(b *testing.B) {
	inputs, values := given(b, "depth=2100 m, latitude=-72.5 deg")
	for _, text := range []string{"hole_pressure(depth, latitude)", "sea_pressure(depth, latitude)", "sea_pressure_teos10(depth, latitude)", `depth * value(1, "kPa/m")`} {
		f, err := formula.Parse(text, inputs, unit(b, "bar"))
		if err != nil {
			b.Fatal(err)
		}
		b.Run(text, func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Eval(values); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
