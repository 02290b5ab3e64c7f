package ucum_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/ucum"
	"pulk/schema/decimal"
)

func unit(t testing.TB, code string) ucum.Unit {
	t.Helper()
	u, err := ucum.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func number(t testing.TB, text string) decimal.Decimal {
	t.Helper()
	d, err := decimal.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Factors and temperatures of testdata/factors.csv; each row names its source.
func TestFactors(t *testing.T) {
	file, err := os.Open("testdata/factors.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 100 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		from, value, special := strings.Cut(row[1], "=")
		to, want := unit(t, row[2]), row[3]
		if special {
			if got, err := ucum.Convert(number(t, value), unit(t, from), to); err != nil || got.Cmp(number(t, want)) != 0 {
				t.Errorf("%s: %s %s = %s %s, %v; want %s by %s", row[0], value, from, got, to, err, want, row[5])
			}
			continue
		}
		u := unit(t, from)
		if !u.Same(to) {
			t.Errorf("%s: %s is %s, %s is %s", row[0], from, u.Dimension(), to, to.Dimension())
			continue
		}
		wanted, _ := strconv.ParseFloat(want, 64)
		tolerance, _ := strconv.ParseFloat(row[4], 64)
		if got := u.Factor() / to.Factor(); math.Abs(got-wanted) > tolerance*wanted {
			t.Errorf("%s: 1 %s = %.17g %s; want %s by %s", row[0], from, got, to, want, row[5])
		}
	}
}

// What people type, and what is kept. Values by the definitions of the units; the
// digits by the rule of Convert.
func TestConvert(t *testing.T) {
	for _, c := range []struct{ value, from, to, want string }{
		{"0.55", "GOhm", "MOhm", "550"},
		{"0.550", "GOhm", "MOhm", "550"},
		{"0.5500", "GOhm", "MOhm", "550.0"},
		{"550", "MOhm", "GOhm", "0.550"},
		{"1.50", "min", "s", "90.0"},
		{"1", "[mi_i]", "m", "1609.344"},
		{"12.3", "[ft_i]", "m", "3.74904"},
		{"50", "[degF]", "Cel", "10.0"},
		{"51", "[degF]", "Cel", "10.5555556"},
		{"-40.0", "Cel", "[degF]", "-40.0"},
		{"21.5", "Cel", "K", "294.65"},
		{"250", "mCel", "Cel", "0.250"},
		{"1", "[psi]", "Pa", "6894.75729"},
		{"180", "deg", "rad", "3.14159265"},
		{"-10.0", "dB[W]", "dB[kW]", "-40.0"},
		{"3", "dB[mV]", "dB[V]", "-57"},
		{"7", "Ohm", "Ohm", "7"},
		{"0", "[ft_i]", "[in_i]", "0"},
		{"-1.005", "mm", "m", "-0.001005"},
		{"2", "%", "1", "0.02"},
		{"123456.7891", "[ft_i]/h", "m/s", "10.45267481047"}, // 10 digits typed, 13 kept
	} {
		got, err := ucum.Convert(number(t, c.value), unit(t, c.from), unit(t, c.to))
		if err != nil || got.String() != c.want {
			t.Errorf("%s %s = %s %s, %v; want %s", c.value, c.from, got, c.to, err, c.want)
		}
	}
}

func TestConvertDifference(t *testing.T) {
	for _, c := range []struct{ value, from, to, want string }{
		{"0.5", "Cel", "K", "0.5"}, {"0.5", "Cel", "[degF]", "0.9"}, {"1.8", "[degF]", "Cel", "1.00"},
		{"0.3", "dB[W]", "dB", "0.3"}, {"0.2", "dB", "dB[kW]", "0.2"}, {"5", "kOhm", "MOhm", "0.005"},
	} {
		got, err := ucum.ConvertDifference(number(t, c.value), unit(t, c.from), unit(t, c.to))
		if err != nil || got.String() != c.want {
			t.Errorf("a difference of %s %s = %s %s, %v; want %s", c.value, c.from, got, c.to, err, c.want)
		}
	}
}

func TestConvertRefuses(t *testing.T) {
	var wrong *ucum.DimensionError
	for _, c := range []struct{ from, to, want string }{
		{"V", "MOhm", "V is a unit of voltage, MOhm one of resistance"},
		{"Cel", "[ppm]", "Cel is a unit of temperature, [ppm] one of pure number"},
		{"bit", "1", "bit is a unit of information, 1 one of pure number"},
		{"dB", "dB[W]", "dB is a unit of ratio as a level, dB[W] one of level of power"},
		{"dB[V]", "dB[W]", "dB[V] is a unit of level of voltage, dB[W] one of level of power"},
		{"deg", "1", "deg is a unit of plane angle, 1 one of pure number"},
		{"m3.Pa", "kg.m/s", "m3.Pa is a unit of energy or torque, kg.m/s one of m.s-1.g"},
	} {
		_, err := ucum.Convert(number(t, "1"), unit(t, c.from), unit(t, c.to))
		if !errors.As(err, &wrong) || err.Error() != c.want {
			t.Errorf("1 %s in %s: %v; want %s", c.from, c.to, err, c.want)
		}
	}
	for _, c := range []struct{ value, from, to string }{{"9000000000000000000", "km", "mm"}, {"1", "nm", "Ym"}, {"0.000000000000000001", "mm", "km"}} {
		if got, err := ucum.Convert(number(t, c.value), unit(t, c.from), unit(t, c.to)); err == nil {
			t.Errorf("%s %s = %s %s; want it refused", c.value, c.from, got, c.to)
		}
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct{ code, dimension string }{
		{"1", "1"}, {"{count}", "1"}, {"m{depth}", "m"}, {"/s", "s-1"}, {"/[pi].A/m", "m-1.s-1.C"},
		{"kg/m/s2", "m-1.s-2.g"}, {"kg/(m.s2)", "m-1.s-2.g"}, {"m.s-2", "m.s-2"}, {"m+2", "m2"}, {"10*3.m", "m"}, {"10*-6", "1"},
		{"mm[H2O]", "m-1.s-2.g"}, {"dB/km", "m-1.B"}, {"dB[SPL]", "B[SPL]"}, {"dar", "m2"}, {"cd", "cd"}, {"dam", "m"}, {"Pa.m3/s", "m2.s-3.g"},
		{"((m))", "m"}, {"5.K/9", "K"}, {"min", "s"}, {"cal_IT", "m2.s-2.g"},
	} {
		if u := unit(t, c.code); u.Dimension().String() != c.dimension || u.String() != c.code {
			t.Errorf("%s = %s, dimension %s; want %s", c.code, u, u.Dimension(), c.dimension)
		}
	}
	for _, code := range []string{"", "kmin", "Mohm", "MΩ", "m[kn_i]", "m.", "m//s", "m/", "(m", "m)", "()", "m2.5.", "m0", "m31", "0", "m^2", " m", "m s",
		"{a b}", "{", "Cel/min", "Cel2", "K.Cel", "dB[W].s", "[degF", "kk", "k", strings.Repeat("m.", 60) + "m", strings.Repeat("(", 12) + "m" + strings.Repeat(")", 12),
		"m30.m30.m30.m30", "10*30.10*31", "m-", "kg/{", "-m", "1.m-0"} {
		if u, err := ucum.Parse(code); err == nil {
			t.Errorf("%q is taken as %s", code, u.Dimension())
		}
	}
	if _, err := ucum.Parse("Cel/min"); err == nil || !strings.Contains(err.Error(), "use K") {
		t.Errorf("Cel/min: %v; want to be told to use K", err)
	}
}

// Every code that is proposed or meant is one, as is every word of the tables.
func TestTables(t *testing.T) {
	for _, code := range ucum.Common() {
		unit(t, code)
		if meant, ok := ucum.Alias(code); ok {
			t.Errorf("%s is common and said to mean %s", code, meant)
		}
	}
	for _, written := range []string{"°C", "C", "Nm", "kt", "rpm", "psi", "GΩ"} {
		meant, ok := ucum.Alias(written)
		if !ok {
			t.Errorf("%s means nothing", written)
		}
		unit(t, meant)
	}
	for code, want := range map[string]string{"Pa": "pressure", "kN/cm2": "pressure", "J": "energy or torque", "B[V]": "level of voltage", "m5": "m5", "mm/m": "pure number"} {
		if got := unit(t, code).Dimension().Name(); got != want {
			t.Errorf("%s measures %q; want %q", code, got, want)
		}
	}
}

func TestProducts(t *testing.T) {
	ohm, km, s := unit(t, "Ohm/km"), unit(t, "km"), unit(t, "/s")
	for _, c := range []struct {
		got  func() (ucum.Unit, error)
		want string
		like string
	}{
		{func() (ucum.Unit, error) { return ohm.Mul(km) }, "Ohm/km.km", "Ohm"},
		{func() (ucum.Unit, error) { return km.Div(ohm) }, "km/(Ohm/km)", "km2/Ohm"},
		{func() (ucum.Unit, error) { return km.Mul(s) }, "km/s", "km/s"},
		{func() (ucum.Unit, error) { return km.Div(s) }, "km/(1/s)", "km.s"},
		{func() (ucum.Unit, error) { return ucum.One.Div(km) }, "/km", "km-1"},
		{func() (ucum.Unit, error) { return ucum.One.Mul(km) }, "km", "km"},
		{func() (ucum.Unit, error) { return (ucum.Unit{}).Mul(ucum.Unit{}) }, "1", "1"},
		{func() (ucum.Unit, error) { return ohm.Pow(2) }, "Ohm/km.Ohm/km", "Ohm2.km-2"},
		{func() (ucum.Unit, error) { return ohm.Pow(-1) }, "/(Ohm/km)", "km/Ohm"},
		{func() (ucum.Unit, error) { return ohm.Pow(0) }, "1", "1"},
	} {
		u, err := c.got()
		if err != nil || u.String() != c.want {
			t.Errorf("%s, %v; want %s", u, err, c.want)
			continue
		}
		for _, same := range []ucum.Unit{unit(t, u.String()), unit(t, c.like)} {
			if !u.Same(same) || u.Factor() != same.Factor() {
				t.Errorf("%s is %g %s; %s is %g %s", u, u.Factor(), u.Dimension(), same, same.Factor(), same.Dimension())
			}
		}
	}
	var special *ucum.SpecialError
	if _, err := unit(t, "Cel").Mul(km); !errors.As(err, &special) {
		t.Errorf("Cel times km: %v", err)
	}
	if _, err := km.Pow(31); err == nil {
		t.Error("km to the power of 31 is taken")
	}
	for code, want := range map[string]string{"Cel": "K", "[degF]": "5.K/9", "dB[W]": "dB", "B[SPL]": "B", "km": "km"} {
		if d := unit(t, code).Difference(); d.String() != want || d.Special() || d.Factor() != unit(t, want).Factor() {
			t.Errorf("differences in %s are told in %s; want %s", code, d, want)
		}
	}
}

// There and back again: exact where no digit was dropped, else within a hundredth
// of the last digit typed.
func TestRoundTrip(t *testing.T) {
	families := [][]string{{"MOhm", "GOhm", "kOhm", "Ohm"}, {"Cel", "K", "[degF]", "mCel"}, {"m", "[ft_i]", "[nmi_i]", "mm", "[ft_us]"}, {"Pa", "[psi]", "bar", "mm[H2O]", "atm"},
		{"deg", "rad", "gon", "''"}, {"m/s", "[kn_i]", "km/h"}, {"dB[W]", "B[kW]", "dB[kW]"}, {"N", "[lbf_av]", "kgf"}, {"s", "min", "h", "d"}}
	rapid.Check(t, func(t *rapid.T) {
		family := rapid.SampledFrom(families).Draw(t, "family")
		from, _ := ucum.Parse(rapid.SampledFrom(family).Draw(t, "from"))
		to, _ := ucum.Parse(rapid.SampledFrom(family).Draw(t, "to"))
		value := decimal.Decimal{Mantissa: rapid.Int64Range(-999999, 999999).Draw(t, "mantissa"), Scale: uint8(rapid.IntRange(0, 5).Draw(t, "scale"))}
		there, err := ucum.Convert(value, from, to)
		if err != nil {
			t.Skip("too small to be kept")
		}
		back, err := ucum.Convert(there, to, from)
		if err != nil {
			t.Fatal(err)
		}
		off := new(big.Rat).Sub(back.Rat(), value.Rat())
		last := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(value.Scale)), nil))
		// A zero far away, as that of K seen from [degF], is what the digits count from.
		bound := last.Mul(last, big.NewRat(1, 100))
		if near := new(big.Rat).Mul(new(big.Rat).Abs(there.Rat()), big.NewRat(1, 100_000_000)); from.Special() || to.Special() {
			bound.Add(bound, near)
		}
		if off.Abs(off).Cmp(bound) > 0 {
			t.Fatalf("%s %s = %s %s = %s %s", value, from, there, to, back, from)
		}
	})
}

// Order is kept, so that a reading over a limit stays over it.
func TestConvertKeepsOrder(t *testing.T) {
	from, to := unit(t, "[degF]"), unit(t, "Cel")
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Int64Range(-100000, 100000).Draw(t, "a"), rapid.Int64Range(-100000, 100000).Draw(t, "b")
		x, errX := ucum.Convert(decimal.Decimal{Mantissa: a, Scale: 2}, from, to)
		y, errY := ucum.Convert(decimal.Decimal{Mantissa: b, Scale: 2}, from, to)
		if errX != nil || errY != nil || (a < b) != (x.Cmp(y) < 0) {
			t.Fatalf("%d and %d hundredths of [degF] are %s and %s Cel; %v %v", a, b, x, y, errX, errY)
		}
	})
}

// FuzzParse: no code makes the reader panic or grow, and what it accepts it can take
// apart and put together again.
func FuzzParse(f *testing.F) {
	for _, code := range append(ucum.Common(), "kg/(m.s2)", "/[pi].A/m", "10*-6", "m{x}", "((", "[lbf_av]/[in_i]2", "Cel/min") {
		f.Add(code)
	}
	f.Fuzz(func(t *testing.T, code string) {
		u, err := ucum.Parse(code)
		if err != nil {
			return
		}
		if u.String() != code {
			t.Fatalf("%q is told as %q", code, u)
		}
		if f := u.Factor(); !u.Special() && !(f > 0) && f != 0 {
			t.Fatalf("%q has the factor %g", code, f)
		}
		d, err := ucum.Convert(decimal.Decimal{Mantissa: 15, Scale: 1}, u, u)
		if err != nil || d.String() != "1.5" {
			t.Fatalf("1.5 %s is %s, %v", code, d, err)
		}
		if u.Special() {
			return
		}
		one, err := u.Div(u)
		if err != nil || one.Dimension() != (ucum.Dimension{}) || one.Factor() != 1 {
			t.Fatalf("%s / %s = %s: %g %s, %v", u, u, one, one.Factor(), one.Dimension(), err)
		}
	})
}

func ExampleConvert() {
	giga, _ := ucum.Parse("GOhm")
	mega, _ := ucum.Parse("MOhm")
	volt, _ := ucum.Parse("V")
	typed, _ := decimal.Parse("0.55")
	kept, _ := ucum.Convert(typed, giga, mega)
	_, err := ucum.Convert(typed, volt, mega)
	fmt.Println(kept, mega)
	fmt.Println(err)
	// Output:
	// 550 MOhm
	// V is a unit of voltage, MOhm one of resistance
}
