package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// WeakFilter is a low-pass ahead of a slow record that leaves a part of what is
// folded into the audio band. Where it may be either kind, both are set and the
// weaker counts.
type WeakFilter struct {
	Mean   bool    // a mean over each sample interval, as of a high-resolution mode
	PoleHz float64 // the corner of one pole, Hz; 0: none
}

// None reports that there is no such low-pass.
func (w WeakFilter) None() bool { return w == WeakFilter{} }

// FloorMayBeFolded reports whether a weak low-pass makes the noise an upper figure.
func (m *Measurement) FloorMayBeFolded() bool {
	return !m.Weakly.None() && m.Noise.DensityVPerRtHz.UpperBound
}

// weakFilter is what a record's low-pass leaves folded; the zero value where it is
// the steep one of a decimating converter, where the rate is high enough for what is
// left to be small, and where there is no low-pass at all.
func weakFilter(tr *capture.Trace) WeakFilter {
	rate, none := tr.SampleRateHz, WeakFilter{}
	stated := tr.BandwidthHz > 0 && tr.BandwidthHz <= atHalfRate*rate/2
	switch {
	case tr.Decimates || rate >= rateRounding*CleanRateHz || stated && tr.BandwidthHz <= poleShare*rate:
		return none
	case tr.Acquisition.Mode == capture.AcquisitionHighRes:
		return WeakFilter{Mean: true}
	case tr.AntiAliased && stated:
		return WeakFilter{Mean: true, PoleHz: tr.BandwidthHz}
	case tr.AntiAliased:
		// as weak as the RC that foldedCaution and the guide advise, which is one for
		// CleanRateHz: whoever adds it may keep the slower rate
		return WeakFilter{Mean: true, PoleHz: poleShare * CleanRateHz}
	case stated:
		return WeakFilter{PoleHz: tr.BandwidthHz}
	}
	return none
}

// leaves is the share of a line's amplitude at hz that is left in a record at a rate,
// folded to atHz.
func (w WeakFilter) leaves(hz, atHz, rateHz float64) float64 {
	share := 0.0
	if w.Mean {
		share = math.Sin(math.Pi*atHz/rateHz) / (math.Pi * hz / rateHz)
	}
	if w.PoleHz > 0 {
		share = max(share, 1/math.Hypot(1, hz/w.PoleHz))
	}
	return share
}

// weakText says what makes which figures upper ones, at the top of hearing and the
// first multiple of the rate.
func (m *Measurement) weakText() string {
	w, rateHz := m.Weakly, m.SampleRateHz
	how := "high-resolution mode"
	switch {
	case w.Mean && w.PoleHz > 0:
		how = "high-resolution mode or a single RC low-pass of " + hertz(w.PoleHz)
	case w.PoleHz > 0:
		how = "a bandwidth of " + hertz(w.PoleHz)
	}
	at := min(audioTopHz, rateHz/2)
	which := "noise figures"
	for _, b := range m.Bands {
		if b.RMSV.UpperBound {
			which = "noise and band figures"
		}
	}
	return fmt.Sprintf("at %s, %s still passes up to %.0f %% of a signal at %s, which then shows up (aliased) at %s: %s are upper limits",
		rateText(rateHz), how, 100*w.leaves(rateHz-at, at, rateHz), hertz(rateHz-at), hertz(at), which)
}

// weakCure is what to capture instead.
func (m *Measurement) weakCure() string {
	card := ", or with a sound card"
	if m.Mode == capture.Common {
		card = ""
	}
	return fmt.Sprintf("capture again at %s or more in high-resolution mode%s", rateText(CleanRateHz), card)
}

// boundWeakly makes upper bounds of noise and sums of a record whose low-pass leaves
// a part of what is folded. Lines of the mains comb alone are sure to be the unit's:
// where they are nearly all of a sum, it stands, its ± widened by the rest.
func (m *Measurement) boundWeakly(rec *record) {
	m.Weakly = weakFilter(rec.tr)
	if m.Weakly.None() {
		return
	}
	for _, d := range m.Noise.Densities() {
		bound(d)
	}
	for i := range m.Bands {
		b := &m.Bands[i]
		bound(&b.RMSNoLinesV)
		if !carries(&b.RMSV, b.RMSV.Value*b.RMSV.Value-m.mainsPower(b)) {
			bound(&b.RMSV)
		}
	}
}

// mainsPower is the weighted power in V² of the mains comb's lines within a band.
func (m *Measurement) mainsPower(b *spectrum.Band) float64 {
	sum := 0.0
	for _, l := range m.Lines {
		if l.Comb == spectrum.CombMains && l.FrequencyHz >= b.LowHz && l.FrequencyHz <= b.HighHz {
			v := l.RMSV * weightAt(b, l.FrequencyHz)
			sum += v * v
		}
	}
	return sum
}

// weightAt is a band's weighting at a frequency.
func weightAt(b *spectrum.Band, hz float64) float64 {
	if w := b.Weight(); w != nil {
		return w(hz)
	}
	return 1
}

// carries reports whether a figure stands with so much power in it, V², that may be
// none of the unit's there, and adds that to its ±.
func carries(f *figure.Figure, most float64) bool {
	if !f.Known || !(most < foldedCounts*f.Value*f.Value) {
		return false
	}
	if most > 0 {
		f.U += f.Value - math.Sqrt(f.Value*f.Value-most)
	}
	return true
}
