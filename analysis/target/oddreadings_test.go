package target

import (
	"math"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// Readings that the unit's rating does not allow doubt the supply volts; volts that rise
// with the load are told and believed.
func TestOddReadings(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []Reading
		words    string
		doubted  bool
	}{
		{"as a supply does", []Reading{{0, 7.10}, {0.94, 7.03}}, "", false},
		{"a supply that sags", []Reading{{0, 7.31}, {0.94, 5.47}}, "", false},
		{"volts and load exchanged", []Reading{{0, 7.10}, {7.03, 0.94}}, "0.94 V at 7.03 A from a unit rated 2 A", true},
		{"another unit's", []Reading{{0, 3.3}, {0.94, 3.28}}, "3.3 V at 0 A from a unit rated 7 V", true},
		{"the meter's leads exchanged", []Reading{{0, 7.10}, {0.94, -7.03}}, "-7.03 V at 0.94 A, below zero", true},
		{"exchanged", []Reading{{0, 6.7}, {0.94, 7.10}}, "rise with the load, 6.7 V at 0 A and 7.1 V at 0.94 A", false},
	} {
		u := Unit{RatedV: 7, RatedA: 2, HeaterA: 0.94, Readings: c.readings}
		e := Evaluate(u, Target{Limits: []Limit{{Criterion: HeaterDC, Min: 6.6, Max: 7.6}}})
		said := cautionText(e, CautionReadings)
		if c.words == "" && said != "" || !strings.Contains(said, c.words) {
			t.Errorf("%s: %q, want %q", c.name, said, c.words)
		}
		if doubted := len(doubtedReadings(u, 0, Margin{Covered: true})) > 0; doubted != c.doubted {
			t.Errorf("%s: doubted %t", c.name, doubted)
		}
		if c.doubted && (e.Verdict != Retake || e.Doubt == "" || e.DoubtFix == "") {
			t.Errorf("%s: %s, %q, %q", c.name, e.Verdict, e.Doubt, e.DoubtFix)
		}
	}
}

// A supply that limits its current, 7.2 V up to 1 A and 4.5 V at 1.2 A, has no straight
// line: what is not read at the heaters' current is not known there, and never taken from
// the fit (6.08 V at 0.6 A). Ohm's law gives the slope up to the heaters' current.
func TestReadingsOnNoLine(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []Reading
		v, u     float64 // 0: not measured
		ohm      float64
		missing  string
	}{
		{"knee beyond", []Reading{{0, 7.3}, {0.3, 7.2}, {1.2, 4.5}}, 0, 0, 0.1 / 0.3, "0.6 A lie between 7.2 V at 0.3 A and 4.5 V at 1.2 A"},
		{"read there", []Reading{{0, 7.3}, {0.6, 7.18}, {1.2, 4.5}}, 7.18, 0, 0.2, ""},
		{"near on both sides", []Reading{{0, 9.5}, {0.5, 7.2}, {0.8, 7.05}}, 7.15, 0.075, 4.6, ""},
		{"two at one load", []Reading{{0, 7.1}, {0.6, 7}, {0.6, 6}}, 0, 0, 1, "differ, 6 to 7 V"},
		{"none beyond", []Reading{{0, 9.5}, {0.2, 7.5}, {0.5, 7.2}}, 0, 0, 0, "none lies beyond the heaters' 0.6 A"},
	} {
		u := Unit{RatedV: 7, RatedA: 2, HeaterA: 0.6, Readings: c.readings}
		f, _ := LoadedVolts(u)
		if f.Known != (c.v > 0) || f.Known && (math.Abs(f.Value-c.v) > 0.001 || math.Abs(f.U-c.u) > 0.001) || !strings.Contains(f.Missing, c.missing) {
			t.Errorf("%s: %v ± %v, %q", c.name, f.Value, f.U, f.Missing)
		}
		e := Evaluate(u, Target{Limits: []Limit{{Criterion: HeaterDC, Min: 6.6, Max: 7.6}}})
		if c.ohm > 0 && math.Abs(e.OutputOhm.Value-c.ohm) > 0.001 {
			t.Errorf("%s: %v Ω, want %v", c.name, e.OutputOhm.Value, c.ohm)
		}
		if !strings.Contains(cautionText(e, CautionReadings), "do not lie on a straight line") {
			t.Errorf("%s: nothing said", c.name)
		}
	}
	if f, _ := LoadedVolts(Unit{HeaterA: 0.6, Readings: []Reading{{0.6, 7}, {0.6, 7.04}}}); math.Abs(f.Value-7.02) > 1e-9 || math.Abs(f.U-0.02) > 1e-9 {
		t.Errorf("two readings: %+v", f)
	}
}

func cautionText(e Evaluation, code string) string {
	for _, k := range e.Cautions {
		if k.Code == code {
			return k.Text
		}
	}
	return ""
}

// A capture without a load is told of where the heaters' current is known.
func TestLoadUnsaid(t *testing.T) {
	m := &analysis.Measurement{File: "x.csv", PPV: figure.Known(0.01)}
	if _, ok := loadUnsaid(Unit{HeaterA: 0.94, Captures: []*analysis.Measurement{m}}); !ok {
		t.Error("nothing said")
	}
	if _, ok := loadUnsaid(Unit{Captures: []*analysis.Measurement{m}}); ok {
		t.Error("said without heaters")
	}
	with := *m
	with.LoadA = 0.94
	if _, ok := loadUnsaid(Unit{HeaterA: 0.94, Captures: []*analysis.Measurement{&with}}); ok {
		t.Error("said of a capture with its load")
	}
}
