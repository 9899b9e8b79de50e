package target_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"sync"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture/synth"
)

// drawn is a drawn supply captured fast and slow, with what is true of it on the
// criteria whose truth has a closed form.
func drawn(t *testing.T, seed uint64) (target.Unit, map[target.Criterion]float64) {
	t.Helper()
	s := synth.Draw(seed)
	s.Samples = min(s.Samples, 1<<17) // quick, and still some cycles
	u := target.Unit{Key: fmt.Sprint("seed ", seed), HeaterA: 0.6, Readings: []target.Reading{{LoadA: 0, V: 7.1}, {LoadA: 0.6, V: 7}}}
	fast, truth := s.Trace("fast")
	slow, slowTruth := s.Slow(96e3, 1<<15).Trace("slow")
	m, err := analysis.Measure(context.Background(), fast, analysis.Setup{LoadA: 0.6, HeaterA: 0.6})
	if err != nil {
		t.Fatal(err)
	}
	u.Captures = append(u.Captures, m)
	if m, err = analysis.Measure(context.Background(), slow, analysis.Setup{LoadA: 0.6, HeaterA: 0.6}); err != nil {
		t.Fatal(err)
	}
	u.Captures = append(u.Captures, m)
	return u, map[target.Criterion]float64{
		target.FoldedRipple: truth.RipplePPV,
		target.SpikePeak:    truth.SpikePeakP95V,
		target.MainsLine:    slowTruth.MainsLineRMSV,
		target.Noise:        truth.NoiseVPerRtHz,
	}
}

var drawnSeeds = flag.Int("drawn", 4, "supplies of TestDrawnSupplies")

// Drawn supplies against limits set from their truth. One whose truth breaks a
// limit by more than 1 dB is never called a pass without a caution: the limits
// are set for each supply so that, by turns, one criterion is broken by a little
// more than that and the others are kept, and so every seed is a hard one. And
// the other way, one that keeps every limit by 3 dB is seldom called a failure;
// not never, since the truth of the noise leaves out what the spikes' jitter adds.
func TestDrawnSupplies(t *testing.T) {
	seeds := uint64(*drawnSeeds)
	if testing.Short() {
		seeds = min(seeds, 8)
	}
	var mu sync.Mutex
	verdicts := map[string]int{}
	falseFails := 0
	t.Run("seeds", func(t *testing.T) {
		for seed := uint64(9000); seed < 9000+seeds; seed++ {
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				u, truth := drawn(t, seed)
				for _, broken := range []target.Criterion{target.FoldedRipple, target.SpikePeak, target.MainsLine, target.Noise} {
					e := target.Evaluate(u, around(t, truth, 4, broken, math.Pow(10, -1.05/20)))
					mu.Lock()
					verdicts["broken: "+string(e.Verdict)]++
					mu.Unlock()
					if e.Verdict == target.Pass && len(e.Cautions) == 0 {
						for _, m := range e.Margins {
							if m.Limit.Criterion == broken {
								t.Errorf("passes with %s 1.05 dB over in truth: %.4g ± %.2g measured, %.4g true", broken, m.Figure.Value, m.Figure.U, truth[broken])
							}
						}
					}
				}
				e := target.Evaluate(u, around(t, truth, math.Pow(10, 3.0/20), "", 1))
				mu.Lock()
				verdicts["kept: "+string(e.Verdict)]++
				if (e.Verdict == target.Fail || e.Verdict == target.NearMiss) && len(e.Cautions) == 0 {
					falseFails++
					t.Logf("kept in truth, yet %q: %s", e.Verdict, e.Why)
				}
				mu.Unlock()
			})
		}
	})
	t.Log(verdicts)
	if falseFails > 1+int(seeds)/10 {
		t.Errorf("%d of %d supplies that keep every limit by 3 dB are called failures", falseFails, seeds)
	}
}

// around sets every limit to factor times the truth, that of one criterion to
// another factor.
func around(t *testing.T, truth map[target.Criterion]float64, factor float64, special target.Criterion, other float64) target.Target {
	t.Helper()
	limits := map[string]float64{}
	for id, v := range truth {
		limits[string(id)] = v * factor
		if id == special {
			limits[string(id)] = v * other
		}
	}
	tg, err := target.Custom(limits, nil, [2]float64{6.6, 7.6}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return tg
}
