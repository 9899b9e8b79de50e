package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// leftover is what a weak filter leaves of what a unit's fast capture shows above
// half of a slow record's rate.
type leftover struct {
	fast, slow *Measurement
	rateHz     float64 // the slow one's
	parts      []foldPart
}

// foldPart is power at a frequency, give or take.
type foldPart struct {
	hz, uHz float64
	power   float64 // V²
	line    bool    // at one place within ± uHz; else spread over it
}

// leftOf takes apart what the fast capture shows above half of a slow one's rate: its
// lines, and the rest of its spectrum.
func leftOf(fast, slow *Measurement) leftover {
	out := leftover{fast: fast, slow: slow, rateHz: slow.SampleRateHz}
	wander := foldWander
	if fast.Kind == cycle.Dithered {
		wander = unseenSweep // the record may hold a part of the sweep
	}
	s := fast.Spectrum
	for i := 1; i < len(s.FrequencyHz); i++ {
		if lo, hi := s.FrequencyHz[i-1], s.FrequencyHz[i]; lo >= out.rateHz/2 {
			p := (s.VPerRtHz[i-1]*s.VPerRtHz[i-1] + s.VPerRtHz[i]*s.VPerRtHz[i]) / 2 * (hi - lo)
			out.parts = append(out.parts, foldPart{(lo + hi) / 2, math.Hypot((hi-lo)/2, wander*hi), p, false})
		}
	}
	for _, l := range fast.Lines {
		if l.FrequencyHz < out.rateHz/2 {
			continue
		}
		p := l.SeenRMSV() * l.SeenRMSV()
		out.without(l.FrequencyHz, lineReach*l.BinHz, p)
		out.parts = append(out.parts, foldPart{l.FrequencyHz, math.Hypot(lineUHz(l), wander*l.FrequencyHz), p, true})
	}
	return out
}

// without takes a line's power off the spectrum around it.
func (o *leftover) without(hz, reachHz, power float64) {
	for i := range o.parts {
		if p := &o.parts[i]; !p.line && math.Abs(p.hz-hz) <= reachHz+p.uHz {
			off := min(power, p.power)
			p.power -= off
			power -= off
		}
	}
}

// between is the most power in V² that may be folded between two frequencies, by a
// band's weighting where one is given, and the part that gives most of it. No more of
// a part is folded to a place than the slow record shows there.
func (o leftover) between(lowHz, highHz float64, b *spectrum.Band) (most float64, of foldPart) {
	best := 0.0
	for _, p := range o.parts {
		// Where it may be folded to; beyond a quarter of the rate it may be anywhere.
		at := folded(p.hz, o.rateHz)
		from, to := max(at-p.uHz, 0), min(at+p.uHz, o.rateHz/2)
		if p.uHz >= o.rateHz/4 {
			from, to = 0, o.rateHz/2
		}
		lo, hi := max(from, lowHz), min(to, highHz)
		if hi < lo || !(p.power > 0) {
			continue
		}
		left, weight := 0.0, 0.0
		for i := range foldPlaces {
			d := lo + (hi-lo)*float64(i)/(foldPlaces-1)
			w := 1.0
			if b != nil {
				w = weightAt(b, d)
			}
			g := w * o.slow.Weakly.leaves(p.hz, d, o.rateHz)
			left, weight = max(left, g*g), max(weight, w*w)
		}
		left *= p.power
		if !p.line {
			left *= (hi - lo) / max(to-from, tiny)
		}
		left = min(left, weight*o.slow.seenBetween(lo, hi))
		most += left
		if left > best {
			best, of = left, p
		}
	}
	return most, of
}

// seenBetween is the power in V² of the plain spectrum's cells between two
// frequencies and of the next to either side.
func (m *Measurement) seenBetween(lowHz, highHz float64) float64 {
	s, sum := m.Spectrum, 0.0
	for i := 1; i < len(s.FrequencyHz); i++ {
		from, to := s.FrequencyHz[max(i-2, 0)], s.FrequencyHz[min(i+1, len(s.FrequencyHz)-1)]
		if to >= lowHz && from <= highHz {
			v := max(s.VPerRtHz[i-1], s.VPerRtHz[i])
			sum += v * v * (s.FrequencyHz[i] - s.FrequencyHz[i-1])
		}
	}
	return sum
}

// liftWeakly takes the bounds of a weak filter back that what it leaves does not earn,
// and the caution with the last of them; where it earns them the caution names it.
// m is a copy.
func (m *Measurement) liftWeakly(o leftover) {
	for i, d := range m.Noise.Densities() {
		if !d.UpperBound {
			continue
		}
		lo, hi := float64(spectrum.DensityLowHz), float64(spectrum.DensityHighHz)
		if i == 2 {
			lo, hi = at1kLowHz, at1kHighHz
		}
		if most, _ := o.between(lo, hi, nil); carries(d, most/(hi-lo)) {
			d.UpperBound = false
		}
	}
	says := ""
	for i := range m.Bands {
		b := &m.Bands[i]
		if !b.RMSV.UpperBound && !b.RMSNoLinesV.UpperBound {
			continue
		}
		most, of := o.between(b.LowHz, b.HighHz, b)
		if b.RMSNoLinesV.UpperBound && carries(&b.RMSNoLinesV, most) {
			b.RMSNoLinesV.UpperBound = false
		}
		switch {
		case !b.RMSV.UpperBound:
		case carries(&b.RMSV, most):
			b.RMSV.UpperBound = false
		case says == "":
			share := "all"
			if most < b.RMSV.Value*b.RMSV.Value {
				share = "up to " + capture.SI(math.Sqrt(most), "V", 2)
			}
			says = fmt.Sprintf("; going by %s, %s of the %s shown (%s) may be aliased, most of it from %s", o.fast.File, share, capture.SI(b.RMSV.Value, "V", 3), b.Name, hertz(of.hz))
		}
	}
	if !m.foldsAt() {
		m.dropCaution(capture.CautionPartlyFiltered)
		return
	}
	for i := range m.Cautions {
		if k := &m.Cautions[i]; k.Code == capture.CautionPartlyFiltered {
			k.Text = m.weakText() + says
		}
	}
}
