package link

import (
	"math"
	"time"
)

// deepSpace is what sun and moon do to an orbit of 225 minutes and more: a steady
// drift, a sway about it, and, for periods near half a day and a day, resonance
// with the uneven equator of the earth.
type deepSpace struct {
	bodies    [2]swayOf // sun, moon
	steady    mean      // rates of drift per minute; no motion
	resonance *resonance
}

// body is the path of sun or moon as seen from an orbit's node: g its argument of
// pericentre, i its inclination to the equator, h its node less the orbit's.
type body struct {
	sinG, cosG, sinI, cosI, sinH, cosH float64
	strength                           float64 // 1/min²
	motion, eccentricity               float64 // radians a minute
	anomaly                            float64 // at the epoch
}

// Strength, motion and eccentricity of the two, and the obliquity.
const (
	sunStrength, moonStrength         = 2.9864797e-6, 4.7968065e-7
	sunMotion, moonMotion             = 1.19459e-5, 1.5835218e-4
	sunEccentricity, moonEccentricity = 0.01675, 0.05490
	sinObliquity, cosObliquity        = 0.39785416, 0.91744867
)

// sunAndMoon returns the two bodies at an epoch, in days from 1899-12-31 12:00,
// for an orbit with that node.
func sunAndMoon(day, node float64) [2]body {
	sinNode, cosNode := math.Sincos(node)
	sun := body{
		sinG: -0.98088458, cosG: 0.1945905,
		sinI: sinObliquity, cosI: cosObliquity,
		sinH: sinNode, cosH: cosNode,
		strength: sunStrength, motion: sunMotion, eccentricity: sunEccentricity,
		anomaly: math.Mod(6.2565837+0.017201977*day, turn),
	}
	moonNode := math.Mod(4.5236020-9.2422029e-4*day, turn) // on the ecliptic
	sinMoonNode, cosMoonNode := math.Sincos(moonNode)
	cosI := 0.91375164 - 0.03568096*cosMoonNode
	sinI := math.Sqrt(1 - cosI*cosI)
	sinH := 0.089683511 * sinMoonNode / sinI // of its node on the equator
	cosH := math.Sqrt(1 - sinH*sinH)
	longitude := 5.8351514 + 0.0019443680*day // of its perigee
	arc := math.Atan2(sinObliquity*sinMoonNode/sinI, cosH*cosMoonNode+cosObliquity*sinH*sinMoonNode)
	sinG, cosG := math.Sincos(longitude + arc - moonNode)
	moon := body{
		sinG: sinG, cosG: cosG, sinI: sinI, cosI: cosI,
		sinH: sinNode*cosH - cosNode*sinH, cosH: cosH*cosNode + sinH*sinNode,
		strength: moonStrength, motion: moonMotion, eccentricity: moonEccentricity,
		anomaly: math.Mod(4.7199672+0.22997150*day-longitude, turn),
	}
	return [2]body{sun, moon}
}

// pull is what one body does to one orbit: the quantities S and Z of Spacetrack
// Report #3.
type pull struct {
	s1, s2, s3, s4, s5, s6, s7 float64
	z1, z2, z3                 float64
	z11, z12, z13              float64
	z21, z22, z23              float64
	z31, z32, z33              float64
}

func newPull(b body, m mean) pull {
	sinI, cosI := math.Sincos(m.inclination)
	sinW, cosW := math.Sincos(m.pericentre)
	e2 := m.eccentricity * m.eccentricity
	round := 1 - e2

	a1 := b.cosG*b.cosH + b.sinG*b.cosI*b.sinH
	a3 := -b.sinG*b.cosH + b.cosG*b.cosI*b.sinH
	a7 := -b.cosG*b.sinH + b.sinG*b.cosI*b.cosH
	a8 := b.sinG * b.sinI
	a9 := b.sinG*b.sinH + b.cosG*b.cosI*b.cosH
	a10 := b.cosG * b.sinI
	a2, a4 := cosI*a7+sinI*a8, cosI*a9+sinI*a10
	a5, a6 := -sinI*a7+cosI*a8, -sinI*a9+cosI*a10

	x1, x2 := a1*cosW+a2*sinW, a3*cosW+a4*sinW
	x3, x4 := -a1*sinW+a2*cosW, -a3*sinW+a4*cosW
	x5, x6, x7, x8 := a5*sinW, a6*sinW, a5*cosW, a6*cosW

	var p pull
	p.z31 = 12*x1*x1 - 3*x3*x3
	p.z32 = 24*x1*x2 - 6*x3*x4
	p.z33 = 12*x2*x2 - 3*x4*x4
	p.z1 = 6*(a1*a1+a2*a2) + (1+e2)*p.z31
	p.z2 = 12*(a1*a3+a2*a4) + (1+e2)*p.z32
	p.z3 = 6*(a3*a3+a4*a4) + (1+e2)*p.z33
	p.z11 = -6*a1*a5 + e2*(-24*x1*x7-6*x3*x5)
	p.z12 = -6*(a1*a6+a3*a5) + e2*(-24*(x2*x7+x1*x8)-6*(x3*x6+x4*x5))
	p.z13 = -6*a3*a6 + e2*(-24*x2*x8-6*x4*x6)
	p.z21 = 6*a2*a5 + e2*(24*x1*x5-6*x3*x7)
	p.z22 = 6*(a4*a5+a2*a6) + e2*(24*(x2*x5+x1*x6)-6*(x4*x7+x3*x8))
	p.z23 = 6*a4*a6 + e2*(24*x2*x6-6*x4*x8)

	p.s3 = b.strength / m.motion
	p.s2 = -0.5 * p.s3 / math.Sqrt(round)
	p.s4 = p.s3 * math.Sqrt(round)
	p.s1 = -15 * m.eccentricity * p.s4
	p.s5 = x1*x3 + x2*x4
	p.s6 = x2*x3 + x1*x4
	p.s7 = x2*x4 - x1*x3
	return p
}

// swayOf is the size of the long-period terms of one body, for each element those
// of its 2nd, 3rd and 4th kind.
type swayOf struct {
	body
	e2, e3, i2, i3, l2, l3, l4, g2, g3, g4, h2, h3 float64
}

func newSway(b body, p pull, e2 float64) swayOf {
	return swayOf{
		body: b,
		e2:   2 * p.s1 * p.s6,
		e3:   2 * p.s1 * p.s7,
		i2:   2 * p.s2 * p.z12,
		i3:   2 * p.s2 * (p.z13 - p.z11),
		l2:   -2 * p.s3 * p.z2,
		l3:   -2 * p.s3 * (p.z3 - p.z1),
		l4:   -2 * p.s3 * (-21 - 9*e2) * b.eccentricity,
		g2:   2 * p.s4 * p.z32,
		g3:   2 * p.s4 * (p.z33 - p.z31),
		g4:   -18 * p.s4 * b.eccentricity,
		h2:   -2 * p.s2 * p.z22,
		h3:   -2 * p.s2 * (p.z23 - p.z21),
	}
}

// addDrift adds the steady part of what one body does.
func (d *deepSpace) addDrift(b body, p pull, m mean) {
	const flattest = 5.2359877e-2 // 3°: nearer to the equator the node is left alone
	sinI, cosI := math.Sincos(m.inclination)
	e2 := m.eccentricity * m.eccentricity
	d.steady.eccentricity += p.s1 * b.motion * p.s5
	d.steady.inclination += p.s2 * b.motion * (p.z11 + p.z13)
	d.steady.anomaly -= b.motion * p.s3 * (p.z1 + p.z3 - 14 - 6*e2)
	d.steady.pericentre += p.s4 * b.motion * (p.z31 + p.z33 - 6)
	if m.inclination < flattest || m.inclination > math.Pi-flattest {
		return
	}
	node := -b.motion * p.s2 * (p.z21 + p.z23) / sinI
	d.steady.pericentre -= cosI * node
	d.steady.node += node
}

func newDeepSpace(m mean, rate secularRate, epoch time.Time) *deepSpace {
	d := &deepSpace{}
	for i, b := range sunAndMoon(daysSince1900(epoch), m.node) {
		p := newPull(b, m)
		d.bodies[i] = newSway(b, p, m.eccentricity*m.eccentricity)
		d.addDrift(b, p, m)
	}
	d.resonance = newResonance(m, rate, d.steady, siderealAngle(epoch))
	return d
}

// daysSince1900 counts from 1899-12-31 12:00, as the theory of sun and moon does.
// The reference code takes the epoch as one Julian date, whose last bit is 40 µs;
// so does this, as on an orbit of eccentricity 0.97 a bit more shows in the sixth
// decimal of a kilometre.
func daysSince1900(t time.Time) float64 {
	const origin = 2415020.0
	julian := origin + minutesBetween(time.Date(1899, 12, 31, 12, 0, 0, 0, time.UTC), t)/minutesPerDay
	return julian - origin
}

// drift adds the steady part and the resonance to mean elements so many minutes
// after the epoch.
func (d *deepSpace) drift(m *mean, t float64) {
	m.eccentricity += d.steady.eccentricity * t
	m.inclination += d.steady.inclination * t
	m.pericentre += d.steady.pericentre * t
	m.node += d.steady.node * t
	m.anomaly += d.steady.anomaly * t
	if d.resonance != nil {
		d.resonance.apply(m, t)
	}
}

// sway adds the long-period terms of sun and moon, which by design are left out
// of the elements at the epoch.
func (d *deepSpace) sway(m *mean, t float64) {
	var e, i, l, g, h float64
	for k := range d.bodies {
		b := &d.bodies[k]
		anomaly := b.anomaly + b.motion*t
		sin, cos := math.Sincos(anomaly + 2*b.body.eccentricity*math.Sin(anomaly))
		f2, f3 := 0.5*sin*sin-0.25, -0.5*sin*cos
		e += b.e2*f2 + b.e3*f3
		i += b.i2*f2 + b.i3*f3
		l += b.l2*f2 + b.l3*f3 + b.l4*sin
		g += b.g2*f2 + b.g3*f3 + b.g4*sin
		h += b.h2*f2 + b.h3*f3
	}
	m.inclination += i
	m.eccentricity += e
	m.turnBy(i, l, g, h)
	if m.inclination < 0 {
		m.inclination = -m.inclination
		m.node += math.Pi
		m.pericentre -= math.Pi
	}
}

// turnBy adds the sway of longitude l, pericentre g and node h, the inclination
// being already changed by i. Under 0.2 rad of inclination node and pericentre are
// ill-defined, and Lyddane's variables take their place.
func (m *mean) turnBy(i, l, g, h float64) {
	const steep = 0.2
	sinI, cosI := math.Sincos(m.inclination)
	if m.inclination >= steep {
		h /= sinI
		m.pericentre += g - cosI*h
		m.node += h
		m.anomaly += l
		return
	}
	sinN, cosN := math.Sincos(m.node)
	alpha := sinI*sinN + h*cosN + i*cosI*sinN
	beta := sinI*cosN - h*sinN + i*cosI*cosN
	before := math.Mod(m.node, turn)
	longitude := m.anomaly + m.pericentre + cosI*before + l + g - i*before*sinI
	m.node = math.Atan2(alpha, beta)
	switch {
	case before-m.node > math.Pi:
		m.node += turn
	case m.node-before > math.Pi:
		m.node -= turn
	}
	m.anomaly += l
	m.pericentre = longitude - m.anomaly - cosI*m.node
}
