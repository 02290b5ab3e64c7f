package sparing

import (
	"errors"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestNeedConsumable(t *testing.T) {
	tests := []struct {
		name                    string
		in                      ConsumableLine
		planned, needed, toSend int64
		ratioKnown              bool
	}{
		{"nothing_planned", ConsumableLine{GoodStock: 4}, 0, 0, 0, false},
		{"two_procedures", ConsumableLine{Uses: []Use{{24, 2}, {3, 5}}, GoodStock: 13}, 63, 63, 50, false},
		{"more_than_planned", ConsumableLine{Uses: []Use{{10, 10}}, Experience: Experience{10, 11}}, 100, 110, 110, true},
		{"rounded_up", ConsumableLine{Uses: []Use{{1, 10}}, Experience: Experience{3, 4}}, 10, 14, 14, true},
		{"less_than_planned", ConsumableLine{Uses: []Use{{10, 10}}, Experience: Experience{4, 3}, GoodStock: 80}, 100, 75, 0, true},
		{"use_not_recorded", ConsumableLine{Uses: []Use{{10, 10}}, Experience: Experience{40, 0}}, 100, 100, 100, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := NeedConsumable(test.in)
			if err != nil {
				t.Fatal(err)
			}
			if got.Planned != test.planned || got.Needed != test.needed || got.ToSend != test.toSend || got.UseRatioKnown != test.ratioKnown {
				t.Errorf("NeedConsumable(%+v) = %+v, want planned %d, needed %d, to send %d, ratio known %v (worked by hand)",
					test.in, got, test.planned, test.needed, test.toSend, test.ratioKnown)
			}
		})
	}
}

func TestNeedConsumableIsLeastThatCoversUse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := ConsumableLine{
			Uses:       []Use{{rapid.Int64Range(0, 1e6).Draw(t, "runs"), rapid.Int64Range(0, 1e6).Draw(t, "perRun")}},
			Experience: Experience{rapid.Int64Range(1, 1e6).Draw(t, "planned"), rapid.Int64Range(1, 1e6).Draw(t, "used")},
			GoodStock:  rapid.Int64Range(0, 1e6).Draw(t, "goodStock"),
		}
		out, err := NeedConsumable(in)
		if err != nil {
			t.Fatal(err)
		}
		exact := new(big.Rat).Mul(big.NewRat(out.Planned, 1), big.NewRat(in.Experience.Used, in.Experience.Planned))
		if big.NewRat(out.Needed, 1).Cmp(exact) < 0 || big.NewRat(out.Needed-1, 1).Cmp(exact) >= 0 {
			t.Errorf("%+v: need %d, want the whole number at or just above %s", in, out.Needed, exact.FloatString(6))
		}
		if out.ToSend != max(0, out.Needed-in.GoodStock) {
			t.Errorf("%+v: to send %d of %d needed", in, out.ToSend, out.Needed)
		}
	})
}

func TestNeedConsumableRefusesBadLines(t *testing.T) {
	tests := map[string]ConsumableLine{
		"runs":             {Uses: []Use{{-1, 1}}},
		"per_run":          {Uses: []Use{{1, -1}}},
		"stock":            {GoodStock: -1},
		"past_planned":     {Experience: Experience{-1, 1}},
		"past_used":        {Experience: Experience{1, -1}},
		"used_unplanned":   {Experience: Experience{0, 1}},
		"mass":             {Piece: Piece{MassGrams: math.NaN()}},
		"too_many":         {Uses: []Use{{math.MaxInt64, 2}}},
		"too_many_by_past": {Uses: []Use{{math.MaxInt64, 1}}, Experience: Experience{1, 2}},
	}
	for name, in := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := NeedConsumable(in)
			var input *InputError
			if !errors.As(err, &input) {
				t.Errorf("NeedConsumable(%+v): error %v, want an *InputError", in, err)
			}
		})
	}
}
