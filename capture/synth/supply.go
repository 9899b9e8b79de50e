package synth

import "math"

// Supply is one synthetic supply and how it was captured. Amplitudes are volts
// at the unit's terminals ahead of the instrument's low-pass. A zero amplitude
// leaves that part out.
type Supply struct {
	Seed      uint64  // of all its random numbers
	RateHz    float64 // samples per second, > 0
	Samples   int     // > 0
	DCV       float64 // output volts
	ACCoupled bool    // the instrument blocks DC

	MainsHz     float64 // 50 or 60
	MainsPPV    float64 // peak-to-peak of the rectified-mains ripple at 2 x MainsHz
	MainsCharge float64 // share of the half cycle spent charging, 0: 0.25

	SwitchingHz float64 // Hz; 0: it does not switch
	RipplePPV   float64 // peak-to-peak of the spike-free cycle, ESR step included
	Duty        float64 // share of the period spent rising, 0: 0.4
	ESRStepV    float64 // step at both edges, at most RipplePPV
	EdgeS       float64 // duration of that step, 0: 20 ns, at most a tenth of the period

	DitherFrac   float64 // switching frequency sweeps by +- this fraction
	DitherRateHz float64 // sweeps per second (triangular), 0: 400
	BurstHz      float64 // packets per second, 0: continuous
	BurstDuty    float64 // share of the time switching, 0: 0.3
	BurstPPV     float64 // peak-to-peak of the ripple at the packet rate, 0: RipplePPV

	SpikeRiseV, SpikeFallV   float64 // signed peak of the transient at the start of the rise and of the fall
	SpikeWidthS              float64 // pulse duration (50 %) of its pulse, 0: 30 ns
	RingRiseHz, RingFallHz   float64 // ring frequency after each edge, 0: no ring; RingFallHz 0: RingRiseHz
	RingQ                    float64 // 0: 8
	RingShare                float64 // initial ring amplitude over the pulse's, 0: 0.7
	SpikeJitterFrac          float64 // relative standard deviation of the peaks
	SpikeJitterS             float64 // standard deviation of the edge instants in seconds
	RandomSpikesPerS         float64 // Poisson rate of transients tied to nothing
	RandomSpikeV             float64 // their peak, 0: the larger of the edges'
	MainsSpikeV              float64 // peak of the commutation transient at 2 x mains
	NoiseVPerRtHz            float64 // white noise density, one-sided, V/sqrt(Hz)
	CornerHz                 float64 // where the 1/f part equals the white part, 0: no 1/f
	NoiseBandwidthHz         float64 // the supply's own noise falls off above it (one pole), 0: white to the end
	InstrumentVPerRtHz       float64 // the instrument's own white noise, adds in power
	InstrumentSpurHz, SpurPP float64 // a line of the instrument itself, hertz and volts peak-to-peak

	ADCBits          int     // 0: no converter, exact values
	ADCFullScaleV    float64 // span of the converter, 0: chosen to fit in 1-2-5 steps
	ADCOffsetV       float64 // middle of the span when ADCFullScaleV is given
	BandwidthHz      float64 // the instrument's one-pole low-pass, 0: none
	ProbeFactorWrong float64 // the volts written are wrong by this factor, 0: 1
	AntiAliased      bool    // steep low-pass at 0.45 of the rate ahead of the converter, as in a sound card
}

// withDefaults fills in the documented defaults and keeps fields consistent.
func (s Supply) withDefaults() Supply {
	def := func(p *float64, v float64) {
		if *p == 0 {
			*p = v
		}
	}
	def(&s.Duty, 0.4)
	def(&s.MainsCharge, 0.25)
	def(&s.EdgeS, 20e-9)
	def(&s.DitherRateHz, 400)
	def(&s.BurstDuty, 0.3)
	def(&s.BurstPPV, s.RipplePPV)
	def(&s.SpikeWidthS, 30e-9)
	def(&s.RingFallHz, s.RingRiseHz)
	def(&s.RingQ, 8)
	def(&s.RingShare, 0.7)
	def(&s.RandomSpikeV, math.Max(math.Abs(s.SpikeRiseV), math.Abs(s.SpikeFallV)))
	def(&s.ProbeFactorWrong, 1)
	s.ESRStepV = math.Min(s.ESRStepV, s.RipplePPV)
	if s.SwitchingHz > 0 {
		s.EdgeS = math.Min(s.EdgeS, 0.1*math.Min(s.Duty, 1-s.Duty)/s.SwitchingHz)
	}
	return s
}

// Slow is the same supply captured at a low rate behind a steep low-pass, as a
// sound card or a high-resolution acquisition does: a record for the mains and
// audio bands. A rateHz under the switching frequency loses the ripple.
func (s Supply) Slow(rateHz float64, samples int) Supply {
	s.RateHz, s.Samples, s.AntiAliased = rateHz, samples, true
	s.BandwidthHz = 0
	s.Seed ^= 0x5105105105105105
	return s
}

// tau is the time constant of the instrument's low-pass in seconds, 0 none.
func (s Supply) tau() float64 {
	if s.BandwidthHz <= 0 {
		return 0
	}
	return 1 / (2 * math.Pi * s.BandwidthHz)
}
