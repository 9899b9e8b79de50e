package report

import (
	"errors"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// CaptureJSON is one capture as one line of JSON: the object that `measure
// --json` prints and that results.json holds for every capture. Keys carry
// their SI unit. A figure that the capture can't show is null, with the reason
// under its key in "not_measured". Expanded uncertainties (k = 2, same unit)
// stand in "uncertainty" under the figure's key; "lower_bounds" lists the
// figures whose true value is at least the one given, "upper_bounds", where there
// are any, those whose true value is at most that. It is deterministic and
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
	d.add("mode", m.Mode.Word())
	d.add("calibrated", m.Calibrated)
	unit := "V"
	if !m.Calibrated {
		unit = "full scale"
	}
	d.add("curve_unit", unit)
	d.add("span_low_hz", positive(m.Span.LowHz))
	d.add("span_high_hz", positive(m.Span.HighHz))

	addFigures(d, m)

	d.add("cautions", list(m.Cautions))
	d.add("bands", bandObjects(d, m))
	d.add("lines", lineObjects(m.Lines))
	d.add("third_octaves", thirdOctaveObjects(m.Noise.ThirdOctaves))
	d.add("cycle", cycleObject(d, m))
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

// addFigures adds the figures of the register that stand at the top level, and
// behind some of them what is no figure.
func addFigures(d *doc, m *analysis.Measurement) {
	for _, row := range analysis.Register() {
		if strings.Contains(row.Key, ".") {
			continue // inside an object or a list
		}
		d.fig(row.Key, row.Read(m))
		if more := factsBehind[row.Key]; more != nil {
			more(d, m)
		}
	}
}

// factsBehind are what belongs to a figure and is none itself.
var factsBehind = map[string]func(*doc, *analysis.Measurement){
	"pp_20mhz_999_v": func(d *doc, m *analysis.Measurement) {
		d.add("pp_20mhz_filter", orNull(m.PP20MHzFilter))
		d.add("pp_20mhz_over_s", positive(m.PPOverS))
	},
	"ripple_rms_v": func(d *doc, m *analysis.Measurement) {
		kind := string(m.Kind)
		if kind == "" {
			kind = "unknown"
		}
		d.add("switching_kind", kind)
	},
	"spikes_per_cycle": func(d *doc, m *analysis.Measurement) {
		s := &m.Spikes
		if s.PerS.Known {
			d.add("spike_count", s.Count)
			d.add("spikes_mains_tied", s.MainsTied)
			d.add("spikes_random", s.Random)
		} else { // a count of 0 would read as "none seen"
			d.add("spike_count", nil)
			d.add("spikes_mains_tied", nil)
			d.add("spikes_random", nil)
		}
	},
	"noise_corner_hz": func(d *doc, m *analysis.Measurement) {
		d.add("noise_gated_out_share", number(m.Noise.ExcisedShare))
		d.add("noise_at_instrument_floor", m.Noise.AtInstrument)
	},
}

// figuresOf adds the register's figures under a dotted prefix to an object.
func figuresOf(d *doc, o *object, prefix string, m *analysis.Measurement) {
	for _, row := range analysis.Register() {
		if key, ok := strings.CutPrefix(row.Key, prefix); ok {
			d.figure(o, row.Key, key, row.Read(m))
		}
	}
}

func bandObjects(d *doc, m *analysis.Measurement) []object {
	out := []object{}
	for _, b := range m.Bands {
		o := object{{"id", b.ID}, {"name", b.Name}, {"low_hz", number(b.LowHz)}, {"high_hz", positive(b.HighHz)}}
		figuresOf(d, &o, "bands."+b.ID+".", m)
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
func cycleObject(d *doc, m *analysis.Measurement) any {
	c := &m.Cycle
	if len(c.MeanV) == 0 {
		return nil
	}
	o := object{{"period_s", number(c.PeriodS)}, {"cycles", c.Cycles}}
	figuresOf(d, &o, "cycle.", m)
	o.add("mean_v", series(c.MeanV))
	o.add("spread_v", series(c.SpreadV))
	return o
}

func spikeObjects(spikes []spike.Event) objects {
	return func(yield func(object, error) bool) {
		for _, s := range spikes {
			phase := any(nil)
			if s.CyclePhase >= 0 {
				phase = number(s.CyclePhase)
			}
			o := object{{"time_s", number(s.TimeS)}, {"peak_v", number(s.PeakV)}, {"duration_s", positive(s.DurationS)},
				{"area_vs", number(s.AreaVs)}, {"ring_hz", positive(s.RingHz)}, {"ring_q", positive(s.RingQ)},
				{"cycle_phase", phase}, {"class", orNull(s.Class)}}
			if !yield(o, nil) {
				return
			}
		}
	}
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
