package filter

import (
	"context"
	"math"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// everyFigure is a measurement in which every figure of the register is known, and
// so are the curves behind them: a triangle at 100 kHz, 100 Hz, white noise.
func everyFigure() *analysis.Measurement {
	m := &analysis.Measurement{File: "all.csv", Calibrated: true, SampleRateHz: 100e6, DurationS: 0.1,
		Span: capture.Span{LowHz: 10, HighHz: 40e6}, Bands: spectrum.BandPlan()}
	m.Bands = append(m.Bands, spectrum.Band{ID: "bs468_qp", LowHz: 31.5, HighHz: 31.5e3})
	for i := range m.Bands {
		if m.Bands[i].HighHz == 0 {
			m.Bands[i].HighHz = m.Span.HighHz
		}
	}
	for _, row := range analysis.Register() {
		if row.Write != nil {
			row.Write(m, figure.Figure{Value: 1, Known: true, U: 0.1})
		}
	}
	set := func(key string, v float64) {
		row, ok := analysis.Lookup(key)
		if !ok {
			panic(key)
		}
		row.Write(m, figure.Known(v))
	}
	set("switching_hz", 100e3)
	set("mains_line_hz", 100)
	set("noise_density_at_hz", 10e3)
	set("ring_hz", 10e6)
	m.Cycle.PeriodS = 10e-6
	for i := range 512 {
		m.Cycle.MeanV = append(m.Cycle.MeanV, math.Abs(float64(i)/256-1)-0.5)
	}
	m.Lines = []spectrum.Line{{FrequencyHz: 100, RMSV: 0.5, Comb: spectrum.CombMains}}
	for hz := 10.0; hz < 40e6; hz *= 1.02 {
		m.Spectrum.FrequencyHz = append(m.Spectrum.FrequencyHz, hz)
		m.Spectrum.VPerRtHz = append(m.Spectrum.VPerRtHz, 1e-6)
	}
	for hz := 20.0; hz < 40e6; hz *= math.Pow(10, 0.1) {
		m.Noise.ThirdOctaves = append(m.Noise.ThirdOctaves, spectrum.ThirdOctave{CentreHz: hz, DensityVPerRtHz: 1e-6})
	}
	return m
}

// A figure behind a filter is predicted by its rule, or not measured. None is
// handed on as it was ahead of it, unless its rule says that a filter can't move it.
func TestEveryFigureBehindAFilter(t *testing.T) {
	// 10 Ω into 1 mF with next to no ESR and ESL: 16 Hz
	c := Circuit{Topology: RC, ROhm: 10, LoadOhm: 100, C1: Capacitor{F: 1e-3, ESROhm: 1e-3, ESLH: 1e-12}}
	m := everyFigure()
	after := newAhead(m).behind(c, everything)
	for _, row := range analysis.Register() {
		before, behind := row.Read(m), row.Read(after)
		if !before.Known {
			t.Errorf("%s: not in the test's measurement; it reads %+v", row.Key, before)
			continue
		}
		switch row.Behind.Rule {
		case figure.Unstated:
			t.Errorf("%s has no rule behind a filter", row.Key)
		case figure.Unpredictable, figure.NoneStaysNone:
			if behind.Known {
				t.Errorf("%s: %g behind a filter, want not measured", row.Key, behind.Value)
			} else if behind.Missing == "" {
				t.Errorf("%s: not measured without a reason", row.Key)
			}
		case figure.ReadAnew: // as good as what it is read from, which has rules of its own
		case figure.Unchanged:
			if behind != before {
				t.Errorf("%s: %+v, want as before", row.Key, behind)
			}
		default:
			if !behind.Known || !(behind.Value < 0.5*before.Value) {
				t.Errorf("%s: %+v behind a filter that halves everything above 100 Hz", row.Key, behind)
			}
		}
	}
	none := everyFigure()
	none.Spikes.PerS, none.Spikes.PerCycle = figure.Known(0), figure.Known(0)
	if f := newAhead(none).behind(c, everything).Spikes.PerS; !f.Known || f.Value != 0 {
		t.Errorf("no spikes ahead of a filter, %+v behind it", f)
	}
}

// The rms of what repeats falls with its parts: of a sine at 100 Hz and a triangle
// at 100 kHz, each by the circuit's gain there (by power; the triangle's third
// harmonic holds 1/81 of the fundamental's, its fundamental 98.6 %).
func TestPeriodicRMSBehindAFilter(t *testing.T) {
	c := Circuit{Topology: RC, ROhm: 1, LoadOhm: 10, C1: Capacitor{F: 100e-6, ESROhm: 0.01, ESLH: 1e-9}}
	m := everyFigure()
	triangle := 1 / math.Sqrt(12) // rms, peak-to-peak 1
	m.PeriodicRMSV = figure.Known(math.Hypot(triangle, 0.5))
	got := newAhead(m).behind(c, everything).PeriodicRMSV
	g1, g2 := math.Pow(10, DB(Insertion(c, 100))/20), math.Pow(10, DB(Insertion(c, 100e3))/20)
	want := math.Hypot(0.5*g1, triangle*g2)
	if !got.Known || math.Abs(got.Value/want-1) > 0.02 {
		t.Errorf("%.4g V rms, want %.4g", got.Value, want)
	}
}

// A criterion that can't be foretold from the measurement must not end in advice
// that no part set helps.
func TestNoFalseAdviceOnAnUnforetoldCriterion(t *testing.T) {
	in := nearMiss(4, 10e-3, 0)
	limits, err := target.Custom(map[string]float64{string(target.SpikeRate): 10}, nil, [2]float64{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	in.Target = limits
	for _, m := range in.Unit.Captures {
		m.Spikes.PerS, m.Spikes.Count = figure.Known(100), 100
	}
	if !target.Foretold(target.RipplePP) || target.Foretold(target.SpikeRate) {
		t.Fatal("the test needs a criterion that is not foretold; take another one")
	}
	a, err := Search(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a.Found || strings.Contains(a.Why, "another supply") || !strings.Contains(a.Why, "spikes per second") {
		t.Errorf("found %v: %s", a.Found, a.Why)
	}
}
