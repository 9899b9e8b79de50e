package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// outweighing finds, in a slow record that nothing filters, a line above the
// switching found that is stronger than its fundamental, 2nd harmonic and mains
// aside, or as much beyond the span, where lines are not named. A ripple's harmonics
// fall, and a ring's that don't lie at several megahertz: such a line is the
// fundamental itself, folded, and the cycle found one of its harmonics'.
func (f *findings) outweighing(m *Measurement) (hz float64, found bool) {
	if !f.rec.unfiltered() || m.SampleRateHz >= outweighedRateHz || !m.SwitchingHz.Known || !m.SwitchingFundamentalRMSV.Known {
		return 0, false
	}
	most := m.SwitchingFundamentalRMSV.Value
	for _, l := range m.Lines {
		if l.RMSV > most && l.FrequencyHz > 1.5*m.SwitchingHz.Value && l.Comb != spectrum.CombMains && l.Comb != spectrum.CombInstrument &&
			l.HarmonicOf(m.SwitchingHz.Value, sameSwitching) != 2 {
			hz, most, found = l.FrequencyHz, l.RMSV, true
		}
	}
	p := f.view.plain
	for i := 1; i+1 < len(p.FreqHz); i++ { // a line fills a few bins of its window
		if p.FreqHz[i] <= m.Span.HighHz {
			continue
		}
		power := 0.0
		for j := i - 1; j <= i+1; j++ {
			power += p.PSD[j] * p.WidthHz[j]
		}
		if v := math.Sqrt(power); v > most {
			hz, most, found = p.FreqHz[i], v, true
		}
	}
	return hz, found
}

// foldedHarmonic finds, in a record that nothing filters, a line stronger than the
// fundamental of the cycle found, one of whose harmonics is folded to that
// fundamental: the cycle is that harmonic's, and the line the supply's own fundamental.
// It is looked for up to where supplies switch; a comb of folded rings meets this by
// chance alone, which the sum of the tolerances bounds.
func (f *findings) foldedHarmonic(m *Measurement) (of spectrum.Line, n int) {
	if !f.rec.unfiltered() || m.Kind == cycle.Bursting || !m.SwitchingHz.Known || !m.SwitchingFundamentalRMSV.Known {
		return of, 0
	}
	for _, l := range m.Lines {
		switch l.Comb {
		case spectrum.CombMains, spectrum.CombInstrument, spectrum.CombSwitching:
			continue
		}
		if l.RMSV <= m.SwitchingFundamentalRMSV.Value || l.FrequencyHz < m.SwitchingHz.Value || l.FrequencyHz > foldedTopHz {
			continue
		}
		tried := 0.0 // share of the span that the tolerances fill
		for n := 2; n <= foldedMost; n++ {
			tolerance := float64(n)*lineUHz(l) + m.SwitchingHz.U + m.SwitchingSpreadHz.Value/2
			if tried += 4 * tolerance / m.SampleRateHz; tried > foldedChance {
				break
			}
			if float64(n)*l.FrequencyHz > m.SampleRateHz/2 && math.Abs(folded(float64(n)*l.FrequencyHz, m.SampleRateHz)-m.SwitchingHz.Value) <= tolerance {
				return l, n
			}
		}
	}
	return of, 0
}

// outweighedCaution says that the cycle may be the alias of a faster one.
func (f *findings) outweighedCaution(m *Measurement, list *cautionList) {
	if l, n := f.foldedHarmonic(m); n > 0 {
		list.add(capture.CautionAlias,
			fmt.Sprintf("the cycle found at %s is the %s harmonic of the stronger line at %s, aliased at this sample rate: the supply switches at %s, and cycle and ripple are that harmonic's", hertz(m.SwitchingHz.Value), spectrum.Ordinal(n), hertz(l.FrequencyHz), hertz(l.FrequencyHz)),
			"capture at another sample rate, preferably 50 MS/s or more, or in high-resolution mode; a true cycle stays where it is")
		return
	}
	hz, found := f.outweighing(m)
	if !found {
		return
	}
	list.add(capture.CautionAlias,
		fmt.Sprintf("the line at %s is stronger than the fundamental of the cycle found at %s, and nothing is known to have kept signals above %s, half the sample rate, out: both may be aliases of a supply that switches faster", hertz(hz), hertz(m.SwitchingHz.Value), hertz(m.SampleRateHz/2)),
		"capture at 10 MS/s or more; a true cycle stays where it is")
}
