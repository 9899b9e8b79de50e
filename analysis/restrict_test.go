package analysis_test

import (
	"context"
	"math"
	"math/rand"
	"slices"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
	"stillglow/capture/synth"
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

// What is folded lies evenly over the span: where the density at its top is far
// under a figure, the figure is no bound, whatever the filter.
func TestAQuietTopShowsThatNothingFolds(t *testing.T) {
	tr := noiseTrace(200_000)
	// noise of 1 mV rms through one pole at 8 kHz, and 0.1 % of it white
	r, low := rand.New(rand.NewSource(5)), 0.0
	a := math.Exp(-2 * math.Pi * 8e3 / tr.SampleRateHz)
	for i := range tr.Volts {
		low = a*low + math.Sqrt(1-a*a)*1e-3*r.NormFloat64()
		tr.Volts[i] = 6.3 + low + 1e-6*r.NormFloat64()
	}
	m := measured(t, tr)
	if d, a := m.Noise.DensityVPerRtHz, m.Bands[0].RMSV; !d.Known || d.UpperBound || !a.Known || a.UpperBound {
		t.Errorf("density %+v, audio %+v", d, a)
	}
	for _, k := range m.Cautions {
		if k.Code == capture.CautionUnfiltered {
			t.Errorf("cautioned: %s", k.Text)
		}
	}
}

// Behind one pole at half the rate of a fast scope 63 % of its own noise's power
// is folded on top of it: (π/2)·coth(π/2) - 1 by hand.
func TestAFastScopesOwnNoiseIsABound(t *testing.T) {
	tr := noiseTrace(100_000)
	tr.SampleRateHz, tr.TrueRateHz, tr.BandwidthHz = 200e6, 200e6, 100e6
	tr.Span = capture.Span{LowHz: 8e3, HighHz: 80e6}
	m := measured(t, tr)
	if d := m.Noise.DensityVPerRtHz; !d.Known || !d.UpperBound {
		t.Errorf("white to half the rate: %+v", d)
	}
	tr.BandwidthHz = 20e6
	if d := measured(t, tr).Noise.DensityVPerRtHz; !d.Known || d.UpperBound {
		t.Errorf("limited to a fifth of half the rate: %+v", d)
	}
}

// A unit's fast capture tells what its slow ones may have folded: nothing, where
// there is no converter.
func TestAFastCaptureShowsWhatFolds(t *testing.T) {
	slow := measured(t, noiseTrace(200_000)) // 1 mV rms to 500 kHz: 1.41 µV/√Hz
	for _, c := range []struct {
		rms   float64 // of the fast one, to 100 MHz
		bound bool
	}{{1e-4, false}, {5e-3, true}} {
		tr := noiseTrace(100_000)
		for i := range tr.Volts {
			tr.Volts[i] = 6.3 + (tr.Volts[i]-6.3)*c.rms/1e-3
		}
		tr.SampleRateHz, tr.TrueRateHz = 200e6, 200e6
		tr.Span = capture.Span{LowHz: 8e3, HighHz: 80e6}
		out := analysis.SettleAliases([]*analysis.Measurement{slow, measured(t, tr)})
		d, a := out[0].Noise.DensityVPerRtHz, out[0].Bands[0].RMSV
		said := slices.ContainsFunc(out[0].Cautions, func(k capture.Caution) bool { return k.Code == capture.CautionUnfiltered })
		if d.UpperBound != c.bound || a.UpperBound != c.bound || said != c.bound {
			t.Errorf("%g V rms: density %+v, audio %+v, said %t", c.rms, d, a, said)
		}
		if !slow.Noise.DensityVPerRtHz.UpperBound {
			t.Error("the measurement given was changed")
		}
	}
}

// TestQuieterThanAScope: what a scope's own input adds is missing where sweeps were
// averaged, and above the corner of a running mean. Its noise of 15 nV/√Hz (15 nV/√Hz
// in 100 MHz are 190 µV rms: common practice, no source) is in every single sweep.
func TestQuieterThanAScope(t *testing.T) {
	const n, rate = 200_000, 200e6
	for _, c := range []struct {
		name     string
		density  float64 // V/√Hz, white
		mean     int     // samples in the running mean
		mode     capture.AcquisitionMode
		smoothed bool
	}{
		{"one sweep", 15e-9, 1, capture.AcquisitionUnknown, false},
		{"64 sweeps", 15e-9 / 8, 1, capture.AcquisitionUnknown, true},
		{"a running mean", 15e-9, 20, capture.AcquisitionUnknown, true},
		{"stated to be single samples", 15e-9 / 8, 1, capture.AcquisitionSample, false},
	} {
		r := rand.New(rand.NewSource(7))
		white := make([]float64, n+c.mean)
		for i := range white {
			white[i] = c.density * math.Sqrt(rate/2) * r.NormFloat64()
		}
		v, sum := make([]float64, n), 0.0
		for i := range white {
			sum += white[i]
			if i >= c.mean {
				sum -= white[i-c.mean]
				phase := math.Mod(float64(i)*180e3/rate, 1)
				v[i-c.mean] = sum/float64(c.mean) + 5e-3*math.Min(phase/0.3, (1-phase)/0.7)
			}
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		tr.Acquisition.Mode = c.mode
		m := measured(t, tr)
		said := slices.ContainsFunc(m.Cautions, func(k capture.Caution) bool { return k.Code == capture.CautionSmoothed })
		if said != c.smoothed {
			t.Errorf("%s: cautions %v", c.name, m.Cautions)
		}
		for name, f := range map[string]figure.Figure{"p-p": m.PPV, "p-p (20 MHz)": m.PP20MHzV, "density": m.Noise.DensityVPerRtHz, "rms": m.ACRMSV} {
			if f.Known && f.LowerBound != c.smoothed {
				t.Errorf("%s: %s is %+v", c.name, name, f)
			}
		}
		if f := m.RipplePPV; !f.Known || f.LowerBound || math.Abs(f.Value-5e-3) > 0.05*5e-3 {
			t.Errorf("%s: the ripple is %+v", c.name, f)
		}
	}
}

// What stands still at the ends of the range shows no noise: where that is much of
// the record, noise and sums are lower bounds.
func TestMostlySaturatedRecordsGiveLowerBounds(t *testing.T) {
	for level, lower := range map[float64]bool{0.3e-3: true, 3.5e-3: false} { // 76 % and 0.05 % of the samples
		tr := noiseTrace(100_000)
		cut := 0
		for i, v := range tr.Volts {
			if math.Abs(v-6.3) > level {
				tr.Volts[i] = 6.3 + math.Copysign(level, v-6.3)
				cut++
			}
		}
		tr.Levels.Top, tr.Levels.Bottom = capture.FlatEnd{LevelV: 6.3 + level, Samples: cut / 2}, capture.FlatEnd{LevelV: 6.3 - level, Samples: cut / 2}
		m := measured(t, tr)
		for name, f := range map[string]figure.Figure{"density": m.Noise.DensityVPerRtHz, "rms": m.ACRMSV, "random": m.RandomRMSV} {
			if !f.Known || f.LowerBound != lower {
				t.Errorf("cut off at %g V: %s is %+v", level, name, f)
			}
		}
	}
}

// In a mean over sweeps cycles that keep no time run out of step with the trigger:
// their ripple falls off away from it and is a lower bound, that of a clock is none.
func TestAveragedRippleThatFades(t *testing.T) {
	const n, rate, hz = 40_000, 200e6, 181.3e3
	for _, fades := range []bool{false, true} {
		r := rand.New(rand.NewSource(2))
		v := make([]float64, n)
		for i := range v {
			phase := math.Mod(float64(i)*hz/rate, 1)
			v[i] = 8e-3 * (math.Min(phase/0.4, (1-phase)/0.6) - 0.5)
			if fades {
				v[i] *= math.Exp(-float64(i) / n)
			}
			v[i] += 5e-5 * r.NormFloat64()
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels},
			Acquisition: capture.Acquisition{Mode: capture.AcquisitionAverage, Averages: 16}}
		m := measured(t, tr)
		if f := m.RipplePPV; !f.Known || f.LowerBound != fades {
			t.Errorf("fades %v: the ripple is %+v", fades, f)
		}
	}
}

// A low-pass over least and greatest values that take turns passes their mean: the
// extent of the extremes themselves bounds what it would have left of the curve.
func TestExtremesBoundThe20MHzPeakToPeak(t *testing.T) {
	tr := noiseTrace(20_000)
	tr.SampleRateHz, tr.TrueRateHz, tr.Span = 5e8, 2.5e8, capture.Span{LowHz: 1e5, HighHz: 1e8}
	for i := range tr.Volts { // a 15 MHz ring of 20 mV p-p at 500 MS/s, its extremes 1 mV apart
		tr.Volts[i] = 6.3 + 0.01*math.Sin(2*math.Pi*15e6*float64(i/2)/2.5e8) + 0.5e-3*float64(2*(i%2)-1)
	}
	tr.Acquisition = capture.Acquisition{Mode: capture.AcquisitionPeak, Extremes: capture.ExtremesPairs}
	m := measured(t, tr)
	if f := m.PP20MHzV; !f.Known || !f.UpperBound || f.Value < 0.02 || f.Value > 0.022 {
		t.Errorf("20 MHz p-p of extremes: %+v", f)
	}
}

// A filter behind the converter lowers what is fast and keeps no alias out: peaks and
// fast sums are lower bounds with a caution, and the slow record's noise is an upper one
// as any unfiltered record's is.
func TestFilteredBehindTheConverter(t *testing.T) {
	tr := noiseTrace(250_000)
	tr.Acquisition = capture.Acquisition{Mode: capture.AcquisitionEnhanced}
	m := measured(t, tr)
	for name, f := range map[string]figure.Figure{"p-p": m.PPV, "rms": m.ACRMSV, "random": m.RandomRMSV} {
		if !f.Known || !f.LowerBound {
			t.Errorf("%s: %+v", name, f)
		}
	}
	for name, f := range map[string]figure.Figure{"density": m.Noise.DensityVPerRtHz, "audio": m.Bands[0].RMSV} {
		if !f.Known || f.LowerBound || !f.UpperBound {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// A moving mean whose corner is known lowers what reaches above a quarter of it: peaks
// and the random part, the ripple of a clock above a twentieth of it; what lies lower
// stands as it is.
func TestMovingMeanBounds(t *testing.T) {
	for _, c := range []struct {
		cornerHz        float64
		ripple, low, hi bool // bounds: the ripple, 20 kHz to 1 MHz, 1 to 20 MHz
	}{{50e6, false, false, true}, {9e6, false, false, true}, {2e6, true, true, true}, {0, true, true, true}} {
		tr, _ := synth.Supply{Seed: 3, RateHz: 100e6, Samples: 60e3, ACCoupled: true, SwitchingHz: 120e3, RipplePPV: 20e-3, NoiseVPerRtHz: 60e-9, ADCBits: 8}.Trace("mean")
		tr.Acquisition = capture.Acquisition{Mode: capture.AcquisitionEnhanced, CornerHz: c.cornerHz}
		m := measured(t, tr)
		if !m.RipplePPV.Known || m.RipplePPV.LowerBound != c.ripple {
			t.Errorf("corner %g Hz: ripple %+v", c.cornerHz, m.RipplePPV)
		}
		if !m.PPV.LowerBound || !m.RandomRMSV.LowerBound {
			t.Errorf("corner %g Hz: p-p %+v, random %+v", c.cornerHz, m.PPV, m.RandomRMSV)
		}
		for _, b := range m.Bands {
			if want := map[string]bool{"20k_1m": c.low, "1m_20m": c.hi, "above_20m": c.hi}[b.ID]; b.RMSV.Known && b.RMSV.LowerBound != want {
				t.Errorf("corner %g Hz: %s %+v", c.cornerHz, b.ID, b.RMSV)
			}
		}
	}
}

// A scope's 15 nV/√Hz (as in TestQuieterThanAScope) behind a Gaussian over its samples
// of 8 MHz is next to nothing from 30 MHz on, and no simulation for that: those hold no
// noise lower down either.
func TestSmoothedToNothing(t *testing.T) {
	const n, rate, sigma = 100_000, 200e6, 3.3 // samples: 3 dB down at 0.1325 of the rate over them
	r := rand.New(rand.NewSource(9))
	for _, noise := range []float64{15e-9, 0} {
		white := make([]float64, n)
		for i := range white {
			white[i] = noise * math.Sqrt(rate/2) * r.NormFloat64()
			phase := math.Mod(float64(i)*180e3/rate, 1)
			white[i] += 5e-3 * math.Min(phase/0.3, (1-phase)/0.7)
		}
		v := make([]float64, n)
		for i := range v {
			sum := 0.0
			for d := -20; d <= 20; d++ {
				w := math.Exp(-float64(d*d) / (2 * sigma * sigma))
				v[i] += w * white[(i+d+n)%n]
				sum += w
			}
			v[i] /= sum
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		m := measured(t, tr)
		said := slices.ContainsFunc(m.Cautions, func(k capture.Caution) bool { return k.Code == capture.CautionSmoothed })
		if said != (noise > 0) || m.PPV.LowerBound != (noise > 0) {
			t.Errorf("noise of %g V/√Hz: p-p %+v, cautions %v", noise, m.PPV, m.Cautions)
		}
	}
}
