package target

import (
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// The named common-mode limits follow the coupling sum: not above it, and not
// below six tenths of it, except where the touch current bounds them.
func TestCommonLimits(t *testing.T) {
	for name, want := range map[string]struct {
		allowedV float64
		riaa     bool
	}{
		"line-preamp": {lineAllowedV, false}, "phono-preamp": {quietAllowedV, true},
		"mic-preamp": {quietAllowedV, false}, "driver-stage": {driverAllowedV, false},
	} {
		tg, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		d := derivation{Stage: commonStage(want.riaa).withDefaults(), shareV: want.allowedV}
		sums := map[Criterion]float64{
			CommonMains: d.allows(d.commonCoupling, 100),
			CommonAudio: d.allows(d.commonCoupling, commonAudioHz) * math.Pow(10, 1.2/20), // A is +1.2 dB at 3 kHz (IEC 61672-1)
		}
		found := 0
		for _, l := range tg.Limits {
			sum, ok := sums[l.Criterion]
			if !ok {
				continue
			}
			found++
			const touchV = 0.25e-3 * 100
			if top := math.Min(sum, touchV); l.Max > 1.02*top || l.Max < 0.6*top {
				t.Errorf("%s %s: limit %g V, the sum allows %g V", name, l.Criterion, l.Max, sum)
			}
		}
		if found != 2 {
			t.Errorf("%s has %d common-mode limits in audio", name, found)
		}
	}
}

// oneMode is a capture of a mode that covers everything with fit figures.
func oneMode(file string, mode capture.Mode, ppV, audioV, mainsV float64) *analysis.Measurement {
	m := shaped(func(float64) float64 { return audioV / 150 })
	m.File, m.Mode, m.Span, m.LoadA = file, mode, capture.Span{LowHz: 5, HighHz: 30e6}, 0.9
	m.PP20MHzV, m.MainsCombRMS, m.MainsLineRMS = figure.Known(ppV), figure.Known(mainsV), figure.Known(mainsV)
	m.MainsLineHz = figure.Known(100)
	for _, id := range []string{"audio", "audio_a", "20k_1m", "1m_20m"} {
		m.Bands = append(m.Bands, spectrum.Band{ID: id, RMSV: figure.Known(audioV)})
	}
	m.Noise.DensityVPerRtHz, m.Noise.AtHz = figure.Known(audioV/150), figure.Known(5e3)
	m.Spikes.PeakP95V, m.Spikes.PerS = figure.Known(ppV/2), figure.Known(1e5)
	return m
}

// A common-mode capture never feeds a criterion across the output, nor the other
// way round: each half's margins are the same with and without the other's
// captures, however loud those are.
func TestHalvesAreApart(t *testing.T) {
	tg, err := Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	across := oneMode("across.csv", capture.Differential, 5e-3, 20e-6, 0.1e-3)
	loud := oneMode("both.csv", capture.Common, 5, 1, 1)
	u := Unit{RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}}}
	eval := func(ms ...*analysis.Measurement) Evaluation {
		u.Captures = ms
		return Evaluate(u, tg)
	}
	alone, with, only := eval(across), eval(across, loud), eval(loud)
	for i, l := range tg.Limits {
		a, w, o := alone.Margins[i], with.Margins[i], only.Margins[i]
		switch {
		case l.Criterion == HeaterDC:
		case l.Criterion.CommonMode():
			if a.Covered || !w.Covered || w.From != "both.csv" || w.DB >= 0 || o.DB != w.DB {
				t.Errorf("%s: alone %v, with %v %s %g dB", l.Criterion, a.Covered, w.Covered, w.From, w.DB)
			}
		default:
			if !a.Covered || w.DB != a.DB || w.Captures != 1 || o.Covered {
				t.Errorf("%s: %+v alone, %+v with a common-mode capture; by it alone covered %v", l.Criterion, a.DB, w.DB, o.Covered)
			}
		}
	}
	if alone.Verdict != Pass || alone.Common != CommonOpen || len(alone.openCommon()) != 3 {
		t.Errorf("without: %s, common %q", alone.Verdict, alone.Common)
	}
	if with.Verdict != Fail || with.Common != CommonMeasured {
		t.Errorf("with: %s, common %q", with.Verdict, with.Common)
	}
	if only.Verdict != Fail || only.LoadedV.Value != 7 {
		t.Errorf("only: %s", only.Verdict)
	}
	// Quiet in common mode and loud across the output: the same, turned round.
	turned := eval(oneMode("across.csv", capture.Differential, 1, 0.2, 0.2), oneMode("both.csv", capture.Common, 50e-3, 0.1e-3, 5e-3))
	for _, m := range turned.Margins {
		if m.Limit.Criterion.CommonMode() && (!m.Covered || m.DB < 0) {
			t.Errorf("%s takes from the other half: %+v", m.Limit.Criterion, m)
		}
	}
	if len(turned.Cautions) != 0 {
		t.Errorf("captures of two modes are compared: %+v", turned.Cautions)
	}
}

// Repeats join within a mode only, and captures of two modes neither disagree nor
// show unlike switching.
func TestRepeatsAreOfOneMode(t *testing.T) {
	tg, err := Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	a := oneMode("a.csv", capture.Differential, 5e-3, 20e-6, 0.1e-3)
	b := oneMode("b.csv", capture.Common, 100e-3, 0.4e-3, 8e-3)
	a.SwitchingHz, b.SwitchingHz = figure.Known(100e3), figure.Known(65e3)
	e := Evaluate(Unit{RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}}, Captures: []*analysis.Measurement{a, b}}, tg)
	for _, m := range e.Margins {
		if m.Limit.Criterion != HeaterDC && m.Captures != 1 {
			t.Errorf("%s rests on %d captures", m.Limit.Criterion, m.Captures)
		}
	}
	if len(e.Cautions) != 0 || e.Verdict != Pass {
		t.Errorf("%s, %+v", e.Verdict, e.Cautions)
	}
	b.Mode = capture.Differential
	e = Evaluate(Unit{RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}}, Captures: []*analysis.Measurement{a, b}}, tg)
	if len(e.Cautions) == 0 {
		t.Error("the same two of one mode raise nothing: the test shows nothing")
	}
}

// Of passing units the ones measured in both halves come first; brands compare by
// the half that all have.
func TestRankAndBrandsByHalves(t *testing.T) {
	tg, err := Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	unit := func(i int, brand string, audioV float64, common bool) Evaluation {
		u := Unit{Index: i, Key: brand + string(rune('0'+i)), Brand: brand, RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}},
			Captures: []*analysis.Measurement{oneMode("a.csv", capture.Differential, 2e-3, audioV, 0.05e-3)}}
		if common {
			u.Captures = append(u.Captures, oneMode("b.csv", capture.Common, 300e-3, 0.8e-3, 20e-3)) // 1 dB inside
		}
		return Evaluate(u, tg)
	}
	ranked := Rank([]Evaluation{unit(0, "Quiet", 5e-6, false), unit(1, "Whole", 20e-6, true), unit(2, "Whole", 21e-6, true)})
	if ranked[0].Unit.Brand != "Whole" || ranked[2].Unit.Brand != "Quiet" || ranked[2].Rank != 3 {
		t.Errorf("order: %s %s %s, last ranks %d", ranked[0].Unit.Key, ranked[1].Unit.Key, ranked[2].Unit.Key, ranked[2].Rank)
	}
	for _, b := range Brands(ranked) {
		if !b.OneHalf || b.Name == "Whole" && b.MedianDB < 5 {
			t.Errorf("%s: one half %v, median %g dB: measured more, it must not lose", b.Name, b.OneHalf, b.MedianDB)
		}
	}
	for _, b := range Brands([]Evaluation{ranked[0], ranked[1]}) {
		if b.OneHalf || b.MedianDB > 2 {
			t.Errorf("%s: one half %v, median %g dB", b.Name, b.OneHalf, b.MedianDB)
		}
	}
}

// A caution of a common-mode capture says so: beside the unit's others it would be
// read as one about its output.
func TestCautionsTellTheirHalf(t *testing.T) {
	across, both := fast("a.csv"), fast("b.csv")
	both.Mode = capture.Common
	for _, m := range []*analysis.Measurement{across, both} {
		m.Cautions = []capture.Caution{{Code: capture.CautionShortRecord, Text: "the record holds only 12 switching cycles"}}
	}
	e := Evaluate(Unit{Key: "u", HeaterA: 0.6, Captures: []*analysis.Measurement{across, both}}, line(t))
	var texts []string
	for _, k := range e.Cautions {
		texts = append(texts, k.Text)
	}
	if len(texts) != 2 || texts[0] != "the record holds only 12 switching cycles" || texts[1] != "common-mode capture: the record holds only 12 switching cycles" {
		t.Errorf("%q", texts)
	}
}
