package link

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"
)

func passElements(t *testing.T) map[string]Elements {
	t.Helper()
	data, err := os.ReadFile("../../testdata/checks/sgp4_passes_elements.tle")
	if err != nil {
		t.Fatal(err)
	}
	sets, err := ParseElements(data)
	if err != nil {
		t.Fatal(err)
	}
	m := map[string]Elements{}
	for _, e := range sets {
		m[e.Label()] = e
	}
	return m
}

func siteOf(t *testing.T, in map[string]string) Site {
	site := Site{LatitudeDegrees: number(t, in["lat_deg"]), LongitudeDegrees: number(t, in["lon_deg_east"]), HeightMetres: number(t, in["height_m"])}
	if mask := in["mask_deg"]; mask != "" {
		site.Mask = Mask{{0, number(t, mask)}}
	}
	return site
}

func utc(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// TestPublishedLooks compares azimuth, elevation and range with those of another
// program, which takes UT1 from a table.
func TestPublishedLooks(t *testing.T) {
	all, compared := passElements(t), 0
	worst := map[string]float64{}
	for _, row := range rows(t, "sgp4_passes.csv") {
		kind, is := strings.CutPrefix(row["quantity"], "look_")
		if !is {
			continue
		}
		in := inputs(row)
		orbit, err := NewOrbit(all[strings.TrimLeft(in["satnum"], "0")])
		if err != nil {
			t.Fatal(err)
		}
		at := utc(t, in["utc"])
		state, err := orbit.AtTime(at)
		if err != nil {
			t.Fatal(err)
		}
		look := LookAngles(state, siteOf(t, in), at)
		got := map[string]float64{"azimuth": look.AzimuthDegrees, "elevation": look.ElevationDegrees, "range": look.RangeKm}[kind]
		off := math.Abs(got - number(t, row["expected"]))
		if kind == "azimuth" {
			off = min(off, 360-off)
		}
		worst[kind] = max(worst[kind], off)
		compared++
		if off > number(t, row["tolerance"]) {
			t.Errorf("%s %s of %s: %.4f, want %s (%s)", row["id"], row["quantity"], row["inputs"], got, row["expected"], row["how_obtained"])
		}
	}
	if compared != 240 {
		t.Errorf("%d rows compared, want 240", compared)
	}
	t.Logf("largest differences: %v", worst)
}

// TestPublishedPasses compares counts, times and elevations likewise.
func TestPublishedPasses(t *testing.T) {
	all, compared := passElements(t), 0
	worst := map[string]float64{}
	for _, row := range rows(t, "sgp4_passes.csv") {
		kind, is := strings.CutPrefix(row["quantity"], "pass_")
		if !is {
			continue
		}
		compared++
		in := inputs(row)
		from := utc(t, in["from_utc"])
		to := from.Add(time.Duration(number(t, in["hours"]) * float64(time.Hour)))
		passes, err := Passes([]Elements{all[strings.TrimLeft(in["satnum"], "0")]}, siteOf(t, in), from, to)
		if err != nil {
			t.Fatal(err)
		}
		if kind == "count" {
			if float64(len(passes)) != number(t, row["expected"]) {
				t.Errorf("%s: %d passes of %s, want %s", row["id"], len(passes), row["inputs"], row["expected"])
			}
			continue
		}
		index := int(number(t, in["pass"])) - 1
		if index >= len(passes) {
			t.Errorf("%s: only %d passes of %s", row["id"], len(passes), row["inputs"])
			continue
		}
		p, off := passes[index], 0.0
		switch kind {
		case "rise":
			off = math.Abs(p.Rise.Sub(utc(t, row["expected"])).Seconds())
		case "set":
			off = math.Abs(p.Set.Sub(utc(t, row["expected"])).Seconds())
		case "max_elevation":
			off = math.Abs(p.HighestElevationDegrees - number(t, row["expected"]))
		default:
			t.Errorf("%s: unknown quantity", row["id"])
		}
		worst[kind] = max(worst[kind], off)
		if off > number(t, strings.TrimSuffix(row["tolerance"], " s")) {
			t.Errorf("%s %s of %s: %+v, want %s", row["id"], kind, row["inputs"], p, row["expected"])
		}
	}
	if compared != 77 {
		t.Errorf("%d rows compared, want 77", compared)
	}
	t.Logf("largest differences: %v", worst)
}
