package analysis

import (
	"context"
	"math"
	"strings"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// A record of less than one sweep has the record's own mean frequency: the ± holds
// the supply's, and a caution says so. Longer ones come with what part of a sweep
// beyond whole ones can do.
func TestFrequencyOfAPartOfASweep(t *testing.T) {
	part := 0
	for _, seed := range testrun.Some([]uint64{0, 1, 2}, 3) {
		for _, sweeps := range []float64{0.2, 0.4, 0.7, 2.3, 4.5} {
			s := synth.Supply{Seed: seed, RateHz: 10e6, Samples: 1 << 15, ACCoupled: true, SwitchingHz: 98.7e3, RipplePPV: 20e-3,
				NoiseVPerRtHz: 100e-9, DitherFrac: 0.03}
			s.DitherRateHz = sweeps / (float64(s.Samples) / s.RateHz)
			m, _ := measureSupply(t, s, Setup{})
			if m.Kind != cycle.Dithered {
				t.Errorf("seed %d, %g sweeps: %q", seed, sweeps, m.Kind)
				continue
			}
			off := math.Abs(m.SwitchingHz.Value - s.SwitchingHz)
			if off > m.SwitchingHz.U {
				t.Errorf("seed %d, %g sweeps: %.6g ± %.3g Hz, want %.6g", seed, sweeps, m.SwitchingHz.Value, m.SwitchingHz.U, s.SwitchingHz)
			}
			told := false
			for _, c := range m.Cautions {
				told = told || c.Code == capture.CautionDithered && strings.Contains(c.Text, "less than one sweep") && c.Fix != ""
			}
			if told != (sweeps < 1) {
				t.Errorf("seed %d, %g sweeps: told to hold a part only: %v", seed, sweeps, told)
			}
			if sweeps > 2 && m.SwitchingHz.U > 0.004*s.SwitchingHz {
				t.Errorf("seed %d, %g sweeps: ± %g Hz", seed, sweeps, m.SwitchingHz.U)
			}
			if sweeps < 1 && off > 0.005*s.SwitchingHz {
				part++
			}
		}
	}
	if part == 0 {
		t.Error("no record of a part was off by half a per cent: the draws show nothing")
	}
}

// Where ringing lasts through the cycle and the ripple's uncertainty would exceed
// the figure, none is given; where it is given, ± holds the truth.
func TestRingOverRippleIsNotMeasured(t *testing.T) {
	given, refused := 0, 0
	qs := []float64{4, 12, 60, 30}
	if !testrun.Full() {
		qs = qs[:3]
	}
	for _, q := range qs {
		for _, ripple := range []float64{0.3e-3, 10e-3, 50e-3} {
			tr := softRing{rateHz: 50e6, samples: 40e3, hz: 134e3, rippleV: ripple, ringHz: 1.2e6, q: q, peakV: 90e-3, noiseV: 1e-3}.trace()
			m, err := Measure(context.Background(), tr, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			within(t, "switching under a ring", m.SwitchingHz, 134e3, 1e-5) // not the ring
			f := m.RipplePPV
			told := m.HasCaution(capture.CautionRingFills)
			if !f.Known {
				refused++
				if !told || !strings.Contains(f.Missing, "damp the ring") {
					t.Errorf("Q %g under %g V: %q, cautioned %v", q, ripple, f.Missing, told)
				}
				if m.RippleRMSV.Known {
					t.Errorf("Q %g under %g V: ripple rms without ripple", q, ripple)
				}
				continue
			}
			given++
			if f.U >= f.Value && told {
				t.Errorf("Q %g: %.3g ± %.3g V is no figure", q, f.Value, f.U)
			}
			if math.Abs(f.Value-ripple) > math.Max(f.U, 0.03*ripple) {
				t.Errorf("Q %g: ripple %.3g ± %.2g V, want %.3g (cautioned %v)", q, f.Value, f.U, ripple, told)
			}
		}
	}
	if given < 4 || refused < 2 {
		t.Errorf("%d given, %d refused: the draws show nothing", given, refused)
	}
}
