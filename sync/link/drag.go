package link

import "math"

// drag is how the air slows a satellite: B* and what multiplies powers of the
// time. The symbols are those of Spacetrack Report #3.
type drag struct {
	bStar          float64
	c1, c4, c5     float64
	d2, d3, d4     float64
	t2, t3, t4, t5 float64 // of the mean longitude
	eta            float64
	pericentre     float64 // omgcof
	anomaly        float64 // xmcof
	anomalyCube    float64 // delmo
	anomalySine    float64
	node           float64 // nodecf
	linear         bool    // low perigee or deep space: no powers above the second
}

// decay is what drag has taken by a moment: the factor of the square root of the
// axis, the loss of eccentricity, and the gain of longitude per mean motion.
type decay struct{ axis, eccentricity, longitude float64 }

// airProfile returns the parameters s (earth radii) and (q0 − s)⁴ of the density
// for a perigee, in earth radii; the profile is lower for perigees under 156 km.
func airProfile(perigee float64) (s, q4 float64) {
	heightKm := (perigee - 1) * earthRadiusKm
	sKm := 78.0
	switch {
	case heightKm < 98:
		sKm = 20
	case heightKm < 156:
		sKm = heightKm - 78
	}
	q := (120 - sKm) / earthRadiusKm
	return sKm/earthRadiusKm + 1, q * q * q * q
}

func newDrag(m mean, t tilt, rate secularRate, axis, bStar float64, isDeep bool) drag {
	const ratio, roundest = j3 / j2, 1e-4 // under that eccentricity some terms would divide by nothing
	e := m.eccentricity
	perigee := axis * (1 - e)
	s, q4 := airProfile(perigee)
	tsi := 1 / (axis - s)
	eta := axis * e * tsi
	eta2, eEta := eta*eta, e*eta
	psi2 := math.Abs(1 - eta2)
	coef := q4 * tsi * tsi * tsi * tsi
	coef1 := coef / math.Pow(psi2, 3.5)
	round := 1 - e*e

	d := drag{bStar: bStar, eta: eta, linear: isDeep || perigee < 220/earthRadiusKm+1}
	d.c1 = bStar * coef1 * m.motion * (axis*(1+1.5*eta2+eEta*(4+eta2)) +
		0.375*j2*tsi/psi2*t.x3thm1*(8+3*eta2*(8+eta2)))
	d.c4 = 2 * m.motion * coef1 * axis * round * (eta*(2+0.5*eta2) + e*(0.5+2*eta2) -
		j2*tsi/(axis*psi2)*(-3*t.x3thm1*(1-2*eEta+eta2*(1.5-0.5*eEta))+
			0.75*t.x1mth2*(2*eta2-eEta*(1+eta2))*math.Cos(2*m.pericentre)))
	d.c5 = 2 * coef1 * axis * round * (1 + 2.75*(eta2+eEta) + eEta*eta2)
	if e > roundest {
		c3 := -2 * coef * tsi * ratio * m.motion * t.sin / e
		d.pericentre = bStar * c3 * math.Cos(m.pericentre)
		d.anomaly = -2.0 / 3 * coef * bStar / eEta
	}
	d.node = 3.5 * round * rate.nodeFirst * d.c1
	d.anomalySine = math.Sin(m.anomaly)
	d.anomalyCube = cube(1 + eta*math.Cos(m.anomaly))
	d.t2 = 1.5 * d.c1
	if !d.linear {
		d.addPowers(axis, s, tsi)
	}
	return d
}

// addPowers fills in what multiplies the third and higher powers of the time.
func (d *drag) addPowers(axis, s, tsi float64) {
	c2 := d.c1 * d.c1
	d.d2 = 4 * axis * tsi * c2
	third := d.d2 * tsi * d.c1 / 3
	d.d3 = (17*axis + s) * third
	d.d4 = 0.5 * third * axis * tsi * (221*axis + 31*s) * d.c1
	d.t3 = d.d2 + 2*c2
	d.t4 = 0.25 * (3*d.d3 + d.c1*(12*d.d2+10*c2))
	d.t5 = 0.2 * (3*d.d4 + 12*d.c1*d.d3 + 6*d.d2*d.d2 + 15*c2*(2*d.d2+c2))
}

// secular carries the mean elements forward under flattening and drag.
func (o *Orbit) secular(t float64) (mean, decay) {
	m, d := o.epoch, &o.drag
	m.anomaly += o.rate.anomaly * t
	m.pericentre += o.rate.pericentre * t
	m.node += o.rate.node*t + d.node*t*t
	lost := decay{axis: 1 - d.c1*t, eccentricity: d.bStar * d.c4 * t, longitude: d.t2 * t * t}
	if d.linear {
		return m, lost
	}
	shift := d.pericentre*t + d.anomaly*(cube(1+d.eta*math.Cos(m.anomaly))-d.anomalyCube)
	m.anomaly += shift
	m.pericentre -= shift
	t2 := t * t
	t3 := t2 * t
	lost.axis -= d.d2*t2 + d.d3*t3 + d.d4*t2*t2
	lost.eccentricity += d.bStar * d.c5 * (math.Sin(m.anomaly) - d.anomalySine)
	lost.longitude += d.t3*t3 + t2*t2*(d.t4+t*d.t5)
	return m, lost
}

func cube(x float64) float64 { return x * x * x }
