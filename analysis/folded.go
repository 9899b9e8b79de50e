package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// boundFolded makes upper bounds of noise and sums into which what lies above half
// the rate may have been folded by as much as counts: that only adds.
//
// An instrument's noise, folded over and over, lies evenly over the record's span, or
// rises towards its top. So the density at the top is the most of it that may be folded
// into any other place; where a figure stands clear of that it is no bound. The
// switching's own harmonics are uneven: one near a multiple of the rate is folded to a
// few kilohertz, where a clock that moves smears it, and those of a fixed one lie as
// near together as a third octave's bins. Spikes come with it, which do lie evenly, so
// that a figure must stand clear of the top by more.
func (m *Measurement) boundFolded(rec *record) {
	if filtered(rec.tr) {
		return
	}
	top := m.topDensity()
	noise, spikes := foldedNoise(rec.tr) > foldedCounts, rec.unfiltered()
	edges := spikes && m.SampleRateHz < foldsIntoNoiseHz
	for _, f := range m.Noise.Densities() {
		if edges && top*top > smearedCounts*f.Value*f.Value || noise && top*top > foldedCounts*f.Value*f.Value {
			bound(f)
		}
	}
	if in20MHz := noisePeaks * top * math.Sqrt(math.Pi/2*bandwidthLimitHz); noise && in20MHz > m.PP20MHzV.Value/2 {
		bound(&m.PP20MHzV) // mostly noise, and folded noise with it
		bound(&m.PP20MHz999V)
	}
	for i := range m.Bands {
		b := &m.Bands[i]
		if edges := spikes && m.SampleRateHz < foldsIntoBandHz[b.ID]; edges || noise {
			m.boundBand(b, top, edges)
		}
	}
}

// bound makes an upper figure of one that is known and no lower one.
func bound(f *figure.Figure) { f.UpperBound = f.Known && !f.LowerBound }

// boundBelow makes a lower figure of one that is known.
func boundBelow(f *figure.Figure) { f.LowerBound, f.UpperBound = f.Known, false }

// boundBand makes a bound of a band's sums where a density of top V/√Hz over the
// band, and with edges the lines that may be folded, count.
func (m *Measurement) boundBand(b *spectrum.Band, top float64, edges bool) {
	most := top * top * (b.HighHz - b.LowHz)
	if rest := b.RMSNoLinesV.Value * b.RMSNoLinesV.Value; edges && b.HighHz <= audioTopHz && most > smearedCounts*rest {
		most = max(most, rest)
	}
	if most > foldedCounts*b.RMSNoLinesV.Value*b.RMSNoLinesV.Value {
		bound(&b.RMSNoLinesV)
	}
	if edges {
		most += m.strangeLines(b)
	}
	if most > foldedCounts*b.RMSV.Value*b.RMSV.Value {
		bound(&b.RMSV)
	}
}

// filtered reports whether something known kept what lies above half the rate out:
// the recorder's own filter, or a mean of neighbouring samples.
func filtered(tr *capture.Trace) bool {
	return tr.Acquisition.Mode == capture.AcquisitionHighRes || tr.AntiAliased
}

// unfiltered reports whether nothing is known to have kept what lies above half
// the sample rate out of the record: no recorder with a filter of its own, no mean
// of neighbouring samples, no bandwidth stated that would.
func (r *record) unfiltered() bool {
	tr := r.tr
	return !filtered(tr) && !(tr.BandwidthHz > 0 && tr.BandwidthHz <= atHalfRate*tr.SampleRateHz/2)
}

// foldedNoise is the power of an instrument's white noise that is folded into a
// record beside its own, as a share of that: behind one pole it is
// (π/r)·coth(π/r) - 1, r being the converter's rate over the bandwidth.
func foldedNoise(tr *capture.Trace) float64 {
	bandwidth := tr.BandwidthHz
	if bandwidth == 0 {
		bandwidth = usualBandwidthHz
	}
	rate := tr.SampleRateHz
	if tr.TrueRateHz > 0 {
		rate = min(rate, tr.TrueRateHz)
	}
	x := math.Pi * bandwidth / rate
	return x/math.Tanh(x) - 1
}

// topDensity is the plain density in V/√Hz at the top of the span, the highest of
// the last three third octaves; infinite where there are none.
func (m *Measurement) topDensity() float64 {
	oct := m.Noise.ThirdOctaves
	top := 0.0
	for _, o := range oct[max(len(oct)-topOctaves, 0):] {
		top = max(top, o.UngatedVPerRtHz)
	}
	if top == 0 {
		return math.Inf(1)
	}
	return top
}

// strangeLines is the power in V² of the lines within a band that may be folded:
// those of neither the mains nor the switching, and all but the mains' where the
// switching itself is suspected to be.
func (m *Measurement) strangeLines(b *spectrum.Band) float64 {
	sum, weight := 0.0, b.Weight()
	for _, l := range m.Lines {
		if l.FrequencyHz < b.LowHz || l.FrequencyHz > b.HighHz || l.Comb == spectrum.CombMains || l.Comb == spectrum.CombInstrument ||
			l.Comb == spectrum.CombSwitching && m.SwitchingHz.Known && !m.AliasSuspected {
			continue
		}
		v := l.RMSV
		if weight != nil {
			v *= weight(l.FrequencyHz)
		}
		sum += v * v
	}
	return sum
}

// foldsAt reports whether figures of the record are upper ones by folding.
func (m *Measurement) foldsAt() bool {
	if m.Noise.DensityVPerRtHz.UpperBound {
		return true
	}
	for _, b := range m.Bands {
		if b.RMSV.UpperBound {
			return true
		}
	}
	return false
}

// foldedCaution says what makes the sums upper ones, with the filter that mends it.
func (f *findings) foldedCaution(m *Measurement, list *cautionList) {
	if !m.foldsAt() || m.SampleRateHz >= foldsIntoNoiseHz {
		return // of a fast record only the instrument's own noise is folded
	}
	if !m.Weakly.None() {
		list.add(capture.CautionPartlyFiltered, m.weakText(), m.weakCure())
		return
	}
	rate := m.SampleRateHz
	how, filtered := "", rate
	if rate < CleanRateHz {
		how, filtered = "at "+rateText(CleanRateHz)+" or more, ", CleanRateHz
	}
	farads := nearestE6(1 / (2 * math.Pi * 1e3 * poleShare * filtered)) // 1 kΩ
	list.add(capture.CautionUnfiltered,
		fmt.Sprintf("no anti-alias filter is known to have kept signals above %s, half the sample rate, out of the record: noise and band figures are upper limits", hertz(rate/2))+f.frequencyAsSampled(m),
		fmt.Sprintf("capture %sin high-resolution mode, or through 1 kΩ and %s to ground; where the file doesn't say so, the sheet's anti_aliased = true (--anti-aliased) does", how, capture.SI(farads, "F", 2)))
}

// frequencyAsSampled says, of a record at a rate that supplies switch above half of,
// that the cycle found may be a faster one's: its samples are the same, harmonics and
// all, in another order. Empty where the rate is high enough or an alias suspected anyway.
func (f *findings) frequencyAsSampled(m *Measurement) string {
	rate := m.SampleRateHz
	if rate >= outweighedRateHz || !f.rec.unfiltered() || !m.SwitchingHz.Known || m.AliasSuspected {
		return ""
	}
	hz := m.SwitchingHz.Value
	return fmt.Sprintf("; the switching frequency is as sampled: a supply that switches at %s or %s, among others, would look the same", hertz(rate-hz), hertz(rate+hz))
}

// nearestE6 is the value of the E6 series (IEC 60063) nearest to v by ratio. It is
// spelled out here since package heater, which holds the series, is none of the rooms
// below this one.
func nearestE6(v float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(v)))
	best := decade
	for _, m := range [...]float64{1.5, 2.2, 3.3, 4.7, 6.8, 10} {
		if math.Abs(math.Log(m*decade/v)) < math.Abs(math.Log(best/v)) {
			best = m * decade
		}
	}
	return best
}
