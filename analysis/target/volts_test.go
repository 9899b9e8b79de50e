package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// scaled multiplies the volts that a fast capture shows.
func scaled(m *analysis.Measurement, by float64) *analysis.Measurement {
	for _, f := range []*figure.Figure{&m.DCV, &m.PPV, &m.PP20MHzV, &m.RipplePPV, &m.Spikes.PeakP95V, &m.Bands[0].RMSV} {
		f.Value *= by
		f.U *= by
	}
	return m
}

// rated is a quiet unit rated 7 V whose fast capture is DC-coupled.
func rated() Unit {
	u := quiet()
	u.RatedV = 7
	f := u.Captures[1]
	f.Coupling, f.DCV, f.PPV = capture.CouplingDC, figure.Known(7.08), figure.Known(14e-3)
	return u
}

// Volts that no unit of this rating has are the file's or the probe's fault: the
// capture is to be taken again, whichever way the scale is wrong.
func TestImpossibleVoltsAreRetaken(t *testing.T) {
	for _, c := range []struct {
		name     string
		by       float64
		acOnly   bool // the capture shows no DC, the ripple alone tells
		readings []Reading
		ratedV   float64
		want     Verdict
	}{
		{"as it is", 1, false, []Reading{{0.6, 7.08}}, 7, Pass},
		{"millivolts taken for volts", 1000, false, []Reading{{0.6, 7.08}}, 7, Retake},
		{"the same without a reading", 1000, false, nil, 7, Retake},
		{"the same without a rating", 1000, false, []Reading{{0.6, 7.08}}, 0, Retake},
		{"AC-coupled, 10 V of ripple", 1000, true, []Reading{{0.6, 7.08}}, 7, Retake},
		{"volts taken for millivolts", 1e-3, false, []Reading{{0.6, 7.08}}, 7, Retake},
		{"20 mV of ripple too many are a fail of the unit", 20, true, []Reading{{0.6, 7.08}}, 7, Fail},
		{"ten times too high, nothing tells what to expect", 10, false, nil, 0, Retake},
		{"a tenth of the meter's reading", 0.1, false, []Reading{{0.6, 7.08}}, 0, Retake},
		{"a tenth of the rating", 0.1, false, nil, 7, Retake},
		{"a reading in millivolts", 1, false, []Reading{{0.6, 7080}}, 7, Retake},
	} {
		u := rated()
		u.RatedV, u.Readings = c.ratedV, c.readings
		scaled(u.Captures[1], c.by)
		if c.acOnly {
			u.Captures[1].Coupling, u.Captures[1].DCV = capture.CouplingAC, figure.NotMeasured("AC-coupled")
		}
		e := Evaluate(u, line(t))
		if e.Verdict != c.want {
			t.Errorf("%s: %q, want %q: %s; %s", c.name, e.Verdict, c.want, e.Why, e.WouldFlip)
		}
		if c.want == Retake && !strings.Contains(e.WouldFlip, "volt") {
			t.Errorf("%s: the cure is %q", c.name, e.WouldFlip)
		}
	}
}

// A unit that fails on a capture whose scale is right fails, whatever another
// capture's scale.
func TestImpossibleVoltsDontHideAFail(t *testing.T) {
	u := rated()
	u.Captures[0].MainsLineRMS = figure.Known(8e-3) // 18 dB over
	scaled(u.Captures[1], 1000)
	if e := Evaluate(u, line(t)); e.Verdict != Fail {
		t.Errorf("%q: %s; %s", e.Verdict, e.Why, e.WouldFlip)
	}
}

// A capture whose mean is not what the meter showed at the same load may be another
// supply's: neither pass nor fail. One within a scope's errors, at another load, or
// AC-coupled, is not doubted.
func TestMeanUnlikeTheReading(t *testing.T) {
	for _, c := range []struct {
		name string
		dcV  float64
		set  func(*analysis.Measurement)
		want bool
	}{
		{"another rail", 12.1, nil, true},
		{"a lower one", 5, nil, true},
		{"reversed", -7.1, nil, false},
		{"a scope's error", 7.5, nil, false},
		{"at another load", 5, func(m *analysis.Measurement) { m.LoadA = 2 }, false},
		{"AC-coupled", 5, func(m *analysis.Measurement) { m.Coupling = capture.CouplingAC }, false},
	} {
		u := rated()
		u.Readings = []Reading{{0.6, 7.08}}
		m := u.Captures[1]
		m.DCV, m.Coupling = figure.Known(c.dcV), capture.CouplingUnknown
		if c.set != nil {
			c.set(m)
		}
		e := Evaluate(u, line(t))
		if got := e.Unit.Captures[1].HasCaution(CautionVoltsUnlike); got != c.want || got != (e.Verdict == Retake) && m.LoadA != 2 {
			t.Errorf("%s: cautioned %v, %q: %s", c.name, got, e.Verdict, e.WouldFlip)
		}
	}
}

// A capture told to be DC-coupled whose mean is near zero was AC-coupled: the
// meter's reading counts; without one the DC stays open, and nothing fails.
func TestACToldAsDC(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []Reading
		want     Verdict
	}{
		{"with a reading", []Reading{{0.6, 7.08}}, Pass},
		{"without", nil, Open},
	} {
		u := rated()
		u.Readings = c.readings
		u.Captures[1].DCV = figure.Known(0.4e-3)
		given := u.Captures[1]
		e := Evaluate(u, line(t))
		if e.Verdict != c.want {
			t.Errorf("%s: %q, want %q: %s; %s", c.name, e.Verdict, c.want, e.Why, e.WouldFlip)
		}
		if e.LoadedV.Known != (c.readings != nil) {
			t.Errorf("%s: loaded %+v", c.name, e.LoadedV)
		}
		if !e.Unit.Captures[1].HasCaution(CautionACAsDC) || len(e.Cautions) != 1 {
			t.Errorf("%s: cautions %v", c.name, e.Cautions)
		}
		if given.DCV.Value != 0.4e-3 || len(given.Cautions) > 0 {
			t.Errorf("%s: the measurement given was changed", c.name)
		}
	}
}

// Negative volts of a heater supply are a probe or a meter put on the wrong way round: no
// fail of the unit, whose ripple is the same either way.
func TestNegativeVoltsAreRetaken(t *testing.T) {
	for _, c := range []struct {
		name     string
		dcV      float64
		readings []Reading
		want     Verdict
		says     string
	}{
		{"capture", -7.08, nil, Retake, "-7.08 V: the probe's tip and clip were exchanged"},
		{"reading", 7.08, []Reading{{0.6, -7.08}}, Retake, "-7.08 V at 0.6 A, below zero"},
		{"capture against the reading", -7.08, []Reading{{0.6, 7.08}}, Pass, ""},
		{"as they are", 7.08, []Reading{{0.6, 7.08}}, Pass, ""},
	} {
		u := rated()
		u.Readings = c.readings
		u.Captures[1].DCV = figure.Known(c.dcV)
		e := Evaluate(u, line(t))
		if e.Verdict != c.want || !strings.Contains(e.Doubt, c.says) || (e.Doubt == "") != (e.DoubtFix == "") {
			t.Errorf("%s: %s, %q; %q: %s", c.name, e.Verdict, e.Doubt, e.DoubtFix, e.Why)
		}
	}
}
