package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// stepSupply draws a supply whose ESR step is 30 to 200 % of its spikes, these
// clear of the noise.
func stepSupply(seed uint64) synth.Supply {
	s := synth.Draw(7000 + seed)
	r := rand.New(rand.NewPCG(seed, 99))
	spike := math.Min(math.Abs(s.SpikeRiseV), math.Abs(s.SpikeFallV))
	s.ESRStepV = spike * 0.3 * math.Pow(2/0.3, r.Float64())
	s.RipplePPV = s.ESRStepV / (0.1 + 0.6*r.Float64())
	s.EdgeS = []float64{20e-9, 10e-9, 30e-9}[seed%3]
	s.SpikeWidthS = math.Min(s.SpikeWidthS, 60e-9)
	s.NoiseVPerRtHz = math.Min(s.NoiseVPerRtHz, 0.02*spike/math.Sqrt(s.RateHz/2))
	s.ADCBits = 12
	return s
}

// On a large ESR step a spike's peak stays within its uncertainty, and where it
// is a tenth off a caution says why.
func TestSpikesOnALargeStep(t *testing.T) {
	seeds := []uint64{2, 3, 11, 14, 24, 35, 50, 56, 71, 77, 81, 93, 113, 119}
	if !testrun.Full() {
		seeds = seeds[9:11]
	}
	off, cautioned := 0, 0
	for _, seed := range seeds {
		s := stepSupply(seed)
		m, truth := measureSupply(t, s, Setup{})
		told := m.HasCaution(capture.CautionStepHides)
		if told {
			cautioned++
		}
		if off := math.Abs(float64(m.Spikes.Count - truth.SpikeCount)); off > m.Spikes.PerS.U*m.DurationS {
			t.Errorf("seed %d: %d ± %.0f spikes, want %d", seed, m.Spikes.Count, m.Spikes.PerS.U*m.DurationS, truth.SpikeCount)
		}
		for i, f := range []figure.Figure{m.Spikes.RisingPeakMedianV, m.Spikes.FallingPeakMedianV} {
			want := []float64{truth.RisingPeakV, truth.FallingPeak}[i]
			if !f.Known {
				if !told {
					t.Errorf("seed %d, edge %d: not measured without a caution: %s", seed, i, f.Missing)
				}
				continue
			}
			if math.Abs(f.Value-want) > f.U {
				t.Errorf("seed %d, edge %d: %.3g ± %.2g V, want %.3g", seed, i, f.Value, f.U, want)
			}
			if math.Abs(f.Value/want-1) > 0.1 {
				if off++; !told {
					t.Errorf("seed %d, edge %d: off by %.0f %% without a caution", seed, i, 100*(f.Value/want-1))
				}
			}
		}
	}
	if off == 0 || cautioned == len(seeds) {
		t.Errorf("%d peaks off, %d of %d cautioned: the draws show nothing", off, cautioned, len(seeds))
	}
}

// A supply without any spike has none, however slow the capture rounds the
// corners of its ripple and smears its step.
func TestRoundedCornersAreNoSpikes(t *testing.T) {
	draws := uint64(50)
	if !testrun.Full() {
		draws = 6
	}
	wrong := 0
	for seed := range draws {
		r := rand.New(rand.NewPCG(seed, 77))
		logU := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
		s := synth.Supply{Seed: seed, ACCoupled: true, RateHz: []float64{5e6, 6.25e6, 10e6, 12.5e6, 25e6}[seed%5], Samples: 1 << 16,
			SwitchingHz: logU(20e3, 300e3), Duty: 0.25 + 0.5*r.Float64(), RipplePPV: logU(1e-3, 100e-3)}
		s.ESRStepV = s.RipplePPV * []float64{0, 0.1, 0.3, 0.6}[r.IntN(4)]
		s.BandwidthHz = []float64{0.35 * s.RateHz, 0.35 * s.RateHz, 0.2 * s.RateHz, 20e6, 0}[r.IntN(5)]
		s.NoiseVPerRtHz = s.RipplePPV * logU(1e-4, 3e-2) / math.Sqrt(s.RateHz/2)
		s.ADCBits = []int{8, 10, 12, 0}[r.IntN(4)]
		m, truth := measureSupply(t, s, Setup{})
		if m.Spikes.Count > 0 {
			wrong++
			t.Logf("seed %d: %d false spikes, median %.3g V on %.3g V of ripple, %g S/s", seed, m.Spikes.Count, m.Spikes.PeakMedianV.Value, truth.RipplePPV, s.RateHz)
			if !m.Spikes.PeakMedianV.LowerBound || !m.HasCaution(capture.CautionUndersampled) {
				t.Errorf("seed %d: false spikes without a caution", seed)
			}
		}
		if m.RipplePPV.Known && !m.HasCaution(capture.CautionFewSteps) && math.Abs(m.RipplePPV.Value-truth.RipplePPV) > math.Max(m.RipplePPV.U, 0.03*truth.RipplePPV) && !m.RipplePPV.LowerBound && m.Spikes.Count == 0 {
			t.Errorf("seed %d: ripple %.4g ± %.2g V, want %.4g", seed, m.RipplePPV.Value, m.RipplePPV.U, truth.RipplePPV)
		}
	}
	if wrong > int(draws)/50 {
		t.Errorf("%d of %d captures without a spike show some", wrong, draws)
	}
}
