package sparing

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// publishedRows is how many rows of the file the package computes: all. Fewer
// means that rows or a quantity were lost on the way.
const publishedRows = 529

// inputs are the key=value pairs of a row.
type inputs map[string]string

// number reads a decimal or a fraction such as 1/600.
func (in inputs) number(t *testing.T, key string) float64 {
	t.Helper()
	over, under, isFraction := strings.Cut(in[key], "/")
	value, err := strconv.ParseFloat(over, 64)
	if err != nil {
		t.Fatalf("input %s: %v", key, err)
	}
	if isFraction {
		divisor, err := strconv.ParseFloat(under, 64)
		if err != nil {
			t.Fatalf("input %s: %v", key, err)
		}
		value /= divisor
	}
	return value
}

func (in inputs) count(t *testing.T, key string) int64 {
	t.Helper()
	n, err := strconv.ParseInt(in[key], 10, 64)
	if err != nil {
		t.Fatalf("input %s: %v", key, err)
	}
	return n
}

func must[T any](t *testing.T) func(T, error) T {
	return func(value T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

func poissonOf(t *testing.T, in inputs, key string) Poisson {
	t.Helper()
	return must[Poisson](t)(NewPoisson(in.number(t, key)))
}

func fleetOf(t *testing.T, in inputs) Poisson {
	t.Helper()
	return must[Poisson](t)(NewFleetPoisson(in.count(t, "units"), in.number(t, "failures_per_hour"), in.number(t, "hours_each")))
}

func posteriorOf(t *testing.T, in inputs) Rate {
	t.Helper()
	prior := must[Rate](t)(NewRate(in.number(t, "prior_shape"), in.number(t, "prior_rate_h")))
	return must[Rate](t)(prior.After(in.count(t, "failures"), in.number(t, "exposure_h")))
}

func predictiveOf(t *testing.T, in inputs) GammaPoisson {
	t.Helper()
	return must[GammaPoisson](t)(posteriorOf(t, in).Demand(in.number(t, "future_exposure_h")))
}

func stockOf(t *testing.T, demand Demand, in inputs) float64 {
	t.Helper()
	return float64(must[int64](t)(SmallestStock(demand, in.number(t, "target_probability"))))
}

func recordOf(t *testing.T, in inputs) Record {
	t.Helper()
	return Record{UnitHours: in.number(t, "total_time_h"), Failures: in.count(t, "failures")}
}

// factorRecord has a point estimate of one hour, so that its bounds are factors.
func factorRecord(t *testing.T, in inputs) Record {
	t.Helper()
	r := Record{UnitHours: in.number(t, "failures"), Failures: in.count(t, "failures")}
	switch in["censoring"] {
	case "time":
	case "failure":
		r.Censoring = FailureTerminated
	default:
		t.Fatalf("unknown censoring %q", in["censoring"])
	}
	return r
}

func mtbfInterval(t *testing.T, r Record, confidence float64) Interval {
	t.Helper()
	bounds, ok, err := r.MTBFIntervalHours(confidence)
	if err != nil || !ok {
		t.Fatalf("MTBFIntervalHours(%v) of %+v: ok %v, error %v", confidence, r, ok, err)
	}
	return bounds
}

// published names the function and computes each quantity of the file.
var published = map[string]struct {
	function string
	compute  func(*testing.T, inputs) float64
}{
	"poisson_cdf": {"Poisson.CDF", func(t *testing.T, in inputs) float64 {
		return poissonOf(t, in, "mean").CDF(in.count(t, "k"))
	}},
	"poisson_sf": {"Poisson.Survival", func(t *testing.T, in inputs) float64 {
		return poissonOf(t, in, "mean").Survival(in.count(t, "k"))
	}},
	"poisson_pmf": {"Poisson.PointProbability", func(t *testing.T, in inputs) float64 {
		return poissonOf(t, in, "mean").PointProbability(in.count(t, "k"))
	}},
	"min_spares_poisson": {"SmallestStock(Poisson)", func(t *testing.T, in inputs) float64 {
		return stockOf(t, poissonOf(t, in, "mean_demand"), in)
	}},
	"min_spares_fleet": {"SmallestStock(NewFleetPoisson)", func(t *testing.T, in inputs) float64 {
		return stockOf(t, fleetOf(t, in), in)
	}},
	"fleet_fill_probability": {"NewFleetPoisson.CDF", func(t *testing.T, in inputs) float64 {
		return fleetOf(t, in).CDF(in.count(t, "spares"))
	}},
	"mtbf_factor_lower": {"Record.MTBFIntervalHours.Low", func(t *testing.T, in inputs) float64 {
		return mtbfInterval(t, factorRecord(t, in), in.number(t, "two_sided_confidence")).Low
	}},
	"mtbf_factor_upper": {"Record.MTBFIntervalHours.High", func(t *testing.T, in inputs) float64 {
		return mtbfInterval(t, factorRecord(t, in), in.number(t, "two_sided_confidence")).High
	}},
	"mtbf_two_sided_lower": {"Record.MTBFIntervalHours.Low", func(t *testing.T, in inputs) float64 {
		return mtbfInterval(t, recordOf(t, in), in.number(t, "two_sided_confidence")).Low
	}},
	"mtbf_lower_zero_failures": {"Record.MTBFLowerHours", func(t *testing.T, in inputs) float64 {
		r := Record{UnitHours: in.number(t, "total_time_h")}
		return must[float64](t)(r.MTBFLowerHours(in.number(t, "one_sided_confidence")))
	}},
	"failure_rate_upper": {"Record.RateUpperPerHour", func(t *testing.T, in inputs) float64 {
		return must[float64](t)(recordOf(t, in).RateUpperPerHour(in.number(t, "one_sided_confidence")))
	}},
	"failure_rate_lower": {"Record.RateLowerPerHour", func(t *testing.T, in inputs) float64 {
		perHour, ok, err := recordOf(t, in).RateLowerPerHour(in.number(t, "one_sided_confidence"))
		if err != nil || !ok {
			t.Fatalf("RateLowerPerHour: ok %v, error %v", ok, err)
		}
		return perHour
	}},
	"test_length_factor": {"TestLengthFactor", func(t *testing.T, in inputs) float64 {
		return must[float64](t)(TestLengthFactor(in.count(t, "failures_allowed"), in.number(t, "one_sided_confidence")))
	}},
	"posterior_mean_rate": {"Rate.MeanPerHour", func(t *testing.T, in inputs) float64 {
		return must[float64](t)(posteriorOf(t, in).MeanPerHour())
	}},
	"posterior_rate_quantile": {"Rate.QuantilePerHour", func(t *testing.T, in inputs) float64 {
		return must[float64](t)(posteriorOf(t, in).QuantilePerHour(in.number(t, "probability")))
	}},
	"predictive_cdf_gamma_poisson": {"GammaPoisson.CDF", func(t *testing.T, in inputs) float64 {
		return predictiveOf(t, in).CDF(in.count(t, "k"))
	}},
	"min_spares_gamma_poisson": {"SmallestStock(GammaPoisson)", func(t *testing.T, in inputs) float64 {
		return stockOf(t, predictiveOf(t, in), in)
	}},
	"gamma_prior_cdf": {"Rate.CDF", func(t *testing.T, in inputs) float64 {
		r := must[Rate](t)(NewRate(in.number(t, "shape"), in.number(t, "rate_h")))
		return must[float64](t)(r.CDF(in.number(t, "failure_rate")))
	}},
}

type publishedRow struct {
	id, quantity, inputs, expected, tolerance, source, howObtained string
}

func readPublished(t *testing.T) []publishedRow {
	t.Helper()
	f, err := os.Open("../../testdata/checks/spares_poisson.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	const header = "id quantity inputs expected unit tolerance source how_obtained"
	if got := strings.Join(records[0], " "); got != header {
		t.Fatalf("columns are %q, want %q", got, header)
	}
	var rows []publishedRow
	for _, r := range records[1:] {
		rows = append(rows, publishedRow{r[0], r[1], r[2], r[3], r[5], r[6], r[7]})
	}
	return rows
}

// allowed returns the absolute difference that the row's tolerance admits.
func (r publishedRow) allowed(t *testing.T, want float64) float64 {
	t.Helper()
	if strings.HasPrefix(r.tolerance, "0 ") { // "0 (integer, exact)"
		return 0
	}
	text, relative := strings.CutPrefix(r.tolerance, "rel ")
	tolerance, err := strconv.ParseFloat(text, 64)
	if err != nil || tolerance <= 0 {
		t.Fatalf("tolerance %q is not understood", r.tolerance)
	}
	if relative {
		return tolerance * math.Abs(want)
	}
	return tolerance
}

func TestPublishedValues(t *testing.T) {
	tested, skipped := 0, map[string]int{}
	for _, row := range readPublished(t) {
		check, ok := published[row.quantity]
		if !ok {
			skipped[row.quantity]++
			continue
		}
		tested++
		t.Run(row.id, func(t *testing.T) {
			in := inputs{}
			for pair := range strings.SplitSeq(row.inputs, ";") {
				key, value, _ := strings.Cut(pair, "=")
				in[key] = value
			}
			want, err := strconv.ParseFloat(row.expected, 64)
			if err != nil {
				t.Fatal(err)
			}
			got := check.compute(t, in)
			if allowed := row.allowed(t, want); !(math.Abs(got-want) <= allowed) {
				t.Errorf("%s(%s) = %v, want %v within %v; source: %s; %s",
					check.function, row.inputs, got, want, allowed, row.source, row.howObtained)
			}
		})
	}
	t.Logf("%d published rows tested; not handled: %s", tested, list(skipped))
	if tested < publishedRows {
		t.Errorf("%d published rows tested, want at least %d", tested, publishedRows)
	}
}

func list(counts map[string]int) string {
	var parts []string
	for name, n := range counts {
		parts = append(parts, fmt.Sprintf("%s (%d)", name, n))
	}
	if len(parts) == 0 {
		return "none"
	}
	sort.Strings(parts)
	return strings.Join(parts, ", ")
}
