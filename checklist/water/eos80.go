package water

import (
	"math"

	"pulk/schema/fault"
	"pulk/schema/steady"
)

// Density returns the density of sea water in kg/m³ by EOS-80, at a salinity of 0
// to 42, -2 to 40 °C and a sea pressure of 0 to 10,000 dbar. Salinity 0 is fresh
// water.
//
// Source: Millero et al. (1980), UNESCO 44 (1983), section 3.
func Density(salinity, celsius, decibars float64) (float64, error) {
	err := fault.AllWithin("EOS-80 (UNESCO 44)", practicalSalinity(salinity, 0, 42), temperature(celsius, -2, 40), pressure(decibars))
	if err != nil {
		return 0, err
	}
	return density(salinity, celsius1968(celsius), decibars), nil
}

func density(s, t, decibars float64) float64 {
	bar := decibars / 10
	root := math.Sqrt(s)
	surface := steady.Poly(t, 999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9) +
		steady.Times(steady.Poly(t, 8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9), s) +
		steady.Times(steady.Poly(t, -5.72466e-3, 1.0227e-4, -1.6546e-6), s, root) +
		steady.Times(4.8314e-4, s, s)
	modulus := steady.Poly(bar,
		steady.Poly(t, 19652.21, 148.4206, -2.327105, 1.360477e-2, -5.155288e-5)+
			steady.Times(steady.Poly(t, 54.6746, -0.603459, 1.09987e-2, -6.1670e-5), s)+
			steady.Times(steady.Poly(t, 7.944e-2, 1.6483e-2, -5.3009e-4), s, root),
		steady.Poly(t, 3.239908, 1.43713e-3, 1.16092e-4, -5.77905e-7)+
			steady.Times(steady.Poly(t, 2.2838e-3, -1.0981e-5, -1.6078e-6), s)+
			steady.Times(1.91075e-4, s, root),
		steady.Poly(t, 8.50935e-5, -6.12293e-6, 5.2787e-8)+
			steady.Times(steady.Poly(t, -9.9348e-7, 2.0816e-8, 9.1697e-10), s))
	return surface / (1 - bar/modulus)
}

// SoundSpeed returns the speed of sound in sea water in m/s, at a salinity of 0 to
// 40, 0 to 40 °C and a sea pressure of 0 to 10,000 dbar.
//
// Source: Chen & Millero (1977), UNESCO 44 (1983), section 9.
func SoundSpeed(salinity, celsius, decibars float64) (float64, error) {
	err := fault.AllWithin("the speed of sound in sea water (UNESCO 44)", practicalSalinity(salinity, 0, 40), temperature(celsius, 0, 40), pressure(decibars))
	if err != nil {
		return 0, err
	}
	t, bar := celsius1968(celsius), decibars/10
	pure := steady.Poly(bar,
		steady.Poly(t, 1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
		steady.Poly(t, 0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
		steady.Poly(t, 3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
		steady.Poly(t, -9.7729e-9, 3.8504e-10, -2.3643e-12))
	a := steady.Poly(bar,
		steady.Poly(t, 1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
		steady.Poly(t, 9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
		steady.Poly(t, -3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
		steady.Poly(t, 1.100e-10, 6.649e-12, -3.389e-13))
	b := steady.Poly(bar, steady.Poly(t, -1.922e-2, -4.42e-5), steady.Poly(t, 7.3637e-5, 1.7945e-7))
	d := steady.Poly(bar, 1.727e-3, -7.9836e-6)
	return pure + steady.Times(a, salinity) + steady.Times(b, salinity, math.Sqrt(salinity)) + steady.Times(d, salinity, salinity), nil
}
