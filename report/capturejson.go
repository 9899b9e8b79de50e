package report

import (
	"errors"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// CaptureJSON is one capture as one line of JSON: the object that `measure
// --json` prints and that results.json holds for every capture. Keys carry
// their SI unit. A figure that the capture can't show is null, with the reason
// under its key in "not_measured". Expanded uncertainties (k = 2, same unit)
// stand in "uncertainty" under the figure's key; "lower_bounds" lists the
// figures whose true value is at least the one given. It is deterministic and
// never holds NaN or Inf. A capture without a Measurement is an error.
func CaptureJSON(c Capture) ([]byte, error) {
	o, err := captureObject(c)
	if err != nil {
		return nil, err
	}
	return appendJSON(nil, o)
}

func captureObject(c Capture) (object, error) {
	m := c.M
	if m == nil {
		return nil, errors.New("report: capture without a measurement")
	}
	d := &doc{uncalibrated: !m.Calibrated}
	d.add("schema_version", SchemaVersion)
	d.add("file", m.File)
	d.add("channel", orNull(m.Channel))
	d.add("sha256", orNull(m.SHA256))
	d.add("layout", orNull(c.Layout))
	d.add("note", orNull(c.Note))
	load := c.LoadA
	if load == 0 {
		load = m.LoadA
	}
	d.add("load_a", positive(load))
	d.add("sample_rate_hz", number(m.SampleRateHz))
	d.add("samples", m.Samples)
	d.add("duration_s", number(m.DurationS))
	coupling := m.Coupling
	if coupling == capture.CouplingUnknown {
		coupling = "unknown"
	}
	d.add("coupling", string(coupling))
	d.add("calibrated", m.Calibrated)
	unit := "V"
	if !m.Calibrated {
		unit = "full scale"
	}
	d.add("curve_unit", unit)
	d.add("span_low_hz", positive(m.Span.LowHz))
	d.add("span_high_hz", positive(m.Span.HighHz))

	d.fig("dc_v", m.DCV)
	d.fig("ac_rms_v", m.ACRMSV)
	d.fig("pp_v", m.PPV)
	d.fig("crest_factor", m.CrestFactor)
	d.fig("pp_20mhz_v", m.PP20MHzV)
	d.fig("pp_20mhz_999_v", m.PP20MHz999V)
	d.add("pp_20mhz_filter", orNull(m.PP20MHzFilter))
	d.add("pp_20mhz_over_s", positive(m.PPOverS))

	d.fig("ripple_pp_v", m.RipplePPV)
	d.fig("ripple_rms_v", m.RippleRMSV)
	kind := string(m.Kind)
	if kind == "" {
		kind = "unknown"
	}
	d.add("switching_kind", kind)
	d.fig("switching_hz", m.SwitchingHz)
	d.fig("switching_fundamental_rms_v", m.SwitchingFundamentalRMSV)
	d.fig("switching_spread_hz", m.SwitchingSpreadHz)
	d.fig("burst_hz", m.BurstHz)
	d.fig("second_switching_hz", m.SecondSwitchingHz)
	d.fig("periodic_rms_v", m.PeriodicRMSV)
	d.fig("random_rms_v", m.RandomRMSV)

	d.fig("mains_hz", m.MainsHz)
	d.fig("mains_line_hz", m.MainsLineHz)
	d.fig("mains_line_rms_v", m.MainsLineRMS)
	d.fig("mains_comb_rms_v", m.MainsCombRMS)
	d.fig("mains_comb_pp_v", m.MainsCombPPV)

	addSpikeFigures(d, &m.Spikes)
	addNoiseFigures(d, &m.Noise)
	d.fig("adc_step_v", m.ADCStepV)
	d.fig("quantisation_density_v_per_rthz", m.QuantNoiseVPerRtHz)

	d.add("cautions", list(m.Cautions))
	d.add("bands", bandObjects(d, m.Bands))
	d.add("lines", lineObjects(m.Lines))
	d.add("third_octaves", thirdOctaveObjects(m.Noise.ThirdOctaves))
	d.add("cycle", cycleObject(d, &m.Cycle))
	d.add("spikes", spikeObjects(m.Spikes.List))
	d.add("spike_amplitude_histogram", histogramObject("edges_v", m.Spikes.AmplitudeHist))
	d.add("spike_interval_histogram", histogramObject("edges_s", m.Spikes.IntervalHist))
	d.add("typical_spike", envelopeObject(m.Spikes.Typical))
	d.add("spectrum", spectrumObject(&m.Spectrum))
	d.add("waveform", envelopeObject(reduce(m.Waveform, jsonColumns)))
	d.add("detail", envelopeObject(reduce(m.Detail, jsonColumns)))
	assumptions := []object{}
	for _, a := range c.Assumptions {
		assumptions = append(assumptions, object{{"what", a.What}, {"value", a.Value}, {"why", a.Why}})
	}
	d.add("assumptions", assumptions)
	d.close()
	return d.object, nil
}

func addSpikeFigures(d *doc, s *analysis.SpikeSummary) {
	d.fig("spikes_per_s", s.PerS)
	d.fig("spikes_per_cycle", s.PerCycle)
	if s.PerS.Known {
		d.add("spike_count", s.Count)
		d.add("spikes_mains_tied", s.MainsTied)
		d.add("spikes_random", s.Random)
	} else { // a count of 0 would read as "none seen"
		d.add("spike_count", nil)
		d.add("spikes_mains_tied", nil)
		d.add("spikes_random", nil)
	}
	threshold := figure.NotMeasured("no spike threshold was set")
	if s.ThresholdV > 0 {
		threshold = figure.Known(s.ThresholdV)
	}
	d.fig("spike_threshold_v", threshold)
	d.fig("spike_peak_median_v", s.PeakMedianV)
	d.fig("spike_peak_p95_v", s.PeakP95V)
	d.fig("spike_peak_max_v", s.PeakMaxV)
	d.fig("spike_duration_median_s", s.DurationMedianS)
	d.fig("spike_area_median_vs", s.AreaMedianVs)
	d.fig("ring_hz", s.RingHz)
	d.fig("ring_q", s.RingQ)
	d.fig("rising_ring_hz", s.RisingRingHz)
	d.fig("rising_ring_q", s.RisingRingQ)
	d.fig("falling_ring_hz", s.FallingRingHz)
	d.fig("falling_ring_q", s.FallingRingQ)
	d.fig("rising_spike_peak_median_v", s.RisingPeakMedianV)
	d.fig("falling_spike_peak_median_v", s.FallingPeakMedianV)
}

func addNoiseFigures(d *doc, n *spectrum.NoiseFloor) {
	d.fig("noise_density_v_per_rthz", n.DensityVPerRtHz)
	d.fig("noise_density_at_hz", n.AtHz)
	d.fig("noise_density_ungated_v_per_rthz", n.UngatedVPerRtHz)
	d.fig("noise_density_1khz_v_per_rthz", n.At1kHzVPerRtHz)
	d.fig("noise_corner_hz", n.CornerHz)
	d.add("noise_gated_out_share", number(n.ExcisedShare))
	d.add("noise_at_instrument_floor", n.AtInstrument)
}

func bandObjects(d *doc, bands []spectrum.Band) []object {
	out := []object{}
	for _, b := range bands {
		o := object{{"id", b.ID}, {"name", b.Name}, {"low_hz", number(b.LowHz)}, {"high_hz", positive(b.HighHz)}}
		d.figure(&o, "bands."+b.ID+".rms_v", "rms_v", b.RMSV)
		d.figure(&o, "bands."+b.ID+".rms_without_lines_v", "rms_without_lines_v", b.RMSNoLinesV)
		out = append(out, o)
	}
	return out
}

func lineObjects(lines []spectrum.Line) []object {
	out := []object{}
	for _, l := range lines {
		out = append(out, object{{"frequency_hz", number(l.FrequencyHz)}, {"rms_v", number(l.RMSV)},
			{"instrument_rms_v", positive(l.InstrumentRMSV)},
			{"phase_rad", number(l.PhaseRad)}, {"comb", orNull(l.Comb)}, {"harmonic", positive(float64(l.Harmonic))},
			{"name", orNull(l.Name)}})
	}
	return out
}

func thirdOctaveObjects(t []spectrum.ThirdOctave) []object {
	out := []object{}
	for _, b := range t {
		out = append(out, object{{"centre_hz", number(b.CentreHz)},
			{"density_v_per_rthz", number(b.DensityVPerRtHz)}, {"low_v_per_rthz", positive(b.LowVPerRtHz)},
			{"high_v_per_rthz", positive(b.HighVPerRtHz)}, {"ungated_v_per_rthz", positive(b.UngatedVPerRtHz)},
			{"baseline_v_per_rthz", positive(b.BaselineVPerRtHz)}})
	}
	return out
}

// cycleObject is null when no cycle was folded.
func cycleObject(d *doc, c *analysis.Cycle) any {
	if len(c.MeanV) == 0 {
		return nil
	}
	o := object{{"period_s", number(c.PeriodS)}, {"cycles", c.Cycles}}
	d.figure(&o, "cycle.rise_slope_v_per_s", "rise_slope_v_per_s", c.RiseSlopeVPerS)
	d.figure(&o, "cycle.fall_slope_v_per_s", "fall_slope_v_per_s", c.FallSlopeVPerS)
	d.figure(&o, "cycle.esr_step_v", "esr_step_v", c.ESRStepV)
	d.figure(&o, "cycle.esr_step_share", "esr_step_share", c.ESRStepShare)
	d.figure(&o, "cycle.apparent_duty", "apparent_duty", c.ApparentDuty)
	o.add("mean_v", series(c.MeanV))
	o.add("spread_v", series(c.SpreadV))
	return o
}

func spikeObjects(spikes []spike.Event) []object {
	out := []object{}
	for _, s := range spikes {
		o := object{{"time_s", number(s.TimeS)}, {"peak_v", number(s.PeakV)}, {"duration_s", positive(s.DurationS)},
			{"area_vs", number(s.AreaVs)}, {"ring_hz", positive(s.RingHz)}, {"ring_q", positive(s.RingQ)}}
		if s.CyclePhase >= 0 {
			o.add("cycle_phase", number(s.CyclePhase))
		} else {
			o.add("cycle_phase", nil)
		}
		o.add("class", orNull(s.Class))
		out = append(out, o)
	}
	return out
}

func histogramObject(edges string, h analysis.Histogram) any {
	if len(h.Counts) == 0 {
		return nil
	}
	return object{{edges, series(h.Edges)}, {"counts", h.Counts}}
}

// jsonColumns are the most columns of a waveform that are written out.
const jsonColumns = 2000

func envelopeObject(e analysis.Envelope) any {
	if len(e.MinV) == 0 {
		return nil
	}
	return object{{"start_s", number(e.StartS)}, {"step_s", number(e.StepS)},
		{"min_v", series(e.MinV)}, {"max_v", series(e.MaxV)}}
}

func spectrumObject(s *spectrum.Curve) any {
	if len(s.FrequencyHz) == 0 {
		return nil
	}
	o := object{{"frequency_hz", series(s.FrequencyHz)}, {"v_per_rthz", series(s.VPerRtHz)}}
	if len(s.BaselineVPerRtHz) > 0 {
		o.add("baseline_v_per_rthz", series(s.BaselineVPerRtHz))
	} else {
		o.add("baseline_v_per_rthz", nil)
	}
	return o
}
