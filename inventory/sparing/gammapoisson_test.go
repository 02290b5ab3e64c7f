package sparing

import (
	"math"
	"testing"
)

// Above some 700 expected pieces P(X = 0) is below the smallest float.
func TestDemandTooLargeForFloatsToStartFromZero(t *testing.T) {
	tests := []struct {
		name        string
		shape, mean float64
	}{
		{"sharp", 1e9, 5e4},
		{"broad", 50, 5e5},
		{"largest_mean", 1e12, MaxMeanDemand},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := GammaPoisson{test.shape, test.mean / test.shape}
			deviation := math.Sqrt(test.mean * (1 + test.mean/test.shape))
			if got := d.CDF(int64(test.mean + 12*deviation)); math.Abs(got-1) > 1e-9 {
				t.Errorf("CDF(mean + 12 deviations) = %v, want 1", got)
			}
			k := int64(test.mean - 1)
			sum, _ := d.sumTo(k)
			if got := sum + d.sumAbove(int64(test.mean)) + d.PointProbability(k+1); math.Abs(got-1) > 1e-8 {
				t.Errorf("both sides of the mean add up to %v, want 1", got)
			}
		})
	}
}

// A term that no longer shrinks, because it is the smallest float there is, must
// not keep a sum going for ever.
func TestTailOfBroadDemandEnds(t *testing.T) {
	d := GammaPoisson{shape: 0.5, ratio: 1000}
	for _, k := range []int64{1 << 30, math.MaxInt64} {
		if cdf, survival := d.CDF(k), d.Survival(k); cdf != 1 || survival != 0 {
			t.Errorf("%+v: CDF(%d) = %v, Survival = %v, want 1 and 0", d, k, cdf, survival)
		}
	}
}

// Found by TestSmallestStockOfCDFIsSameStock: 1 - target keeps fewer digits than
// the shortfall, so a slack relative to it alone gave 3.
func TestTargetNearOneIsReachedDespiteItsRounding(t *testing.T) {
	d := GammaPoisson{shape: 2.718281828459045, ratio: 0.011108996538242306}
	k, err := SmallestStock(d, d.CDF(2))
	if err != nil || k != 2 {
		t.Errorf("SmallestStock(%+v, CDF(2) = %v) = %d, error %v, want 2", d, d.CDF(2), k, err)
	}
}
