package heater

// Numbers that decide in more than one place of this package, or in one place that
// is no formula of its own. Those of a rule stand beside it, where its source does:
// fault.go, alternatives.go, warmup.go and plan.go.
const (
	rounding      = 1e-9  // relative: what differs less is equal
	sameHeater    = 1e-12 // relative errors that differ less are those of one heater
	lastOfDecades = 0.999 // of the largest value, under which a decade of a series begins
	nearValue     = 0.01  // relative: a standard value so near needs no pair
	sameRail      = 0.01  // relative: 6.3 and 6.25 V are one rail
	wholeString   = 0.01  // relative: how near to a whole number of valves a rail must lie
	shortString   = 1.5   // valves, from which on they make a string
	unevenPair    = 100   // ratio: a hundred to one is no pair
	pairWithin    = 0.1   // relative: how near a pair must come to be named
	seriesDigits  = 100   // that the values of a series with three digits begin at

	// How far over its volts a heater wears, and is damaged (common practice, no
	// source); beyond, it burns out.
	wearsOver   = 0.15
	damagesOver = 0.30

	diodeMore   = 0.5   // diodes beyond the most that are sensible, for rounding
	diodeLeast  = 0.4   // of a diode's volts, under which one drops too much
	lossesTold  = 0.005 // V lost on the way, from which on they are told
	ridesOut    = 1.3   // ratio of the cold current to the rating that most supplies ride out (common practice, no source)
	seriesRailV = 12    // V, from which on heaters in series are of centre-tapped valves
	settledA    = 0.01  // relative: currents at the end of two warm-ups that agree
	settledRate = 1e-5  // of the temperature in a time constant: a heater that has settled
	stepLeft    = 1e-12 // of a step: what is left is rounding
	rootStep    = 0.5   // of the bracket: a tolerance that wide is the root
	similar     = 3     // names of similar valves that are offered
	kiloOhm     = 1000  // ohms, from which on they are printed in kilohms
)
