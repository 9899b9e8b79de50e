package synth

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Streams of random numbers, apart so that one part of the model does not
// shift another.
const (
	streamPhase = iota + 1
	streamSpikes
	streamRandomSpikes
	streamNoise
	streamInstrument
)

// event is one transient placed in the record.
type event struct {
	timeS, volts float64
	shape        *transient
	class        string
}

// Render gives the volts as the instrument wrote them and the truth behind
// them. The same Supply gives the same bytes on every machine. It panics unless
// RateHz and Samples are positive.
func (s Supply) Render() ([]float64, Truth) {
	s = s.withDefaults()
	if s.RateHz <= 0 || s.Samples <= 0 {
		panic("synth: RateHz and Samples must be positive")
	}
	phases := s.rand(streamPhase)
	switchPhase, mainsPhase := phases.Float64(), phases.Float64()

	over, out := 1, make([]float64, s.Samples)
	work, rate, startS := out, s.RateHz, 0.0
	if s.AntiAliased {
		over = decimation
		startS = -float64(pad) / s.RateHz
		rate = s.RateHz * decimation
		work = make([]float64, (s.Samples+2*pad)*decimation)
	}

	// the switching cycle and its edges
	pole := &onePole{tau: s.tau()}
	var edges []edge
	cycles := s.timeline(switchPhase, func(g segment) {
		if s.RipplePPV <= 0 {
			return
		}
		if over > 1 {
			addAveraged(work, rate, startS, g)
		} else {
			addSampled(work, rate, pole, g)
		}
	}, func(e edge) { edges = append(edges, e) })

	events := s.events(edges, mainsPhase)
	for _, e := range events {
		if over > 1 {
			e.shape.addAveragedTo(work, rate, startS, e.timeS, e.volts)
		} else {
			e.shape.addTo(work, rate, e.timeS, e.volts)
		}
	}

	if over > 1 {
		decimate(out, work)
	}

	s.addMains(out, mainsPhase)
	if s.SpurPP > 0 {
		for i := range out {
			out[i] += s.SpurPP / 2 * math.Sin(2*math.Pi*s.InstrumentSpurHz*float64(i)/s.RateHz)
		}
	}

	truth := s.truth(out, events, cycles)
	s.addNoise(out)
	if !s.ACCoupled {
		for i := range out {
			out[i] += s.DCV
		}
	}
	s.convert(out, &truth)
	return out, truth
}

func (s Supply) rand(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(s.Seed, stream))
}

func (s Supply) durationS() float64 { return float64(s.Samples) / s.RateHz }

// addMains adds the rectified-mains ripple, attenuated as the low-pass does.
func (s Supply) addMains(out []float64, phase float64) {
	if s.MainsPPV <= 0 || s.MainsHz <= 0 {
		return
	}
	table, _ := mainsCycle(s.MainsCharge)
	for i := range out {
		out[i] += s.MainsPPV * periodic(table, 2*s.MainsHz*float64(i)/s.RateHz+phase)
	}
}

// addNoise adds the supply's and the instrument's noise.
func (s Supply) addNoise(out []float64) {
	own, instrument := s.noises()
	add := func(stream uint64, p spectrum) {
		if p.white <= 0 {
			return
		}
		for i, v := range p.noise(s.rand(stream), len(out), s.RateHz) {
			out[i] += v
		}
	}
	add(streamNoise, own)
	add(streamInstrument, instrument)
}

// events places every transient that touches the record.
func (s Supply) events(edges []edge, mainsPhase float64) []event {
	var list []event
	tau := s.tau()
	shape := func(ringHz float64) *transient {
		tr := newTransient(s.SpikeWidthS, ringHz, s.RingQ, s.RingShare, tau)
		return &tr
	}
	r := s.rand(streamSpikes)
	var rise, fall *transient
	if s.SpikeRiseV != 0 || s.MainsSpikeV != 0 || s.RandomSpikesPerS > 0 {
		rise = shape(s.RingRiseHz)
	}
	if s.SpikeFallV != 0 {
		fall = shape(s.RingFallHz)
	}
	for _, e := range edges {
		jitterV, jitterS := r.NormFloat64(), r.NormFloat64()
		v, tr, class := s.SpikeRiseV, rise, "rising"
		if !e.rising {
			v, tr, class = s.SpikeFallV, fall, "falling"
		}
		if v == 0 {
			continue
		}
		v *= math.Max(0.05, 1+s.SpikeJitterFrac*jitterV)
		list = append(list, event{e.timeS + s.SpikeJitterS*jitterS, v, tr, class})
	}
	end := s.durationS()
	if s.RandomSpikesPerS > 0 {
		rr := s.rand(streamRandomSpikes)
		for t := rr.ExpFloat64() / s.RandomSpikesPerS; t < end; t += rr.ExpFloat64() / s.RandomSpikesPerS {
			v := s.RandomSpikeV
			if rr.IntN(2) == 0 {
				v = -v
			}
			list = append(list, event{t, v * math.Max(0.05, 1+s.SpikeJitterFrac*rr.NormFloat64()), rise, "random"})
		}
	}
	if s.MainsSpikeV != 0 && s.MainsHz > 0 {
		// commutation: where the rectifier stops conducting
		period := 1 / (2 * s.MainsHz)
		for t := (s.MainsCharge - mainsPhase - 1) * period; t < end; t += period {
			list = append(list, event{t, s.MainsSpikeV, rise, "mains"})
		}
	}
	slices.SortStableFunc(list, func(a, b event) int { return cmp.Compare(a.timeS, b.timeS) })
	return list
}
