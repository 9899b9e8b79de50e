package synth

import (
	"math"
	"slices"
	"sync"

	"stillglow/capture"
)

// SpikeTruth is one transient in the record.
type SpikeTruth struct {
	TimeS float64 // of its start, from the record's start
	PeakV float64 // signed, of the low-passed transient alone
	Class string  // "rising", "falling", "mains", "random"
}

// Truth is what a perfect measurement of the record would say. Amplitudes are
// behind the instrument's low-pass, without noise and without the converter,
// and carry the wrong probe factor if there is one. Zero means that part is
// absent or lies outside what the record can hold.
type Truth struct {
	DCV float64 // 0 when AC-coupled

	SwitchingHz              float64 // mean over the record
	RipplePPV, RippleRMSV    float64 // spike-free cycle
	ESRStepV                 float64 // at both edges of the cycle
	SwitchingFundamentalRMSV float64 // of the spike-free cycle
	SwitchingLineRMSV        float64 // of ripple and edge transients together (fixed frequency)
	BurstHz, DitherFrac      float64 // packets per second; sweep as a +- fraction of SwitchingHz
	Cycles                   int     // whole cycles in the record

	SpikeCount               int          // that start within the record
	SpikesPerS               float64      // that count over the record
	SpikePeakMedianV         float64      // of the absolute peaks, all classes
	SpikePeakP95V            float64      // 95th percentile of their peaks, V
	SpikePeakMaxV            float64      // the greatest, V
	RisingPeakV, FallingPeak float64      // volts, absolute, of an unjittered transient
	SpikeDurationS           float64      // pulse duration (50 %) of the larger edge's transient
	SpikeAreaVs              float64      // its signed area in volt seconds
	RingHz, RingQ            float64      // of the larger edge's transient
	RisingRingHz             float64      // frequency of the ring after the rising edge, Hz
	FallingRingHz            float64      // and after the falling one, Hz
	Spikes                   []SpikeTruth // one by one

	MainsLineHz, MainsLineRMSV, MainsPPV float64 // the line at twice the mains frequency; the whole ripple

	NoiseVPerRtHz, CornerHz float64 // the supply's own: white density in V/sqrt(Hz), one-sided, and 1/f corner
	RandomRMSV              float64 // of all noise, instrument's included
	PeriodicRMSV            float64 // of everything else, about its mean
	ACRMSV                  float64 // both

	ADCStepV  float64    // the converter's step, V; 0: none
	FullScale [2]float64 // lowest and highest volts of the converter, both 0: none
	Clipped   int        // samples at the end stops
}

const densePoints = 1 << 16

// denseCircle is the sine and cosine at densePoints places of one turn.
var denseCircle = sync.OnceValue(func() []struct{ sin, cos float64 } {
	turn := make([]struct{ sin, cos float64 }, densePoints)
	for i := range turn {
		turn[i].sin, turn[i].cos = math.Sincos(2 * math.Pi * float64(i) / densePoints)
	}
	return turn
})

// truth fills in everything but the converter from the noise-free record.
func (s Supply) truth(clean []float64, events []event, cycles int) Truth {
	k := s.ProbeFactorWrong
	t := Truth{NoiseVPerRtHz: k * s.NoiseVPerRtHz, Cycles: cycles}
	if s.NoiseVPerRtHz > 0 {
		t.CornerHz = s.CornerHz
	}
	if !s.ACCoupled {
		t.DCV = k * s.DCV
	}
	s.rippleTruth(&t)
	s.spikeTruth(&t, events)
	if s.MainsPPV > 0 && s.MainsHz > 0 {
		_, amp := mainsCycle(s.MainsCharge)
		t.MainsLineHz = 2 * s.MainsHz
		t.MainsLineRMSV = k * s.MainsPPV * amp / math.Sqrt2
		t.MainsPPV = k * s.MainsPPV
	}
	var mean, sq float64
	for _, v := range clean {
		mean += v
	}
	mean /= float64(len(clean))
	for _, v := range clean {
		sq += (v - mean) * (v - mean)
	}
	t.PeriodicRMSV = k * math.Sqrt(sq/float64(len(clean)))
	own, instrument := s.noises()
	t.RandomRMSV = k * math.Hypot(own.rms(s.RateHz, s.durationS()), instrument.rms(s.RateHz, s.durationS()))
	t.ACRMSV = math.Hypot(t.PeriodicRMSV, t.RandomRMSV)
	return t
}

// rippleTruth evaluates one settled cycle densely.
func (s Supply) rippleTruth(t *Truth) {
	if s.SwitchingHz <= 0 || (s.AntiAliased && s.SwitchingHz > cutShare*s.RateHz) {
		return
	}
	k := s.ProbeFactorWrong
	t.SwitchingHz, t.BurstHz, t.DitherFrac = s.SwitchingHz, s.BurstHz, s.DitherFrac
	cyc := s.denseCycle(densePoints)
	if cyc == nil {
		cyc = make([]float64, densePoints)
	}
	if s.AntiAliased {
		cyc = s.limitHarmonics(cyc)
	}
	lo, hi, sq := math.Inf(1), math.Inf(-1), 0.0
	var re, im, mean float64
	for _, v := range cyc {
		mean += v / densePoints
	}
	circle := denseCircle()
	for i, v := range cyc {
		lo, hi = min(lo, v), max(hi, v)
		sq += (v - mean) * (v - mean)
		re += v * circle[i].cos
		im += v * circle[i].sin
	}
	t.RipplePPV, t.RippleRMSV = k*(hi-lo), k*math.Sqrt(sq/densePoints)
	t.ESRStepV = k * s.ESRStepV
	re, im = re*2/densePoints, im*2/densePoints
	t.SwitchingFundamentalRMSV = k * math.Hypot(re, im) / math.Sqrt2

	// the edges' transients add to the line at the switching frequency
	w := 2 * math.Pi * s.SwitchingHz
	add := func(volts, ringHz, atS float64) {
		if volts == 0 {
			return
		}
		tr := newTransient(s.SpikeWidthS, ringHz, s.RingQ, s.RingShare, s.tau())
		for i, v := range tr.v {
			sn, cs := math.Sincos(w * (atS + float64(i)*tr.stepS))
			g := 2 * volts * v * tr.stepS * s.SwitchingHz
			re += g * cs
			im += g * sn
		}
	}
	add(s.SpikeRiseV, s.RingRiseHz, 0)
	add(s.SpikeFallV, s.RingFallHz, s.Duty/s.SwitchingHz)
	t.SwitchingLineRMSV = k * math.Hypot(re, im) / math.Sqrt2
}

// limitHarmonics keeps the harmonics of a cycle of densePoints under the anti-alias
// filter.
func (s Supply) limitHarmonics(cyc []float64) []float64 {
	out, circle := make([]float64, densePoints), denseCircle()
	for h := 1; float64(h)*s.SwitchingHz <= cutShare*s.RateHz && h < 200; h++ {
		var re, im float64
		for i, v := range cyc {
			at := circle[h*i%densePoints]
			re += v * at.cos
			im += v * at.sin
		}
		re, im = 2*re/densePoints, 2*im/densePoints
		for i := range out {
			at := circle[h*i%densePoints]
			out[i] += re*at.cos + im*at.sin
		}
	}
	return out
}

// spikeTruth lists the transients and their statistics. A record too slow to
// hold them has none.
func (s Supply) spikeTruth(t *Truth, events []event) {
	if s.AntiAliased && s.SpikeWidthS*s.RateHz < 2 {
		return
	}
	k, end := s.ProbeFactorWrong, s.durationS()
	var peaks []float64
	for _, e := range events {
		if e.timeS < 0 || e.timeS >= end {
			continue
		}
		p := k * e.volts * e.shape.peak
		t.Spikes = append(t.Spikes, SpikeTruth{e.timeS, p, e.class})
		peaks = append(peaks, math.Abs(p))
	}
	if len(peaks) == 0 {
		return
	}
	slices.Sort(peaks)
	t.SpikeCount = len(peaks)
	t.SpikesPerS = float64(len(peaks)) / end
	t.SpikePeakMedianV = capture.Quantile(peaks, 0.5)
	t.SpikePeakP95V = capture.Quantile(peaks, 0.95)
	t.SpikePeakMaxV = peaks[len(peaks)-1]
	rise := newTransient(s.SpikeWidthS, s.RingRiseHz, s.RingQ, s.RingShare, s.tau())
	fall := newTransient(s.SpikeWidthS, s.RingFallHz, s.RingQ, s.RingShare, s.tau())
	t.RisingPeakV = k * math.Abs(s.SpikeRiseV*rise.peak)
	t.FallingPeak = k * math.Abs(s.SpikeFallV*fall.peak)
	larger, volts := rise, s.SpikeRiseV
	if t.FallingPeak > t.RisingPeakV {
		larger, volts = fall, s.SpikeFallV
		t.RingHz = s.RingFallHz
	} else {
		t.RingHz = s.RingRiseHz
	}
	t.SpikeDurationS = larger.durationS()
	t.SpikeAreaVs = k * volts * larger.area()
	if t.RingHz > 0 {
		t.RingQ = s.RingQ
	}
	if s.SpikeRiseV != 0 {
		t.RisingRingHz = s.RingRiseHz
	}
	if s.SpikeFallV != 0 {
		t.FallingRingHz = s.RingFallHz
	}
}
