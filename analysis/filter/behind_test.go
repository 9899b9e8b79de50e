package filter

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// What is foreseen of a filtered trace, and what is measured of it alone, against the
// filtered trace measured as a whole: lines within 0.1 dB and sums within 0.15, peaks and spikes as
// that measurement has them.
func TestBehindAgreesWithTheWholeMeasurement(t *testing.T) {
	ctx := context.Background()
	goal, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	for _, seed := range []uint64{5, 9, 13}[:testrun.Short(1, 3)] {
		s := synth.Supply{
			Seed: seed, DCV: 7, ACCoupled: true, SwitchingHz: 60e3 + 7e3*float64(seed), RipplePPV: 40e-3, Duty: 0.4, MainsHz: 50, MainsPPV: 8e-3,
			SpikeRiseV: 60e-3, SpikeFallV: -45e-3, SpikeWidthS: 60e-9, RingRiseHz: 7e6, RingFallHz: 6e6, RingQ: 5,
			NoiseVPerRtHz: 0.2e-6, CornerHz: 100, RateHz: 62.5e6, Samples: testrun.Short(1<<18, 1<<16), ADCBits: 12,
		}
		fast, _ := s.Trace("fast")
		s.RateHz, s.Samples, s.Seed = 1e6, testrun.Short(1<<18, 1<<17), seed+1
		slow, _ := s.Trace("slow")
		in := Input{Unit: target.Unit{HeaterA: 0.6}, Target: goal}
		for _, tr := range []*capture.Trace{fast, slow} {
			setup := analysis.Setup{LoadA: 0.6, HeaterA: 0.6}
			m, err := analysis.Measure(ctx, tr, setup)
			if err != nil {
				t.Fatal(err)
			}
			in.Traces, in.Setups, in.Unit.Captures = append(in.Traces, tr), append(in.Setups, setup), append(in.Unit.Captures, m)
		}
		if uses := UsesSamples(in.Unit, goal); !uses[0] || uses[1] {
			t.Fatalf("the samples used are those of %v, want the fast capture's alone", uses)
		}
		for _, c := range []Circuit{
			{Topology: RC, ROhm: 1.2, LoadOhm: 10.5, C1: Capacitor{F: 470e-6, ESROhm: 0.085, ESLH: 15e-9}},
			{Topology: LC, ROhm: 1.1, LoadOhm: 10.5, L: Inductor{H: 2.2e-6, DCROhm: 0.03, SelfResonanceHz: 50e6}, C1: Capacitor{F: 470e-6, ESROhm: 0.085, ESLH: 15e-9}},
		} {
			got, err := Predict(ctx, in, c)
			if err != nil {
				t.Fatal(err)
			}
			if got.Method != FromSamples {
				t.Errorf("seed %d %s: %s", seed, c.Topology, got.Method)
			}
			for i, tr := range in.Traces {
				filtered, err := new(workspace).apply(ctx, tr, c)
				if err != nil {
					t.Fatal(err)
				}
				filtered.Acquisition = behindFilter(in.Unit.Captures[i], filtered.Acquisition)
				whole, err := analysis.Measure(ctx, filtered, in.Setups[i])
				if err != nil {
					t.Fatal(err)
				}
				mergedSpikes(in.Unit.Captures[i], whole)
				agrees(t, c, got.After.Unit.Captures[i], whole, i == 0)
			}
		}
	}
}

// agrees compares the figures that a target may ask for.
func agrees(t *testing.T, c Circuit, got, whole *analysis.Measurement, peaks bool) {
	t.Helper()
	near := func(what string, x, y figure.Figure, db float64) {
		t.Helper()
		if x.Known != y.Known || y.Known && math.Abs(20*math.Log10(x.Value/y.Value)) > db {
			t.Errorf("%s %s: %s %.5g, by the whole measurement %.5g (known %v, %v)", c.Topology, got.File, what, x.Value, y.Value, x.Known, y.Known)
		}
	}
	near("mains ripple", got.MainsLineRMS, whole.MainsLineRMS, 0.1)
	bands := map[string]spectrum.Band{}
	for _, b := range whole.Bands {
		bands[b.ID] = b
	}
	for _, b := range got.Bands {
		if b.ID != "above_20m" { // where the filtered record holds no more than its rounding
			near(b.Name, b.RMSV, bands[b.ID].RMSV, 0.15)
		}
	}
	if !peaks {
		return
	}
	near("peak-to-peak", got.PPV, whole.PPV, 1e-6)
	near("peak-to-peak, 20 MHz", got.PP20MHzV, whole.PP20MHzV, 1e-6)
	near("switching frequency", got.SwitchingHz, whole.SwitchingHz, 1e-3)
	near("ripple", got.RipplePPV, whole.RipplePPV, 0.2)
	near("spike peak", got.Spikes.PeakP95V, whole.Spikes.PeakP95V, 0.2)
}

// A peak that worn parts must keep is measured behind them where the estimate leaves
// too little room, and not where it leaves more than it may be off by.
func TestWornPeaksAreMeasuredWhereInDoubt(t *testing.T) {
	margin := func(id target.Criterion, db float64) target.Margin {
		return target.Margin{Limit: target.Limit{Criterion: id}, Covered: true, DB: db}
	}
	of := func(spikesDB float64) target.Evaluation {
		return target.Evaluation{Margins: []target.Margin{margin(target.RipplePP, 5), margin(target.SpikePeak, spikesDB), margin(target.MainsLine, 1)}}
	}
	for _, c := range []struct {
		name                       string
		before, worn, freshAs, got float64
		want                       bool
	}{
		{"room enough", 5, 20, 22, 21, true},
		{"the estimate promised 14 dB too much", 5, 20, 22, 8, false},
		{"within what it may be off by", 5, 6.5, 7, 7, false},
		{"broken, and its margin is told", -2, 40, 42, 41, false},
		{"under the reserve ahead and kept", 1, 6, 7, 7, true},
	} {
		tr := trials{before: of(c.before), reserveDB: DefaultReserveDB}
		if got := tr.settledWorn(of(c.worn), of(c.freshAs), of(c.got)); got != c.want {
			t.Errorf("%s: settled %v, want %v", c.name, got, c.want)
		}
	}
}

// What rules a part set out before its samples are measured: sums, a peak-to-peak that the
// samples already show, and spikes beyond what the estimate may be off by; never the
// estimate of a peak-to-peak, and of what it doubts a bounded number is tried.
func TestWhatRulesAPartSetOut(t *testing.T) {
	ids := []target.Criterion{target.RipplePP, target.SpikePeak, target.MainsLine}
	after := func(db [3]float64) target.Evaluation {
		var e target.Evaluation
		for k, id := range ids {
			e.Margins = append(e.Margins, target.Margin{Limit: target.Limit{Criterion: id}, Covered: true, DB: db[k]})
		}
		return e
	}
	before := after([3]float64{-20, -20, -20})
	for _, c := range []struct {
		name     string
		topology Topology
		after    [3]float64 // dB of margin: peak-to-peak, spikes, mains
		leastPP  bool
		blind    bool // no samples
		spent    bool // no more doubtful tries
		learnt   bool // a try told that the estimate of spikes is right
		want     bool
	}{
		{name: "all inside", after: [3]float64{9, 9, 9}},
		{name: "the sums are short", after: [3]float64{9, 9, 2}, want: true},
		{name: "a peak-to-peak 30 dB short by the estimate", topology: LC, after: [3]float64{-30, 9, 9}},
		{name: "the same, and nothing left to try", topology: LC, after: [3]float64{-30, 9, 9}, spent: true, want: true},
		{name: "the same without samples", topology: LC, after: [3]float64{-30, 9, 9}, blind: true, want: true},
		{name: "a peak-to-peak 1 dB short on the samples", after: [3]float64{2, 9, 9}, leastPP: true, want: true},
		{name: "as the samples show it, within rounding", after: [3]float64{2.95, 9, 9}, leastPP: true},
		{name: "spikes 6 dB short", topology: RC, after: [3]float64{9, -3, 9}},
		{name: "spikes 10 dB short", topology: RC, after: [3]float64{9, -7, 9}, want: true},
		{name: "spikes 10 dB short behind a coil", topology: LC, after: [3]float64{9, -7, 9}},
		{name: "spikes 20 dB short behind a coil", topology: LC, after: [3]float64{9, -17, 9}, want: true},
		{name: "spikes 10 dB short behind a coil, where the estimate was right", topology: LC, after: [3]float64{9, -7, 9}, learnt: true, want: true},
	} {
		tr := trials{before: before, reserveDB: DefaultReserveDB, confirms: !c.blind, doubtful: doubtfulTries, promised: map[promise]float64{}}
		if c.spent {
			tr.doubtful = 0
		}
		if c.learnt {
			tr.promised[promise{c.topology, target.SpikePeak}] = 0
		}
		if got := tr.hopeless(Circuit{Topology: c.topology}, estimate{after(c.after), c.leastPP}); got != c.want {
			t.Errorf("%s: ruled out %v, want %v", c.name, got, c.want)
		}
	}
}

// Spikes that are counted behind a filter and too coarse to be sized there are no higher
// than the record's peak-to-peak, which is then told; none at all need no such bound.
func TestSpikesTooCoarseToSizeAreBounded(t *testing.T) {
	ahead := &analysis.Measurement{}
	ahead.Spikes.PeakP95V = figure.Known(20e-3)
	for _, c := range []struct {
		count int
		want  bool
	}{{3, true}, {0, false}} {
		behind := &analysis.Measurement{PPV: figure.Known(4e-3)}
		behind.Spikes.Count, behind.Spikes.PerS = c.count, figure.Known(float64(c.count))
		mergedSpikes(ahead, behind)
		if f := behind.Spikes.PeakP95V; f.Known != c.want || c.want && (!f.UpperBound || f.Value != 4e-3) {
			t.Errorf("%d spikes counted: %+v", c.count, f)
		}
	}
}
