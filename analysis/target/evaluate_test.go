package target

import (
	"math"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// fast is a capture at 62.5 MS/s that a quiet supply would give.
func fast(file string) *analysis.Measurement {
	m := &analysis.Measurement{
		File: file, SampleRateHz: 62.5e6, Samples: 62500, DurationS: 1e-3, Calibrated: true,
		Coupling: capture.CouplingAC, Span: capture.Span{LowHz: 5e3, HighHz: 25e6}, LoadA: 0.6,
	}
	m.PP20MHzV = figure.Figure{Value: 10e-3, Known: true, U: 0.3e-3}
	m.RipplePPV = figure.Known(6e-3)
	m.Spikes.PerS = figure.Known(2e5)
	m.Spikes.Count = 200
	m.Spikes.PeakP95V = figure.Known(12e-3)
	m.Bands = []spectrum.Band{{ID: "20k_1m", RMSV: figure.Known(1e-3)}}
	return m
}

// slow is a capture at 200 kS/s over half a second of the same supply.
func slow(file string) *analysis.Measurement {
	m := &analysis.Measurement{
		File: file, SampleRateHz: 200e3, Samples: 100000, DurationS: 0.5, Calibrated: true,
		Coupling: capture.CouplingAC, Span: capture.Span{LowHz: 8, HighHz: 80e3}, LoadA: 0.6,
	}
	m.MainsLineHz = figure.Known(100)
	m.MainsLineRMS = figure.Known(0.2e-3)
	m.Noise.DensityVPerRtHz = figure.Known(0.2e-6)
	m.Bands = []spectrum.Band{
		{ID: "audio", RMSV: figure.Known(60e-6)}, {ID: "audio_a", RMSV: figure.Known(30e-6)},
		{ID: "20k_1m", RMSV: figure.NotMeasured("the record ends at 80 kHz")},
	}
	return m
}

func quiet() Unit {
	return Unit{
		Key: "A B 1", Brand: "A", HeaterA: 0.6,
		Readings: []Reading{{0, 7.2}, {0.6, 7.08}},
		Captures: []*analysis.Measurement{slow("slow.csv"), fast("fast.csv")},
	}
}

func line(t *testing.T) Target {
	t.Helper()
	got, err := Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func marginOf(t *testing.T, e Evaluation, id Criterion) Margin {
	t.Helper()
	for _, m := range e.Margins {
		if m.Limit.Criterion == id {
			return m
		}
	}
	t.Fatalf("no margin of %s", id)
	return Margin{}
}

func TestQuietUnitPasses(t *testing.T) {
	e := Evaluate(quiet(), line(t))
	if e.Verdict != Pass {
		t.Fatalf("verdict %q: %s; %s", e.Verdict, e.Why, e.WouldFlip)
	}
	// 20·log10(20/10) = 6.02 dB, the least of all.
	if e.Margins[e.Worst].Limit.Criterion != RipplePP || math.Abs(e.WorstDB-6.0206) > 1e-3 {
		t.Errorf("worst is %s at %.4f dB", e.Margins[e.Worst].Limit.Criterion, e.WorstDB)
	}
	if e.LoadedV.Value != 7.08 || math.Abs(e.OutputOhm.Value-0.2) > 1e-9 {
		t.Errorf("loaded %v V, output %v Ω", e.LoadedV.Value, e.OutputOhm.Value)
	}
}

// A criterion that no capture covers never ends in a pass, whichever it is; one of
// the common-mode half leaves that half open, beside a verdict on the other.
func TestUncoveredIsNeverPass(t *testing.T) {
	for _, l := range line(t).Limits {
		u := quiet()
		for _, m := range u.Captures {
			switch l.Criterion {
			case RipplePP:
				m.PP20MHzV = figure.NotMeasured("x")
			case MainsLine:
				m.MainsLineRMS = figure.NotMeasured("x")
			case SpikePeak:
				m.Spikes.PeakP95V = figure.NotMeasured("x")
			case BandAudioA, BandRF1:
				m.Bands = []spectrum.Band{{ID: "audio_a", RMSV: figure.Known(30e-6)}, {ID: "20k_1m", RMSV: figure.Known(1e-3)}}
				if l.Criterion == BandAudioA {
					m.Bands = m.Bands[1:]
				} else {
					m.Bands = m.Bands[:1]
				}
			case Noise:
				m.Noise.DensityVPerRtHz = figure.NotMeasured("x")
			}
		}
		if l.Criterion == HeaterDC {
			u.Readings = nil
		}
		e := Evaluate(u, line(t))
		m := marginOf(t, e, l.Criterion)
		want := Open
		if l.Criterion.CommonMode() {
			want = Pass
			if e.Common != CommonOpen {
				t.Errorf("%s not measured: the common-mode half is %q", l.Criterion, e.Common)
			}
		}
		if e.Verdict != want || m.Covered || m.Reason == "" || m.Figure.Known {
			t.Errorf("%s not measured: verdict %q, covered %v, reason %q", l.Criterion, e.Verdict, m.Covered, m.Reason)
		}
		if !strings.Contains(e.WouldFlip, m.Limit.Name) {
			t.Errorf("%s: WouldFlip %q does not name it", l.Criterion, e.WouldFlip)
		}
	}
	if e := Evaluate(Unit{Key: "x"}, line(t)); e.Verdict != Open || e.Worst != -1 {
		t.Errorf("nothing measured: %q, worst %d", e.Verdict, e.Worst)
	}
}

func TestSpanDecidesCoverage(t *testing.T) {
	u := quiet()
	u.Captures[1].Span.HighHz = 10e6 // 25 MS/s: not 20 MHz
	e := Evaluate(u, line(t))
	if m := marginOf(t, e, RipplePP); e.Verdict != Open || m.Covered || !strings.Contains(m.Reason, "20 MHz") {
		t.Errorf("verdict %q, %+v", e.Verdict, m)
	}
	// What is seen of it breaks the limit all the same: that is enough to fail.
	u.Captures[1].PP20MHzV = figure.Known(80e-3)
	e = Evaluate(u, line(t))
	if m := marginOf(t, e, RipplePP); e.Verdict != Fail || !m.Covered || !m.Figure.LowerBound {
		t.Errorf("verdict %q, %+v", e.Verdict, m)
	}
}

func TestLowerBoundIsNeverPass(t *testing.T) {
	u := quiet()
	u.Captures[1].Spikes.PeakP95V.LowerBound = true
	if e := Evaluate(u, line(t)); e.Verdict != Open {
		t.Errorf("under the limit: %q", e.Verdict)
	}
	u.Captures[1].Spikes.PeakP95V.Value = 40e-3
	if e := Evaluate(u, line(t)); e.Verdict != Fail || !strings.Contains(e.Why, "at least 2.5 dB over") {
		t.Errorf("over the limit: %q, %s", e.Verdict, e.Why)
	}
}

func TestUpperBoundIsNeverFail(t *testing.T) {
	u := quiet()
	before := Evaluate(u, line(t)).Verdict
	u.Captures[1].Spikes.PeakP95V.UpperBound = true
	if e := Evaluate(u, line(t)); e.Verdict != before || !marginOf(t, e, SpikePeak).Covered {
		t.Errorf("under the limit: %q, was %q", e.Verdict, before)
	}
	u.Captures[1].Spikes.PeakP95V.Value = 40e-3
	if e := Evaluate(u, line(t)); e.Verdict != Open || !strings.Contains(marginOf(t, e, SpikePeak).Reason, "at most") {
		t.Errorf("over the limit: %q, %s", e.Verdict, e.Why)
	}
}

func TestUncalibratedIsOpen(t *testing.T) {
	u := quiet()
	u.Captures[0].Calibrated = false
	if e := Evaluate(u, line(t)); e.Verdict != Open || !strings.Contains(marginOf(t, e, MainsLine).Reason, "volt scale") {
		t.Errorf("%q", e.Verdict)
	}
}

func TestDCOutsideTheBand(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want Verdict
	}{{6.59, Fail}, {6.0, Fail}, {6.6, Pass}, {7.1, Pass}, {7.6, Pass}, {7.7, NearMiss}, {9, Fail}, {12, Fail}} {
		u := quiet()
		u.Readings = []Reading{{0.6, c.v}}
		if e := Evaluate(u, line(t)); e.Verdict != c.want {
			t.Errorf("%g V: %q, want %q (%s)", c.v, e.Verdict, c.want, e.Why)
		}
	}
}

// The upper end of the DC band: one of two equal valves pulled leaves the other
// at +10 % on a shared dropper, by Ohm's law with I ~ V^0.6.
func TestDCBandFollowsFromPulledValve(t *testing.T) {
	const vh, high, ih = 6.3, 6.93, 0.3
	one := ih * math.Pow(high/vh, 0.6)
	// vs - r·one = high and vs - r·2·ih = vh
	r := (high - vh) / (2*ih - one)
	if vs := high + r*one; math.Abs(vs-7.6) > 0.05 {
		t.Errorf("supply %.3f V, the band says 7.6", vs)
	}
	// And from the 7.6 V of the band: what its source says the other gets.
	r = (7.6 - vh) / (2 * ih)
	other := 7.6 - r*ih*math.Pow(6.91/vh, 0.6)
	if math.Abs(other-6.91) > 0.005 || !strings.Contains(dcSource, "the other at 6.91 V") {
		t.Errorf("from 7.6 V the other gets %.3f V, the source says %q", other, dcSource)
	}
	if got := 6.6 * 0.95; math.Abs(got-6.3) > 0.05 {
		t.Errorf("6.6 V less 5 %% is %.3f V", got)
	}
}

func TestCautionsThatCouldFlip(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(u *Unit)
		want Verdict
	}{
		{"clipped under the limit", func(u *Unit) { caution(u, 1, capture.CautionClipped) }, Retake},
		{"clipped over the limit", func(u *Unit) { caution(u, 1, capture.CautionClipped); u.Captures[1].PP20MHzV.Value = 30e-3 }, Fail},
		{"clipped, yet over by more than a near miss", func(u *Unit) {
			caution(u, 1, capture.CautionClipped)
			u.Captures[1].PP20MHzV.Value = 80e-3
		}, Fail},
		{"wrong probe factor suspected", func(u *Unit) { caution(u, 1, capture.CautionProbeFactor) }, Retake},
		{"undersampled spikes", func(u *Unit) { caution(u, 1, capture.CautionUndersampled) }, Retake},
		{"alias under the limit", func(u *Unit) { caution(u, 0, capture.CautionAlias) }, Pass},
		{"alias over the limit", func(u *Unit) {
			caution(u, 0, capture.CautionAlias)
			u.Captures[0].Bands[1].RMSV.Value = 200e-6
			u.Captures[0].Lines = []spectrum.Line{{FrequencyHz: 3e3, RMSV: 190e-6}}
		}, Retake},
		{"alias beyond the band that is over", func(u *Unit) {
			caution(u, 0, capture.CautionAlias)
			u.Captures[0].Bands[1].RMSV.Value = 200e-6
			u.Captures[0].Lines = []spectrum.Line{{FrequencyHz: 32e3, RMSV: 190e-6}, {FrequencyHz: 300, RMSV: 400e-6, Comb: "mains"}}
		}, NearMiss},
		{"wrong probe factor on the other, DC-coupled capture", func(u *Unit) {
			caution(u, 1, capture.CautionProbeFactor)
			u.Captures[0].MainsLineRMS.Value = 5e-3
		}, Retake},
		{"few steps far inside", func(u *Unit) {
			caution(u, 1, capture.CautionFewSteps)
			u.Captures[1].ADCStepV = figure.Known(1e-3)
		}, Pass},
		{"few steps near the limit", func(u *Unit) {
			caution(u, 1, capture.CautionFewSteps)
			u.Captures[1].ADCStepV = figure.Known(4e-3)
			u.Captures[1].PP20MHzV.Value = 18e-3
		}, Retake},
		{"at the instrument's floor over the limit", func(u *Unit) {
			caution(u, 0, capture.CautionBaselineNear)
			u.Captures[0].Noise.DensityVPerRtHz.Value = 2e-6
		}, Retake},
		{"dithered", func(u *Unit) { caution(u, 1, capture.CautionDithered) }, Pass},
		{"certain failure beside a doubt", func(u *Unit) {
			caution(u, 1, capture.CautionClipped)
			u.Captures[0].MainsLineRMS.Value = 20e-3
		}, Fail},
	} {
		u := quiet()
		c.set(&u)
		if e := Evaluate(u, line(t)); e.Verdict != c.want {
			t.Errorf("%s: %q, want %q (%s; %s)", c.name, e.Verdict, c.want, e.Why, e.WouldFlip)
		}
	}
}

func caution(u *Unit, i int, code string) {
	u.Captures[i].Cautions = append(u.Captures[i].Cautions, capture.Caution{Code: code, Text: "the capture is " + code, Fix: "take it again"})
}

// A sound capture beside a clipped one is the one to believe.
func TestSoundCaptureWinsOverDoubtful(t *testing.T) {
	u := quiet()
	caution(&u, 1, capture.CautionClipped)
	u.Captures = append(u.Captures, fast("again.csv"))
	e := Evaluate(u, line(t))
	if m := marginOf(t, e, RipplePP); e.Verdict != Pass || m.From != "again.csv" {
		t.Errorf("%q from %s", e.Verdict, m.From)
	}
}

func TestRepeatsGiveAnInterval(t *testing.T) {
	u := quiet()
	a, b := fast("a.csv"), fast("b.csv")
	a.PP20MHzV, b.PP20MHzV = figure.Known(9e-3), figure.Known(11e-3)
	u.Captures = append(u.Captures[:1], a, b)
	m := marginOf(t, Evaluate(u, line(t)), RipplePP)
	if m.Captures != 2 || math.Abs(m.Figure.Value-10e-3) > 1e-12 || m.LowDB >= m.DB || m.HighDB <= m.DB {
		t.Errorf("%+v", m)
	}
}

func TestContradictingCapturesAreRetaken(t *testing.T) {
	u := quiet()
	b := fast("b.csv")
	b.PP20MHzV = figure.Known(60e-3)
	b.DurationS = 0.4e-3 // not a repeat, but just as fit
	b.Span.LowHz = 12e3
	u.Captures = append(u.Captures, b)
	if e := Evaluate(u, line(t)); e.Verdict != Retake || !strings.Contains(e.WouldFlip, "b.csv") {
		t.Errorf("%q: %s", e.Verdict, e.WouldFlip)
	}
}

// A bursting supply's packets can fall outside of a short record.
func TestBurstsNeedALongFastCapture(t *testing.T) {
	u := quiet()
	u.Captures[0].Kind = cycle.Bursting
	u.Captures[0].BurstHz = figure.Known(800)
	if e := Evaluate(u, line(t)); e.Verdict != Open {
		t.Errorf("%q", e.Verdict)
	}
}

func TestNoSpikeAtAllPasses(t *testing.T) {
	u := quiet()
	u.Captures[1].Spikes = analysis.SpikeSummary{PerS: figure.Known(0), ThresholdV: 5e-3, PeakP95V: figure.NotMeasured("no spike")}
	if m := marginOf(t, Evaluate(u, line(t)), SpikePeak); !m.Covered || math.Abs(m.DB-20*math.Log10(6)) > 1e-9 {
		t.Errorf("%+v", m)
	}
	u.Captures[1].Spikes.ThresholdV = 50e-3 // too coarse to tell
	if e := Evaluate(u, line(t)); e.Verdict == Pass {
		t.Errorf("threshold over the limit: %q", e.Verdict)
	}
}

// Margins move the right way with every input, and a worse figure never makes
// a better verdict.
func TestMarginsFallAsFiguresRise(t *testing.T) {
	set := map[Criterion]func(u *Unit, v float64){
		RipplePP:   func(u *Unit, v float64) { u.Captures[1].PP20MHzV.Value = v },
		MainsLine:  func(u *Unit, v float64) { u.Captures[0].MainsLineRMS.Value = v },
		SpikePeak:  func(u *Unit, v float64) { u.Captures[1].Spikes.PeakP95V.Value = v },
		BandAudioA: func(u *Unit, v float64) { u.Captures[0].Bands[1].RMSV.Value = v },
		BandRF1:    func(u *Unit, v float64) { u.Captures[1].Bands[0].RMSV.Value = v },
		Noise:      func(u *Unit, v float64) { u.Captures[0].Noise.DensityVPerRtHz.Value = v },
	}
	both := func(u *Unit) *analysis.Measurement {
		u.Captures = append(u.Captures, oneMode("both.csv", capture.Common, 1e-3, 1e-6, 1e-3))
		return u.Captures[len(u.Captures)-1]
	}
	set[CommonMains] = func(u *Unit, v float64) { both(u).MainsCombRMS.Value = v }
	set[CommonAudio] = func(u *Unit, v float64) { both(u).Bands[1].RMSV.Value = v }
	set[CommonPP] = func(u *Unit, v float64) { both(u).PP20MHzV.Value = v }
	order := map[Verdict]int{Pass: 0, NearMiss: 1, Fail: 2}
	for _, l := range line(t).Limits {
		if l.Criterion == HeaterDC {
			continue
		}
		lastDB, lastV := math.Inf(1), 0
		for x := 0.1; x < 20; x *= 1.3 {
			u := quiet()
			set[l.Criterion](&u, l.Max*x)
			e := Evaluate(u, line(t))
			m := marginOf(t, e, l.Criterion)
			if m.DB >= lastDB || math.Abs(m.DB+20*math.Log10(x)) > 1e-9 {
				t.Errorf("%s at %g of the limit: %g dB after %g", l.Criterion, x, m.DB, lastDB)
			}
			if order[e.Verdict] < lastV {
				t.Errorf("%s at %g of the limit: %q after a worse one", l.Criterion, x, e.Verdict)
			}
			lastDB, lastV = m.DB, order[e.Verdict]
		}
	}
}

func TestNoFigureIsEverNaN(t *testing.T) {
	u := quiet()
	u.Captures[1].PP20MHzV.Value = math.NaN()
	u.Captures[0].MainsLineRMS.Value = math.Inf(1)
	u.Readings = []Reading{{0, math.NaN()}, {0.6, 7}, {0.3, 7}}
	e := Evaluate(u, line(t))
	if e.Verdict != Open {
		t.Errorf("%q", e.Verdict)
	}
	for _, m := range e.Margins {
		for _, v := range []float64{m.DB, m.LowDB, m.HighDB, m.Figure.Value} {
			if !finite(v) {
				t.Errorf("%s: %+v", m.Limit.Criterion, m)
			}
		}
	}
}
