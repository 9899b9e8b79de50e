package analysis

import (
	"math"
	"slices"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// settleFolds lifts bounds and suspicions of a unit's slow captures of one mode where its
// fastest one shows that too little lies above half their rates to be folded into
// them, as with a supply that holds no converter.
func settleFolds(ms []*Measurement, mode capture.Mode) {
	var fast *Measurement
	for _, m := range ms {
		if m.showsWhatFolds() && m.Mode == mode && (fast == nil || m.Span.HighHz > fast.Span.HighHz) {
			fast = m
		}
	}
	if fast == nil {
		return
	}
	for i, m := range ms {
		if m == nil || m == fast || m.Mode != mode || !(m.SampleRateHz > 0) || m.SampleRateHz > fast.SampleRateHz/evidenceFaster || !m.foldsAt() && !m.AliasSuspected {
			continue
		}
		c := *m
		c.Bands, c.Cautions = slices.Clone(m.Bands), slices.Clone(m.Cautions)
		c.liftFolds(aboveHalf(fast, m.SampleRateHz), fast)
		ms[i] = &c
	}
}

// showsWhatFolds reports whether a capture tells what a supply has at high
// frequencies: fast, and neither averaged nor of extremes.
func (m *Measurement) showsWhatFolds() bool {
	return m != nil && m.Span.HighHz >= bandwidthLimitHz && len(m.Spectrum.FrequencyHz) > 1 && m.ACRMSV.Known && !m.ACRMSV.LowerBound
}

// foldable is what a slow record's rate would fold down.
type foldable struct {
	rateHz float64
	power  float64    // V²: all of it
	lines  []foldLine // the lines in it
}

// foldLine is a line of so much power at the place that it is folded to, give or
// take.
type foldLine struct{ hz, uHz, power float64 }

// aboveHalf is what a fast capture holds above half of a rate.
func aboveHalf(fast *Measurement, rateHz float64) foldable {
	out := foldable{rateHz: rateHz}
	s := fast.Spectrum
	for i := 1; i < len(s.FrequencyHz); i++ {
		if lo, hi := s.FrequencyHz[i-1], s.FrequencyHz[i]; lo >= rateHz/2 {
			out.power += (s.VPerRtHz[i-1]*s.VPerRtHz[i-1] + s.VPerRtHz[i]*s.VPerRtHz[i]) / 2 * (hi - lo)
		}
	}
	for _, l := range fast.Lines {
		if l.FrequencyHz >= rateHz/2 {
			out.lines = append(out.lines, foldLine{folded(l.FrequencyHz, rateHz), math.Hypot(lineUHz(l), aliasWander*l.FrequencyHz), l.SeenRMSV() * l.SeenRMSV()})
		}
	}
	return out
}

// between is the most that may be folded between two frequencies, V²: the noise's
// even share, and every line that may fall there.
func (f foldable) between(lowHz, highHz float64) float64 {
	lines, in := 0.0, 0.0
	for _, l := range f.lines {
		lines += l.power
		if l.hz+l.uHz >= lowHz && l.hz-l.uHz <= highHz {
			in += l.power
		}
	}
	return in + max(f.power-lines, 0)*(highHz-lowHz)/(f.rateHz/2)
}

// liftFolds takes bounds back that what may be folded does not earn, and the
// caution with the last of them. m is a copy.
func (m *Measurement) liftFolds(f foldable, fast *Measurement) {
	m.liftAlias(f)
	if !m.Weakly.None() {
		if fast.Span.LowHz <= m.SampleRateHz/2 { // it shows all that is folded
			m.liftWeakly(leftOf(fast, m))
		}
		return
	}
	even := f.power / (f.rateHz / 2)
	for _, d := range m.Noise.Densities() {
		if d.UpperBound && even < foldedCounts*d.Value*d.Value {
			d.UpperBound = false
		}
	}
	for i := range m.Bands {
		b := &m.Bands[i]
		most := f.between(b.LowHz, b.HighHz)
		for _, v := range []*figure.Figure{&b.RMSV, &b.RMSNoLinesV} {
			if v.UpperBound && most < foldedCounts*v.Value*v.Value {
				v.UpperBound = false
			}
		}
	}
	if !m.foldsAt() {
		m.dropCaution(capture.CautionUnfiltered)
	}
}

// liftAlias takes the suspicion of an alias back that what may be folded does not
// earn.
func (m *Measurement) liftAlias(f foldable) {
	if l := switchingLine(m.Lines); m.AliasSuspected && l != nil && f.between(l.FrequencyHz-l.BinHz, l.FrequencyHz+l.BinHz) < foldedCounts*l.RMSV*l.RMSV {
		m.AliasSuspected = false
		m.dropCaution(capture.CautionAlias)
	}
}

func (m *Measurement) dropCaution(code string) {
	m.Cautions = slices.DeleteFunc(m.Cautions, func(c capture.Caution) bool { return c.Code == code })
}
