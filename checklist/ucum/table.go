package ucum

import (
	"math/big"
	"strings"
	"sync"
)

// prefixes of metric units. Source: ucum-essence.xml.
var prefixes = []struct {
	code     string
	exponent int // of 10
	binary   int // of 2
}{
	{"Ki", 0, 10}, {"Mi", 0, 20}, {"Gi", 0, 30}, {"Ti", 0, 40},
	{"Y", 24, 0}, {"Z", 21, 0}, {"E", 18, 0}, {"P", 15, 0}, {"T", 12, 0}, {"G", 9, 0}, {"M", 6, 0}, {"k", 3, 0}, {"h", 2, 0}, {"da", 1, 0},
	{"d", -1, 0}, {"c", -2, 0}, {"m", -3, 0}, {"u", -6, 0}, {"n", -9, 0}, {"p", -12, 0}, {"f", -15, 0}, {"a", -18, 0}, {"z", -21, 0}, {"y", -24, 0},
}

// definitions are the units, each with whether it takes prefixes (m, or - if not),
// how many of which unit it is, and for a special unit its zero in that unit. They
// are those of ucum-essence.xml, save what is marked:
//
//	SI  the value of the SI since 2019, where UCUM keeps an older measured one
//	own a dimension of our own, as the package comment says
//
// Left out are units of medicine, typesetting and homoeopathy, measured constants,
// and ph, whose value in ucum-essence.xml (1e-4 lx) is not that of SP 811 (1e4 lx).
const definitions = `
10*      - 10 1
10^      - 10 1
%        - 0.01 1
[ppth]   - 0.001 1
[ppm]    - 0.000001 1
[ppb]    - 0.000000001 1
[pptr]   - 0.000000000001 1
mol      m 602214076000000000000000 1      SI
sr       m 1 rad2
Hz       m 1 s-1
N        m 1 kg.m/s2
Pa       m 1 N/m2
J        m 1 N.m
W        m 1 J/s
A        m 1 C/s
V        m 1 J/C
F        m 1 C/V
Ohm      m 1 V/A
S        m 1 Ohm-1
Wb       m 1 V.s
T        m 1 Wb/m2
H        m 1 Wb/A
lm       m 1 cd.sr
lx       m 1 lm/m2
Bq       m 1 s-1
Gy       m 1 J/kg
Sv       m 1 J/kg
kat      m 1 mol/s
gon      - 0.9 deg
deg      - 2 [pi].rad/360
'        - 1 deg/60
''       - 1 '/60
circ     - 2 [pi].rad
sph      - 4 [pi].sr
l        m 1 dm3
L        m 1 l
ar       m 100 m2
min      - 60 s
h        - 60 min
d        - 24 h
wk       - 7 d
a        - 1 a_j
a_j      - 365.25 d
a_g      - 365.2425 d
a_t      - 365.24219 d
mo       - 1 mo_j
mo_j     - 1 a_j/12
mo_g     - 1 a_g/12
mo_s     - 29.53059 d
t        m 1000 kg
bar      m 100000 Pa
[e]      m 0.0000000000000000001602176634 C  SI
eV       m 1 [e].V
[c]      m 299792458 m/s
[g]      m 9.80665 m/s2
atm      - 101325 Pa
att      - 1 kgf/cm2
gf       m 1 g.[g]
[lbf_av] - 1 [lb_av].[g]
[psi]    - 1 [lbf_av]/[in_i]2
m[H2O]   m 9.80665 kPa
m[Hg]    m 133.3220 kPa
[in_i'H2O] - 1 m[H2O].[in_i]/m
[in_i'Hg]  - 1 m[Hg].[in_i]/m
Gal      m 1 cm/s2
dyn      m 1 g.cm/s2
erg      m 1 dyn.cm
P        m 1 dyn.s/cm2
St       m 1 cm2/s
Mx       m 0.00000001 Wb
G        m 0.0001 T
Oe       m 250 /[pi].A/m
Ci       m 37000000000 Bq
[in_i]   - 2.54 cm
[ft_i]   - 12 [in_i]
[yd_i]   - 3 [ft_i]
[mi_i]   - 5280 [ft_i]
[fth_i]  - 6 [ft_i]
[nmi_i]  - 1852 m
[kn_i]   - 1 [nmi_i]/h
[sin_i]  - 1 [in_i]2
[sft_i]  - 1 [ft_i]2
[cin_i]  - 1 [in_i]3
[cft_i]  - 1 [ft_i]3
[mil_i]  - 0.001 [in_i]
[cml_i]  - 1 [pi]/4.[mil_i]2
[ft_us]  - 1200 m/3937
[gal_us] - 231 [in_i]3
[bbl_us] - 42 [gal_us]
[qt_us]  - 1 [gal_us]/4
[pt_us]  - 1 [qt_us]/2
[foz_us] - 1 [pt_us]/16
[gal_br] - 4.54609 l
[pt_br]  - 1 [gal_br]/8
[foz_br] - 1 [pt_br]/20
[gr]     - 64.79891 mg
[lb_av]  - 7000 [gr]
[oz_av]  - 1 [lb_av]/16
[ston_av] - 2000 [lb_av]
[lton_av] - 2240 [lb_av]
[stone_av] - 14 [lb_av]
[oz_tr]  - 480 [gr]
[HP]     - 550 [ft_i].[lbf_av]/s
cal_IT   m 4.1868 J
cal_th   m 4.184 J
cal      m 1 cal_th
[Btu_IT] - 1.05505585262 kJ
[Btu_th] - 1.054350 kJ
st       m 1 m3
Ao       - 0.1 nm
mho      m 1 S
By       m 8 bit
Bd       m 1 /s
Cel      m 1 K 273.15
[degF]   - 1 5.K/9 459.67
[degRe]  - 1 5.K/4 218.52
B[W]     m 1 B[W] 0                         own
B[kW]    m 1 B[W] 3                         own
B[V]     m 1 B[V] 0                         own
B[mV]    m 1 B[V] -6                        own
B[uV]    m 1 B[V] -12                       own
B[SPL]   m 1 B[SPL] 0                       own
`

// definition is a line of definitions.
type definition struct {
	metric bool
	value  string
	of     string
	zero   string // in units of `of`; "" for a unit that is not special
}

var defined = sync.OnceValue(func() map[string]definition {
	table := map[string]definition{}
	for _, line := range strings.Split(strings.TrimSpace(definitions), "\n") {
		f := strings.Fields(line)
		d := definition{metric: f[1] == "m", value: f[2], of: f[3]}
		if len(f) > 4 && f[4] != "SI" {
			d.zero = f[4]
		}
		table[f[0]] = d
	}
	return table
})

// atom returns the unit with a code of the table or of a base unit, and whether it
// takes prefixes.
func atom(code string) (u Unit, metric, ok bool) {
	for i, base := range baseCodes {
		if code == base {
			u = Unit{code: code}
			u.dim.powers[i] = 1
			return u, true, true
		}
	}
	if code == "[pi]" {
		return Unit{code: code, pi: 1}, false, true
	}
	d, ok := defined()[code]
	if !ok {
		return Unit{}, false, false
	}
	return d.unit(code), d.metric, true
}

// unit works a definition out; it panics where the table is wrong, which its test
// would show.
func (d definition) unit(code string) Unit {
	if level, is := strings.CutPrefix(d.of, "B["); is {
		zero, _ := new(big.Rat).SetString(d.zero)
		return Unit{code: code, dim: Dimension{level: strings.TrimSuffix(level, "]")}, factor: big.NewRat(1, 1), zero: zero}
	}
	u, err := Parse(d.of)
	value, ok := new(big.Rat).SetString(d.value)
	if err != nil || !ok {
		panic("table of units: " + code)
	}
	u.code, u.factor = code, value.Mul(value, u.ratio())
	if d.zero != "" {
		zero, _ := new(big.Rat).SetString(d.zero)
		u.zero = zero.Mul(zero, u.factor)
	}
	return u
}

// common are the codes that readings of our work are taken in: they are proposed
// for a code that is not known.
var common = strings.Fields(`
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

// aliases are ways that people write units, with the UCUM code meant. Some are
// codes of other units: C is the coulomb, kt a thousand tonnes.
var aliases = map[string]string{
	"°C": "Cel", "C": "Cel", "degC": "Cel", "°F": "[degF]", "degF": "[degF]", "Ω": "Ohm", "kΩ": "kOhm", "MΩ": "MOhm", "GΩ": "GOhm", "ohm": "Ohm",
	"µs": "us", "μs": "us", "µm": "um", "μm": "um", "µA": "uA", "μA": "uA", "µV": "uV", "sec": "s", "hr": "h", "°": "deg",
	"Nm": "N.m", "kt": "[kn_i]", "kn": "[kn_i]", "knots": "[kn_i]", "ppm": "[ppm]", "ppb": "[ppb]", "psi": "[psi]", "ft": "[ft_i]", "in": "[in_i]",
	"lb": "[lb_av]", "lbf": "[lbf_av]",
	"mins": "min", "count": "1", "percent": "%", "volt": "V", "volts": "V", "amp": "A", "metre": "m", "newton": "N", "Wh": "W.h", "Ah": "A.h", "rpm": "/min",
}

// Common returns the codes that readings of our work are taken in. It is not to be
// changed.
func Common() []string { return common }

// Alias returns the code that is meant by a way that people write a unit.
func Alias(written string) (code string, ok bool) {
	code, ok = aliases[written]
	return code, ok
}

// quantities names dimensions by a unit of each, in words that finish "a reading
// of". Source of the words: the properties in ucum-essence.xml.
const quantities = `
1 pure number
m length
m2 area
m3 volume
s time
Hz frequency
g mass
g/m3 density
g/m mass per length
m/s velocity
m/s2 acceleration
rad plane angle
rad/s angular velocity
N force
N/m force per length
N.m energy or torque
Pa pressure
W power
m3/s flow
Pa.m3/s leak rate
K temperature
K/s rate of temperature
C charge
A current
V voltage
Ohm resistance
Ohm/m resistance per length
S conductance
S/m conductivity
F capacitance
H inductance
T magnetic flux density
cd luminous intensity
lm luminous flux
lx illuminance
bit information
bit/s rate of information
B ratio as a level
B/m loss per length
B[W] level of power
B[V] level of voltage
B[SPL] level of sound pressure
`

var quantityNames = sync.OnceValue(func() map[Dimension]string {
	names := map[Dimension]string{}
	for _, line := range strings.Split(strings.TrimSpace(quantities), "\n") {
		code, name, _ := strings.Cut(line, " ")
		u, err := Parse(code)
		if err != nil {
			panic("table of quantities: " + code)
		}
		names[u.dim] = name
	}
	return names
})

// Name says in words what the dimension is: "resistance", or its code in base units.
func (d Dimension) Name() string {
	if name, ok := quantityNames()[d]; ok {
		return name
	}
	return d.String()
}
