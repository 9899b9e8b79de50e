package analysis_test

import (
	"math"
	"math/rand"
	"slices"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// meansOf is a record of means over each sample interval, of a supply that switches at
// 130 kHz with three harmonics (rms, rms/2, rms/3) and has white noise of 100 nV/√Hz:
// of a line at f the mean leaves sin(x)/x, x = πf/rate (the transform of the interval).
func meansOf(rateHz float64, samples int, rms float64, mean bool) *capture.Trace {
	r := rand.New(rand.NewSource(8))
	v := make([]float64, samples)
	for i := range v {
		v[i] = 100e-9 * math.Sqrt(rateHz/2) * r.NormFloat64()
		for h := 1.0; h <= 3; h++ {
			x := math.Pi * h * 130e3 / rateHz
			a := math.Sqrt2 * rms / h
			if mean {
				a *= math.Sin(x) / x
			}
			v[i] += a * math.Cos(2*math.Pi*h*130e3*float64(i)/rateHz+h)
		}
	}
	return &capture.Trace{File: "slow.csv", Volts: v, SampleRateHz: rateHz, TrueRateHz: rateHz, Calibrated: true, Coupling: capture.CouplingAC,
		Span: capture.Span{LowHz: 4 * rateHz / float64(samples), HighHz: 0.4 * rateHz}, Levels: capture.Levels{Distinct: capture.MostLevels}}
}

// fastOf measures the same supply's fast capture, each of those asked for once.
func fastOf(t *testing.T, rms float64) *analysis.Measurement {
	t.Helper()
	if m := fastsOf[rms]; m != nil {
		return m
	}
	tr := meansOf(100e6, 100_000, rms, false)
	tr.File, tr.Acquisition.Mode = "fast.csv", capture.AcquisitionSample
	tr.BandwidthHz, tr.Span.HighHz = 20e6, 20e6
	fastsOf[rms] = measured(t, tr)
	return fastsOf[rms]
}

var fastsOf = map[float64]*analysis.Measurement{}

// A mean leaves 2.5 % of the third harmonic, folded from 390 to 10 kHz by a rate of
// 100 kS/s: 168 µV of 6.7 mV, by hand. Such a record's audio figure is an upper one,
// until the unit's own fast capture shows that little is there to be folded.
func TestAWeakFilterMakesUpperBounds(t *testing.T) {
	yes := func(tr *capture.Trace) { tr.AntiAliased = true }
	highRes := func(tr *capture.Trace) { tr.Acquisition.Mode = capture.AcquisitionHighRes }
	for _, c := range []struct {
		name    string
		rateHz  float64
		rms     float64
		set     func(*capture.Trace)
		fastRMS float64 // 0: no fast capture
		bound   bool
	}{
		{"stated, alone", 100e3, 20e-3, yes, 0, true},
		{"mean, alone", 100e3, 20e-3, highRes, 0, true},
		{"mean, quiet, alone", 100e3, 0, highRes, 0, true},
		{"mean, loud fast capture", 100e3, 20e-3, highRes, 20e-3, true},
		{"mean, quiet fast capture", 100e3, 20e-6, highRes, 20e-6, false},
		{"stated, quiet fast capture", 400e3, 20e-6, yes, 20e-6, false},
		{"stated, quiet fast capture, the advised RC of 48 kHz at half the rate", 100e3, 20e-6, yes, 20e-6, true},
		{"stated bandwidth of half the rate", 100e3, 20e-3, func(tr *capture.Trace) { tr.BandwidthHz = 50e3 }, 0, true},
		{"mean at 500 kS/s", 500e3, 20e-3, highRes, 0, false},
		{"stated at 500 kS/s", 500e3, 20e-3, yes, 0, false},
		{"sound card", 96e3, 0, func(tr *capture.Trace) { tr.AntiAliased, tr.Decimates = true, true }, 0, false},
		{"RC at a tenth of the rate", 250e3, 0, func(tr *capture.Trace) { tr.BandwidthHz, tr.AntiAliased = 25e3, true }, 0, false},
	} {
		tr := meansOf(c.rateHz, int(0.25*c.rateHz), c.rms, true)
		c.set(tr)
		all := []*analysis.Measurement{measured(t, tr)}
		if c.fastRMS > 0 {
			all = append(all, fastOf(t, c.fastRMS))
		}
		m := analysis.SettleAliases(all)[0]
		text := ""
		for _, k := range m.Cautions {
			if k.Code == capture.CautionPartlyFiltered {
				text = k.Text
				if !strings.Contains(k.Fix, "500 kS/s") {
					t.Errorf("%s: %s", c.name, k.Fix)
				}
			}
		}
		for _, id := range []string{"audio", "audio_a"} {
			b := m.Bands[slices.IndexFunc(m.Bands, func(b spectrum.Band) bool { return b.ID == id })]
			if !b.RMSV.Known || b.RMSV.UpperBound != c.bound || (text != "") != c.bound {
				t.Errorf("%s: %s %+v, said %q", c.name, id, b.RMSV, text)
			}
			// white noise in 20 Hz to 20 kHz: 100 nV·√19980 Hz
			if want := 100e-9 * math.Sqrt(19980); id == "audio" && !c.bound && math.Abs(b.RMSV.Value-want) > b.RMSV.U+0.03*want {
				t.Errorf("%s: audio %+v, true %g", c.name, b.RMSV, want)
			}
		}
		if d := m.Noise.DensityVPerRtHz; !d.Known || d.UpperBound != c.bound {
			t.Errorf("%s: density %+v", c.name, d)
		}
		if loud := c.fastRMS > 1e-3; loud && (!strings.Contains(text, "fast.csv") || !strings.Contains(text, "390 kHz")) {
			t.Errorf("%s: %s", c.name, text)
		}
	}
}

// A sum that is the mains comb's almost alone stands: nothing is folded to its lines.
func TestMainsStandsBehindAWeakFilter(t *testing.T) {
	tr := meansOf(100e3, 50_000, 0, true)
	tr.AntiAliased = true
	for i := range tr.Volts {
		for h := 1.0; h <= 20; h++ {
			tr.Volts[i] += 4e-3 / h * math.Sin(2*math.Pi*100*h*float64(i)/tr.SampleRateHz)
		}
	}
	m := measured(t, tr)
	for _, b := range m.Bands {
		if (b.ID == "audio" || b.ID == "audio_a") && (!b.RMSV.Known || b.RMSV.UpperBound || !b.RMSNoLinesV.UpperBound) {
			t.Errorf("%s: %+v, without lines %+v", b.ID, b.RMSV, b.RMSNoLinesV)
		}
	}
}
