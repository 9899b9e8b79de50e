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
	densityB = typeB{2, 0.0075}
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

// uncertainties fills in U of the time-domain figures: statistical from the
// record's parts or the fit, gain, and the converter's step (rectangular,
// step/√12 for each reading).
func (j *job) uncertainties() {
	m := j.m
	gain := j.setup.GainFraction
	step := j.stepV / math.Sqrt(12)
	set := func(f *figure.Figure, standard ...float64) {
		if f.Known && f.U == 0 {
			f.U = expanded(f.Value, gain, standard...)
		}
	}
	// scale stands for what a fit's own curvature leaves out, model for what the
	// model itself does
	fitted := func(b typeB, figures ...*figure.Figure) {
		for _, f := range figures {
			if f.Known {
				f.U = expanded(f.Value, gain, b.scale*f.U/2, b.model*f.Value)
			}
		}
	}
	set(&m.DCV, meanDeviation(j.basic.parts), step)
	set(&m.ACRMSV, meanDeviation(j.basic.partRMS))
	set(&m.PPV, math.Sqrt2*step, 0)
	set(&m.PP20MHzV, math.Sqrt2*step, meanDeviation(j.pp.PartsV))
	set(&m.PP20MHz999V, math.Sqrt2*step, meanDeviation(j.pp.PartsV))
	s := &m.Spikes
	fitted(rippleB, &m.RipplePPV, &m.RippleRMSV)
	fitted(lineB, &m.SwitchingFundamentalRMSV)
	fitted(spikeB, &s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV, &s.RisingPeakMedianV, &s.FallingPeakMedianV)
	fitted(densityB, &m.Noise.DensityVPerRtHz, &m.Noise.UngatedVPerRtHz, &m.Noise.At1kHzVPerRtHz)
	fitted(asItIs, &m.MainsLineRMS, &m.MainsCombRMS, &m.MainsCombPPV)
	if c := j.model; c != nil && m.RipplePPV.Known {
		// what the cycle's own fit can't know, and where too little noise averages
		// over the steps, these
		doubt := c.doubtV
		if m.RandomRMSV.Known && m.RandomRMSV.Value < 0.5*j.stepV {
			doubt = math.Hypot(doubt, j.stepV/math.Sqrt(6))
		}
		m.RipplePPV.U = math.Hypot(m.RipplePPV.U, 2*doubt)
		m.RippleRMSV.U = math.Hypot(m.RippleRMSV.U, 2*doubt*min(c.rmsV/max(c.ppV, 1e-300), 1))
	}
	for i := range m.Bands {
		fitted(asItIs, &m.Bands[i].RMSV, &m.Bands[i].RMSNoLinesV)
	}
	for _, r := range [...][2]*figure.Figure{{&s.RingHz, &s.RingQ}, {&s.RisingRingHz, &s.RisingRingQ}, {&s.FallingRingHz, &s.FallingRingQ}} {
		hz, q := r[0], r[1]
		if !hz.Known || !q.Known {
			continue
		}
		// the instrument's gain is no part of them
		hz.U = expanded(hz.Value, 0, ringB.scale*hz.U/2, hz.Value*math.Hypot(ringDamped/(q.Value*q.Value), ringBuried/(q.Value*q.Value*q.Value)))
		q.U = expanded(q.Value, 0, ringB.scale*q.U/2, ringB.model*q.Value, ringQBuried/q.Value)
	}
	fitted(asItIs, &m.RandomRMSV, &m.PeriodicRMSV)
}
