package procedure

import (
	"fmt"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// knownUnits are the UCUM codes (case sensitive) that readings of our work are
// taken in. A unit that is not here may still be right: it is asked about, not
// refused. A loss of fibre in dB/km is common practice, although UCUM has no
// products of levels.
//
// Source: prefixes and units of ucum-essence.xml in the repository ucum-org/ucum;
// unit_test.go takes each code apart into them.
var knownUnits = strings.Fields(`
	1 % [ppm] [ppb]
	s ms us ns ps min h d Hz kHz MHz GHz /s /min
	m mm um km cm nm g mg kg t
	m/s m/min km/h [kn_i] deg rad deg/s
	N kN N.m kN.m Pa hPa kPa MPa bar mbar Pa.m3/s mbar.L/s
	Cel K K/min
	V mV uV kV A mA uA nA W mW kW W.h kW.h A.h Ohm mOhm kOhm MOhm Ohm/km GOhm TOhm F uF nF pF H mH uH S uS/cm S/m
	dB dB/km dB[W] B[W] dB[SPL] lm lx cd
	L mL L/min l ml l/min m3 m3/h kg/m3 g/L
	bit bit/s kbit/s By kBy MBy kBy/s
`)

// unitAliases are ways that people write units, with the UCUM code meant.
var unitAliases = map[string]string{
	"°C": "Cel", "C": "Cel", "degC": "Cel", "Ω": "Ohm", "kΩ": "kOhm", "MΩ": "MOhm", "GΩ": "GOhm", "ohm": "Ohm",
	"µs": "us", "μs": "us", "µm": "um", "μm": "um", "µA": "uA", "μA": "uA", "µV": "uV", "sec": "s", "hr": "h", "°": "deg",
	"Nm": "N.m", "kt": "[kn_i]", "kn": "[kn_i]", "knots": "[kn_i]", "ppm": "[ppm]", "ppb": "[ppb]",
	"mins": "min", "count": "1", "percent": "%", "volt": "V", "volts": "V", "amp": "A", "metre": "m", "newton": "N", "Wh": "W.h", "Ah": "A.h", "rpm": "/min",
}

// checkUnit warns about a unit that the table does not know.
func (r *reader) checkUnit(node *yaml.Node, unit string) {
	for _, known := range knownUnits {
		if unit == known {
			return
		}
	}
	expected := `a UCUM code such as "MOhm", "Cel", "bar" or "N.m"`
	if meant, ok := unitAliases[unit]; ok {
		expected = fmt.Sprintf("%q", meant)
	} else if near, ok := r.suggest(unit, knownUnits); ok {
		expected = fmt.Sprintf("%q perhaps", near)
	}
	r.warn(node, fmt.Sprintf("the unit %s is not known", quote(unit)), expected)
}
