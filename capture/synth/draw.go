package synth

import (
	"math"
	"math/rand/v2"
)

// Draw makes a random supply from ranges that cover the trade: 20 to 500 kHz,
// 0.5 to 200 mV ripple, spikes of 1 to 500 mV and 5 to 200 ns, ring 1 to
// 60 MHz, noise 10 nV to 10 uV/sqrt(Hz), 8 to 12 bits. (Ranges: common
// practice, no source.) Rate and length suit the draw: at least 6 samples in
// the pulse, 8 in a ring period, 20 cycles in the record, at most 2^20 samples.
// Slow gives the matching long record.
func Draw(seed uint64) Supply {
	r := rand.New(rand.NewPCG(seed, 0xd4a3))
	logU := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	s := Supply{Seed: seed, DCV: 7, ACCoupled: true}
	s.SwitchingHz = logU(20e3, 500e3)
	s.RipplePPV = logU(0.5e-3, 200e-3)
	s.Duty = 0.25 + 0.5*r.Float64()
	s.ESRStepV = s.RipplePPV * 0.6 * r.Float64()
	short := math.Min(s.Duty, 1-s.Duty) / s.SwitchingHz

	// slow converters have slower edges; the ring dies before the next edge
	s.SpikeWidthS = logU(math.Max(5e-9, 8e-4/s.SwitchingHz), math.Min(200e-9, short/12))
	s.RingRiseHz = clamp((0.35+0.85*r.Float64())/s.SpikeWidthS, 1e6, 60e6)
	s.RingFallHz = clamp(s.RingRiseHz*(0.75+0.5*r.Float64()), 1e6, 60e6)
	lowest := math.Min(s.RingRiseHz, s.RingFallHz)
	s.RingQ = clamp(logU(3, 20), 2, math.Pi*lowest*short/5)
	v := logU(1e-3, 500e-3)
	s.SpikeRiseV = v
	s.SpikeFallV = -v * (0.6 + 0.4*r.Float64())
	s.SpikeJitterFrac = 0.05 * r.Float64()

	s.NoiseVPerRtHz = logU(10e-9, 10e-6)
	s.CornerHz = logU(10, 1000)
	s.MainsHz = 50 + 10*float64(r.IntN(2))
	s.MainsPPV = logU(50e-6, 10e-3)
	s.ADCBits = 8 + 2*r.IntN(3)

	fastest := math.Max(s.RingRiseHz, s.RingFallHz)
	need := math.Max(6/s.SpikeWidthS, 8*fastest)
	for _, rate := range [...]float64{25e6, 50e6, 62.5e6, 100e6, 125e6, 250e6, 500e6, 1e9, 1.25e9} {
		s.RateHz = rate
		if rate >= need {
			break
		}
	}
	s.BandwidthHz = math.Min(200e6, 0.35*s.RateHz)
	s.Samples = int(clamp(80/s.SwitchingHz*s.RateHz, 1<<17, 1<<20))
	return s
}

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }
