package link

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// verification is one case of sgp4_verification.tle: AIAA 2006-6753, file
// SGP4-VER.TLE, with the grid of minutes that stands after column 69.
type verification struct {
	elements          Elements
	text              string
	start, stop, step float64
}

func verifications(t *testing.T) map[string]verification {
	t.Helper()
	data, err := os.ReadFile("../../testdata/checks/sgp4_verification.tle")
	if err != nil {
		t.Fatal(err)
	}
	cases, name := map[string]verification{}, ""
	lines := strings.Split(string(data), "\n")
	for i, line := range lines {
		if after, ok := strings.CutPrefix(line, "# case "); ok {
			name = after
		}
		if !strings.HasPrefix(line, "1 ") {
			continue
		}
		grid := strings.Fields(lines[i+1][tleLength:])
		v := verification{text: line + "\n" + lines[i+1][:tleLength]}
		for k, n := range []*float64{&v.start, &v.stop, &v.step} {
			if *n, err = strconv.ParseFloat(grid[k], 64); err != nil {
				t.Fatal(err)
			}
		}
		sets, err := ParseElements([]byte(v.text), AcceptWrongChecksums)
		if err != nil {
			t.Fatalf("case %s: %v", name, err)
		}
		v.elements = sets[0]
		cases[name] = v
	}
	if len(cases) != 22 {
		t.Fatalf("%d cases, want 22", len(cases))
	}
	return cases
}

func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/checks/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, cell := range cells {
			row[all[0][i]] = cell
		}
		list = append(list, row)
	}
	return list
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestVerification compares with every published state of AIAA 2006-6753 (file
// tcppver.out).
func TestVerification(t *testing.T) {
	cases, orbits := verifications(t), map[string]*Orbit{}
	var worstKm, worstSpeed float64
	list := rows(t, "sgp4_verification_expected.csv")
	for _, row := range list {
		orbit := orbits[row["case"]]
		if orbit == nil {
			var err error
			if orbit, err = NewOrbit(cases[row["case"]].elements); err != nil {
				t.Fatal(err)
			}
			orbits[row["case"]] = orbit
		}
		minutes := number(t, row["minutes_since_epoch"])
		got, err := orbit.At(minutes)
		if err != nil {
			t.Errorf("case %s at %v min: %v", row["case"], minutes, err)
			continue
		}
		for i, axis := range []string{"x", "y", "z"} {
			off := math.Abs(got.PositionKm[i] - number(t, row[axis+"_km"]))
			speedOff := math.Abs(got.VelocityKmPerSecond[i] - number(t, row["v"+axis+"_km_s"]))
			worstKm, worstSpeed = math.Max(worstKm, off), math.Max(worstSpeed, speedOff)
			if off > 1e-6 || speedOff > 1e-9 {
				t.Errorf("case %s (%s) at %v min: %s is off by %.3g km and %.3g km/s", row["case"], row["satnum"], minutes, axis, off, speedOff)
			}
		}
	}
	if len(list) != 441 {
		t.Errorf("%d rows, want 441", len(list))
	}
	t.Logf("largest difference of %d rows: %.2g km, %.2g km/s", len(list), worstKm, worstSpeed)
}

// inputs reads "case=01;satnum=00005".
func inputs(row map[string]string) map[string]string {
	m := map[string]string{}
	for _, pair := range strings.Split(row["inputs"], ";") {
		key, value, _ := strings.Cut(pair, "=")
		m[key] = value
	}
	return m
}

// firstError walks the grid as the reference test program does.
func firstError(t *testing.T, v verification) string {
	orbit, err := NewOrbit(v.elements)
	if err != nil {
		t.Fatal(err)
	}
	try := func(minutes float64) string {
		_, err := orbit.At(minutes)
		var failed *PropagationError
		if errors.As(err, &failed) {
			return fmt.Sprintf("error %d at %s min", failed.Code, strconv.FormatFloat(minutes, 'f', -1, 64))
		}
		return ""
	}
	if v.start != 0 {
		if s := try(0); s != "" {
			return s
		}
	}
	for minutes := v.start; minutes <= v.stop; minutes += v.step {
		if s := try(minutes); s != "" {
			return s
		}
	}
	return "none"
}

// TestPublishedElements compares error codes, epochs and checksums.
func TestPublishedElements(t *testing.T) {
	cases, compared := verifications(t), 0
	for _, row := range rows(t, "sgp4_passes.csv") {
		in := inputs(row)
		v := cases[in["case"]]
		got := ""
		switch row["quantity"] {
		case "first_error_on_verification_grid":
			got = firstError(t, v)
		case "tle_epoch_utc":
			want, err := time.Parse(time.RFC3339Nano, row["expected"])
			if err != nil {
				t.Fatal(err)
			}
			if off := v.elements.Epoch.Sub(want).Abs(); off <= time.Millisecond {
				got = row["expected"]
			} else {
				got = v.elements.Epoch.String()
			}
		case "tle_checksum_computed":
			lines := strings.Split(v.text, "\n")
			got = strconv.Itoa(tleChecksum(lines[int(number(t, in["line"]))-1]))
		default:
			continue
		}
		compared++
		if got != row["expected"] {
			t.Errorf("%s %s of %s: %s, want %s (%s)", row["id"], row["quantity"], row["inputs"], got, row["expected"], row["source"])
		}
	}
	if compared != 22+22+44 {
		t.Errorf("%d rows compared, want 88", compared)
	}
}
