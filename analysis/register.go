package analysis

import (
	"maps"
	"math"
	"slices"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// row is one figure of a Measurement.
type row = figure.Row[Measurement]

// scriptsOnly: a figure that only JSON holds.
const scriptsOnly = figure.Terminal | figure.Page | figure.Compare

// unpredictable: only the samples tell what a filter makes of the figure.
var unpredictable = figure.Behind[Measurement]{Rule: figure.Unpredictable}

// count: of events.
var count = figure.Behind[Measurement]{Rule: figure.NoneStaysNone}

// unchanged: a linear filter leaves the figure as it is.
var unchanged = figure.Behind[Measurement]{Rule: figure.Unchanged}

// allOver: rms over the whole of the spectrum.
var allOver = figure.Behind[Measurement]{Rule: figure.InBand,
	Band: func(*Measurement) (float64, float64) { return 0, math.Inf(1) }}

// gainAt: an amplitude or a density at one frequency.
func gainAt(hz func(*Measurement) figure.Figure) figure.Behind[Measurement] {
	return figure.Behind[Measurement]{Rule: figure.AtFrequency, AtHz: hz}
}

// along: recomputed from a curve.
func along(c figure.Curve) figure.Behind[Measurement] {
	return figure.Behind[Measurement]{Rule: figure.FromCurve, Curve: c}
}

// entry is a row with how its figure is measured.
type entry struct {
	row
	measure func(*findings) figure.Figure // nil: a step of Measure states it in a field
}

// at completes a row by the place of its figure, which a step of Measure states.
func at(place func(*Measurement) *figure.Figure, r row) entry {
	r.Read = func(m *Measurement) figure.Figure { return *place(m) }
	r.Write = func(m *Measurement, f figure.Figure) { *place(m) = f }
	return entry{row: r}
}

// from completes a row by the function that measures its figure from what the
// steps found. The figure stands in Measurement.Own; records that carry no sums
// don't carry it either (restrict.go).
func from(measure func(*findings) figure.Figure, r row) entry {
	key := r.Key
	r.Read = func(m *Measurement) figure.Figure {
		if f := m.Own[key]; f != nil {
			return *f
		}
		return figure.Figure{}
	}
	r.Write = func(m *Measurement, f figure.Figure) {
		own := maps.Clone(m.Own) // a prediction begins as a copy of what was measured
		if own == nil {
			own = map[string]*figure.Figure{}
		}
		own[key], m.Own = &f, own
	}
	return entry{r, measure}
}

// ownFigures measures the figures that the register alone knows, by key.
func (f *findings) ownFigures() map[string]*figure.Figure {
	own := map[string]*figure.Figure{}
	for _, e := range entries {
		if e.measure != nil {
			v := e.measure(f)
			own[e.Key] = &v
		}
	}
	return own
}

// Register lists every figure of a Measurement, in the order in which they are
// shown. JSON and its schema, the terminal's text, the page, comparisons, the
// criteria and the prediction behind a filter walk it: a figure added here is in
// all of them. One without a Behind is not measured behind a filter.
func Register() []figure.Row[Measurement] { return register }

// entries and register are made once; nobody changes them.
var (
	entries  = slices.Concat(figuresToNoise(), bandRows(), figuresOfConverter())
	register = rowsOf(entries)
)

func rowsOf(entries []entry) []row {
	rows := make([]row, len(entries))
	for i, e := range entries {
		rows[i] = e.row
	}
	return rows
}

// Lookup finds a figure's row by its key.
func Lookup(key string) (figure.Row[Measurement], bool) {
	for _, r := range register {
		if r.Key == key {
			return r, true
		}
	}
	return row{}, false
}

// figuresToNoise are the figures from the whole trace down to its noise floor. The
// low end of the span needed is 50 kHz for what happens within a switching cycle:
// small converters switch at 60 kHz and more (common practice, no source), and
// what lies lower has figures of its own.
func figuresToNoise() []entry {
	return []entry{
		at(func(m *Measurement) *figure.Figure { return &m.DCV }, row{Key: "dc_v", Name: "DC", Unit: "V", Says: "mean of a DC-coupled trace",
			Behind: unchanged, Class: figure.Scatter, Group: figure.Mean}),
		at(func(m *Measurement) *figure.Figure { return &m.ACRMSV }, row{Key: "ac_rms_v", Name: "AC rms", Unit: "V", Says: "rms about the mean, full span",
			Behind: allOver, Class: figure.Scatter}),
		at(func(m *Measurement) *figure.Figure { return &m.PPV }, row{Key: "pp_v", Name: "peak-to-peak, full span", Unit: "V", Says: "peak-to-peak of the samples, full span",
			Behind: along(figure.DetailCurve), Class: figure.Scatter}),
		from(crestFactor, row{Key: "crest_factor", Name: "crest factor", Says: "peak over rms, both without the DC",
			Behind: unpredictable, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.PP20MHzV }, row{Key: "pp_20mhz_v", Name: "peak-to-peak, 20 MHz", Unit: "V", Says: "peak-to-peak in a 20 MHz bandwidth",
			Behind: along(figure.DetailCurve), Class: figure.Scatter, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6}),
		at(func(m *Measurement) *figure.Figure { return &m.PP20MHz999V }, row{Key: "pp_20mhz_999_v", Name: "peak-to-peak, 20 MHz, 99.9 % of the time", Unit: "V", Says: "the same for 99.9 % of the time",
			Behind: along(figure.DetailCurve), Class: figure.Scatter, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.RipplePPV }, row{Key: "ripple_pp_v", Name: "average-cycle ripple, peak-to-peak", Unit: "V", Says: "peak-to-peak of the average switching cycle, without spikes and noise",
			Behind: along(figure.CycleCurve), Class: figure.Fit, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6}),
		at(func(m *Measurement) *figure.Figure { return &m.RippleRMSV }, row{Key: "ripple_rms_v", Name: "average-cycle ripple, rms", Unit: "V", Says: "rms of the average switching cycle",
			Behind: along(figure.CycleCurve), Class: figure.Fit, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Cycle.RiseSlopeVPerS }, row{Key: "cycle.rise_slope_v_per_s", Name: "rising slope", Unit: "V/s", Says: "linear part",
			Behind: unpredictable, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Cycle.FallSlopeVPerS }, row{Key: "cycle.fall_slope_v_per_s", Name: "falling slope", Unit: "V/s", Says: "linear part, negative",
			Behind: unpredictable, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Cycle.ESRStepV }, row{Key: "cycle.esr_step_v", Name: "step at the edges", Unit: "V", Says: "step at the edges",
			Behind: unpredictable, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Cycle.ESRStepShare }, row{Key: "cycle.esr_step_share", Name: "step over peak-to-peak", Says: "step over peak-to-peak",
			Behind: unpredictable, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Cycle.ApparentDuty }, row{Key: "cycle.apparent_duty", Name: "apparent duty cycle", Says: "share of the period spent rising",
			Behind: unpredictable, Group: figure.InCycle | figure.Folded, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.SwitchingHz }, row{Key: "switching_hz", Name: "switching frequency", Unit: "Hz", Says: "switching frequency",
			Behind: unchanged, Class: figure.TimeBase, LowHz: 50e3, HighHz: 2e6}),
		at(func(m *Measurement) *figure.Figure { return &m.SwitchingFundamentalRMSV }, row{Key: "switching_fundamental_rms_v", Name: "switching fundamental, rms", Unit: "V", Says: "rms of the spectral line at the switching frequency",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.SwitchingHz }), Class: figure.Fit, Group: figure.InCycle, LowHz: 50e3, HighHz: 2e6}),
		at(func(m *Measurement) *figure.Figure { return &m.SwitchingSpreadHz }, row{Key: "switching_spread_hz", Name: "spread of dithered switching", Unit: "Hz", Says: "dithered: full width of the spread",
			Behind: unchanged, LowHz: 50e3, HighHz: 2e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.BurstHz }, row{Key: "burst_hz", Name: "burst rate", Unit: "Hz", Says: "bursting: bursts per second",
			Behind: unchanged, Class: figure.TimeBase, LowHz: 50e3, HighHz: 2e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.SecondSwitchingHz }, row{Key: "second_switching_hz", Name: "second switching frequency", Unit: "Hz", Says: "a second converter stage in the same supply",
			Behind: unchanged, LowHz: 50e3, HighHz: 2e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.PeriodicRMSV }, row{Key: "periodic_rms_v", Name: "periodic part, rms", Unit: "V", Says: "rms of the periodic part",
			Behind: along(figure.PeriodicCurve), Class: figure.Fit, LowHz: 50e3, HighHz: 2e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.RandomRMSV }, row{Key: "random_rms_v", Name: "random part, rms", Unit: "V", Says: "rms of the random part",
			Behind: along(figure.FloorCurve), Class: figure.Fit, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.MainsHz }, row{Key: "mains_hz", Name: "mains frequency", Unit: "Hz", Says: "mains frequency",
			Behind: unchanged, LowHz: 100, HighHz: 120, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.MainsLineHz }, row{Key: "mains_line_hz", Name: "mains ripple frequency", Unit: "Hz", Says: "twice the mains frequency, as measured",
			Behind: unchanged, LowHz: 100, HighHz: 120, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.MainsLineRMS }, row{Key: "mains_line_rms_v", Name: "mains ripple (100/120 Hz), rms", Unit: "V", Says: "rms at twice the mains frequency",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.MainsLineHz }), Class: figure.Fit, Group: figure.Audio | figure.MainsLine, LowHz: 100, HighHz: 120}),
		at(func(m *Measurement) *figure.Figure { return &m.MainsCombRMS }, row{Key: "mains_comb_rms_v", Name: "mains ripple and harmonics, rms", Unit: "V", Says: "rms of the mains ripple and its harmonics",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.MainsLineHz }), Class: figure.Fit, Group: figure.Audio, LowHz: 100, HighHz: 120, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.MainsCombPPV }, row{Key: "mains_comb_pp_v", Name: "mains ripple and harmonics, peak-to-peak", Unit: "V", Says: "peak-to-peak of their sum",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.MainsLineHz }), Class: figure.Fit, Group: figure.Audio, LowHz: 100, HighHz: 120, NotIn: figure.Terminal}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.PerS }, row{Key: "spikes_per_s", Name: "spikes per second", Unit: "1/s", Says: "spikes per second",
			Behind: count, Class: figure.Counting, Group: figure.ShortPeak | figure.Count, LowHz: 50e3, HighHz: 20e6}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.PerCycle }, row{Key: "spikes_per_cycle", Name: "spikes per switching cycle", Says: "spikes per switching cycle",
			Behind: count, Group: figure.ShortPeak | figure.Count, LowHz: 50e3, HighHz: 20e6, NotIn: figure.Terminal | figure.Compare}),
		{row: row{Key: "spike_threshold_v", Name: "spike threshold", Unit: "V", Says: "detection threshold", Read: spikeThreshold, Write: setSpikeThreshold,
			Behind: along(figure.SpikeCurve), Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}},
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.PeakMedianV }, row{Key: "spike_peak_median_v", Name: "spike peak (median)", Unit: "V", Says: "median of the spikes' absolute peaks against the local ripple",
			Behind: along(figure.SpikeCurve), Class: figure.Fit, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.PeakP95V }, row{Key: "spike_peak_p95_v", Name: "spike peak (95th percentile)", Unit: "V", Says: "95th percentile",
			Behind: along(figure.SpikeCurve), Class: figure.Fit, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.PeakMaxV }, row{Key: "spike_peak_max_v", Name: "spike peak (highest)", Unit: "V", Says: "greatest",
			Behind: along(figure.SpikeCurve), Class: figure.Fit, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.DurationMedianS }, row{Key: "spike_duration_median_s", Name: "spike duration at 50 %, median", Unit: "s", Says: "median pulse duration at 50 %",
			Behind: unpredictable, LowHz: 50e3, HighHz: 20e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.AreaMedianVs }, row{Key: "spike_area_median_vs", Name: "spike area, median", Unit: "Vs", Says: "median absolute area, V s",
			Behind: unpredictable, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.RingHz }, row{Key: "ring_hz", Name: "ring frequency", Unit: "Hz", Says: "ring frequency",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.RingQ }, row{Key: "ring_q", Name: "ring Q", Says: "ring quality factor",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.RisingRingHz }, row{Key: "rising_ring_hz", Name: "ring frequency, rising edges", Unit: "Hz", Says: "after rising edges",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.RisingRingQ }, row{Key: "rising_ring_q", Name: "ring Q, rising edges", Says: "after rising edges",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.FallingRingHz }, row{Key: "falling_ring_hz", Name: "ring frequency, falling edges", Unit: "Hz", Says: "after falling edges",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.FallingRingQ }, row{Key: "falling_ring_q", Name: "ring Q, falling edges", Says: "after falling edges",
			Behind: unpredictable, Class: figure.TimeBase, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.RisingPeakMedianV }, row{Key: "rising_spike_peak_median_v", Name: "spike peak at rising edges, median", Unit: "V", Says: "at rising edges",
			Behind: along(figure.SpikeCurve), Class: figure.Fit, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Spikes.FallingPeakMedianV }, row{Key: "falling_spike_peak_median_v", Name: "spike peak at falling edges, median", Unit: "V", Says: "at falling edges",
			Behind: along(figure.SpikeCurve), Class: figure.Fit, Group: figure.InCycle | figure.ShortPeak, LowHz: 50e3, HighHz: 20e6, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Noise.DensityVPerRtHz }, row{Key: "noise_density_v_per_rthz", Name: "noise density", Unit: "V/√Hz", Says: "noise floor with the spikes left out, V/√Hz",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.Noise.AtHz }), Class: figure.Fit, Group: figure.Density, LowHz: spectrum.DensityLowHz, HighHz: spectrum.DensityHighHz}),
		at(func(m *Measurement) *figure.Figure { return &m.Noise.AtHz }, row{Key: "noise_density_at_hz", Name: "noise density read at", Unit: "Hz", Says: "where that floor was read",
			Behind: unchanged, LowHz: spectrum.DensityLowHz, HighHz: spectrum.DensityHighHz, NotIn: figure.Terminal | figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.Noise.UngatedVPerRtHz }, row{Key: "noise_density_ungated_v_per_rthz", Name: "noise density with spikes", Unit: "V/√Hz", Says: "the same with spikes left in",
			Behind: gainAt(func(m *Measurement) figure.Figure { return m.Noise.AtHz }), Class: figure.Fit, Group: figure.Density, LowHz: spectrum.DensityLowHz, HighHz: spectrum.DensityHighHz, NotIn: scriptsOnly}),
		at(func(m *Measurement) *figure.Figure { return &m.Noise.At1kHzVPerRtHz }, row{Key: "noise_density_1khz_v_per_rthz", Name: "noise density at 1 kHz", Unit: "V/√Hz", Says: "floor at 1 kHz",
			Behind: gainAt(func(*Measurement) figure.Figure { return figure.Known(1e3) }), Class: figure.Fit, Group: figure.Density, LowHz: 900, HighHz: 1.1e3, NotIn: figure.Terminal}),
		at(func(m *Measurement) *figure.Figure { return &m.Noise.CornerHz }, row{Key: "noise_corner_hz", Name: "1/f corner", Unit: "Hz", Says: "where the 1/f part equals the white part",
			Behind: unpredictable, LowHz: 900, HighHz: 20e3, NotIn: figure.Terminal | figure.Compare}),
	}
}

func figuresOfConverter() []entry {
	return []entry{
		at(func(m *Measurement) *figure.Figure { return &m.ADCStepV }, row{Key: "adc_step_v", Name: "ADC step", Unit: "V", Says: "ADC step",
			Behind: unchanged, NotIn: figure.Compare}),
		at(func(m *Measurement) *figure.Figure { return &m.QuantNoiseVPerRtHz }, row{Key: "quantisation_density_v_per_rthz", Name: "noise density of the ADC steps", Unit: "V/√Hz", Says: "noise density of the ADC steps",
			Behind: unchanged, NotIn: scriptsOnly}),
	}
}

// bandRows are two figures for every band of the plan, and the quasi-peak's.
func bandRows() []entry {
	var rows []entry
	add := func(id, name string, lowHz, highHz float64, weight func(float64) float64, group figure.Group) {
		behind := figure.Behind[Measurement]{Rule: figure.InBand, Weight: weight, Band: func(m *Measurement) (float64, float64) {
			if b := m.band(id); b != nil {
				return b.LowHz, b.HighHz
			}
			return 0, 0
		}}
		both := row{Unit: "V", Behind: behind, Class: figure.Fit, Group: group | figure.BandSum, LowHz: lowHz, HighHz: highHz}
		with, without := both, both
		with.Key, with.Name, with.Says = "bands."+id+".rms_v", name+", rms", "rms, lines included"
		with.Read = func(m *Measurement) figure.Figure {
			if b := m.band(id); b != nil {
				return b.RMSV
			}
			return figure.Figure{}
		}
		with.Write = func(m *Measurement, f figure.Figure) {
			if b := m.band(id); b != nil {
				b.RMSV = f
			}
		}
		without.Key, without.Name, without.Says = "bands."+id+".rms_without_lines_v", name+", rms without lines", "rms of the noise alone"
		without.NotIn = figure.Terminal | figure.Compare
		without.Read = func(m *Measurement) figure.Figure {
			if b := m.band(id); b != nil {
				return b.RMSNoLinesV
			}
			return figure.Figure{}
		}
		without.Write = func(m *Measurement, f figure.Figure) {
			if b := m.band(id); b != nil {
				b.RMSNoLinesV = f
			}
		}
		with.Behind.Quiet, without.Behind.Quiet = without.Read, without.Read
		rows = append(rows, entry{row: with}, entry{row: without})
	}
	for _, p := range spectrum.BandPlan() {
		group := figure.InCycle
		if p.HighHz == audioTopHz {
			group = figure.Audio
		}
		if p.LowHz >= shortPeakHz {
			group |= figure.ShortPeak
		}
		add(p.ID, p.Name, p.LowHz, p.HighHz, p.Weight(), group)
	}
	add("bs468_qp", "ITU-R BS.468-4 quasi-peak", 31.5, 31.5e3, nil, figure.Audio)
	return rows
}

// band finds a band of the measurement, nil when it was not summed.
func (m *Measurement) band(id string) *spectrum.Band {
	for i := range m.Bands {
		if m.Bands[i].ID == id {
			return &m.Bands[i]
		}
	}
	return nil
}

// spikeThreshold is the level in volts that a spike must top; it is measured
// where one was set.
func spikeThreshold(m *Measurement) figure.Figure {
	if m.Spikes.ThresholdV > 0 {
		return figure.Known(m.Spikes.ThresholdV)
	}
	return figure.NotMeasured("no spike threshold was set")
}

func setSpikeThreshold(m *Measurement, f figure.Figure) {
	m.Spikes.ThresholdV = 0
	if f.Known {
		m.Spikes.ThresholdV = f.Value
	}
}
