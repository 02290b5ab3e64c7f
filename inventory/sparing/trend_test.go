package sparing

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestTrendPublished: the worked example of testdata/checks/reliability_growth.csv,
// whose sources stand in the file.
func TestTrendPublished(t *testing.T) {
	file, err := os.Open("../../testdata/checks/reliability_growth.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		in := inputs{}
		for _, pair := range strings.Split(row[2], ";") {
			key, value, _ := strings.Cut(pair, "=")
			in[key] = value
		}
		if !strings.HasPrefix(in["truncation"], "failure") {
			t.Fatalf("%s: truncation %q", row[0], in["truncation"])
		}
		var times []float64
		for _, text := range strings.Fields(in["times_h"]) {
			times = append(times, must[float64](t)(strconv.ParseFloat(text, 64)))
		}
		trend := must[Trend](t)(TrendOf(times, times[len(times)-1], FailureTerminated))
		var got float64
		switch row[1] {
		case "crow_beta_mle":
			got = trend.Beta
		case "crow_lambda_mle":
			got = trend.LambdaPerHour
		case "crow_failure_intensity":
			got = trend.RatePerHour
		case "crow_beta_unbiased":
			got = trend.BetaUnbiased
		case "crow_expected_failures":
			got = trend.Expected(in.number(t, "time_h"))
		default:
			t.Fatalf("%s: unknown quantity %s", row[0], row[1])
		}
		want, tolerance := must[float64](t)(strconv.ParseFloat(row[3], 64)), must[float64](t)(strconv.ParseFloat(row[5], 64))
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s %s: %v; published %v ± %v", row[0], row[1], got, want, tolerance)
		}
	}
}

// TestTrendAtConstantRate: at a constant rate one record in ten has a p-value below
// 0.1, whether it ends at a time or at a failure; with failures that come more and
// more often most have.
func TestTrendAtConstantRate(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const records, n = 20_000, 12
	for _, censoring := range []Censoring{TimeTerminated, FailureTerminated} {
		for _, c := range []struct {
			beta      float64
			low, high float64
		}{{1, 0.09, 0.11}, {2.5, 0.85, 1}} {
			small := 0
			for range records {
				times := make([]float64, n)
				for i := range times { // given their number, times of a power law process are alike distributed
					times[i] = 1000 * math.Pow(1-rng.Float64(), 1/c.beta)
				}
				trend, err := TrendOf(times, 1000, censoring)
				if err != nil {
					t.Fatal(err)
				}
				if trend.PValue < 0.1 {
					small++
				}
			}
			if share := float64(small) / records; share < c.low || share > c.high {
				t.Errorf("censoring %d, beta %v: p below 0.1 in %v of records; want %v to %v", censoring, c.beta, share, c.low, c.high)
			}
		}
	}
}

func TestTrendRefused(t *testing.T) {
	for _, c := range []struct {
		times []float64
		until float64
	}{{nil, 10}, {[]float64{5}, 10}, {[]float64{0, 5}, 10}, {[]float64{5, 11}, 10}, {[]float64{5, math.NaN()}, 10}, {[]float64{5, 6}, math.Inf(1)}, {[]float64{7, 7}, 7}} {
		if trend, err := TrendOf(c.times, c.until, TimeTerminated); err == nil {
			t.Errorf("%v until %v: %+v", c.times, c.until, trend)
		}
	}
}
