package spike

import (
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// sizer sizes single transients of a template: by the mean transient's share in
// each (matched filter) where noise would lift a plain peak reading, by the peak
// between samples otherwise. Where the edges jitter the mean transient is smeared
// and lower than any single one; then too the plain peak counts.
type sizer struct {
	r         *cycle.Reader
	ip        *spectrum.Interpolator
	sigmaV    float64
	perSample float64 // cycles; transients keep their time, not their phase, where the period wanders

	t       cycle.Transient
	energy  float64 // of a whole transient, squared volts times samples
	lead    float64 // cycles from the template's start to its onset
	smeared bool    // single transients are taller than their mean
	single  float64 // median pulse duration of some single transients, in samples; 0: noise hides it
	plain   bool    // read by the peak

	buf   []float64 // the last one sized, tails of others taken off
	mean  []float64 // the template at the same samples
	from  int       // sample of buf[0]
	start float64   // where the template starts, in samples
}

func newSizer(r *cycle.Residue, sigmaV float64) *sizer {
	return &sizer{r: r.Reader(), ip: spectrum.NewInterpolator(), sigmaV: sigmaV, perSample: 1 / (r.Model.PeriodS * r.RateHz)}
}

// begin takes the next template and finds out from a few transients how to read it.
func (s *sizer) begin(t cycle.Transient) {
	m := float64(s.r.Model.Bins)
	s.t, s.energy = t, 0
	for _, v := range t.V[:t.Until] {
		s.energy += v * v
	}
	s.energy /= m * s.r.Track.Pieces[0].PerSample
	s.lead = math.Mod(t.Edge.Phase-float64(t.First)/m+1, 1)
	s.smeared = s.singlesTaller()
	s.plain = s.smeared || math.Abs(t.PeakV) > plainPeakSigmas*s.sigmaV
}

// singlesTaller reports whether the single transients stand above their mean by more
// than what noise makes of the largest of some samples. It also takes their duration:
// the mean's is another where edges jitter, the clock is a little off or the cycle's
// bins are as long as the pulse.
func (s *sizer) singlesTaller() bool {
	every := max(1, int(s.r.Track.Cycles())/pilotCycles)
	var taller, durations []float64
	seen := 0
	eachOnset(s.r.Residue, s.t.Edge.Phase, func(x float64) {
		if seen++; seen%every != 0 {
			return
		}
		s.read(x)
		if at := s.nearest(s.jitterReach()); at >= 0 {
			taller = append(taller, math.Abs(s.buf[at]))
			if math.Abs(s.buf[at]) > durationSigmas*s.sigmaV {
				durations = append(durations, cycle.HalfDuration(s.buf, at, s.buf[at]))
			}
		}
	})
	s.single = 0
	if len(durations) > len(taller)/2 {
		slices.Sort(durations)
		s.single = capture.Quantile(durations, 0.5)
	}
	slices.Sort(taller)
	return capture.Quantile(taller, 0.5) > (1+smearedShare)*math.Abs(s.t.PeakV)+smearedSigmas*s.sigmaV
}

// jitterReach is how far an edge may lie from its place, in samples.
func (s *sizer) jitterReach() float64 { return jitterReachS*s.r.RateHz + 2 }

// read takes the samples of the transient whose onset is at sample x, and their
// product with the template's and the template's with itself.
func (s *sizer) read(x float64) (num, den float64) {
	m := float64(s.r.Model.Bins)
	s.start = x - s.lead/s.perSample
	s.from = max(int(math.Ceil(s.start)), 0)
	to := min(int(s.start+float64(s.t.Until)/m/s.perSample)+1, len(s.r.Volts))
	s.buf, s.mean = s.r.Append(s.buf[:0], s.from, to), s.mean[:0]
	for i, v := range s.buf {
		b := s.place(i)
		if s.t.Tail != nil {
			v -= cycle.Lerp(s.t.Tail, b)
			s.buf[i] = v
		}
		tv := cycle.Lerp(s.t.V, b)
		s.mean = append(s.mean, tv)
		num += v * tv
		den += tv * tv
	}
	return num, den
}

// place is where sample i of buf lies on the template, in bins.
func (s *sizer) place(i int) float64 {
	return (float64(s.from+i)-s.start)*s.binsPerSample() - 0.5
}

func (s *sizer) binsPerSample() float64 { return s.perSample * float64(s.r.Model.Bins) }

// peakAt is where the template's peak lies in buf.
func (s *sizer) peakAt() float64 {
	return (s.t.PeakAt+0.5)/s.binsPerSample() + s.start - float64(s.from)
}

// nearest is the sample of buf that peaks within reach of the template's peak, -1
// when none.
func (s *sizer) nearest(reach float64) int {
	return cycle.NearestPeak(s.buf, s.t.PeakV, s.peakAt(), reach)
}

// size is the signed peak of the transient whose onset is at sample x.
func (s *sizer) size(x float64) float64 {
	num, den := s.read(x)
	if den < shownEnergy*s.energy {
		return s.t.PeakV // cut off by the record's end: its size is the mean one
	}
	if s.plain {
		reach := 2/s.binsPerSample() + 2
		if s.smeared {
			reach = s.jitterReach()
		}
		if at := s.nearest(reach); at >= 0 {
			peak, _ := s.ip.Peak(s.buf, at, math.Copysign(1, s.t.PeakV))
			return peak
		}
	}
	return num / den * s.t.PeakV
}

// readingSigma is the standard deviation that the noise gives a single reading, V.
func (s *sizer) readingSigma() float64 {
	if s.plain || !(s.energy > 0) {
		return s.sigmaV
	}
	return min(s.sigmaV*math.Abs(s.t.PeakV)/math.Sqrt(s.energy), s.sigmaV)
}

// withoutNoise draws readings of like transients together by what the noise of a
// single reading adds to their variance, so that their upper quantiles are not the
// noise's.
func withoutNoise(peaks []float64, sigmaV float64) {
	n := float64(len(peaks))
	if n < 2 {
		return
	}
	sorted := slices.Clone(peaks)
	slices.Sort(sorted)
	median, sq := capture.Quantile(sorted, 0.5), 0.0
	for _, p := range peaks {
		sq += (p - median) * (p - median)
	}
	if sq <= 0 {
		return
	}
	keep := math.Sqrt(max(1-sigmaV*sigmaV*(n-1)/sq, 0))
	for i, p := range peaks {
		peaks[i] = median + keep*(p-median)
	}
}
