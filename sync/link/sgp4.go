package link

import (
	"fmt"
	"math"
	"time"
)

// Constants of the earth in WGS-72, which the published elements are fitted with;
// those of WGS-84 put a satellite metres to kilometres off.
const (
	earthRadiusKm = 6378.135
	earthGravity  = 398600.8 // km³/s²
	j2            = 0.001082616
	j3            = -0.00000253881
	j4            = -0.00000165597
)

const (
	turn            = 2 * math.Pi
	minutesPerDay   = 1440
	daysBetween     = 36525 * 2 // limit of propagation from the epoch, both ways
	deepSpacePeriod = 225       // minutes; from here on sun and moon count
)

// gravityRoot is the square root of the earth's gravity in (earth radii)^1.5 per
// minute. It is computed: nine printed digits of it cost half a metre a day.
var gravityRoot = 60 / math.Sqrt(earthRadiusKm*earthRadiusKm*earthRadiusKm/earthGravity)

// State is where a satellite is and how it moves, in the frame TEME of the moment
// (true equator, mean equinox).
type State struct {
	PositionKm          [3]float64
	VelocityKmPerSecond [3]float64
}

// PropagationError says that elements give no place in space at a moment. Codes
// are those of the reference code: 1 mean eccentricity out of range, 2 mean motion
// not above zero, 3 perturbed eccentricity out of range, 4 semi-latus rectum
// negative, 6 decayed; and 0 for a moment further than 200 years from the epoch.
type PropagationError struct {
	Code      int
	Satellite string // its Label
	Epoch     time.Time
	Minutes   float64 // from the epoch
}

func (e *PropagationError) Error() string {
	what := map[int]string{
		0: "this is too far from their epoch",
		1: "mean eccentricity is out of range (drag has carried the elements past their use)",
		2: "mean motion is not above zero",
		3: "eccentricity is out of range under sun and moon",
		4: "semi-latus rectum is negative",
		6: "the satellite has decayed",
	}[e.Code]
	return fmt.Sprintf("elements of %s give no place %.1f days from their epoch %s: %s; get newer elements, or leave the satellite out",
		e.Satellite, e.Minutes/minutesPerDay, e.Epoch.UTC().Format(time.RFC3339), what)
}

// Orbit is an element set made ready for SGP4. It remembers where its resonance
// integrator stood, so use one in one goroutine only; what [Orbit.At] returns
// depends on its argument alone.
//
// Source: Vallado, Crawford, Hujsak, Kelso (2006), Revisiting Spacetrack Report
// #3, AIAA 2006-6753, near-earth and deep-space, WGS-72, improved mode. Symbols
// in the comments are those of that paper and of Spacetrack Report #3.
type Orbit struct {
	elements Elements
	epoch    mean
	rate     secularRate
	drag     drag
	tilt     tilt
	deep     *deepSpace // nil for a period under 225 minutes
}

// mean is a set of mean elements. Angles are in radians, the motion in radians a
// minute, freed of Kozai's convention.
type mean struct {
	eccentricity, inclination, node, pericentre, anomaly, motion float64
}

// secularRate is how fast the earth's flattening turns an orbit, in radians a
// minute.
type secularRate struct {
	anomaly, pericentre, node float64
	nodeFirst                 float64 // the node's rate by J2 alone
}

// tilt is what depends on the inclination alone.
type tilt struct {
	sin, cos        float64
	x3thm1          float64 // 3cos²i − 1
	x1mth2          float64 // 1 − cos²i
	x7thm1          float64 // 7cos²i − 1
	aycof, lonCoeff float64 // long-period terms of J3
}

func newTilt(inclination float64) tilt {
	sin, cos := math.Sincos(inclination)
	const ratio, closest = j3 / j2, 1.5e-12 // the divisor at 180°
	divisor := 1 + cos
	if math.Abs(divisor) <= closest {
		divisor = closest
	}
	return tilt{
		sin: sin, cos: cos,
		x3thm1:   3*cos*cos - 1,
		x1mth2:   1 - cos*cos,
		x7thm1:   7*cos*cos - 1,
		aycof:    -0.5 * ratio * sin,
		lonCoeff: -0.25 * ratio * sin * (3 + 5*cos) / divisor,
	}
}

// NewOrbit makes an element set ready for SGP4. The error says which value is out
// of its range.
func NewOrbit(e Elements) (*Orbit, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	const degree = math.Pi / 180
	o := &Orbit{elements: e, epoch: mean{
		eccentricity: e.Eccentricity,
		inclination:  e.InclinationDegrees * degree,
		node:         e.AscendingNodeDegrees * degree,
		pericentre:   e.PericentreDegrees * degree,
		anomaly:      e.MeanAnomalyDegrees * degree,
		motion:       e.MeanMotionRevolutionsPerDay * turn / minutesPerDay,
	}}
	o.tilt = newTilt(o.epoch.inclination)
	o.epoch.motion = brouwerMotion(o.epoch, o.tilt)
	axis := math.Pow(gravityRoot/o.epoch.motion, 2.0/3)
	o.rate = newSecularRate(o.epoch, o.tilt, axis)
	isDeep := turn/o.epoch.motion >= deepSpacePeriod
	o.drag = newDrag(o.epoch, o.tilt, o.rate, axis, e.DragPerEarthRadius, isDeep)
	if isDeep {
		o.deep = newDeepSpace(o.epoch, o.rate, e.Epoch)
	}
	return o, nil
}

// brouwerMotion turns the mean motion of Kozai, as published, into that of Brouwer.
func brouwerMotion(m mean, t tilt) float64 {
	round := 1 - m.eccentricity*m.eccentricity
	axis := math.Pow(gravityRoot/m.motion, 2.0/3)
	d1 := 0.75 * j2 * t.x3thm1 / (math.Sqrt(round) * round)
	del := d1 / (axis * axis)
	better := axis * (1 - del*del - del*(1.0/3+134*del*del/81))
	return m.motion / (1 + d1/(better*better))
}

func newSecularRate(m mean, t tilt, axis float64) secularRate {
	cos2 := t.cos * t.cos
	cos4 := cos2 * cos2
	round := 1 - m.eccentricity*m.eccentricity
	p2 := 1 / (axis * round * axis * round)
	first := 1.5 * j2 * p2 * m.motion
	second := 0.5 * first * j2 * p2
	fourth := -0.46875 * j4 * p2 * p2 * m.motion
	r := secularRate{nodeFirst: -first * t.cos}
	r.anomaly = m.motion + 0.5*first*math.Sqrt(round)*t.x3thm1 +
		0.0625*second*math.Sqrt(round)*(13-78*cos2+137*cos4)
	r.pericentre = -0.5*first*(1-5*cos2) + 0.0625*second*(7-114*cos2+395*cos4) +
		fourth*(3-36*cos2+49*cos4)
	r.node = r.nodeFirst + (0.5*second*(4-19*cos2)+2*fourth*(3-7*cos2))*t.cos
	return r
}

// At returns the state so many minutes after the epoch (before it, if negative).
// Any error is a *PropagationError.
func (o *Orbit) At(minutes float64) (State, error) {
	if !(math.Abs(minutes) <= daysBetween*minutesPerDay) {
		return State{}, o.fail(0, minutes)
	}
	m, decay := o.secular(minutes)
	if o.deep != nil {
		o.deep.drift(&m, minutes)
	}
	if !(m.motion > 0) {
		return State{}, o.fail(2, minutes)
	}
	axis := math.Pow(gravityRoot/m.motion, 2.0/3) * decay.axis * decay.axis
	m.motion = gravityRoot / math.Pow(axis, 1.5)
	m.eccentricity -= decay.eccentricity
	if !(m.eccentricity < 1 && m.eccentricity >= -0.001) {
		return State{}, o.fail(1, minutes)
	}
	m.eccentricity = math.Max(m.eccentricity, 1e-6)
	m.anomaly += o.epoch.motion * decay.longitude
	longitude := math.Mod(m.anomaly+m.pericentre+m.node, turn)
	m.node = math.Mod(m.node, turn)
	m.pericentre = math.Mod(m.pericentre, turn)
	m.anomaly = math.Mod(longitude-m.pericentre-m.node, turn)

	t := o.tilt
	if o.deep != nil {
		o.deep.sway(&m, minutes)
		if !(m.eccentricity >= 0 && m.eccentricity <= 1) {
			return State{}, o.fail(3, minutes)
		}
		t = newTilt(m.inclination)
	}
	state, code := place(m, axis, t)
	if code != 0 {
		return State{}, o.fail(code, minutes)
	}
	return state, nil
}

// AtTime is At for a moment.
func (o *Orbit) AtTime(t time.Time) (State, error) {
	return o.At(minutesBetween(o.elements.Epoch, t))
}

func (o *Orbit) fail(code int, minutes float64) error {
	return &PropagationError{Code: code, Satellite: o.elements.Label(), Epoch: o.elements.Epoch, Minutes: minutes}
}

// minutesBetween holds beyond the 292 years of a time.Duration.
func minutesBetween(from, to time.Time) float64 {
	return float64(to.Unix()-from.Unix())/60 + float64(to.Nanosecond()-from.Nanosecond())/60e9
}

// place finds the point on the orbit: long-period terms, Kepler's equation,
// short-period terms. The code is that of a PropagationError, or 0.
func place(m mean, axis float64, t tilt) (State, int) {
	inverse := 1 / (axis * (1 - m.eccentricity*m.eccentricity))
	sinPericentre, cosPericentre := math.Sincos(m.pericentre)
	axn := m.eccentricity * cosPericentre
	ayn := m.eccentricity*sinPericentre + inverse*t.aycof
	longitude := m.anomaly + m.pericentre + m.node + inverse*t.lonCoeff*axn
	sinE, cosE := kepler(math.Mod(longitude-m.node, turn), axn, ayn)

	eCos, eSin := axn*cosE+ayn*sinE, axn*sinE-ayn*cosE
	e2 := axn*axn + ayn*ayn
	parameter := axis * (1 - e2)
	if !(parameter >= 0) {
		return State{}, 4
	}
	radius := axis * (1 - eCos)
	beta := math.Sqrt(1 - e2)
	lift := eSin / (1 + beta)
	sinU := axis / radius * (sinE - ayn - axn*lift)
	cosU := axis / radius * (cosE - axn + ayn*lift)
	sin2U, cos2U := 2*cosU*sinU, 1-2*sinU*sinU
	k1 := 0.5 * j2 / parameter
	k2 := k1 / parameter

	r := radius*(1-1.5*k2*beta*t.x3thm1) + 0.5*k1*t.x1mth2*cos2U
	if !(r >= 1) {
		return State{}, 6
	}
	u := math.Atan2(sinU, cosU) - 0.25*k2*t.x7thm1*sin2U
	node := m.node + 1.5*k2*t.cos*sin2U
	inclination := m.inclination + 1.5*k2*t.cos*t.sin*cos2U
	along := math.Sqrt(axis)*eSin/radius - m.motion*k1*t.x1mth2*sin2U/gravityRoot
	across := math.Sqrt(parameter)/radius + m.motion*k1*(t.x1mth2*cos2U+1.5*t.x3thm1)/gravityRoot
	return orient(u, node, inclination, r, along, across), 0
}

// orient turns radius and speeds along and across it, in earth radii and in units
// of gravityRoot, to the orbit's plane.
func orient(u, node, inclination, r, along, across float64) State {
	sinU, cosU := math.Sincos(u)
	sinN, cosN := math.Sincos(node)
	sinI, cosI := math.Sincos(inclination)
	out := [3]float64{-sinN*cosI*sinU + cosN*cosU, cosN*cosI*sinU + sinN*cosU, sinI * sinU}
	on := [3]float64{-sinN*cosI*cosU - cosN*sinU, cosN*cosI*cosU - sinN*sinU, sinI * cosU}
	speed := earthRadiusKm * gravityRoot / 60
	var s State
	for i := range out {
		s.PositionKm[i] = r * out[i] * earthRadiusKm
		s.VelocityKmPerSecond[i] = (along*out[i] + across*on[i]) * speed
	}
	return s
}

// kepler solves u = E + ayn·cos E − axn·sin E by Newton's method, each correction
// held under 0.95 rad; it returns sine and cosine of E (of the estimate before the
// last correction, which is under 1e-12 rad unless ten corrections do not suffice).
func kepler(u, axn, ayn float64) (sin, cos float64) {
	anomaly, correction := u, 1.0
	for try := 0; try < 10 && math.Abs(correction) >= 1e-12; try++ {
		sin, cos = math.Sincos(anomaly)
		correction = (u - ayn*cos + axn*sin - anomaly) / (1 - cos*axn - sin*ayn)
		correction = math.Max(-0.95, math.Min(0.95, correction))
		anomaly += correction
	}
	return sin, cos
}
