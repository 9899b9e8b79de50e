package target_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// spiky draws a converter whose spikes, ripple and wide noise fold into a slow record
// that nothing filters. Its audio part is white noise alone.
func spiky(r *rand.Rand, seed uint64) synth.Supply {
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	return synth.Supply{
		Seed: seed, ACCoupled: true, ADCBits: 8, BandwidthHz: 20e6,
		SwitchingHz: between(60e3, 300e3), RipplePPV: between(2e-3, 10e-3),
		SpikeRiseV: between(5e-3, 40e-3), SpikeFallV: -between(5e-3, 40e-3), SpikeWidthS: between(15e-9, 60e-9),
		RingRiseHz: between(8e6, 40e6), SpikeJitterS: between(1e-9, 20e-9), SpikeJitterFrac: 0.03,
		NoiseVPerRtHz: between(100e-9, 800e-9), NoiseBandwidthHz: between(300e3, 3e6),
	}
}

func measured(t *testing.T, s synth.Supply, name string) *analysis.Measurement {
	t.Helper()
	tr, _ := s.Trace(name)
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A slow record that nothing filters gives upper limits only, several times the truth.
// With a faster one of the unit most of them are decided: of those inside by 4.5 dB at
// least two thirds pass, and none that is over by 1 dB does.
func TestUnfilteredUnitsAreDecided(t *testing.T) {
	units := testrun.Short(12, 4)
	limits := []target.Criterion{target.BandAudio, target.Noise}
	r := rand.New(rand.NewPCG(41, 17))
	passes, alone := map[target.Criterion]int{}, map[target.Criterion]int{}
	for i := range uint64(units) {
		s := spiky(r, 500+i)
		mid, slow := s, s
		mid.RateHz, mid.Samples = 20e6, 100000
		slow.RateHz, slow.Samples = 500e3, 1<<17
		slow.Seed++
		both := target.Unit{Key: "both", Captures: append([]*analysis.Measurement{}, measured(t, mid, "mid"), measured(t, slow, "slow"))}
		one := target.Unit{Key: "slow alone", Captures: both.Captures[1:]}
		truth := map[target.Criterion]float64{
			target.Noise: s.NoiseVPerRtHz, target.BandAudio: s.NoiseVPerRtHz * math.Sqrt(20e3-20),
		}
		for _, id := range limits {
			decide := func(u target.Unit, db float64) target.Evaluation {
				tg, err := target.Custom(map[string]float64{string(id): truth[id] * math.Pow(10, db/20)}, nil, [2]float64{}, nil)
				if err != nil {
					t.Fatal(err)
				}
				return target.Evaluate(u, tg)
			}
			if e := decide(both, -1); e.Verdict == target.Pass {
				t.Errorf("supply %d passes %s, over by 1 dB in truth: %+v", i, id, e.Margins[0])
			}
			if e := decide(both, 4.5); e.Verdict == target.Pass {
				passes[id]++
			} else {
				t.Logf("supply %d, %s of %.3g: %s, %s", i, id, truth[id], e.Verdict, e.WouldFlip)
			}
			if decide(one, 4.5).Verdict == target.Pass {
				alone[id]++
			}
		}
	}
	t.Logf("of %d: %v pass, %v by the slow record alone", units, passes, alone)
	for _, id := range limits {
		if 3*passes[id] < 2*units || id == target.BandAudio && alone[id] > passes[id]/3 {
			t.Errorf("%s: %d of %d decided, %d by the slow record alone", id, passes[id], units, alone[id])
		}
	}
}

// What comes at times only, a burst of noise a hundredth of the time, shows in the slow
// record and not in a short one beside it: the slow record's limit counts.
func TestJoinedNeedsTheSlowRecordExplained(t *testing.T) {
	s := synth.Supply{Seed: 7, ACCoupled: true, ADCBits: 12, BandwidthHz: 20e6, NoiseVPerRtHz: 50e-9, NoiseBandwidthHz: 1e6, SwitchingHz: 100e3, RipplePPV: 2e-3}
	mid, slow := s, s
	mid.RateHz, mid.Samples = 20e6, 100000
	slow.RateHz, slow.Samples = 500e3, 1<<17
	tr, _ := slow.Trace("slow")
	for i := range tr.Volts { // 5 kHz for 2 ms of every 40
		if ms := float64(i) / 500; math.Mod(ms, 40) < 2 {
			tr.Volts[i] += 1e-3 * math.Sin(2*math.Pi*5*ms)
		}
	}
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{})
	if err != nil {
		t.Fatal(err)
	}
	tg, err := target.Custom(map[string]float64{string(target.BandAudio): 60e-6}, nil, [2]float64{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	e := target.Evaluate(target.Unit{Captures: []*analysis.Measurement{m, measured(t, mid, "mid")}}, tg)
	if e.Verdict == target.Pass || strings.Contains(e.Margins[0].From, "mid") {
		t.Errorf("%s from %s: %s", e.Verdict, e.Margins[0].From, fmt.Sprint(e.Margins[0].Figure))
	}
}

// Spikes of too few samples each, 60 to 150 MS/s for rings of 20 to 45 MHz. Their count
// and, where they are many, the upper percentile of their peaks are decided all the
// same: of units inside by 5 dB at least two thirds pass, and none that is over by 1 dB.
func TestCoarselySampledSpikesAreDecided(t *testing.T) {
	units := testrun.Short(16, 5)
	r := rand.New(rand.NewPCG(3, 141))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	passes, coarse := map[target.Criterion]int{}, 0
	for i := range uint64(units) {
		s := synth.Supply{
			Seed: 900 + i, ACCoupled: true, ADCBits: 8, BandwidthHz: 100e6, RateHz: between(60e6, 150e6), Samples: 80000,
			SwitchingHz: between(60e3, 300e3), RipplePPV: between(2e-3, 10e-3), ESRStepV: between(0.2e-3, 1e-3),
			SpikeRiseV: between(20e-3, 60e-3), SpikeFallV: -between(20e-3, 60e-3), SpikeWidthS: between(6e-9, 15e-9),
			RingRiseHz: between(20e6, 45e6), SpikeJitterS: between(0.2e-9, 5e-9), SpikeJitterFrac: 0.05,
			NoiseVPerRtHz: between(5e-9, 40e-9), NoiseBandwidthHz: 50e6,
		}
		tr, truth := s.Trace("fast")
		m, err := analysis.Measure(context.Background(), tr, analysis.Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if m.HasCaution(capture.CautionUndersampled) {
			coarse++
		}
		for id, is := range map[target.Criterion]float64{target.SpikePeak: truth.SpikePeakP95V, target.SpikeRate: truth.SpikesPerS} {
			decide := func(db float64) target.Evaluation {
				tg, err := target.Custom(map[string]float64{string(id): is * math.Pow(10, db/20)}, nil, [2]float64{}, nil)
				if err != nil {
					t.Fatal(err)
				}
				return target.Evaluate(target.Unit{Captures: []*analysis.Measurement{m}}, tg)
			}
			if e := decide(-1); e.Verdict == target.Pass {
				t.Errorf("supply %d passes %s, over by 1 dB in truth: %+v", i, id, e.Margins[0].Figure)
			}
			if e := decide(5); e.Verdict == target.Pass {
				passes[id]++
			} else {
				t.Logf("supply %d, %s of %.3g: %s, %s %s", i, id, is, e.Verdict, e.Why, e.WouldFlip)
			}
		}
	}
	t.Logf("%d of %d sampled coarsely; %v pass", coarse, units, passes)
	if 2*coarse < units || 3*passes[target.SpikePeak] < 2*units || 3*passes[target.SpikeRate] < 2*units {
		t.Errorf("%d of %d sampled coarsely; %v pass", coarse, units, passes)
	}
}
