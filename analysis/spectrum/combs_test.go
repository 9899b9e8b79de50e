package spectrum

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

func linesOf(t *testing.T, x Samples, rate float64) (Multirate, []Line) {
	t.Helper()
	m, err := Of(context.Background(), x, rate, Options{Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	lines, err := FindLines(context.Background(), x, rate, m, LineOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return m, lines
}

func lineAt(lines []Line, hz, tol float64) *Line {
	for i := range lines {
		if math.Abs(lines[i].FrequencyHz-hz) < tol {
			return &lines[i]
		}
	}
	return nil
}

// The rectified-mains line within 2 %, 50 told from 60 Hz, on drawn slow records.
func TestMainsOfDrawnSupplies(t *testing.T) {
	seeds := uint64(6)
	if !testrun.Full() {
		seeds = 2
	}
	for seed := range seeds {
		s := synth.Draw(500+seed).Slow(96e3, 1<<16)
		s.MainsPPV = max(s.MainsPPV, 3000*s.NoiseVPerRtHz)
		tr, truth := s.Trace("synthetic")
		x := Samples(tr.Volts)
		m, lines := linesOf(t, x, s.RateHz)
		r := MeasureMains(x, m, lines, 0, 0)
		if !r.Decided || math.Abs(r.MainsHz.Value/s.MainsHz-1) > 1e-3 {
			t.Errorf("seed %d: mains %+v decided %v, want %g Hz", seed, r.MainsHz, r.Decided, s.MainsHz)
			continue
		}
		if e := r.LineRMS.Value/truth.MainsLineRMSV - 1; math.Abs(e) > 0.02 {
			t.Errorf("seed %d: line %.4g V rms ± %.2g, want %.4g (%.1f %%)", seed, r.LineRMS.Value, r.LineRMS.U, truth.MainsLineRMSV, 100*e)
		}
		if e := r.CombPPV.Value/truth.MainsPPV - 1; math.Abs(e) > 0.05 {
			t.Errorf("seed %d: comb %.4g V p-p, want %.4g (%.1f %%)", seed, r.CombPPV.Value, truth.MainsPPV, 100*e)
		}
	}
}

func TestMainsNeedsFourPeriods(t *testing.T) {
	x := Samples(reference.Tones(3500, 100e3, [3]float64{100, 0.01, 0})) // 35 ms
	m, lines := linesOf(t, x, 100e3)
	if r := MeasureMains(x, m, lines, 50, 0); r.LineRMS.Known || r.LineRMS.Missing == "" || !r.MainsHz.Known {
		t.Errorf("35 ms: %+v", r)
	}
	x = Samples(reference.Tones(4500, 100e3, [3]float64{100, 0.01, 0}))
	m, lines = linesOf(t, x, 100e3)
	if r := MeasureMains(x, m, lines, 50, 0); math.Abs(r.LineRMS.Value/0.01-1) > 0.02 {
		t.Errorf("45 ms: %+v", r.LineRMS)
	}
}

func TestCombsAreTold(t *testing.T) {
	const rate, n, f1, f2 = 2e6, 1 << 20, 65432.1, 101234.5
	x := reference.Tones(n, rate,
		[3]float64{100, 5e-3, 0.3}, [3]float64{200, 2e-3, 1}, [3]float64{300, 1e-3, 2},
		[3]float64{f1, 1e-2, 0}, [3]float64{2 * f1, 5e-3, 1}, [3]float64{3 * f1, 2e-3, 2},
		[3]float64{f1 - 100, 1e-4, 0}, [3]float64{f1 + 100, 1e-4, 1},
		[3]float64{f2, 3e-3, 0}, [3]float64{2 * f2, 1e-3, 1}, [3]float64{3 * f2, 1e-3, 1},
		[3]float64{f2 - f1, 2e-4, 1}, [3]float64{777777, 1e-4, 1})
	for i, e := range reference.WhiteNoise(n, 1e-4, 21) {
		x[i] += e
	}
	_, lines := linesOf(t, x, rate)
	lines, res := NameLines(lines, 50, Clock{Hz: f1})
	for _, c := range []struct {
		hz   float64
		comb string
		n    int
	}{
		{100, CombMains, 2}, {200, CombMains, 4}, {300, CombMains, 6},
		{f1, CombSwitching, 1}, {2 * f1, CombSwitching, 2}, {3 * f1, CombSwitching, 3},
		{f1 - 100, CombSideband, 1}, {f1 + 100, CombSideband, 1},
		{f2, CombSecond, 1}, {2 * f2, CombSecond, 2}, {3 * f2, CombSecond, 3},
		{f2 - f1, CombSideband, 0}, {777777, "", 0},
	} {
		l := lineAt(lines, c.hz, 1)
		if l == nil || l.Comb != c.comb || l.Harmonic != c.n {
			t.Errorf("%g Hz: %+v, want %s %d", c.hz, l, c.comb, c.n)
		}
	}
	if len(lines) != 13 {
		t.Errorf("%d lines, want 13", len(lines))
	}
	if math.Abs(res.SecondHz/f2-1) > 1e-5 || math.Abs(res.BeatHz-(2*f1-f2)) > 1 {
		t.Errorf("%+v, want second %g, beat %g", res, f2, 2*f1-f2)
	}
}

// A packet rate shows as sidebands around the switching lines, and is not the
// mains nor the switching frequency.
func TestBurstComb(t *testing.T) {
	s := synth.Supply{Seed: 3, RateHz: 10e6, Samples: 1 << 20, SwitchingHz: 100e3, RipplePPV: 0.02, BurstHz: 1870, NoiseVPerRtHz: 1e-7}
	tr, _ := s.Trace("synthetic")
	x := Samples(tr.Volts)
	m, lines := linesOf(t, x, s.RateHz)
	r := MeasureMains(x, m, lines, 0, 0)
	if r.Decided {
		t.Errorf("mains %g Hz found in a burst", r.MainsHz.Value)
	}
	lines, res := NameLines(lines, 0, Clock{Hz: 100e3})
	if math.Abs(res.BurstHz/1870-1) > 0.01 {
		t.Errorf("packet rate %g Hz, want 1870; %d lines, the strongest %+v", res.BurstHz, len(lines), lines[:6])
	}
}

// A dithered supply is one supply: its spread lines are sidebands at the sweep
// rate, no second converter, no packets.
func TestDitherIsNoSecondConverter(t *testing.T) {
	for _, s := range []synth.Supply{
		{Seed: 1, RateHz: 10e6, Samples: 1 << 19, SwitchingHz: 100e3, RipplePPV: 0.02, DitherFrac: 0.05, NoiseVPerRtHz: 1e-7},
		{Seed: 2, RateHz: 10e6, Samples: 1 << 19, SwitchingHz: 100e3, RipplePPV: 0.02, DitherFrac: 0.03, DitherRateHz: 5000, NoiseVPerRtHz: 1e-7, MainsHz: 50, MainsPPV: 5e-3},
	} {
		tr, _ := s.Trace("synthetic")
		_, lines := linesOf(t, Samples(tr.Volts), s.RateHz)
		lines, res := NameLines(lines, s.MainsHz, Clock{Hz: 100e3})
		want := s.DitherRateHz
		if want == 0 {
			want = 400 // the model's default
		}
		if res.SecondHz != 0 || res.BurstHz != 0 || math.Abs(res.ModulationHz/want-1) > 0.01 {
			t.Errorf("%+v, want a sweep of %g Hz only", res, want)
		}
		unnamed := 0
		for _, l := range lines {
			if l.Comb == "" {
				unnamed++
			}
		}
		if unnamed > len(lines)/20 {
			t.Errorf("%d of %d lines unnamed", unnamed, len(lines))
		}
	}
}

// What belongs to a clock that wanders or comes in bursts is no second converter;
// one that is there besides is named still.
func TestClocksOwnLinesAreNoSecondConverter(t *testing.T) {
	at := func(hz ...float64) []Line {
		var out []Line
		for i, f := range hz {
			out = append(out, Line{FrequencyHz: f, RMSV: 1e-3 / float64(i+1), BinHz: 50})
		}
		return out
	}
	for _, c := range []struct {
		name   string
		lines  []Line
		clock  Clock
		second float64
	}{
		{"smeared", at(96.98e3, 193.8e3), Clock{Hz: 98.52e3, SpreadHz: 5.9e3}, 0},
		{"in bursts", at(5298.5, 148391, 15896, 26485), Clock{Hz: 145995, BurstHz: 5299.9}, 0},
		{"another beside the smeared", at(70e3, 140e3, 210e3), Clock{Hz: 98.52e3, SpreadHz: 5.9e3}, 70e3},
		{"another beside the bursts", at(62.3e3, 124.6e3), Clock{Hz: 145995, BurstHz: 5299.9}, 62.3e3},
		{"a fixed clock", at(96.98e3, 193.96e3), Clock{Hz: 98.52e3}, 96.98e3},
		{"another of a record told", at(62.3e3, 124.6e3), Clock{Hz: 145995, DurationS: 2e-3}, 62.3e3},
		{"one folded harmonic proves none", at(62.3e3, 124.6e3), Clock{Hz: 145995, DurationS: 2e-3, Folded: true}, 0},
		{"two folded ones do", at(62.3e3, 124.6e3, 186.9e3), Clock{Hz: 145995, DurationS: 2e-3, Folded: true}, 62.3e3},
		{"4th and 8th of one 2 % above the clock", at(4.08*140e3, 8.16*140e3), Clock{Hz: 140e3, DurationS: 0.3e-3}, 0},
		{"above the harmonics that can be told", at(17.2*140e3, 34.4*140e3), Clock{Hz: 140e3, DurationS: 2e-3}, 0},
		{"as near the clock as the record resolves", at(62.77e3, 125.54e3), Clock{Hz: 63.04e3, DurationS: 0.8e-3}, 0},
		{"the same in a longer record", at(62.77e3, 125.54e3), Clock{Hz: 63.04e3, DurationS: 0.1}, 62.77e3},
		{"every other cycle alike", at(70e3, 210e3, 350e3, 280.7e3), Clock{Hz: 140e3, DurationS: 2e-3}, 0},
		{"in ten periods", at(137e3, 274e3), Clock{Hz: 553e3, DurationS: 80e-6}, 0},
		{"of twelve periods of the clock", at(130e3, 260e3), Clock{Hz: 54e3, DurationS: 220e-6}, 0},
		{"a small part of what is left", at(333e3, 401e3, 62.3e3, 124.6e3), Clock{Hz: 145995, DurationS: 2e-3}, 0},
	} {
		if _, got := NameLines(c.lines, 0, c.clock); got.SecondHz != c.second {
			t.Errorf("%s: a second converter at %g Hz, want %g", c.name, got.SecondHz, c.second)
		}
	}
}

// A stated mains that the record contradicts hides no hum: the one that is there is
// measured, and the statement named. Where nothing stands out, it is believed.
func TestStatedMainsIsContradicted(t *testing.T) {
	for _, c := range []struct{ lineHz, stated, want, insteadOf float64 }{
		{100, 60, 50, 60}, {120, 50, 60, 50}, {100, 50, 50, 0}, {120, 60, 60, 0},
	} {
		x := Samples(reference.Tones(48000, 48e3, [3]float64{c.lineHz, 0.004, 0}, [3]float64{2 * c.lineHz, 0.001, 1}))
		m, lines := linesOf(t, x, 48e3)
		r := MeasureMains(x, m, lines, c.stated, 0)
		if math.Abs(r.MainsHz.Value-c.want) > 0.01 || r.InsteadOfHz != c.insteadOf || math.Abs(r.LineRMS.Value/0.004-1) > 0.02 {
			t.Errorf("%g Hz stated as %g: mains %g instead of %g, line %g V", c.lineHz, c.stated, r.MainsHz.Value, r.InsteadOfHz, r.LineRMS.Value)
		}
	}
	quiet := Samples(reference.Tones(48000, 48e3, [3]float64{1013, 0.001, 0}))
	m, lines := linesOf(t, quiet, 48e3)
	if r := MeasureMains(quiet, m, lines, 60, 0); r.MainsHz.Value != 60 || r.InsteadOfHz != 0 {
		t.Errorf("nothing at either: %+v", r)
	}
}
