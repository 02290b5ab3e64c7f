// Package sparing says how many spares of an item to have for a time in which
// nothing can be delivered.
//
// Start at [Need], which answers one line of a kit list, and [NeedConsumable]
// for what is used up by plan. Both stand on the parts below, which can be used
// alone. Everything here is pure: values in, values out. Times are in hours,
// rates in failures per unit-hour, probabilities between 0 and 1, stock in
// whole pieces of the smallest unit.
//
// # Demand at a known rate
//
// n units that each run t hours at the constant rate λ fail Poisson(m) often,
// m = nλt, when every failed unit is replaced at once ([NewFleetPoisson]):
//
//	P(X = k)  = e^-m m^k / k!
//	P(X <= k) = Q(k+1, m)    the upper regularised incomplete gamma function
//	P(X > k)  = P(k+1, m)    the lower one, which keeps the far tail
//
// The stock that suffices with probability p is the smallest k with
// P(X <= k) >= p ([SmallestStock]).
//
// # A rate that is itself uncertain
//
// The rate is Gamma(a, b) distributed, a being a count of failures and b the
// unit-hours they were seen in ([Rate]). f failures in T unit-hours turn it
// into Gamma(a+f, b+T) ([Rate.After]). The count in the coming t unit-hours is
// then negative binomial ([GammaPoisson]), with q = t/(b+t):
//
//	P(X = 0)   = (1-q)^a
//	P(X = k+1) = P(X = k) q (a+k)/(k+1)
//
// Source: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6;
// NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.5.
//
// # Bounds without a prior
//
// Classical bounds on MTBF (mean time between failures) and rate from r
// failures in T unit-hours use chi-square quantiles ([Record]):
//
//	MTBF >= 2T / χ²(c; 2r+2)   time-terminated, one-sided confidence c
//	MTBF >= 2T / χ²(c; 2r)     failure-terminated
//	MTBF <= 2T / χ²(1-c; 2r)   both; none exists when r = 0
//
// Source: NIST/SEMATECH e-Handbook, section 8.4.5.1; Garwood (1936),
// Biometrika 28, 437. χ²(p; 2m)/2 is the p-quantile of Gamma(m, 1).
//
// # More than one pool, and what comes back
//
// [Group] is the odds of redundant units that share a pool, [Repaired] those of
// a pool to which units come back from repair on site, [Depot] the split of stock
// between a depot and its bases, [EqualShare] the rule that shares a target out
// evenly.
//
// # What wears out, and what is used up
//
// [FitWeibull] fits lives to a record and [Weibull.Demand] counts the failures to come
// of units of known age. [NewUseDemand] is what planned runs will use, by how past runs
// scattered.
//
// # What the figures assume
//
// Failures come singly and independently: no common cause, no damage in transit; and
// but for [Weibull] at a constant rate. Where that is not so the figures are too low,
// and the people who know the item decide.
package sparing
