package filter

import (
	"math"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
)

// ahead is a measurement ahead of a filter with what predictions behind ever other
// circuits share. Not for use by two goroutines at once.
type ahead struct {
	m       *analysis.Measurement
	octaves []weighed           // the spectrum within each third octave of the noise floor
	bands   map[string]*bandSum // by the register's key

	quiet      spectrum.Curve // what besideMains found
	quietFrom  []int          // its points' places in the spectrum
	quietKnown bool

	cycle, ripple *transformed // the mean cycle, and the ripple without its spikes
	rippleDuty    float64
	ripplePPV     float64
	shortTerms    *shortTerms // nil: not asked for yet
}

// shortTerms are the short waveforms that a measurement keeps, transformed.
type shortTerms struct {
	spike         *transformed // the typical spike, else the detail; nil: neither is kept sample by sample
	spikeFromMidV float64
	detail        *transformed
	detailPPV     float64 // behind the pole of the 20 MHz span
}

// newAhead prepares a measurement.
func newAhead(m *analysis.Measurement) *ahead {
	a := &ahead{m: m, bands: map[string]*bandSum{}}
	half := math.Pow(2, 1.0/6)
	for _, t := range m.Noise.ThirdOctaves {
		a.octaves = append(a.octaves, weigh(m.Spectrum, nil, t.CentreHz/half, t.CentreHz*half, nil))
	}
	return a
}

// weighed is the power of a spectrum within a band, point by point.
type weighed struct {
	at     []int     // the points' places among the gains
	power  []float64 // V², weighted
	before float64   // their sum
}

// weigh takes the points of s from lowHz to highHz. from names their places among the
// gains; nil: they are those of s.
func weigh(s spectrum.Curve, from []int, lowHz, highHz float64, weight func(float64) float64) (w weighed) {
	for i := 1; i < len(s.FrequencyHz); i++ {
		f := s.FrequencyHz[i]
		if f < lowHz || f > highHz || i >= len(s.VPerRtHz) {
			continue
		}
		p := s.VPerRtHz[i] * s.VPerRtHz[i] * (f - s.FrequencyHz[i-1])
		if weight != nil {
			x := weight(f)
			p *= x * x
		}
		at := i
		if from != nil {
			at = from[i]
		}
		w.at, w.power = append(w.at, at), append(w.power, p)
		w.before += p
	}
	return w
}

// gain is what gains make of the rms within the band; ok is false where the spectrum
// shows nothing there.
func (w weighed) gain(gains []float64) (g float64, ok bool) {
	if !(w.before > 0) {
		return 0, false
	}
	var after float64
	for k, p := range w.power {
		g := gains[w.at[k]]
		after += p * g * g
	}
	return math.Sqrt(after / w.before), true
}

// besideMains is the spectrum without the places that a line of the mains reaches.
func (a *ahead) besideMains() (s spectrum.Curve, from []int) {
	if a.quietKnown {
		return a.quiet, a.quietFrom
	}
	a.quietKnown = true
	all := a.m.Spectrum
	var lines []float64
	for _, l := range a.m.Lines {
		if l.Comb == spectrum.CombMains {
			lines = append(lines, l.FrequencyHz)
		}
	}
	slices.Sort(lines)
	for i, hz := range all.FrequencyHz {
		if i == 0 || i >= len(all.VPerRtHz) {
			continue
		}
		reach := lineReach * (hz - all.FrequencyHz[i-1])
		if k, _ := slices.BinarySearch(lines, hz-reach); k < len(lines) && lines[k] <= hz+reach {
			continue
		}
		a.quiet.FrequencyHz, a.quiet.VPerRtHz = append(a.quiet.FrequencyHz, hz), append(a.quiet.VPerRtHz, all.VPerRtHz[i])
		a.quietFrom = append(a.quietFrom, i)
	}
	return a.quiet, a.quietFrom
}

// transformed is a short waveform and its transform.
type transformed struct {
	fft     *spectrum.Transform
	terms   []complex128
	n       int     // samples of the waveform
	rateHz  float64 // of a record
	periodS float64 // of a cycle
	work    []complex128
	out     []float64
}

// transformRecord transforms a record as throughGain does.
func transformRecord(v []float64, rateHz float64) *transformed {
	period := smooth(2*len(v) + 2)
	t := &transformed{fft: spectrum.NewTransform(period), n: len(v), rateHz: rateHz}
	x := make([]float64, period)
	extended{v, 0, period}.fill(x, 0)
	return t.transform(x)
}

// transformCycle transforms one period of a periodic waveform.
func transformCycle(v []float64, periodS float64) *transformed {
	t := &transformed{fft: spectrum.NewTransform(len(v)), n: len(v), periodS: periodS}
	return t.transform(v)
}

func (t *transformed) transform(x []float64) *transformed {
	t.terms = make([]complex128, len(x)/2+1)
	t.fft.Coefficients(t.terms, x)
	t.work, t.out = make([]complex128, len(t.terms)), make([]float64, len(x))
	return t
}

// sequence gives the waveform of the terms in work, which is overwritten by the next.
func (t *transformed) sequence() []float64 {
	t.fft.Sequence(t.out, t.work)
	return t.out[:t.n]
}

// record is the waveform of a record behind a gain.
func (t *transformed) record(gain func(hz float64) complex128) []float64 {
	copy(t.work, t.terms)
	multiply(t.work, t.rateHz/float64(t.fft.Len()), gain)
	return t.sequence()
}

// period is one period behind a circuit, in the steady state.
func (t *transformed) period(c Circuit) []float64 {
	for k, h := range t.terms {
		t.work[k] = h * Insertion(c, float64(k)/t.periodS)
	}
	return t.sequence()
}
