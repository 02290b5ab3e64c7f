package link

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

var noon = time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)

// made is a made-up satellite whose elements are of noon.
func made(name string, revolutions, eccentricity, inclination, pericentre, anomaly float64) Elements {
	return Elements{Name: name, Epoch: noon, MeanMotionRevolutionsPerDay: revolutions, Eccentricity: eccentricity,
		InclinationDegrees: inclination, PericentreDegrees: pericentre, MeanAnomalyDegrees: anomaly, DragPerEarthRadius: 1e-5}
}

func mustPasses(t testing.TB, e Elements, site Site, from, to time.Time) []Pass {
	t.Helper()
	passes, err := Passes([]Elements{e}, site, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return passes
}

// above says by plain computation whether a satellite is on or above the mask, and
// how high it stands.
func above(t *testing.T, orbit *Orbit, site Site, at time.Time) (bool, float64) {
	state, err := orbit.AtTime(at)
	if err != nil {
		t.Fatal(err)
	}
	look := LookAngles(state, site, at)
	return look.ElevationDegrees >= site.Mask.At(look.AzimuthDegrees), look.ElevationDegrees
}

// randomCase draws an orbit, low to beyond geostationary and round to very
// eccentric, and a site with a level, jagged or cliff-like mask.
func randomCase(r *rand.Rand) (Elements, Site) {
	perigeeKm := 200 + math.Exp(r.Float64()*5)*10
	eccentricity := []float64{0.001, 0.05, 0.3, 0.74}[r.IntN(4)] * r.Float64()
	if r.IntN(4) == 0 {
		perigeeKm, eccentricity = 35786+100*r.NormFloat64(), 0.001*r.Float64()
	}
	axis := (earthRadiusKm + perigeeKm) / (1 - eccentricity) / earthRadiusKm
	e := made("random", gravityRoot*math.Pow(axis, -1.5)*minutesPerDay/turn, eccentricity,
		[]float64{0.1, 60, 180}[r.IntN(3)]*r.Float64(), 360*r.Float64(), 360*r.Float64())
	e.AscendingNodeDegrees = 360 * r.Float64()
	site := Site{LatitudeDegrees: 180*r.Float64() - 90, LongitudeDegrees: 360*r.Float64() - 180, HeightMetres: 3000 * r.Float64()}
	points := []int{0, 1, 4, 36}[r.IntN(4)]
	for i := range points {
		site.Mask = append(site.Mask, MaskPoint{(float64(i) + 0.9*r.Float64()) * 360 / float64(points), 40*r.Float64() - 5})
	}
	if points == 4 && r.IntN(2) == 0 { // a cliff
		site.Mask[2] = MaskPoint{site.Mask[1].AzimuthDegrees + 0.001, 85}
	}
	return e, site
}

// TestPassesAgainstSampling compares with a look at every half second of six
// hours, and at every second of what is up, for the highest.
func TestPassesAgainstSampling(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	cases, found, began, unended := 60, 0, 0, 0
	if testing.Short() {
		cases = 12
	}
	for n := range cases {
		e, site := randomCase(r)
		from := noon.Add(time.Duration(r.Int64N(int64(144*time.Hour))) - 72*time.Hour)
		to := from.Add(6 * time.Hour)
		orbit, err := NewOrbit(e)
		if err != nil {
			t.Fatal(err)
		}
		passes := mustPasses(t, e, site, from, to)
		found += len(passes)
		highest := make([]float64, len(passes))
		for i, p := range passes {
			highest[i] = -90
			if p.Began {
				began++
			}
			if p.Unended {
				unended++
			}
			if p.Rise.After(p.Highest) || p.Highest.After(p.Set) || i > 0 && p.Rise.Before(passes[i-1].Set) {
				t.Errorf("case %d: pass %d is out of order: %+v", n, i, passes)
			}
		}
		next := 0
		for at := from; !at.After(to); at = at.Add(500 * time.Millisecond) {
			up, elevation := above(t, orbit, site, at)
			for next < len(passes) && passes[next].Set.Before(at) {
				next++
			}
			inside := next < len(passes) && !at.Before(passes[next].Rise)
			edge := func(p Pass) bool {
				return at.Sub(p.Rise).Abs() < 60*time.Millisecond || at.Sub(p.Set).Abs() < 60*time.Millisecond
			}
			near := next < len(passes) && edge(passes[next]) || next > 0 && edge(passes[next-1])
			if up != inside && !near {
				t.Fatalf("case %d: %+v from %+v: up is %v at %v, and the passes are %+v", n, e, site, up, at, passes)
			}
			if inside && up {
				highest[next] = max(highest[next], elevation)
			}
		}
		for i, p := range passes {
			if highest[i] > p.HighestElevationDegrees+1e-3 {
				t.Errorf("case %d: %+v: pass %+v, but seen at %.4f°", n, e, p, highest[i])
			}
		}
	}
	if !testing.Short() && (found < 80 || began < 5 || unended < 5) {
		t.Errorf("only %d passes, %d begun before, %d unended: the cases test too little", found, began, unended)
	}
	t.Logf("%d passes, %d begun before, %d unended", found, began, unended)
}

// TestTwelveHours looks each half minute of six days at an eccentric orbit in
// resonance, which stands above the mask for most of each revolution.
func TestTwelveHours(t *testing.T) {
	e := made("twelve hours", 2.006, 0.72, 63.4, 270, 10)
	orbit, err := NewOrbit(e)
	if err != nil {
		t.Fatal(err)
	}
	if orbit.deep == nil || orbit.deep.resonance == nil || !orbit.deep.resonance.halfDay {
		t.Fatal("the orbit is not in resonance")
	}
	site := Site{LatitudeDegrees: 72.58, LongitudeDegrees: -38.46, HeightMetres: 3200, Mask: Mask{{0, 10}, {90, 25}, {200, 5}}}
	from, to := noon.Add(-3*24*time.Hour), noon.Add(3*24*time.Hour)
	passes := mustPasses(t, e, site, from, to)
	var total, sampled time.Duration
	for _, p := range passes {
		total += p.Set.Sub(p.Rise)
	}
	const step = 30 * time.Second
	for at := from; at.Before(to); at = at.Add(step) {
		up, _ := above(t, orbit, site, at)
		inside := false
		for _, p := range passes {
			inside = inside || !at.Before(p.Rise) && !at.After(p.Set)
		}
		if up {
			sampled += step
		}
		if up != inside {
			t.Errorf("at %v: up is %v", at, up)
		}
	}
	if (total-sampled).Abs() > 15*time.Minute || total < 48*time.Hour {
		t.Errorf("%v in %d passes, sampled %v", total, len(passes), sampled)
	}
}

// TestGrazing raises the mask to just under the highest point of passes: each is
// still found, however short, and no more once the mask is above it.
func TestGrazing(t *testing.T) {
	site := Site{LatitudeDegrees: -77.85, LongitudeDegrees: 166.67, HeightMetres: 10}
	low := made("low", 15.2, 0.001, 98, 0, 0)
	all := mustPasses(t, low, site, noon, noon.Add(24*time.Hour))
	if len(all) < 10 {
		t.Fatalf("only %d passes", len(all))
	}
	shortest := time.Hour
	for _, p := range all {
		from, to := p.Rise.Add(-time.Minute), p.Set.Add(time.Minute)
		exact := culmination(t, low, site, p)
		site.Mask = Mask{{0, exact - 2e-6}}
		got := mustPasses(t, low, site, from, to)
		if len(got) != 1 || got[0].Highest.Sub(p.Highest).Abs() > 100*time.Millisecond {
			t.Errorf("just under %.3f°: %+v, want one at %v", exact, got, p.Highest)
			continue
		}
		shortest = min(shortest, got[0].Set.Sub(got[0].Rise))
		site.Mask = Mask{{0, exact + 1e-6}}
		if got := mustPasses(t, low, site, from, to); len(got) != 0 {
			t.Errorf("just above %.3f°: %+v", exact, got)
		}
		site.Mask = nil
	}
	if shortest > 200*time.Millisecond {
		t.Errorf("the shortest pass is %v: the mask was not near enough", shortest)
	}
}

// culmination looks every 0.1 ms about the highest point.
func culmination(t *testing.T, e Elements, site Site, p Pass) float64 {
	orbit, err := NewOrbit(e)
	if err != nil {
		t.Fatal(err)
	}
	best := -90.0
	for at := p.Highest.Add(-100 * time.Millisecond); at.Before(p.Highest.Add(100 * time.Millisecond)); at = at.Add(100 * time.Microsecond) {
		_, elevation := above(t, orbit, site, at)
		best = max(best, elevation)
	}
	return best
}

// TestAlwaysUp and what never is: geostationary satellites.
func TestAlwaysUp(t *testing.T) {
	still := made("still", 1.0027379, 0.0001, 0.05, 0, 0)
	orbit, err := NewOrbit(still)
	if err != nil {
		t.Fatal(err)
	}
	state, err := orbit.At(0)
	if err != nil {
		t.Fatal(err)
	}
	under := math.Atan2(state.PositionKm[1], state.PositionKm[0]) - siderealAngle(noon)
	site := Site{LatitudeDegrees: 47, LongitudeDegrees: math.Remainder(under*180/math.Pi, 360), Mask: Mask{{0, 10}}}
	to := noon.Add(30*24*time.Hour + 123*time.Millisecond)
	passes := mustPasses(t, still, site, noon, to)
	if len(passes) != 1 || !passes[0].Began || !passes[0].Unended || !passes[0].Rise.Equal(noon) || !passes[0].Set.Equal(to) {
		t.Errorf("%+v, want one pass that fills the interval", passes)
	}
	if p := passes[0]; math.Abs(p.HighestElevationDegrees-35.9) > 1 || math.Abs(p.HighestAzimuthDegrees-180) > 1 {
		t.Errorf("highest at azimuth %.2f° elevation %.2f°; at 47° north a satellite due south stands near 36° (by geometry)", p.HighestAzimuthDegrees, p.HighestElevationDegrees)
	}
	site.LongitudeDegrees = math.Remainder(site.LongitudeDegrees+180, 360)
	if passes := mustPasses(t, still, site, noon, to); len(passes) != 0 {
		t.Errorf("from the far side: %+v", passes)
	}
}

// TestDecay keeps the passes before the elements give out.
func TestDecay(t *testing.T) {
	falling := made("falling", 16.3, 0.001, 97, 0, 0)
	falling.DragPerEarthRadius = 0.01
	steady := made("steady", 15, 0.001, 97, 0, 0)
	site := Site{LatitudeDegrees: 80}
	passes, err := Passes([]Elements{falling, steady}, site, noon, noon.Add(10*24*time.Hour))
	var failed *PropagationError
	if !errors.As(err, &failed) || failed.Satellite != "falling" {
		t.Fatalf("error %v, want one of the satellite that falls", err)
	}
	gone, counts := noon.Add(time.Duration(failed.Minutes*60e9)), map[string]int{}
	for _, p := range passes {
		counts[p.Satellite]++
		if p.Satellite == "falling" && p.Set.After(gone.Add(time.Second)) {
			t.Errorf("%+v after %v", p, gone)
		}
	}
	if counts["falling"] == 0 || counts["steady"] < 50 {
		t.Errorf("passes: %v", counts)
	}
}

// TestRefusals tells what is wrong with a site, a mask or an interval.
func TestRefusals(t *testing.T) {
	good := []Elements{made("low", 15, 0.001, 97, 0, 0)}
	day := noon.Add(24 * time.Hour)
	for _, c := range []struct {
		set      []Elements
		site     Site
		from, to time.Time
		want     string
	}{
		{good, Site{LatitudeDegrees: 91}, noon, day, "site: latitude 91 is outside -90 to 90 degrees"},
		{good, Site{HeightMetres: math.NaN()}, noon, day, "site: height NaN is outside -12000 to 100000 metres; give metres above the ellipsoid"},
		{good, Site{Mask: Mask{{10, 5}, {10, 6}}}, noon, day, "horizon mask: azimuth 10 of point 2 does not come after 10; put the points in the order of their azimuths, each once"},
		{good, Site{Mask: Mask{{360, 5}}}, noon, day, "horizon mask: azimuth 360 of point 1 is outside 0 up to, but not, 360 degrees"},
		{good, Site{}, day, noon, "passes from 2026-12-01T12:00:00Z to 2026-11-30T12:00:00Z: an interval of -1.0 days is not above 0 and at most 1000"},
		{[]Elements{made("still", 0, 0, 0, 0, 0)}, Site{}, noon, day, `still: elements: MEAN_MOTION: found "0", expected more than 0 revolutions a day`},
	} {
		if _, err := Passes(c.set, c.site, c.from, c.to); err == nil || err.Error() != c.want {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}

// TestMask checks the lines between points, past north too.
func TestMask(t *testing.T) {
	hills := Mask{{10, 2}, {90, 10}, {350, 6}}
	for azimuth, want := range map[float64]float64{10: 2, 50: 6, 90: 10, 220: 8, 350: 6, 355: 5, 0: 4, 5: 3} {
		if got := hills.At(azimuth); math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v°: %v, want %v (by hand)", azimuth, got, want)
		}
	}
	for _, c := range []struct{ azimuth, half, low, high float64 }{
		{0, 5, 3, 5}, {355, 20, 2, 6 + 4*15.0/260}, {90, 1, 10 - 4*1.0/260 - 0.1 + 4*1.0/260, 10}, {200, 180, 2, 10},
	} {
		low, high := hills.extremes(c.azimuth, c.half)
		if math.Abs(low-c.low) > 1e-9 || math.Abs(high-c.high) > 1e-9 {
			t.Errorf("%v° ± %v°: %v to %v, want %v to %v (by hand)", c.azimuth, c.half, low, high, c.low, c.high)
		}
	}
	if got := (Mask{}).At(123); got != 0 {
		t.Errorf("no point: %v", got)
	}
	if got := (Mask{{77, 12}}).At(5); got != 12 {
		t.Errorf("one point: %v", got)
	}
}

// BenchmarkPasses finds 30 days of passes of ten low satellites.
func BenchmarkPasses(b *testing.B) {
	var set []Elements
	for i := range 10 {
		e := made("low", 14.3+0.05*float64(i), 0.001, 86, 0, 36*float64(i))
		e.AscendingNodeDegrees = 31 * float64(i)
		set = append(set, e)
	}
	hills := Mask{}
	for i := range 36 {
		hills = append(hills, MaskPoint{10 * float64(i), 5 + 4*math.Sin(float64(i))})
	}
	for _, c := range []struct {
		name string
		mask Mask
	}{{"level", Mask{{0, 10}}}, {"hills", hills}} {
		b.Run(c.name, func(b *testing.B) {
			site := Site{LatitudeDegrees: -78, LongitudeDegrees: 120, HeightMetres: 2900, Mask: c.mask}
			found := 0
			for b.Loop() {
				passes, err := Passes(set, site, noon, noon.Add(30*24*time.Hour))
				if err != nil {
					b.Fatal(err)
				}
				found = len(passes)
			}
			b.ReportMetric(float64(found), "passes")
		})
	}
}

func BenchmarkPropagate(b *testing.B) {
	for _, e := range []Elements{made("near", 15, 0.001, 97, 0, 0), made("deep", 2.006, 0.7, 63, 270, 0)} {
		b.Run(e.Name, func(b *testing.B) {
			orbit, err := NewOrbit(e)
			if err != nil {
				b.Fatal(err)
			}
			minutes := 0.0
			for b.Loop() {
				if _, err := orbit.At(minutes); err != nil {
					b.Fatal(err)
				}
				minutes = math.Mod(minutes+1, 40000)
			}
		})
	}
}
