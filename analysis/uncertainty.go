package analysis

import (
	"math"

	"stillglow/analysis/figure"
)

// defaultGainFraction is the expanded relative uncertainty (k = 2) of a scope's
// vertical gain where the sheet states none: 3 %, common practice for 8-bit
// instruments, no source.
const defaultGainFraction = 0.03

// expanded combines independent contributions given as standard deviations and
// the gain's expanded fraction into an expanded uncertainty with k = 2
// (JCGM 100:2008, 5.1.2 and 6.2.1).
func expanded(value, gainFraction float64, standard ...float64) float64 {
	g := gainFraction / 2 * value
	sq := g * g
	for _, s := range standard {
		sq += s * s
	}
	return 2 * math.Sqrt(sq)
}

// typeB is what experience adds to a fit's own standard uncertainty (JCGM
// 100:2008, 4.3): a factor on it, since neighbouring places of a folded cycle are
// not independent and a fit chooses its own stretch, and a relative standard
// uncertainty of the model.
type typeB struct{ scale, model float64 }

// Chosen so that of computed supplies drawn over the trade's ranges 19 in 20
// have their truth inside the stated uncertainty (TestStatedUncertainty), the
// instrument's gain left out.
var (
	asItIs   = typeB{1, 0}
	rippleB  = typeB{1.7, 0.0025}
	lineB    = typeB{1.6, 0.0007}
	spikeB   = typeB{1.4, 0.0125}
	ringB    = typeB{2.5, 0.015}
	densityB = typeB{1.4, 0.0075}
)

const (
	// ringDamped: a ring's frequency is the less sure the faster the ring dies down
	// into the pulse it follows; times 1/Q²
	ringDamped = 0.2
	// the same, times 1/Q³, and a Q's times 1/Q: what the pulse makes of a ring of
	// few swings
	ringBuried, ringQBuried = 1.2, 0.8
	// periodicScale is a factor on the scatter of the record's parts, and
	// periodicLeak the part of the random power that a fold takes for periodic
	periodicScale = 1.6
	periodicLeak  = 5e-4
	// randomU is the standard deviation of the random part's rms as a share of it:
	// what gating and the floor's model leave, by drawn supplies
	randomU = 0.02
	// skirtsShare is what the skirts between the lines of ungated spikes may add to
	// a noise density, as a share of it (k = 2)
	skirtsShare = 0.1
)

// meanDeviation is the standard deviation of the mean of parts.
func meanDeviation(parts []float64) float64 {
	n := float64(len(parts))
	if n < 2 {
		return 0
	}
	mean := 0.0
	for _, p := range parts {
		mean += p
	}
	mean /= n
	sq := 0.0
	for _, p := range parts {
		sq += (p - mean) * (p - mean)
	}
	return math.Sqrt(sq / (n - 1) / n)
}

// figureOf makes a figure whose uncertainty combines the given standard deviations
// and the gain's expanded fraction.
func figureOf(value, gainFraction float64, standard ...float64) figure.Figure {
	f := figure.Known(value)
	f.U = expanded(value, gainFraction, standard...)
	return f
}

// of makes the figure of a fitted value with the fit's own deviation, given
// as twice the standard one.
func (b typeB) of(value, twiceDeviation, gainFraction float64) figure.Figure {
	return figureOf(value, gainFraction, b.scale*twiceDeviation/2, b.model*value)
}

// stated turns a figure whose U is the fit's own deviation (twice the standard
// one) into one with the whole uncertainty. One that is not known stays as it is.
func (b typeB) stated(raw figure.Figure, gainFraction float64) figure.Figure {
	if raw.Known {
		raw.U = b.of(raw.Value, raw.U, gainFraction).U
	}
	return raw
}
