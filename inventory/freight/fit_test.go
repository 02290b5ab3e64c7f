package freight

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestPasses(t *testing.T) {
	for _, c := range []struct {
		name    string
		sides   [3]int64
		upright [3]bool
		door    [2]int64
		want    bool
	}{
		{"as wide and as high as the door", [3]int64{2000, 800, 600}, [3]bool{}, [2]int64{800, 600}, true},
		{"a millimetre too high", [3]int64{2000, 800, 601}, [3]bool{}, [2]int64{800, 600}, false},
		{"too wide both ways", [3]int64{2000, 801, 600}, [3]bool{}, [2]int64{800, 600}, false},
		{"carried the other way round", [3]int64{700, 2000, 600}, [3]bool{}, [2]int64{800, 600}, true},
		{"on its side, which it may not", [3]int64{2000, 600, 900}, [3]bool{}, [2]int64{900, 600}, false},
		{"on its side, which it may", [3]int64{2000, 600, 900}, [3]bool{false, true, true}, [2]int64{900, 600}, true},
		{"on end, which it may", [3]int64{2000, 600, 700}, [3]bool{true, false, false}, [2]int64{600, 2000}, true},
	} {
		if got := (Piece{SidesMM: c.sides, Upright: c.upright}).passes(c.door); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

func TestFitOf(t *testing.T) {
	crate := Piece{Code: "CR-1", Count: 3, SidesMM: [3]int64{1000, 1000, 1000}, Grams: 300_000}
	limits := Limits{Grams: 700_000, Litres: 5000, Pieces: 10, PieceGrams: 400_000, Door: [2]int64{1200, 1100}, Divisor: AirDivisor, StepGrams: AirStepGrams}
	fit, err := FitOf(limits, []Piece{crate})
	if err != nil || fit.Refused != nil || fit.Pieces != 3 || fit.Grams != 900_000 || fit.Litres != 3000 || fit.TripsLeast != 2 || fit.Trips != 2 {
		t.Errorf("%+v, %v", fit, err)
	}
	if fit.ChargedGrams != 900_000 { // 1e6 cm³ is 166.7 kg by volume, below its mass
		t.Errorf("charged %d g", fit.ChargedGrams)
	}
	for name, c := range map[string]struct {
		change func(*Limits)
		why    string
	}{
		"piece mass": {func(l *Limits) { l.PieceGrams = 299_999 }, "a piece may have 300.0"},
		"trip mass":  {func(l *Limits) { l.Grams = 200_000 }, "a trip takes 200.0"},
		"volume":     {func(l *Limits) { l.Litres = 999 }, "1000 L, and a trip takes 999"},
		"door":       {func(l *Limits) { l.Door = [2]int64{900, 1100} }, "door of 900 × 1100 mm"},
	} {
		l := limits
		c.change(&l)
		fit, err := FitOf(l, []Piece{crate})
		if err != nil || len(fit.Refused) != 1 || !strings.Contains(fit.Refused[0].Why, c.why) || fit.Trips != 0 {
			t.Errorf("%s: %+v, %v", name, fit, err)
		}
	}
	if fit, err := FitOf(Limits{}, nil); err != nil || fit.Trips != 0 || fit.TripsLeast != 0 {
		t.Errorf("nothing: %+v, %v", fit, err)
	}
	if fit, err := FitOf(Limits{}, []Piece{crate}); err != nil || fit.Trips != 1 || fit.TripsLeast != 1 || fit.ChargedGrams != 0 {
		t.Errorf("no limits: %+v, %v", fit, err)
	}
	for _, bad := range []Piece{{Code: "x"}, {Code: "x", Count: 1, SidesMM: [3]int64{0, 1, 1}}, {Code: "x", Count: 1, SidesMM: [3]int64{1, 1, 1}, Grams: -1}, {Code: "x", Count: 30_000, SidesMM: [3]int64{1, 1, 1}}} {
		if _, err := FitOf(limits, []Piece{bad}); err == nil {
			t.Errorf("%+v is taken", bad)
		}
	}
}

// TestTripsAreEnough: what is said to be enough is never below what must be, and at most
// twice that and one for each limit (first fit).
func TestTripsAreEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limits := Limits{Grams: rapid.Int64Range(0, 2000).Draw(t, "grams"), Litres: rapid.Int64Range(0, 50).Draw(t, "litres"), Pieces: rapid.IntRange(0, 4).Draw(t, "pieces")}
		var load []Piece
		for range rapid.IntRange(1, 12).Draw(t, "kinds") {
			load = append(load, Piece{Code: "x", Count: rapid.IntRange(1, 4).Draw(t, "count"), Grams: rapid.Int64Range(0, 1500).Draw(t, "mass"), SidesMM: [3]int64{rapid.Int64Range(10, 400).Draw(t, "l"), 200, 300}})
		}
		fit, err := FitOf(limits, load)
		if err != nil {
			t.Fatal(err)
		}
		if fit.Trips < fit.TripsLeast {
			t.Fatalf("%d trips, fewer than %d cannot be", fit.Trips, fit.TripsLeast)
		}
		if fit.Trips > 6*fit.TripsLeast {
			t.Fatalf("%d trips where %d must be", fit.Trips, fit.TripsLeast)
		}
	})
}
