package sparing

import (
	"math"
	"testing"
)

// gonum alone gives 0 for these; the leading term of the series,
// P(a, x) = x^a / Γ(a+1), is exact here to within x.
func TestGammaQuantileFarBelowOne(t *testing.T) {
	tests := []struct{ shape, p float64 }{{0.5, 1e-12}, {0.01, 0.05}, {0.1, 1e-6}, {0.02, 0.4}, {0.5, 1e-30}}
	for _, test := range tests {
		logGamma, _ := math.Lgamma(test.shape + 1)
		want := math.Exp((math.Log(test.p) + logGamma) / test.shape)
		if got := gammaQuantile(test.shape, test.p); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("gammaQuantile(%v, %v) = %v, want %v", test.shape, test.p, got, want)
		}
	}
}

func TestStressed(t *testing.T) {
	rate, err := NewRate(2.5, 20_000)
	if err != nil {
		t.Fatal(err)
	}
	stressed, err := rate.Stressed(3)
	if err != nil {
		t.Fatal(err)
	}
	for k := range int64(6) {
		want, err := rate.Demand(3 * 4000)
		if err != nil {
			t.Fatal(err)
		}
		got, err := stressed.Demand(4000)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.CDF(k)-want.CDF(k)) > 1e-12 {
			t.Errorf("P(X <= %d) = %v at three times the stress, %v in three times the hours", k, got.CDF(k), want.CDF(k))
		}
	}
	if _, err := rate.Stressed(0); err == nil {
		t.Error("a stress of 0 is taken")
	}
}
