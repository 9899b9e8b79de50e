package target

import (
	"fmt"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// domain tells how repeats of a criterion's figure average.
type domain int

const (
	linear domain = iota // volts peak, counts, DC: plain mean
	power                // rms and densities: root of the mean square
)

// criterion is what there is to know of one Criterion besides its limit.
type criterion struct {
	id         Criterion
	name, unit string
	lowHz      float64 // span a capture needs to show it
	highHz     float64
	domain     domain
	how        string // what capture would cover it
	figure     func(*analysis.Measurement) figure.Figure
}

// Captures that a criterion asks for, in the words of the bench.
const (
	fastCapture  = "a DC- or AC-coupled capture at 50 MS/s or more, bandwidth limit at 20 MHz or off, at least 0.1 ms long"
	slowCapture  = "a capture at least 0.1 s long"
	audioCapture = "a capture at least 0.25 s long at 50 kS/s or more (a sound card does)"
	midCapture   = "a capture at 2.5 MS/s or more, at least 1 ms long"
)

// criteria in the order they are shown in. The low end of the needed span is
// 50 kHz for what happens within a switching cycle: small converters switch at
// 60 kHz and more (common practice, no source), and what lies lower has
// criteria of its own. A-weighting is down 30 dB at 50 Hz (IEC 61672-1), so
// the A-weighted sum does not need the octave below.
func criteria() []criterion {
	return []criterion{
		{HeaterDC, "DC at the heater load", "V", 0, 0, linear, "a meter reading of the DC volts at the heaters' current (or a DC-coupled capture)", nil},
		{RipplePP, "ripple p-p in 20 MHz", "V", 50e3, 20e6, linear, fastCapture, func(m *analysis.Measurement) figure.Figure { return m.PP20MHzV }},
		{FoldedRipple, "folded ripple p-p", "V", 50e3, 2e6, linear, fastCapture, func(m *analysis.Measurement) figure.Figure { return m.RipplePPV }},
		{MainsLine, "mains line rms", "V", 100, 120, power, slowCapture, func(m *analysis.Measurement) figure.Figure { return m.MainsLineRMS }},
		{SpikePeak, "spike peak, 95th percentile", "V", 50e3, 20e6, linear, fastCapture, spikePeak},
		{SpikeRate, "spikes per second", "1/s", 50e3, 20e6, linear, fastCapture, func(m *analysis.Measurement) figure.Figure { return m.Spikes.PerS }},
		{BandAudio, "20 Hz to 20 kHz rms", "V", 20, 20e3, power, audioCapture, band("audio")},
		{BandAudioA, "audio rms, A-weighted", "V", 50, 20e3, power, audioCapture, band("audio_a")},
		{BandRF1, "20 kHz to 1 MHz rms", "V", 20e3, 1e6, power, midCapture, band("20k_1m")},
		{BandRF2, "1 to 20 MHz rms", "V", 1e6, 20e6, power, fastCapture, band("1m_20m")},
		{Noise, "noise density", "V/√Hz", 2e3, 20e3, power, audioCapture, func(m *analysis.Measurement) figure.Figure { return m.Noise.DensityVPerRtHz }},
		{Density1k, "noise density at 1 kHz", "V/√Hz", 900, 1.1e3, power, audioCapture, densityAt(1e3)},
		{Density10k, "noise density at 10 kHz", "V/√Hz", 9e3, 11e3, power, audioCapture, densityAt(10e3)},
		{Density100k, "noise density at 100 kHz", "V/√Hz", 90e3, 110e3, power, midCapture, densityAt(100e3)},
		{Mask, "density mask", "× mask", 0, 0, power, audioCapture, nil},
	}
}

// lookup finds a criterion by its key.
func lookup(id Criterion) (criterion, bool) {
	for _, c := range criteria() {
		if c.id == id {
			return c, true
		}
	}
	return criterion{}, false
}

// Criteria lists the keys of all criteria, in the order they are shown in.
func Criteria() []Criterion {
	all := criteria()
	ids := make([]Criterion, len(all))
	for i, c := range all {
		ids[i] = c.id
	}
	return ids
}

// limit makes a Limit of the criterion with its span filled in.
func limit(id Criterion, max float64, source string) Limit {
	c, ok := lookup(id)
	if !ok {
		panic("target: no criterion " + string(id))
	}
	return Limit{
		Criterion: id, Name: c.name, Unit: c.unit, Max: max,
		NeedLowHz: c.lowHz, NeedHighHz: c.highHz, Source: source,
	}
}

// dcBand makes the DC limit.
func dcBand(min, max float64, source string) Limit {
	l := limit(HeaterDC, max, source)
	l.Min = min
	return l
}

// maskLimit makes the limit on a density mask: the figure is the greatest
// ratio of density to mask, so the limit is 1.
func maskLimit(points []MaskPoint, source string) Limit {
	l := limit(Mask, 1, source)
	l.Points = points
	l.NeedLowHz, l.NeedHighHz = points[0].Hz, points[len(points)-1].Hz
	return l
}

// spikePeak is the 95th percentile of the spikes' peaks. Where none stood
// above the detector's threshold the peak is below that threshold, which then
// stands in for it; see hidden.
func spikePeak(m *analysis.Measurement) figure.Figure {
	if noSpikes(m) {
		return figure.Known(m.Spikes.ThresholdV)
	}
	return m.Spikes.PeakP95V
}

func noSpikes(m *analysis.Measurement) bool {
	s := m.Spikes
	return !s.PeakP95V.Known && s.Count == 0 && s.ThresholdV > 0 && s.PerS.Known
}

// hidden tells why a capture without a spike proves nothing: its noise hides
// what is as small as the limit.
func hidden(c criterion, l Limit, m *analysis.Measurement) string {
	if c.id == SpikePeak && noSpikes(m) && m.Spikes.ThresholdV > l.Max {
		return fmt.Sprintf("spikes under %s can't be told from the noise and the ripple's steps; use fewer volts per division", VoltText(m.Spikes.ThresholdV))
	}
	return ""
}

func band(id string) func(*analysis.Measurement) figure.Figure {
	return func(m *analysis.Measurement) figure.Figure {
		for _, b := range m.Bands {
			if b.ID == id {
				return b.RMSV
			}
		}
		return figure.NotMeasured("the band was not summed")
	}
}

// densityAt is the noise floor of the third octave that holds hz.
func densityAt(hz float64) func(*analysis.Measurement) figure.Figure {
	return func(m *analysis.Measurement) figure.Figure {
		for _, t := range m.Noise.ThirdOctaves {
			if ratio := t.CentreHz / hz; ratio > 0.891 && ratio < 1.122 && t.DensityVPerRtHz > 0 {
				f := figure.Known(t.DensityVPerRtHz)
				if t.HighVPerRtHz > t.LowVPerRtHz {
					f.U = (t.HighVPerRtHz - t.LowVPerRtHz) / 2
				}
				return f
			}
		}
		return figure.NotMeasured("no third octave of the noise floor there")
	}
}

// Text is the limit with its unit: "20 mV", "6.6 to 7.6 V".
func (l Limit) Text() string {
	switch {
	case l.Criterion == HeaterDC:
		return fmt.Sprintf("%.3g to %.3g %s", l.Min, l.Max, l.Unit)
	case l.Criterion == Mask:
		return fmt.Sprintf("%d corners", len(l.Points))
	case l.Criterion == SpikeRate:
		return fmt.Sprintf("%.4g %s", l.Max, l.Unit)
	}
	return capture.SI(l.Max, l.Unit, 3)
}

// FigureText is the margin's figure with its unit: "12.2 mV"; "" when it is not
// covered.
func (m Margin) FigureText() string {
	if !m.Covered {
		return ""
	}
	return m.Limit.text(m.Figure.Value)
}

// text writes a figure in the limit's unit: "12.2 mV". A rate or a ratio to the
// mask takes no prefix.
func (l Limit) text(v float64) string {
	if l.Criterion == SpikeRate || l.Criterion == Mask {
		return fmt.Sprintf("%.3g %s", v, l.Unit)
	}
	return capture.SI(v, l.Unit, 3)
}
