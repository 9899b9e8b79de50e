package analysis

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// What is taken off the trace must not take the noise along: the floor of
// bursting and dithered supplies lies within 0.7 dB of the truth, or it is the
// spectrum's own with a caution, and never 1 dB under the truth.
func TestNoiseUnderPacketsAndDither(t *testing.T) {
	for _, dithered := range []bool{false, true} {
		rates := []float64{500e3, 1e6, 2e6, 5e6, 20e6, 100e6}
		if !testrun.Full() {
			rates = map[bool][]float64{false: {2e6}, true: {20e6}}[dithered]
		}
		for _, rate := range rates {
			for seed := range uint64(testrun.Short(2, 1)) {
				s := synth.Supply{Seed: 50 + seed, RateHz: rate, Samples: 150e3, DCV: 7, ACCoupled: true,
					SwitchingHz: 145e3 - 40e3*float64(seed), RipplePPV: 9e-3, Duty: 0.4, ESRStepV: 2e-3,
					MainsHz: 50, MainsPPV: 0.5e-3, NoiseVPerRtHz: 180e-9, ADCBits: 12}
				if rate < 20e6 {
					s.AntiAliased = true
				} else {
					s.SpikeRiseV, s.SpikeFallV, s.SpikeWidthS, s.RingRiseHz = 40e-3, -30e-3, 60e-9, 8e6
					s.BandwidthHz = 0.4 * rate
					s.Samples = testrun.Short(400e3, 200e3)
				}
				if dithered {
					s.DitherFrac, s.DitherRateHz = 0.04, 400
				} else {
					s.BurstHz, s.BurstDuty = 5300-1500*float64(seed), 0.35
				}
				t.Run(fmt.Sprintf("dithered %v at %g seed %d", dithered, rate, seed), func(t *testing.T) {
					m, truth := measureSupply(t, s, Setup{})
					n := m.Noise
					if !n.DensityVPerRtHz.Known {
						t.Fatal(n.DensityVPerRtHz.Missing)
					}
					d := 20 * math.Log10(n.DensityVPerRtHz.Value/truth.NoiseVPerRtHz)
					ungated := slices.ContainsFunc(m.Cautions, func(c capture.Caution) bool { return c.Code == capture.CautionUngated })
					off := math.Abs(n.DensityVPerRtHz.Value - truth.NoiseVPerRtHz)
					if d < -1 || !ungated && math.Abs(d) > 0.7 && (off > 1.5*n.DensityVPerRtHz.U || math.Abs(d) > 2) {
						t.Errorf("%.2f dB from the truth at %g Hz, ungated %.3g, caution %v", d, n.AtHz.Value, n.UngatedVPerRtHz.Value, ungated)
					}
				})
			}
		}
	}
}

// Straight lines through means over a stretch hold the noise below its rate:
// there the spectrum of the trace as captured counts.
func TestDriftDoesNotTakeTheNoise(t *testing.T) {
	s := plainSupply() // 4 ms: no mains to be measured
	m, truth := measureSupply(t, s, Setup{})
	var worst, at float64
	for _, o := range m.Noise.ThirdOctaves {
		if d := 20 * math.Log10(o.HighVPerRtHz/truth.NoiseVPerRtHz); o.CentreHz < 20e3 && d < worst {
			worst, at = d, o.CentreHz
		}
	}
	if worst < -2 {
		t.Errorf("at %.0f Hz the upper bound lies %.1f dB under the truth", at, -worst)
	}
}
