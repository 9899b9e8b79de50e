package analysis

import (
	"math"

	"stillglow/analysis/figure"
)

// defaultGainFraction is the expanded relative uncertainty (k = 2) of a scope's
// vertical gain where the sheet states none: 3 %, common practice for 8-bit
// instruments, no source.
const defaultGainFraction = 0.03

// What experience adds to the fits' own uncertainties, chosen so that of computed
// supplies drawn over the trade's ranges 19 in 20 have their truth inside the stated
// uncertainty (TestStatedUncertainty), the instrument's gain left out.
var (
	rippleB = figure.TypeB{Scale: 1.7, Model: 0.0025}
	lineB   = figure.TypeB{Scale: 1.6, Model: 0.0007}
	spikeB  = figure.TypeB{Scale: 1.4, Model: 0.0125}
	ringB   = figure.TypeB{Scale: 2.5, Model: 0.015}
)

const (
	// durationModel, as a share, and durationSamples, in samples, are the expanded
	// uncertainty (k = 2) of a pulse's duration at half height: the ripple that is taken
	// off under it tilts it, and where its flanks lie between samples is interpolated. Of
	// 45 rings of drawn supplies behind scope inputs of 20 to 200 MHz, sampled at 25 MS/s
	// to 1 GS/s, 43 were inside.
	durationModel, durationSamples = 0.13, 0.5
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
