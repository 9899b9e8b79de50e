package target

import (
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
		{"exchanged", []Reading{{0, 6.7}, {0.94, 7.10}}, "rise with the load, 6.7 V at 0 A and 7.1 V at 0.94 A", false},
	} {
		u := Unit{RatedV: 7, RatedA: 2, HeaterA: 0.94, Readings: c.readings}
		e := Evaluate(u, Target{Limits: []Limit{{Criterion: HeaterDC, Min: 6.6, Max: 7.6}}})
		said := ""
		for _, k := range e.Cautions {
			if k.Code == CautionReadings {
				said = k.Text
			}
		}
		if c.words == "" && said != "" || !strings.Contains(said, c.words) {
			t.Errorf("%s: %q, want %q", c.name, said, c.words)
		}
		if doubted := len(doubtedReadings(u, 0, Margin{Covered: true})) > 0; doubted != c.doubted {
			t.Errorf("%s: doubted %t", c.name, doubted)
		}
		if c.doubted && e.Verdict == Pass {
			t.Errorf("%s: passes", c.name)
		}
	}
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
