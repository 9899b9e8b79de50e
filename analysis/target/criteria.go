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
	id          Criterion
	name, short string // in words; short: for narrow columns
	unit        string
	lowHz       float64 // span a capture needs to show it
	highHz      float64
	domain      domain
	how         string // what capture would cover it
	group       figure.Group
	mode        capture.Mode                              // of the captures it takes its figure from
	figure      func(*analysis.Measurement) figure.Figure // nil: not taken from one capture
	weight      func(hz float64) float64                  // weighting of amplitudes in a band sum, nil none
	foretold    bool                                      // can be predicted behind a filter from a measurement
	summed      bool                                      // exactly so: a line or a sum over the spectrum
}

// Captures that a criterion asks for, in the words of the bench.
const (
	fastCapture  = "a capture at 50 MS/s or more, at least 80 µs long, with the bandwidth limit off or at 20 MHz"
	slowCapture  = "a capture at least 40 ms long"
	audioCapture = "a capture at least 200 ms long at 50 kS/s or more (a sound card will do)"
	noiseCapture = "a capture at least 4 ms long at 50 kS/s or more (a sound card will do)"
	commonSlow   = "a common-mode capture (across 100 Ω to chassis or earth) at least 80 ms long"
	commonAudio  = "a common-mode capture (across 100 Ω to chassis or earth) at least 200 ms long at 50 kS/s or more"
	commonFast   = "a common-mode capture (across 100 Ω to chassis or earth) at 50 MS/s or more, at least 80 µs long, with the bandwidth limit off or at 20 MHz"
	midCapture   = "a capture at 2.5 MS/s or more, at least 200 µs long"
)

// criteria in the order they are shown in. A criterion on a figure of the
// register takes unit, span, doubts and behaviour behind a filter from there; the
// others rest on curves, which a filter lets be predicted.
var criteria = []criterion{
	{id: HeaterDC, name: "supply volts (loaded)", short: "DC", unit: "V", domain: linear, group: figure.Mean, foretold: true,
		how: "a meter reading of the DC volts at the heaters' current (or a DC-coupled capture)"},
	on("pp_20mhz_v", criterion{id: RipplePP, name: "ripple p-p (20 MHz)", short: "ripple p-p", domain: linear, how: fastCapture}),
	on("ripple_pp_v", criterion{id: FoldedRipple, name: "average-cycle ripple p-p", short: "cycle ripple", domain: linear, how: fastCapture}),
	on("mains_line_rms_v", criterion{id: MainsLine, name: "mains ripple (100/120 Hz)", short: "mains ripple", domain: power, how: slowCapture}),
	on("spike_peak_p95_v", criterion{id: SpikePeak, name: "spike peak (95th percentile)", short: "spike p95", domain: linear, how: fastCapture, figure: spikePeak}),
	on("spikes_per_s", criterion{id: SpikeRate, name: "spikes per second", short: "spikes/s", domain: linear, how: fastCapture}),
	on("bands.audio.rms_v", criterion{id: BandAudio, name: "20 Hz to 20 kHz rms", short: "audio", domain: power, how: audioCapture}),
	on("bands.audio_a.rms_v", criterion{id: BandAudioA, name: "audio rms (A-weighted)", short: "A-wtd audio", domain: power, how: audioCapture}),
	on("bands.20k_1m.rms_v", criterion{id: BandRF1, name: "20 kHz to 1 MHz rms", short: "20k–1M", domain: power, how: midCapture}),
	on("bands.1m_20m.rms_v", criterion{id: BandRF2, name: "1 to 20 MHz rms", short: "1M–20M", domain: power, how: fastCapture}),
	on("noise_density_v_per_rthz", criterion{id: Noise, name: "noise density", short: "noise", domain: power, how: noiseCapture}),
	densityAt(1e3, criterion{id: Density1k, name: "noise density at 1 kHz", short: "1 kHz", how: audioCapture}),
	densityAt(10e3, criterion{id: Density10k, name: "noise density at 10 kHz", short: "10 kHz", how: audioCapture}),
	densityAt(100e3, criterion{id: Density100k, name: "noise density at 100 kHz", short: "100 kHz", how: midCapture}),
	common(on("mains_comb_rms_v", criterion{id: CommonMains, name: "common-mode mains", short: "CM mains", domain: power, how: commonSlow, figure: commonMains})),
	common(on("bands.audio_a.rms_v", criterion{id: CommonAudio, name: "common-mode audio (A-weighted)", short: "CM audio", domain: power, how: commonAudio})),
	common(on("pp_20mhz_v", criterion{id: CommonPP, name: "common-mode p-p (20 MHz)", short: "CM p-p", domain: linear, how: commonFast})),
	{id: Mask, name: "density mask", short: "mask", unit: "× mask", domain: power, how: audioCapture, group: figure.Density | figure.MaskRatio, foretold: true},
}

// on completes a criterion by the row of the figure it is on.
func on(key string, c criterion) criterion {
	row, ok := analysis.Lookup(key)
	if !ok {
		panic("target: no figure " + key) // a slip in the table above
	}
	c.unit, c.lowHz, c.highHz = row.Unit, row.LowHz, row.HighHz
	c.group, c.weight, c.foretold = row.Group, row.Behind.Weight, row.Behind.Predictable()
	c.summed = row.Behind.Rule == figure.InBand || row.Behind.Rule == figure.AtFrequency
	if c.figure == nil {
		c.figure = row.Read
	}
	return c
}

// common makes a criterion one of the common-mode half. The mains leaks at its own
// frequency there, so the comb is wanted from 50 Hz up.
func common(c criterion) criterion {
	c.mode = capture.Common
	if c.id == CommonMains {
		c.lowHz, c.group = 50, c.group|figure.MainsLine
	}
	return c
}

// commonMains is the whole mains comb; where none of it stands out of the noise,
// what 2 x mains may be at most stands in for it.
func commonMains(m *analysis.Measurement) figure.Figure {
	f := m.MainsCombRMS
	if !f.Known || f.Value > 0 || !m.MainsLineRMS.Known {
		return f
	}
	f = m.MainsLineRMS
	f.UpperBound = true
	return f
}

// densityAt completes a criterion on the noise floor's third octave that holds hz.
func densityAt(hz float64, c criterion) criterion {
	c.unit, c.lowHz, c.highHz = "V/√Hz", 0.9*hz, 1.1*hz
	c.domain, c.group, c.foretold = power, figure.Density, true
	c.figure = func(m *analysis.Measurement) figure.Figure { return thirdOctaveAt(m, hz) }
	return c
}

// lookup finds a criterion by its key.
func lookup(id Criterion) (criterion, bool) {
	for _, c := range criteria {
		if c.id == id {
			return c, true
		}
	}
	return criterion{}, false
}

// ShortName is a criterion's name for narrow columns and bars, "" for an unknown
// one.
func ShortName(id Criterion) string {
	c, _ := lookup(id)
	return c.short
}

// Foretold reports whether a criterion's figure behind a filter can be predicted
// from the measurement ahead of it; where not, the samples are needed.
func Foretold(id Criterion) bool {
	c, _ := lookup(id)
	return c.foretold
}

// RestsOnPeaks reports whether a criterion's figure is a peak or a count of them: behind
// a filter the samples alone tell it. All else is a line of the spectrum, a density or a
// sum over it, which the spectrum tells as well as they do.
func RestsOnPeaks(id Criterion) bool {
	c, _ := lookup(id)
	return c.figure != nil && !c.summed && c.group&figure.Density == 0
}

// ShowsPeak reports whether a capture may decide a limit that rests on peaks: it covers
// the span, or shows a part of it that may break the limit by itself.
func ShowsPeak(m *analysis.Measurement, l Limit) bool {
	c, ok := lookup(l.Criterion)
	if !ok || !RestsOnPeaks(c.id) || m.Mode != c.mode {
		return false
	}
	return m.Calibrated && (c.covers(m, l) || c.of(m).Known)
}

// Criteria lists the keys of all criteria, in the order they are shown in.
func Criteria() []Criterion {
	ids := make([]Criterion, len(criteria))
	for i, c := range criteria {
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
// stands in for it; see hidden. Of many spikes that are each sampled too coarsely some
// are met near their peaks: the percentile is then no lower bound, but doubted by so
// much as it was seen to lack.
func spikePeak(m *analysis.Measurement) figure.Figure {
	if noSpikes(m) {
		return figure.Known(m.Spikes.ThresholdV)
	}
	f := m.Spikes.PeakP95V
	if f.LowerBound && metOften(m) {
		f.LowerBound = false
	}
	return f
}

func noSpikes(m *analysis.Measurement) bool {
	s := m.Spikes
	return !s.PeakP95V.Known && s.Count == 0 && s.ThresholdV > 0 && s.PerS.Known
}

// hidden tells why a capture without a spike proves nothing: its noise hides
// what is as small as the limit.
func hidden(c criterion, l Limit, m *analysis.Measurement) string {
	if c.id == SpikePeak && noSpikes(m) && m.Spikes.ThresholdV > l.Max {
		return fmt.Sprintf("spikes under %s are hidden by the noise and the ripple's steps; use fewer volts per division", VoltText(m.Spikes.ThresholdV))
	}
	return ""
}

// thirdOctaveAt is the noise floor of the third octave that holds hz.
func thirdOctaveAt(m *analysis.Measurement, hz float64) figure.Figure {
	for _, t := range m.Noise.ThirdOctaves {
		if ratio := t.CentreHz / hz; ratio > thirdLow && ratio < thirdHigh && t.DensityVPerRtHz > 0 {
			f := figure.Known(t.DensityVPerRtHz)
			if t.HighVPerRtHz > t.LowVPerRtHz {
				f.U = (t.HighVPerRtHz - t.LowVPerRtHz) / 2
			}
			// What may be folded into the floor may be folded into its third octaves.
			f.UpperBound = m.FloorMayBeFolded()
			return f
		}
	}
	return figure.NotMeasured("the record holds no noise floor at that frequency")
}

// Text is the limit with its unit: "20 mV", "6.6 to 7.6 V".
func (l Limit) Text() string {
	switch {
	case l.Criterion == HeaterDC:
		return fmt.Sprintf("%.3g to %.3g %s", l.Min, l.Max, l.Unit)
	case l.Criterion == Mask:
		return fmt.Sprintf("%d points", len(l.Points))
	}
	return l.text(l.Max)
}

// FigureText is the margin's figure with its unit: "12.2 mV"; "" when it is not
// covered.
func (m Margin) FigureText() string {
	if !m.Covered {
		return ""
	}
	s := m.Limit.text(m.Figure.Value)
	switch {
	case m.Figure.LowerBound:
		return "≥ " + s
	case m.Figure.UpperBound:
		return "≤ " + s
	}
	return s
}

// text writes a figure in the limit's unit: "12.2 mV", "212 k/s". A ratio to the mask
// takes no prefix.
func (l Limit) text(v float64) string {
	switch l.Criterion {
	case SpikeRate:
		return capture.SI(v, "/s", 3)
	case Mask:
		return fmt.Sprintf("%.3g %s", v, l.Unit)
	}
	return capture.SI(v, l.Unit, 3)
}
