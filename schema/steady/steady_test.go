package steady_test

import (
	"fmt"
	"math"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/schema/steady"
)

// near reports a difference of more than a few units in the last place.
func near(got, want float64) bool {
	return got == want || math.Abs(got-want) <= 4e-15*math.Max(math.Abs(want), 1e-300)
}

// Package math is the judge: it is right to an ulp or so on every machine, only
// not to the same one.
func TestAgainstMath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-30, 30).Draw(t, "x")
		if got, want := steady.Exp(x), math.Exp(x); !near(got, want) {
			t.Fatalf("Exp(%v) = %v; math says %v", x, got, want)
		}
		positive := rapid.Float64Range(1e-9, 1e12).Draw(t, "positive")
		if got, want := steady.Log(positive), math.Log(positive); math.Abs(got-want) > 1e-15*(1+math.Abs(want)) {
			t.Fatalf("Log(%v) = %v; math says %v", positive, got, want)
		}
		y := rapid.Float64Range(-3, 6).Draw(t, "y")
		base := rapid.Float64Range(0.01, 200).Draw(t, "base")
		if got, want := steady.Pow(base, y), math.Pow(base, y); math.Abs(got-want) > 2e-14*want {
			t.Fatalf("Pow(%v, %v) = %v; math says %v", base, y, got, want)
		}
		degrees := rapid.Float64Range(-90, 90).Draw(t, "degrees")
		if got, want := steady.SinDegrees(degrees), math.Sin(degrees*math.Pi/180); !near(got, want) {
			t.Fatalf("SinDegrees(%v) = %v; math says %v", degrees, got, want)
		}
	})
}

func TestEdges(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"Exp(0)", steady.Exp(0), 1},
		{"Exp(1000)", steady.Exp(1000), math.Inf(1)},
		{"Exp(-1000)", steady.Exp(-1000), 0},
		{"Log(1)", steady.Log(1), 0},
		{"Log(0)", steady.Log(0), math.Inf(-1)},
		{"Log10(1000)", steady.Log10(1000), 3},
		{"Pow(2, 10)", steady.Round(steady.Pow(2, 10), 15), 1024},
		{"SinDegrees(90)", steady.Round(steady.SinDegrees(90), 15), 1},
		{"SinDegrees(-30)", steady.Round(steady.SinDegrees(-30), 15), -0.5},
		{"Poly", steady.Poly(2, 1, 10, 100), 421},
		{"Times", steady.Times(2, 3, 7), 42},
		{"Round up", steady.Round(1234.5678, 6), 1234.57},
		{"Round a negative", steady.Round(-0.00123456, 3), -0.00123},
		{"Round 0", steady.Round(0, 3), 0},
	} {
		if c.got != c.want {
			t.Errorf("%s = %v; want %v", c.what, c.got, c.want)
		}
	}
	for what, got := range map[string]float64{
		"Exp(NaN)": steady.Exp(math.NaN()), "Log(-1)": steady.Log(-1), "Pow(0, 1)": steady.Pow(0, 1), "Pow(NaN, 1)": steady.Pow(math.NaN(), 1),
		"SinDegrees(90.1)": steady.SinDegrees(90.1), "SinDegrees(NaN)": steady.SinDegrees(math.NaN()),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s = %v; want NaN", what, got)
		}
	}
}

// fused matches the operations of arm64 that multiply and add with one rounding.
var fused = regexp.MustCompile(`\s(FN?M(?:ADD|SUB)[SD])\s`)

// steadyPackages are held to arithmetic that no compiler fuses: what limits are
// computed with.
var steadyPackages = []string{"pulk/schema/steady", "pulk/checklist/weather", "pulk/checklist/water", "pulk/checklist/cable", "pulk/checklist/formula"}

// TestNothingIsFused compiles the physics for arm64 and looks for fused operations
// in its assembly. Plain x*y + z in one of these packages fails here.
func TestNothingIsFused(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles the standard library for arm64, once")
	}
	for _, name := range steadyPackages {
		assembly := compileForARM(t, name)
		if !strings.Contains(assembly, "FMULD") {
			t.Errorf("%s: no multiplication in its assembly for arm64: the test looks at the wrong thing", name)
		}
		for line := range strings.Lines(assembly) {
			if fused.MatchString(line) {
				t.Errorf("%s: a product is fused with a sum, write float64(x*y) + z or use steady.Poly: %s", name, strings.TrimSpace(line))
			}
		}
	}
}

func compileForARM(t *testing.T, name string) string {
	t.Helper()
	command := exec.Command("go", "build", "-gcflags=-S", name)
	command.Env = append(command.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

func ExampleRound() {
	fmt.Println(steady.Round(1027.9745478, 6))
	// Output: 1027.97
}
