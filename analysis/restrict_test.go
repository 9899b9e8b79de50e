package analysis_test

import (
	"context"
	"math"
	"math/rand"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// noiseTrace is white noise of 1 mV rms about 6.3 V at 1 MS/s.
func noiseTrace(n int) *capture.Trace {
	r := rand.New(rand.NewSource(3))
	v := make([]float64, n)
	for i := range v {
		v[i] = 6.3 + 1e-3*r.NormFloat64()
	}
	return &capture.Trace{Volts: v, SampleRateHz: 1e6, TrueRateHz: 1e6, Calibrated: true, Coupling: capture.CouplingDC,
		Span: capture.Span{LowHz: 4e6 / float64(n), HighHz: 400e3}, Levels: capture.Levels{Distinct: capture.MostLevels}}
}

func measured(t *testing.T, tr *capture.Trace) *analysis.Measurement {
	t.Helper()
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestAFlatRecordShowsDCAlone(t *testing.T) {
	for levels := 1; levels <= 2; levels++ {
		tr := noiseTrace(100_000)
		for i := range tr.Volts {
			tr.Volts[i] = 6.3 + 0.02*float64((i/700)%levels)
		}
		tr.Levels = capture.Levels{Distinct: levels, ResolutionV: 0.02}
		m := measured(t, tr)
		if !m.DCV.Known || math.Abs(m.DCV.Value-6.3) > m.DCV.U {
			t.Errorf("%d levels: DC %+v", levels, m.DCV)
		}
		for name, f := range map[string]figure.Figure{"p-p": m.PPV, "rms": m.ACRMSV, "density": m.Noise.DensityVPerRtHz, "audio": m.Bands[0].RMSV,
			"mains": m.MainsLineRMS, "ripple": m.RipplePPV, "random": m.RandomRMSV, "spikes": m.Spikes.PerS} {
			if f.Known || f.Missing == "" {
				t.Errorf("%d levels: %s is %+v", levels, name, f)
			}
		}
	}
}

func TestAveragedRecordsGiveLowerBounds(t *testing.T) {
	tr := noiseTrace(250_000)
	tr.Acquisition = capture.Acquisition{Mode: capture.AcquisitionAverage, Averages: 64}
	m := measured(t, tr)
	for name, f := range map[string]figure.Figure{"p-p": m.PPV, "density": m.Noise.DensityVPerRtHz, "random": m.RandomRMSV, "audio": m.Bands[0].RMSV} {
		if !f.Known || !f.LowerBound || f.UpperBound {
			t.Errorf("%s is %+v", name, f)
		}
	}
}

func TestExtremesKeepPeaksAlone(t *testing.T) {
	tr := noiseTrace(100_000)
	tr.Acquisition = capture.Acquisition{Mode: capture.AcquisitionPeak, Extremes: capture.ExtremesPairs}
	m := measured(t, tr)
	if !m.PPV.Known || m.PPV.LowerBound {
		t.Errorf("p-p %+v", m.PPV)
	}
	for name, f := range map[string]figure.Figure{"rms": m.ACRMSV, "density": m.Noise.DensityVPerRtHz, "audio": m.Bands[0].RMSV, "mains": m.MainsLineRMS} {
		if f.Known {
			t.Errorf("%s is %+v", name, f)
		}
	}
}

// What lies above half the rate only adds: without a filter sums are upper
// figures, with one that is stated or known they are figures.
func TestUnfilteredRecordsGiveUpperBounds(t *testing.T) {
	for _, c := range []struct {
		name  string
		set   func(*capture.Trace)
		bound bool
	}{
		{"nothing known", func(*capture.Trace) {}, true},
		{"20 MHz limit", func(tr *capture.Trace) { tr.BandLimited, tr.BandwidthHz = true, 20e6 }, true},
		{"high resolution", func(tr *capture.Trace) { tr.Acquisition.Mode = capture.AcquisitionHighRes }, false},
		{"RC of 100 kHz", func(tr *capture.Trace) { tr.BandwidthHz, tr.Span.HighHz = 100e3, 100e3 }, false},
		{"sound card", func(tr *capture.Trace) { tr.AntiAliased = true }, false},
	} {
		tr := noiseTrace(200_000)
		c.set(tr)
		m := measured(t, tr)
		said := false
		for _, k := range m.Cautions {
			said = said || k.Code == capture.CautionUnfiltered
		}
		d, a := m.Noise.DensityVPerRtHz, m.Bands[0].RMSV
		if !d.Known || !a.Known || d.UpperBound != c.bound || a.UpperBound != c.bound || said != c.bound {
			t.Errorf("%s: density %+v, audio %+v, said %t", c.name, d, a, said)
		}
	}
}
