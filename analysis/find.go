package analysis

import "slices"

// cycleInput is a record and what is known of how it was taken.
type cycleInput struct {
	Volts  []float64
	MeanV  float64   // mean of Volts
	RateHz float64   // samples per second
	HighHz float64   // highest frequency that the record shows; 0: not known
	StepV  float64   // the converter's step, V; 0: not known
	NotHz  []float64 // frequencies at which no switching is looked for, Hz
}

// cycleFinding is the switching cycle of a record, taken apart. Where none shows,
// track, fold and model are nil.
type cycleFinding struct {
	track    *cycleTrack
	fold     *fold
	model    *cycleModel
	res      *residue // what ripple and slow part leave; never nil
	secondHz float64  // of a second converter's comb, 0: none shows
}

// findCycle finds the switching cycle, follows it through the record, folds the
// record over it and takes the folded cycle apart.
func findCycle(in cycleInput) cycleFinding {
	none := cycleFinding{res: &residue{volts: in.Volts, rateHz: in.RateHz, slow: slowMedians(in.Volts, in.RateHz)}}
	if !slices.ContainsFunc(in.Volts, func(v float64) bool { return v != in.Volts[0] }) {
		return none
	}
	coarse := searchSwitching(in.Volts, in.MeanV, in.RateHz, in.NotHz)
	t := trackSwitching(in.Volts, in.MeanV, in.RateHz, coarse)
	if t == nil || len(t.pieces) == 0 || float64(len(in.Volts))*t.hz/in.RateHz < minCycles {
		return none
	}
	out := cycleFinding{track: t, secondHz: coarse.secondHz}
	out.refold(in)
	if t.kind == SwitchingBursting {
		t.settleBursts(in.Volts, out.fold, out.model)
		out.refold(in)
	} else if t.sharpen(out.res, out.fold, out.fold.sigma) {
		out.refold(in)
	}
	if out.fold.power() < 6*out.fold.powerNoise() {
		return none // nothing repeats at the frequency found
	}
	if t.kind == SwitchingFixed {
		t.uHz = max(t.uHz, out.fold.hzBound(float64(len(in.Volts))/in.RateHz))
	}
	return out
}

// refold folds the record along the track as it is now and takes the cycle apart.
func (c *cycleFinding) refold(in cycleInput) {
	slow := newSlowPart(in.Volts, c.track)
	c.fold = foldTrace(in.Volts, c.track, slow)
	c.model = modelCycle(c.fold, 1/c.track.hz, in.RateHz, in.HighHz, in.StepV)
	c.res = &residue{volts: in.Volts, rateHz: in.RateHz, track: c.track, slow: slow, model: c.model}
}

// slowMedians is the slow part of a record without a cycle: medians over
// stretches of 20 µs, joined by straight lines.
func slowMedians(volts []float64, rateHz float64) slowPart {
	var s slowPart
	n := len(volts)
	length := max(64, int(20e-6*rateHz))
	for a := 0; a < n; a += length {
		b := min(a+length, n)
		buf := slices.Clone(volts[a:b])
		slices.Sort(buf)
		s.at = append(s.at, float64(a+b-1)/2)
		s.v = append(s.v, buf[len(buf)/2])
	}
	return s
}
