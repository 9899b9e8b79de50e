package analysis

import "math"

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
	if gain <= 0 {
		gain = defaultGainFraction
	}
	step := j.stepV / math.Sqrt(12)
	set := func(f *Figure, standard ...float64) {
		if f.Known && f.U == 0 {
			f.U = expanded(f.Value, gain, standard...)
		}
	}
	withGain := func(f *Figure) {
		if f.Known {
			f.U = expanded(f.Value, gain, f.U/2)
		}
	}
	set(&m.DCV, meanDeviation(j.basic.parts), step)
	set(&m.ACRMSV, meanDeviation(j.basic.partRMS))
	set(&m.PPV, math.Sqrt2*step, 0)
	set(&m.PP20MHzV, math.Sqrt2*step, meanDeviation(j.pp.parts))
	set(&m.PP20MHz999V, math.Sqrt2*step, meanDeviation(j.pp.parts))
	withGain(&m.RipplePPV)
	withGain(&m.RippleRMSV)
	withGain(&m.SwitchingFundamentalRMSV)
	for _, f := range []*Figure{&m.Spikes.PeakMedianV, &m.Spikes.PeakP95V, &m.Spikes.PeakMaxV,
		&m.Spikes.RisingPeakMedianV, &m.Spikes.FallingPeakMedianV,
		&m.MainsLineRMS, &m.MainsCombRMS, &m.MainsCombPPV,
		&m.Noise.DensityVRHz, &m.Noise.UngatedVRHz, &m.Noise.LowVRHz} {
		withGain(f)
	}
	for i := range m.Bands {
		withGain(&m.Bands[i].RMSV)
		withGain(&m.Bands[i].RMSNoLinesV)
	}
	set(&m.RandomRMSV, 0.02*m.RandomRMSV.Value)
	set(&m.PeriodicRMSV, meanDeviation(j.basic.partRMS))
}
