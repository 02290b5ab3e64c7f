package formula_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/formula"
	"pulk/checklist/ucum"
	"pulk/schema/decimal"
	"pulk/schema/fault"
)

func unit(t testing.TB, code string) ucum.Unit {
	t.Helper()
	u, err := ucum.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// given reads "depth=2450 m, latitude=-90 deg".
func given(t testing.TB, text string) ([]formula.Input, map[string]decimal.Decimal) {
	t.Helper()
	var inputs []formula.Input
	values := map[string]decimal.Decimal{}
	for _, part := range strings.Split(text, ", ") {
		if part == "" {
			continue
		}
		name, value, _ := strings.Cut(part, "=")
		number, code, _ := strings.Cut(value, " ")
		inputs = append(inputs, formula.Input{Name: name, Unit: unit(t, code)})
		d, err := decimal.Parse(number)
		if err != nil {
			t.Fatal(err)
		}
		values[name] = d
	}
	return inputs, values
}

func TestEval(t *testing.T) {
	for _, c := range []struct{ name, text, given, in, want, source string }{
		{"number", "2 + 3 * 4", "", "1", "14", "arithmetic"},
		{"division_of_whole_numbers", "7 / 2", "", "1", "3.5", "arithmetic; CEL's own int division would give 3"},
		{"left_to_right", "10 - 4 - 3", "", "1", "3", "arithmetic"},
		{"units_are_converted", `length + value(250, "m")`, "length=1.5 km", "m", "1750", "SI"},
		{"product", "loss * length", "loss=0.25 dB/km, length=12400 m", "dB", "3.1", "arithmetic"},
		{"difference_of_temperatures", "warm - cold", "warm=-2 Cel, cold=-31.5 Cel", "K", "29.5", "SP 811 B.9"},
		{"colder_by", `warm - value(5, "K")`, "warm=-2 Cel", "Cel", "-7", "SP 811 B.9"},
		{"told_in_fahrenheit", `warm - value(9, "K")`, "warm=-1 Cel", "[degF]", "14", "-10 °C are 14 °F, SP 811 B.9"},
		{"sea_pressure", "sea_pressure(depth, latitude)", "depth=4915.04 m, latitude=0 deg", "dbar", "5000", "SW-026: UNESCO 44 (1983), table p. 28"},
		{"sea_pressure_in_bar", "sea_pressure(depth, latitude)", "depth=4.91504 km, latitude=0 deg", "bar", "500", "the same in other units"},
		{"link", `link_loss(length, value(0.35, "dB/km"), 1, value(0.01, "dB"), 2, value(0.5, "dB")) + value(3, "dB")`, "length=10 km", "dB", "7.51", "CE-031"},
		{"insulation", `insulation_at(value(20, "Cel"), measured, temperature, value(10, "K"))`, "measured=75 MOhm, temperature=30 Cel", "MOhm", "150", "CE-076, an insulation tester's manual, p. 16"},
		{"wind_chill", "wind_chill(air, wind)", "air=-28.3 Cel, wind=37.2 km/h", "Cel", "-44.7607", "WC-417"},
		{"pressure_at_height", "standard_pressure(elevation)", "elevation=2835 m", "hPa", "716.036", "AL-026"},
		{"armour_near_shore", armour, "depth=120 m", "1", "2", "double near shore: common practice"},
		{"armour_on_the_edge", armour, "depth=1000 m", "1", "0", "bare below 1,000 m: common practice"},
		{"armour_further_out", armour, "depth=0.45 km", "1", "1", "single further out: common practice"},
		{"logic", `depth > value(1, "m") && !(depth > value(2, "m")) ? 1 : 0`, "depth=1.5 m", "1", "1", "logic"},
		{"a_side_that_decides", `depth < value(0, "m") && sea_pressure(depth, latitude) > value(1, "bar") ? 1 : 0`, "depth=20000 m, latitude=0 deg", "1", "0", "CEL: false && error is false"},
		{"least", `least(length, value(1, "km"))`, "length=1500 m", "m", "1000", "arithmetic"},
		{"abs_and_minus", `abs(-length)`, "length=3 m", "m", "3", "arithmetic"},
		{"rounded", "1 / 3", "", "1", "0.333333", "six digits"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inputs, values := given(t, c.given)
			f, err := formula.Parse(c.text, inputs, unit(t, c.in))
			if err != nil {
				t.Fatal(err)
			}
			got, err := f.Eval(values)
			if err != nil || got.Value.String() != c.want {
				t.Errorf("%s with %s = %s, %v; want %s (%s)", c.text, c.given, got.Value, err, c.want, c.source)
			}
		})
	}
}

const armour = `depth < value(200, "m") ? 2 : depth < value(1000, "m") ? 1 : 0`

func TestRefused(t *testing.T) {
	const inputs = "depth=2450 m, latitude=-90 deg, air=-20 Cel, bar=3 bar"
	for _, c := range []struct {
		name, text string
		offset     int
		says       string
	}{
		{"empty", " ", 0, "the formula is empty"},
		{"broken", "depth + * 2", 8, "syntax error"},
		{"too_long", strings.Repeat("1+", 251) + "1", 0, "CEL expression of at most 300 characters, nested at most 40 deep"},
		{"too_deep", strings.Repeat("(", 60) + "1" + strings.Repeat(")", 60), 0, "CEL expression"},
		{"unknown_input", "dept * 2", 0, `there is no input "dept"; expected a name that is declared under inputs: air, bar, depth, latitude`},
		{"unknown_function", "now() * 2", 3, `there is no function "now"`},
		{"metres_and_bars", "depth + bar", 6, "m (length) and bar (pressure) are added"},
		{"a_number_without_unit", "bar - 5", 4, `a number with a unit is value(5, "dbar")`},
		{"compared", "depth < bar ? 1 : 2", 6, "m (length) and bar (pressure) are compared"},
		{"branches", `depth < value(1, "m") ? 1 : depth`, 22, "one side of the condition is in 1"},
		{"condition", "depth ? 1 : 2", 0, "the condition is in m"},
		{"result", "depth * 2", 6, "the formula is in m (length); expected a quantity in bar (pressure)"},
		{"truth", `depth < value(1, "m")`, 6, "the formula is true or false"},
		{"temperatures_added", "air + air", 4, "expected a difference in K"},
		{"temperature_times", "air * 2", 4, "Cel has a zero of its own and cannot be multiplied"},
		{"argument", "sea_pressure(bar, latitude)", 13, "depth of sea_pressure is in bar (pressure); expected a quantity in m (length)"},
		{"arguments", "sea_pressure(depth)", 12, "sea_pressure has 1 arguments; expected 2"},
		{"bad_unit", `value(5, "dbra")`, 9, `"dbra" is no UCUM code`},
		{"no_value", `value(depth, "m")`, 5, "value is not given a number and a unit"},
		{"list", "[1, 2]", 0, "a list, a field or a macro"},
		{"index", "bar[0]", 0, "the formula uses [_]"},
		{"macro", "[1].map(x, x * x)", 0, "map is called on something"},
		{"field", "depth.x", 0, "a list, a field or a macro"},
		{"text", `"x"`, 0, "stands alone"},
		{"equal", "depth == depth ? 1 : 2", 0, "the formula uses =="},
		{"modulo", "7 % 2", 0, "the formula uses %"},
		{"truth_as_number", "true ? 1 : 2", 0, "the formula has a bool"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, _ := given(t, inputs)
			_, err := formula.Parse(c.text, in, unit(t, "bar"))
			var e *formula.Error
			if !errors.As(err, &e) || !strings.Contains(e.What+"; expected "+e.Expected, c.says) {
				t.Fatalf("%s: %v; want an error with %q", c.text, err, c.says)
			}
			if c.offset != 0 && e.Offset != c.offset {
				t.Errorf("%s: %v; want offset %d", c.text, err, c.offset)
			}
		})
	}
}

func TestCannotBeWorkedOut(t *testing.T) {
	inputs, values := given(t, "depth=6000 m, latitude=-90 deg")
	f, err := formula.Parse("hole_pressure(depth, latitude)", inputs, unit(t, "bar"))
	if err != nil {
		t.Fatal(err)
	}
	var outside *fault.Outside
	if _, err := f.Eval(values); !errors.As(err, &outside) || !strings.Contains(err.Error(), "hole_pressure: depth in the hole 6000 m is outside 0 to 5000 m") {
		t.Errorf("%v; want the range", err)
	}
	delete(values, "latitude")
	var missing *formula.MissingError
	if _, err := f.Eval(values); !errors.As(err, &missing) || !reflect.DeepEqual(missing.Names, []string{"latitude"}) {
		t.Errorf("%v; want what is missing", err)
	}
	f, err = formula.Parse("1 / (2 - 2)", nil, ucum.One)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := f.Eval(nil); err == nil {
		t.Errorf("1/0 = %v; want an error", got)
	}
}

// A result does not depend on the units that its inputs are told in.
func TestUnitsDoNotMatter(t *testing.T) {
	metre := []formula.Input{{"depth", unit(t, "m")}, {"latitude", unit(t, "deg")}}
	millimetre := []formula.Input{{"depth", unit(t, "mm")}, {"latitude", unit(t, "rad")}}
	const text = `sea_pressure(depth, latitude) * 2 + value(1, "bar")`
	inMetres, err := formula.Parse(text, metre, unit(t, "dbar"))
	if err != nil {
		t.Fatal(err)
	}
	inMillimetres, err := formula.Parse(text, millimetre, unit(t, "Pa"))
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		millimetres := rapid.Int64Range(0, 9_600_000).Draw(t, "millimetres")
		a, err := inMetres.Eval(map[string]decimal.Decimal{"depth": {Mantissa: millimetres, Scale: 3}, "latitude": {}})
		if err != nil {
			t.Fatal(err)
		}
		b, err := inMillimetres.Eval(map[string]decimal.Decimal{"depth": {Mantissa: millimetres}, "latitude": {}})
		if err != nil {
			t.Fatal(err)
		}
		if x, y := a.Value.Float64(), b.Value.Float64()/1e4; math.Abs(x-y) > 1.1e-5*math.Abs(x) {
			t.Fatalf("%v dbar and %v", x, y)
		}
	})
}

// Every function of the table can be called, and its codes are known.
func TestFunctions(t *testing.T) {
	document, err := os.ReadFile("../../docs/procedure-format.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, fn := range formula.Functions() {
		var inputs []formula.Input
		var names []string
		for i, p := range fn.Parameters {
			inputs = append(inputs, formula.Input{Name: fmt.Sprintf("x%d", i), Unit: unit(t, p.Unit)})
			names = append(names, inputs[i].Name)
		}
		call := fn.Name + "(" + strings.Join(names, ", ") + ")"
		if _, err := formula.Parse(call, inputs, unit(t, fn.Result)); err != nil {
			t.Errorf("%s: %v", call, err)
		}
		if !strings.Contains(string(document), "`"+fn.Name+"(") {
			t.Errorf("docs/procedure-format.md does not tell of %s", fn.Name)
		}
	}
}

// FuzzEval: no formula makes the reader or the arithmetic panic, hang, or answer twice
// differently.
func FuzzEval(f *testing.F) {
	for _, text := range []string{armour, `hole_pressure(depth, latitude) + value(5, "dbar") / 2`, "-(depth - 3 * depth) / (depth * latitude)", `sea_pressure(depth, latitude) > value(1, "bar") || true ? 1.5e3 : -0x10`, "[1].map(x, x)", "((((", `value(1, "m[H2O]") * value(2, "10*-7")`} {
		f.Add(text, int64(2450), int64(-90))
	}
	inputs := []formula.Input{{Name: "depth", Unit: unit(f, "m")}, {Name: "latitude", Unit: unit(f, "deg")}}
	units := []ucum.Unit{ucum.One, unit(f, "m"), unit(f, "bar"), unit(f, "Cel")}
	f.Fuzz(func(t *testing.T, text string, depth, latitude int64) {
		for _, u := range units {
			one, err := formula.Parse(text, inputs, u)
			if err != nil {
				var e *formula.Error
				if !errors.As(err, &e) || e.What == "" || e.Expected == "" || e.Offset < 0 {
					t.Fatalf("%q: %#v", text, err)
				}
				continue
			}
			if again, err := formula.Parse(text, inputs, u); err != nil || !reflect.DeepEqual(one, again) {
				t.Fatalf("%q reads as two formulas: %v", text, err)
			}
			values := map[string]decimal.Decimal{"depth": {Mantissa: depth, Scale: 2}, "latitude": {Mantissa: latitude, Scale: 1}}
			a, errA := one.Eval(values)
			b, errB := one.Eval(values)
			if (errA == nil) != (errB == nil) || !reflect.DeepEqual(a, b) {
				t.Fatalf("%q = %v, %v and then %v, %v", text, a, errA, b, errB)
			}
			if errA == nil && (len(a.Steps) == 0 || !strings.HasPrefix(a.Steps[len(a.Steps)-1], a.Value.String())) {
				t.Fatalf("%q = %v: its arithmetic does not end with it", text, a)
			}
		}
	})
}

func Example() {
	metre, _ := ucum.Parse("m")
	degree, _ := ucum.Parse("deg")
	bar, _ := ucum.Parse("bar")
	f, err := formula.Parse(`hole_pressure(depth - level, latitude) + value(50, "kPa")`,
		[]formula.Input{{"depth", metre}, {"level", metre}, {"latitude", degree}}, bar)
	if err != nil {
		fmt.Println(err)
		return
	}
	result, err := f.Eval(map[string]decimal.Decimal{"depth": {Mantissa: 2450}, "level": {Mantissa: 62}, "latitude": {Mantissa: -725, Scale: 1}})
	fmt.Println(strings.Join(result.Steps, "\n= "), err)
	// Output:
	// hole_pressure(2450 m - 62 m, -72.5 deg) + 50 kPa
	// = 2360.89 dbar + 50 kPa
	// = 236.589 bar <nil>
}

func TestRounded(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"44.745574", "44.7456"}, {"-0.000123456789", "-0.000123457"}, {"4.6575", "4.6575"}, {"0", "0"}, {"1.000", "1.000"}, {"123456.7", "123457"}, {"1234567.8", "1234567.8"}, {"999999.9", "1000000"},
	} {
		d, err := decimal.Parse(c.in)
		if err != nil {
			t.Fatal(err)
		}
		if got := formula.Rounded(d); got.String() != c.want {
			t.Errorf("Rounded(%s) = %s; want %s", c.in, got, c.want)
		}
	}
}
