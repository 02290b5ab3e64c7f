package link

import "math"

// earthTurnRate is the rotation of the earth in radians a minute, as the theory of
// resonance has it.
const earthTurnRate = 4.37526908801129966e-3

// resonance is what the uneven equator does to an orbit of about a day or half a
// day: it works on the longitude λ of the satellite in steps of half a day.
type resonance struct {
	halfDay    bool
	terms      []resonantTerm
	longitude  float64 // λ at the epoch
	motion     float64 // at the epoch
	rate       float64 // of λ, less the mean motion
	pericentre float64 // at the epoch
	turning    float64 // rate of the pericentre
	sidereal   float64 // angle at the epoch

	memo resonantPoint // where the last call left off
}

// resonantTerm adds amplitude·sin(pericentres·ω + longitudes·λ − phase) to the
// acceleration of the longitude, in radians a minute².
type resonantTerm struct {
	amplitude, pericentres, longitudes, phase float64
}

// resonantPoint is a state of the integrator.
type resonantPoint struct{ minutes, longitude, motion float64 }

// newResonance returns nil for an orbit that is not in resonance.
func newResonance(m mean, rate secularRate, steady mean, sidereal float64) *resonance {
	r := &resonance{motion: m.motion, pericentre: m.pericentre, turning: rate.pericentre, sidereal: sidereal}
	axis := math.Pow(m.motion/gravityRoot, 2.0/3) // 1/a
	switch {
	case m.motion > 0.0034906585 && m.motion < 0.0052359877:
		r.terms = dayTerms(m, axis)
		r.longitude = math.Mod(m.anomaly+m.node+m.pericentre-sidereal, turn)
		r.rate = rate.anomaly + rate.pericentre + rate.node - earthTurnRate +
			steady.anomaly + steady.pericentre + steady.node - m.motion
	case m.motion >= 8.26e-3 && m.motion <= 9.24e-3 && m.eccentricity >= 0.5:
		r.halfDay = true
		r.terms = halfDayTerms(m, axis)
		r.longitude = math.Mod(m.anomaly+2*m.node-2*sidereal, turn)
		r.rate = rate.anomaly + steady.anomaly + 2*(rate.node+steady.node-earthTurnRate) - m.motion
	default:
		return nil
	}
	r.memo = resonantPoint{0, r.longitude, r.motion}
	return r
}

// dayTerms are those of an orbit of about a day.
func dayTerms(m mean, inverseAxis float64) []resonantTerm {
	const q22, q31, q33 = 1.7891679e-6, 2.1460748e-6, 2.2123015e-7
	sin, cos := math.Sincos(m.inclination)
	e2 := m.eccentricity * m.eccentricity
	g200 := 1 + e2*(-2.5+0.8125*e2)
	g310 := 1 + 2*e2
	g300 := 1 + e2*(-6+6.60937*e2)
	f220 := 0.75 * (1 + cos) * (1 + cos)
	f311 := 0.9375*sin*sin*(1+3*cos) - 0.75*(1+cos)
	f330 := 1.875 * cube(1+cos)
	base := 3 * m.motion * m.motion * inverseAxis * inverseAxis
	return []resonantTerm{
		{base * f311 * g310 * q31 * inverseAxis, 0, 1, 0.13130908},
		{2 * base * f220 * g200 * q22, 0, 2, 2 * 2.8843198},
		{3 * base * f330 * g300 * q33 * inverseAxis, 0, 3, 3 * 0.37448087},
	}
}

// halfDayTerms are those of an eccentric orbit of about half a day.
func halfDayTerms(m mean, inverseAxis float64) []resonantTerm {
	const root22, root32, root44, root52, root54 = 1.7891679e-6, 3.7393792e-7, 7.3636953e-9, 1.1428639e-7, 2.1765803e-9
	const g22, g32, g44, g52, g54 = 5.7686396, 0.95240898, 1.8014998, 1.0508330, 4.4108898
	sin, cos := math.Sincos(m.inclination)
	sin2, cos2 := sin*sin, cos*cos
	f220 := 0.75 * (1 + 2*cos + cos2)
	f221 := 1.5 * sin2
	f321 := 1.875 * sin * (1 - 2*cos - 3*cos2)
	f322 := -1.875 * sin * (1 + 2*cos - 3*cos2)
	f441 := 35 * sin2 * f220
	f442 := 39.3750 * sin2 * sin2
	f522 := 9.84375 * sin * (sin2*(1-2*cos-5*cos2) + 0.33333333*(-2+4*cos+6*cos2))
	f523 := sin * (4.92187512*sin2*(-2-4*cos+10*cos2) + 6.56250012*(1+2*cos-3*cos2))
	f542 := 29.53125 * sin * (2 - 8*cos + cos2*(-12+8*cos+10*cos2))
	f543 := 29.53125 * sin * (-2 - 8*cos + cos2*(12+8*cos-10*cos2))

	g := newHalfDayEccentricity(m.eccentricity)
	second := 3 * m.motion * m.motion * inverseAxis * inverseAxis
	third := second * inverseAxis
	fourth := third * inverseAxis
	fifth := fourth * inverseAxis
	return []resonantTerm{
		{second * root22 * f220 * g.g201, 2, 1, g22},
		{second * root22 * f221 * g.g211, 0, 1, g22},
		{third * root32 * f321 * g.g310, 1, 1, g32},
		{third * root32 * f322 * g.g322, -1, 1, g32},
		{2 * fourth * root44 * f441 * g.g410, 2, 2, g44},
		{2 * fourth * root44 * f442 * g.g422, 0, 2, g44},
		{fifth * root52 * f522 * g.g520, 1, 1, g52},
		{fifth * root52 * f523 * g.g532, -1, 1, g52},
		{2 * fifth * root54 * f542 * g.g521, 1, 2, g54},
		{2 * fifth * root54 * f543 * g.g533, -1, 2, g54},
	}
}

// halfDayEccentricity is what depends on the eccentricity of an orbit of half a
// day: the functions G of Hansen, fitted by cubics.
type halfDayEccentricity struct {
	g201, g211, g310, g322, g410, g422, g520, g521, g532, g533 float64
}

func newHalfDayEccentricity(e float64) halfDayEccentricity {
	cubic := func(c0, c1, c2, c3 float64) float64 { return c0 + c1*e + c2*e*e + c3*e*e*e }
	g := halfDayEccentricity{g201: -0.306 - (e-0.64)*0.440}
	if e <= 0.65 {
		g.g211 = cubic(3.616, -13.2470, 16.2900, 0)
		g.g310 = cubic(-19.302, 117.3900, -228.4190, 156.5910)
		g.g322 = cubic(-18.9068, 109.7927, -214.6334, 146.5816)
		g.g410 = cubic(-41.122, 242.6940, -471.0940, 313.9530)
		g.g422 = cubic(-146.407, 841.8800, -1629.014, 1083.4350)
		g.g520 = cubic(-532.114, 3017.977, -5740.032, 3708.2760)
	} else {
		g.g211 = cubic(-72.099, 331.819, -508.738, 266.724)
		g.g310 = cubic(-346.844, 1582.851, -2415.925, 1246.113)
		g.g322 = cubic(-342.585, 1554.908, -2366.899, 1215.972)
		g.g410 = cubic(-1052.797, 4758.686, -7193.992, 3651.957)
		g.g422 = cubic(-3581.690, 16178.110, -24462.770, 12422.520)
		g.g520 = cubic(1464.74, -4664.75, 3763.64, 0)
	}
	if e > 0.715 {
		g.g520 = cubic(-5149.66, 29936.92, -54087.36, 31324.56)
	}
	if e < 0.7 {
		g.g533 = cubic(-919.22770, 4988.6100, -9064.7700, 5542.21)
		g.g521 = cubic(-822.71072, 4568.6173, -8491.4146, 5337.524)
		g.g532 = cubic(-853.66600, 4690.2500, -8624.7700, 5341.4)
	} else {
		g.g533 = cubic(-37995.780, 161616.52, -229838.20, 109377.94)
		g.g521 = cubic(-51752.104, 218913.95, -309468.16, 146349.42)
		g.g532 = cubic(-40023.880, 170470.89, -242699.48, 115605.82)
	}
	return g
}

// apply puts mean motion and anomaly of the resonant orbit in place of the smooth
// ones, so many minutes after the epoch.
func (r *resonance) apply(m *mean, t float64) {
	p := r.pointBefore(t)
	rest := t - p.minutes
	speed, bend, jerk := r.forces(p)
	longitude := p.longitude + speed*rest + bend*rest*rest*0.5
	m.motion = p.motion + bend*rest + jerk*rest*rest*0.5
	theta := math.Mod(r.sidereal+t*earthTurnRate, turn)
	if r.halfDay {
		m.anomaly = longitude - 2*m.node + 2*theta
	} else {
		m.anomaly = longitude - m.node - m.pericentre + theta
	}
}

// pointBefore steps in whole half days from the epoch towards t, from where the
// last call left off if that lies on the way. Steps fall on the same moments
// whatever was asked before, so the answer does not depend on it.
func (r *resonance) pointBefore(t float64) resonantPoint {
	const step = 720.0
	p := r.memo
	if p.minutes*t <= 0 || math.Abs(t) < math.Abs(p.minutes) {
		p = resonantPoint{0, r.longitude, r.motion}
	}
	delta := math.Copysign(step, t)
	for math.Abs(t-p.minutes) >= step {
		speed, bend, jerk := r.forces(p)
		p.longitude += speed*delta + bend*step*step/2
		p.motion += bend*delta + jerk*step*step/2
		p.minutes += delta
	}
	r.memo = p
	return p
}

// forces returns the rate of the longitude, that of the mean motion, and that
// rate's own.
func (r *resonance) forces(p resonantPoint) (speed, bend, jerk float64) {
	pericentre := r.pericentre + r.turning*p.minutes
	for _, term := range r.terms {
		sin, cos := math.Sincos(term.pericentres*pericentre + term.longitudes*p.longitude - term.phase)
		bend += term.amplitude * sin
		jerk += term.amplitude * term.longitudes * cos
	}
	speed = p.motion + r.rate
	return speed, bend, jerk * speed
}
