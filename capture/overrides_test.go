package capture

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestOverrides turns every guess by its option.
func TestOverrides(t *testing.T) {
	limited := true
	plain := "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) })
	for _, c := range []struct {
		name, text string
		opt        Options
		rate       float64
		v          float64 // sample 10 over wave(10)
		check      func(tr *Trace) bool
	}{
		{"time unit", plain, Options{TimeUnit: "ns"}, 1e9, 1, nil},
		{"time in samples", plain, Options{TimeUnit: "samples", RateHz: 2e6}, 2e6, 1, nil},
		{"rate", plain, Options{RateHz: 3e6}, 3e6, 1, nil},
		{"rate over a time column", "time (s),volts\n" + rowsOf(200, tv(1e-6)), Options{RateHz: 44100}, 44100, 1, nil},
		{"volt unit", plain, Options{TimeUnit: "us", VoltUnit: "mV"}, 1e6, 1e-3, nil},
		{"scale and probe", plain, Options{TimeUnit: "us", Scale: 2, ProbeFactor: 10}, 1e6, 20, func(tr *Trace) bool { return tr.ProbeFactor == 10 }},
		{"counts with a scale", plain, Options{TimeUnit: "us", VoltUnit: "counts", Scale: 0.5}, 1e6, 0.5, nil},
		{"decimal mark and delimiter", "1;000;5;0\n" + strings.ReplaceAll(commaFor(rowsOf(200, tv(1e-6))), "e", "E"), Options{DecimalMark: ".", Delimiter: ";"}, 0, 0, nil},
		{"instrument", "time (s),volts\n" + rowsOf(200, tv(1e-6)), Options{BandwidthHz: 1e5, BandLimited: &limited, Coupling: CouplingAC}, 1e6, 1, func(tr *Trace) bool {
			return tr.BandwidthHz == 1e5 && tr.BandLimited && tr.Coupling == CouplingAC && tr.Span.HighHz == 1e5
		}},
		{"probe stated and given", "Probe,10\ntime (s),volts\n" + rowsOf(200, tv(1e-6)), Options{ProbeFactor: 10}, 1e6, 10, func(tr *Trace) bool { return len(tr.Cautions) == 1 && tr.Cautions[0].Code == CautionProbeFactor }},
		// What is given is believed; where the file states otherwise, that is said.
		// But for a unit of volts: one of the two is a thousand times off.
		{"volt unit over the header's", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "mV"}, 0, 0, nil},
		{"volt unit over the settings'", "Vertical Units,V\ntime (s),CH1\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "mV"}, 0, 0, nil},
		{"a usual volt unit under the header's", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "mV", VoltUnitUsual: true}, 1e6, 1, says("", "")},
		{"a usual volt unit under the settings'", "Vertical Units,V\ntime (s),CH1\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "mV", VoltUnitUsual: true}, 1e6, 1, says("", "")},
		{"a usual volt unit where the file states none", plain, Options{TimeUnit: "us", VoltUnit: "mV", VoltUnitUsual: true}, 1e6, 1e-3, nil},
		{"volt unit between two that the file states", "Vertical Units,V\ntime (s),CH1 (mV)\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "V"}, 1e6, 1, says(CautionProbeFactor, "the file states mV in one place, V is given and believed")},
		{"volt unit as in the header", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{VoltUnit: "V"}, 1e6, 1, says("", "")},
		{"time unit over the header's", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{TimeUnit: "ms"}, 1e9, 1, says(CautionTimeUnit, "states its times in s, ms is given")},
		{"rate over a stated time", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{RateHz: 2e6}, 2e6, 1, says(CautionRateConflict, "gives 1 MS/s, 2 MS/s is given")},
		{"rate as the times round it", "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), Options{RateHz: 1.001e6}, 1.001e6, 1, says("", "")},
	} {
		tr, err := Read(context.Background(), strings.NewReader(c.text), "x.csv", c.opt)
		if c.rate == 0 {
			if err == nil {
				t.Errorf("%s: read as %s at %g Hz", c.name, tr.Layout, tr.SampleRateHz)
			} else if strings.HasPrefix(c.name, "volt unit") && !strings.Contains(err.Error(), "V stated and mV given, a factor of 1000 apart, expected one unit; take the unit out") {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(tr.SampleRateHz/c.rate-1) > 1e-12 || math.Abs(tr.Volts[10]/wave(10)-c.v) > 1e-9*c.v {
			t.Errorf("%s: %g Hz, sample 10 is %g of what it was, want %g and %g", c.name, tr.SampleRateHz, tr.Volts[10]/wave(10), c.rate, c.v)
		}
		if c.check != nil && !c.check(tr) {
			t.Errorf("%s: %+v %+v", c.name, tr.Assumptions, tr.Cautions)
		}
	}
}

// says wants one caution of the code, with the words; none where the code is "".
func says(code, words string) func(*Trace) bool {
	return func(tr *Trace) bool {
		if code == "" {
			return len(tr.Cautions) == 0
		}
		return len(tr.Cautions) == 1 && tr.Cautions[0].Code == code && strings.Contains(tr.Cautions[0].Text, words)
	}
}

// TestCoarseStamps has a thousand samples to one printed time, so that the
// first rows show no step at all.
func TestCoarseStamps(t *testing.T) {
	text := "time (s),volts\n" + rowsOf(20000, func(i int) string { return fmt.Sprintf("%.5f,%.4f", float64(i)*1e-8, wave(i)) })
	tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(tr.SampleRateHz/1e8-1) > 0.01 || len(tr.Volts) != 20000 || len(tr.Cautions) != 1 || tr.Cautions[0].Code != CautionTimeRounded {
		t.Errorf("%g Hz, %d samples, %v", tr.SampleRateHz, len(tr.Volts), tr.Cautions)
	}
}

// TestParseHertz reads frequencies as people write them.
func TestParseHertz(t *testing.T) {
	for s, want := range map[string]float64{"48000": 48000, "48k": 48e3, "2.5 MHz": 2.5e6, "1MSa/s": 1e6, "1e6": 1e6, "0": 0, "-3": 0, "5 V": 0, "": 0, "1e400": 0, "3m": 0} {
		got, err := ParseHertz(s)
		if (err == nil) != (want > 0) || err == nil && got != want {
			t.Errorf("%q: %g, %v", s, got, err)
		}
	}
}
