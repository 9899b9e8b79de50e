package filter

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

type refPart struct{ F, ESR, ESL float64 }

func (p *refPart) capacitor() Capacitor {
	if p == nil {
		return Capacitor{}
	}
	return Capacitor{F: p.F, ESROhm: p.ESR, ESLH: p.ESL}
}

type refFigures struct {
	LineRMSV float64 `json:"line_rms_v"`
	BandRMSV float64 `json:"band_rms_v"`
}

// Ten filters over one supply's samples, by scipy in the time domain and by this
// package's filter and measurement: the switching line and the rms from 20 kHz to
// 1 MHz within 2 %, before and behind.
func TestRemeasuredAgainstScipy(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(referenceDir, "remeasure.json"))
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		RateHz     float64 `json:"rate_hz"`
		Samples    int     `json:"samples"`
		RipplePPV  float64 `json:"ripple_pp_v"`
		MainsPeakV float64 `json:"mains_peak_v"`
		NoisePPV   float64 `json:"noise_pp_v"`
		Before     refFigures
		Filters    []struct {
			Name                    string
			Topology                Topology
			Source, Load, R, L, DCR float64
			C1, C2, Film            *refPart
			After                   refFigures
		}
	}
	if err := json.Unmarshal(b, &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Filters) != 10 {
		t.Fatalf("%d filters", len(doc.Filters))
	}
	// The supply of remeasure.py, sample for sample.
	tr := &capture.Trace{File: "drawn", SampleRateHz: doc.RateHz, Coupling: capture.CouplingAC, Calibrated: true, Volts: make([]float64, doc.Samples)}
	tr.Span = capture.Span{LowHz: 4 * doc.RateHz / float64(doc.Samples), HighHz: 0.4 * doc.RateHz}
	x := uint64(12345)
	for i := range tr.Volts {
		s := float64(i) / doc.RateHz
		v := doc.MainsPeakV * math.Sin(2*math.Pi*250*s)
		for k := 1; k < 20; k += 2 {
			v += doc.RipplePPV * 4 / math.Pi / math.Pi / float64(k*k) * math.Cos(2*math.Pi*100e3*float64(k)*s)
		}
		x = (1103515245*x + 12345) % (1 << 31)
		tr.Volts[i] = v + doc.NoisePPV*(float64(x)/(1<<31)-0.5)
	}
	ctx := context.Background()
	setup := analysis.Setup{LoadA: 0.94, HeaterA: 0.94}
	m, err := analysis.Measure(ctx, tr, setup)
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, m *analysis.Measurement, want refFigures) {
		t.Helper()
		check := func(name string, got figure.Figure, want float64) {
			t.Helper()
			if !got.Known || math.Abs(got.Value/want-1) > 0.02 {
				t.Errorf("%s: %s %.5g V (known %v), scipy %.5g", what, name, got.Value, got.Known, want)
			}
		}
		check("switching line", m.SwitchingFundamentalRMSV, want.LineRMSV)
		for _, band := range m.Bands {
			if band.ID == "20k_1m" {
				check(band.Name, band.RMSV, want.BandRMSV)
			}
		}
	}
	near("before", m, doc.Before)
	goal, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Unit: target.Unit{HeaterA: 0.94, Captures: []*analysis.Measurement{m}}, Target: goal, Traces: []*capture.Trace{tr}, Setups: []analysis.Setup{setup}}
	for i, f := range doc.Filters {
		if i%testrun.Short(1, 3) != 0 {
			continue
		}
		r, err := Predict(ctx, in, Circuit{
			Topology: f.Topology, SourceOhm: f.Source, LoadOhm: f.Load, ROhm: f.R, L: Inductor{H: f.L, DCROhm: f.DCR},
			C1: f.C1.capacitor(), C2: f.C2.capacitor(), CFilm: f.Film.capacitor(),
		})
		if err != nil {
			t.Fatal(f.Name, err)
		}
		if r.Method != FromSamples {
			t.Errorf("%s: %s", f.Name, r.Method)
		}
		near(f.Name, r.After.Unit.Captures[0], f.After)
	}
}
