package filter

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

// splitRecord is a mains ripple, a triangle with spikes and noise.
func splitRecord(n int, rateHz float64) *capture.Trace {
	rng := rand.New(rand.NewPCG(1, 2))
	tr := &capture.Trace{SampleRateHz: rateHz, Volts: make([]float64, n)}
	for i := range tr.Volts {
		s := float64(i) / rateHz
		in := math.Mod(s*93e3, 1)
		tr.Volts[i] = 7 + 0.02*math.Sin(2*math.Pi*100*s) + 0.03*math.Abs(2*in-1) + 1e-3*rng.NormFloat64()
		if in < 0.02 {
			tr.Volts[i] += 0.04
		}
	}
	return tr
}

// A long record filtered in two parts, fast and slow, against one transform of all of it:
// the same within 3e-4 of what is left of it, and 1e-5 of its own peak-to-peak.
func TestSplitEqualsOneTransform(t *testing.T) {
	tr := splitRecord(1<<16-1, 100e6) // both take a period of 1<<17
	step := testrun.Short(5, 40)
	all := slices.DeleteFunc(candidates(Circuit{LoadOhm: 10.5, SourceOhm: 0.1, SourceH: 0.5e-6}, dropper{ohm: 1.2, series: "E24"}, DefaultCatalogue()), Circuit.needlesslyDamped)
	split := 0
	for i := 0; i < len(all); i += step {
		gain := func(hz float64) complex128 { return Insertion(all[i], hz) }
		got, want := make([]float64, len(tr.Volts)), make([]float64, len(tr.Volts))
		ok, err := newWorkspace().split(context.Background(), got, tr, 7, 0.25, gain)
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			continue
		}
		split++
		for k, v := range tr.Volts {
			want[k] = v - 7
		}
		throughGain(want, tr.SampleRateHz, gain)
		worst := 0.0
		for k, v := range want {
			worst = math.Max(worst, math.Abs(got[k]-0.25-v))
		}
		if worst > 3e-4*peakToPeak(want) || worst > 1e-5*peakToPeak(tr.Volts) {
			t.Errorf("%s %g H, %g F, %g F: off by %.3g V where %.3g V peak-to-peak are left", all[i].Topology, all[i].L.H, all[i].C1.F, all[i].CFilm.F, worst, peakToPeak(want))
		}
	}
	if split < len(all)/step*9/10 {
		t.Errorf("%d of %d candidates filtered in two parts", split, (len(all)+step-1)/step)
	}
}

// A circuit that rings above the crossover for longer than a block's guard is left to the
// one transform, and so is a short record.
func TestSplitKnowsItsLimits(t *testing.T) {
	c := Circuit{Topology: LC, ROhm: 1e-3, LoadOhm: 1e4, L: Inductor{H: 0.1e-6}, C1: Capacitor{F: 100e-9, ESROhm: 1e-4}} // 1.6 MHz, Q of 900
	if fastPart(100e6, func(hz float64) complex128 { return Insertion(c, hz) }) != nil {
		t.Error("a ring of 180 µs is cut off after 41")
	}
	tr := splitRecord(splitLeast-1, 100e6)
	if ok, _ := newWorkspace().split(context.Background(), make([]float64, len(tr.Volts)), tr, 7, 0, func(float64) complex128 { return 1 }); ok {
		t.Error("a short record is filtered in two parts")
	}
}

// The low-pass of the lower rate, by its definition at single frequencies: up to the
// crossover's end it passes all within 0.01 %, and what folds onto that is 80 dB down.
func TestLowPassOfTheLowerRate(t *testing.T) {
	for f := 0.0; f < 0.5; f += 1e-4 {
		g := 0.0
		for i, h := range taps {
			g += h * math.Cos(2*math.Pi*f*float64(i-len(taps)/2))
		}
		switch at := f * splitDown; {
		case at <= splitTop && math.Abs(g-1) > 1e-4:
			t.Fatalf("at %.3g of the lower rate: gain %.6f", at, g)
		case at >= 1-splitTop && math.Abs(g) > 1e-4:
			t.Fatalf("at %.3g of the lower rate: %.3g is left", at, g)
		}
	}
}
