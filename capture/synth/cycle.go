package synth

import "math"

// segment is one straight piece of the switching waveform: volts from0 to
// from0+slope*durS, starting at startS.
type segment struct {
	startS, durS float64
	from, slope  float64
}

// edge is the instant at which a transient starts.
type edge struct {
	timeS  float64
	rising bool
}

// cyclePieces lays out one cycle of the given period: step up, rise, step
// down, fall. The triangle swings by pp-step, the step adds to it, so the
// whole is pp peak-to-peak. The cycle is centred on zero.
func (s Supply) cyclePieces(startS, periodS float64) [4]segment {
	tri, step := s.RipplePPV-s.ESRStepV, s.ESRStepV
	e := math.Min(s.EdgeS, 0.1*math.Min(s.Duty, 1-s.Duty)*periodS)
	if step == 0 {
		e = 0
	}
	low, high := -tri/2-step/2, tri/2+step/2
	rise, fall := s.Duty*periodS-e, (1-s.Duty)*periodS-e
	ramp := func(v float64) float64 {
		if e == 0 {
			return 0
		}
		return v / e
	}
	return [4]segment{
		{startS, e, low, ramp(step)},
		{startS + e, rise, low + step, tri / rise},
		{startS + s.Duty*periodS, e, high, ramp(-step)},
		{startS + s.Duty*periodS + e, fall, high - step, -tri / fall},
	}
}

// timeline calls piece for every straight piece that covers the record and
// mark for every edge in it, starting some cycles early so that the low-pass
// has settled. Dither stretches each period; bursts leave idle gaps.
func (s Supply) timeline(phase float64, piece func(segment), mark func(edge)) (cycles int) {
	if s.SwitchingHz <= 0 {
		return 0
	}
	end := float64(s.Samples) / s.RateHz
	t := -(3 + phase) / s.SwitchingHz
	if s.BurstHz > 0 {
		return s.bursts(phase, end, piece, mark)
	}
	for t < end {
		period := s.periodAt(t)
		for _, g := range s.cyclePieces(t, period) {
			piece(g)
		}
		mark(edge{t, true})
		mark(edge{t + s.Duty*period, false})
		if t >= 0 && t+period <= end {
			cycles++
		}
		t += period
	}
	return cycles
}

// periodAt is the period of a cycle that starts at t: the frequency sweeps in
// a triangle by +-DitherFrac.
func (s Supply) periodAt(t float64) float64 {
	f := s.SwitchingHz
	if s.DitherFrac > 0 {
		x := t*s.DitherRateHz + 0.25
		x -= math.Floor(x)
		f *= 1 + s.DitherFrac*(1-4*math.Abs(x-0.5))
	}
	return 1 / f
}

// bursts lays out packets of whole cycles with idle gaps at the cycle's low
// level between them, on a slow triangle at the packet rate.
func (s Supply) bursts(phase, end float64, piece func(segment), mark func(edge)) (cycles int) {
	period, packet := 1/s.SwitchingHz, 1/s.BurstHz
	perPacket := math.Max(1, math.Round(s.BurstDuty*packet*s.SwitchingHz))
	on := perPacket * period
	low := -s.RipplePPV / 2
	for t := -(1 + phase) * packet; t < end; t += packet {
		lift := func(x float64) float64 { // slow triangle at time x within the packet
			if x < on {
				return s.BurstPPV * (x/on - 0.5)
			}
			return s.BurstPPV * (0.5 - (x-on)/(packet-on))
		}
		for k := 0.0; k < perPacket; k++ {
			start := t + k*period
			for _, g := range s.cyclePieces(start, period) {
				g.from += lift(g.startS - t)
				g.slope += s.BurstPPV / on
				piece(g)
			}
			mark(edge{start, true})
			mark(edge{start + s.Duty*period, false})
			if start >= 0 && start+period <= end {
				cycles++
			}
		}
		piece(segment{t + on, packet - on, low + s.BurstPPV/2, -s.BurstPPV / (packet - on)})
	}
	return cycles
}

// onePole carries the low-pass's state over straight pieces in closed form:
// for x = p + q*t the output is p + q*(t - tau) + c*exp(-t/tau).
type onePole struct {
	tau, y float64
	begun  bool
}

func (o *onePole) enter(g segment) {
	if !o.begun {
		o.y, o.begun = g.from, true
	}
}

// at is the output dt seconds into the piece.
func (o *onePole) at(g segment, dt float64) float64 {
	if o.tau == 0 {
		return g.from + g.slope*dt
	}
	return g.from + g.slope*(dt-o.tau) + (o.y-g.from+g.slope*o.tau)*math.Exp(-dt/o.tau)
}

func (o *onePole) leave(g segment) { o.y = o.at(g, g.durS) }

// addSampled adds the pieces' low-passed waveform at the sample instants.
func addSampled(out []float64, rateHz float64, o *onePole, g segment) {
	o.enter(g)
	i := int(math.Ceil(g.startS * rateHz))
	if i < 0 {
		i = 0
	}
	for ; i < len(out); i++ {
		dt := float64(i)/rateHz - g.startS
		if dt >= g.durS {
			break
		}
		if dt >= 0 {
			out[i] += o.at(g, dt)
		}
	}
	o.leave(g)
}

// addAveraged adds the pieces' mean over each of the record's sampling
// intervals: a box average, whose zeros fall on what would alias to zero.
func addAveraged(out []float64, rateHz, startS float64, g segment) {
	a, b := g.startS-startS, g.startS+g.durS-startS
	if b <= 0 {
		return
	}
	for i := max(0, int(a*rateHz)); i < len(out); i++ {
		lo, hi := math.Max(a, float64(i)/rateHz), math.Min(b, float64(i+1)/rateHz)
		if float64(i)/rateHz >= b {
			break
		}
		if hi > lo {
			mid := g.from + g.slope*((lo+hi)/2-a)
			out[i] += mid * (hi - lo) * rateHz
		}
	}
}

// denseCycle is one settled, spike-free cycle through the low-pass at n
// instants, the truth for the ripple figures.
func (s Supply) denseCycle(n int) []float64 {
	if s.SwitchingHz <= 0 || s.RipplePPV <= 0 {
		return nil
	}
	out := make([]float64, n)
	o := &onePole{tau: s.tau()}
	period := 1 / s.SwitchingHz
	rate := float64(n) * s.SwitchingHz
	for k := -20; k <= 0; k++ {
		for _, g := range s.cyclePieces(float64(k)*period, period) {
			if k < 0 {
				o.enter(g)
				o.leave(g)
			} else {
				addSampled(out, rate, o, g)
			}
		}
	}
	return out
}
