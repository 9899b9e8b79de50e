package analysis

import (
	"fmt"
	"math"

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

// outweighedCaution says that the cycle may be the alias of a faster one.
func (f *findings) outweighedCaution(m *Measurement, list *cautionList) {
	hz, found := f.outweighing(m)
	if !found {
		return
	}
	list.add(capture.CautionAlias,
		fmt.Sprintf("the line at %s is stronger than the fundamental of the cycle found at %s, and nothing is known to have kept signals above %s, half the sample rate, out: both may be aliases of a supply that switches faster", hertz(hz), hertz(m.SwitchingHz.Value), hertz(m.SampleRateHz/2)),
		"capture at 10 MS/s or more; a true cycle stays where it is")
}
