package sparing

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// sensorLine is twelve modules for a winter, judged by a datasheet and a season.
func sensorLine() Line {
	return Line{
		Installed: 12, HoursToDelivery: 5000,
		Prior: Rate{1, 50000}, Failures: 2, UnitHoursSeen: 70000,
		GoodStock: 1, Target: 0.95, IntervalProbability: 0.9,
		Piece: Piece{MassGrams: 14500, LengthMillimetres: 400, WidthMillimetres: 400, HeightMillimetres: 450},
	}
}

func drawLine(t *rapid.T) Line {
	return Line{
		Installed:       rapid.Int64Range(0, 100).Draw(t, "installed"),
		HoursToDelivery: rapid.Float64Range(0, 20000).Draw(t, "hoursToDelivery"),
		Prior:           Rate{drawLog(t, "shape", 0.5, 100), drawLog(t, "exposureHours", 1e4, 1e6)},
		Failures:        rapid.Int64Range(0, 30).Draw(t, "failures"),
		UnitHoursSeen:   drawLog(t, "unitHoursSeen", 1, 1e6),
		GoodStock:       rapid.Int64Range(0, 50).Draw(t, "goodStock"),
		Target:          drawTarget(t), IntervalProbability: 0.9,
		Piece: Piece{MassGrams: 250},
	}
}

func TestNeedHangsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawLine(t)
		out, err := Need(in)
		if err != nil {
			t.Fatal(err)
		}
		if demand, err := out.Posterior.Demand(out.ComingUnitHours); err != nil || !reachedWithin(demand, in.GoodStock+out.ToSend, in.Target, 1) {
			t.Errorf("%+v: after sending %d the probability is %v, below the target", in, out.ToSend, out.SufficiencySent)
		}
		if out.ToSend > 0 && in.GoodStock+out.ToSend != out.SufficientStock {
			t.Errorf("%+v: %d there and %d sent are not %d", in, in.GoodStock, out.ToSend, out.SufficientStock)
		}
		if out.ToSend == 0 && (in.GoodStock < out.SufficientStock || out.SufficiencyNow != out.SufficiencySent) {
			t.Errorf("%+v: nothing to send, yet %+v", in, out)
		}
		if out.SufficiencyNow > out.SufficiencySent {
			t.Errorf("%+v: sending makes it worse: %+v", in, out)
		}
		if want := out.MeanRatePerHour * out.ComingUnitHours; math.Abs(out.ExpectedDemand-want) > 1e-9*want {
			t.Errorf("%+v: expected demand %v, want rate times exposure %v", in, out.ExpectedDemand, want)
		}
		if out.RatePerHour.Low > out.RatePerHour.High {
			t.Errorf("%+v: interval upside down: %v", in, out.RatePerHour)
		}
		if want := 250 * float64(out.ToSend); out.Load.MassGrams != want || !out.Load.MassKnown || out.Load.VolumeKnown {
			t.Errorf("%+v: load %+v, want %v g known and the volume unknown", in, out.Load, want)
		}
	})
}

func TestNeedCountsOnlyWhatIsMissing(t *testing.T) {
	in := sensorLine()
	before, err := Need(in)
	if err != nil {
		t.Fatal(err)
	}
	in.GoodStock = before.SufficientStock + 3
	after, err := Need(in)
	if err != nil {
		t.Fatal(err)
	}
	if after.ToSend != 0 || after.Load.MassGrams != 0 || after.Load.VolumeLitres != 0 {
		t.Errorf("with 3 more than enough %d are sent, load %+v", after.ToSend, after.Load)
	}
	if after.SufficientStock != before.SufficientStock {
		t.Errorf("stock changed the need from %d to %d", before.SufficientStock, after.SufficientStock)
	}
}

func TestNeedWithNothingInstalledIsNothing(t *testing.T) {
	in := sensorLine()
	in.Installed, in.GoodStock = 0, 0
	out, err := Need(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.SufficientStock != 0 || out.SufficiencyNow != 1 || out.ShortfallNow != 0 {
		t.Errorf("got %+v, want no stock needed, with certainty", out)
	}
}

func TestNeedSurvivesHugeStock(t *testing.T) {
	in := sensorLine()
	in.GoodStock = math.MaxInt64
	out, err := Need(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.ToSend != 0 || out.SufficiencyNow != 1 || out.ShortfallNow != 0 {
		t.Errorf("got %+v, want nothing to send and certainty", out)
	}
}

func TestNeedRefusesBadLines(t *testing.T) {
	spoil := map[string]func(*Line){
		"installed":   func(l *Line) { l.Installed = -1 },
		"hours":       func(l *Line) { l.HoursToDelivery = math.NaN() },
		"prior":       func(l *Line) { l.Prior = Rate{} },
		"failures":    func(l *Line) { l.Failures = -1 },
		"seen":        func(l *Line) { l.UnitHoursSeen = math.Inf(1) },
		"stock":       func(l *Line) { l.GoodStock = -1 },
		"target":      func(l *Line) { l.Target = 95 },
		"interval":    func(l *Line) { l.IntervalProbability = 0 },
		"mass":        func(l *Line) { l.Piece.MassGrams = -1 },
		"length":      func(l *Line) { l.Piece.LengthMillimetres = math.NaN() },
		"width":       func(l *Line) { l.Piece.WidthMillimetres = -1 },
		"height":      func(l *Line) { l.Piece.HeightMillimetres = -1 },
		"units_wrong": func(l *Line) { l.HoursToDelivery = 1e12 },
	}
	for name, change := range spoil {
		t.Run(name, func(t *testing.T) {
			in := sensorLine()
			change(&in)
			out, err := Need(in)
			var input *InputError
			if !errors.As(err, &input) {
				t.Fatalf("Need(%+v): error %v, want an *InputError", in, err)
			}
			if out != (Answer{}) {
				t.Errorf("Need(%+v) = %+v beside its error, want nothing", in, out)
			}
		})
	}
}
