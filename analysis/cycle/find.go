package cycle

import (
	"math"
	"slices"

	"stillglow/capture"
)

// Input is a record and what is known of how it was taken.
type Input struct {
	Volts  []float64 // the record's samples, V
	MeanV  float64   // mean of Volts
	RateHz float64   // samples per second
	HighHz float64   // highest frequency that the record shows; 0: not known
	StepV  float64   // the converter's step, V; 0: not known
	NotHz  []float64 // frequencies at which no switching is looked for, Hz
	Known  Clock     // the switching where it is known, and not to be searched for
}

// Clock is a switching that is known, as from the same record ahead of a filter. The
// zero value: it is not.
type Clock struct {
	Hz, SecondHz float64 // its mean frequency, and that of a second converter; 0: none known
	Steady       bool    // it neither wanders nor rests
}

// Finding is the switching cycle of a record, taken apart. Where none shows,
// track, fold and model are nil.
type Finding struct {
	Track    *Track   // the switching's phase over the record; nil: no cycle found
	Fold     *Fold    // the record laid over one cycle
	Model    *Model   // that cycle taken apart
	Residue  *Residue // what ripple and slow part leave; never nil
	SecondHz float64  // of a second converter's comb, 0: none shows
	// Explained is the share of what varies in the ripple's band, noise left out,
	// that the mean cycle accounts for, 0 to 1.
	Explained float64
	// FundamentalLoss is the share of its fundamental that the mean cycle may have lost
	// by a clock that walks.
	FundamentalLoss float64
	// PlacesHz is the rate of the places at which every cycle is sampled where clock and
	// sample rate are as small whole numbers, 0 elsewhere, and FastShare the share of
	// the mean cycle's power that lies above an eighth of the sample rate then.
	PlacesHz, FastShare float64
}

// Find finds the switching cycle, follows it through the record, folds the
// record over it and takes the folded cycle apart.
func Find(in Input) Finding {
	if !slices.ContainsFunc(in.Volts, func(v float64) bool { return v != in.Volts[0] }) {
		return nothingFound(in)
	}
	coarse := coarseSwitching{hz: in.Known.Hz, secondHz: in.Known.SecondHz, coherent: in.Known.Steady}
	if coarse.hz == 0 {
		coarse = searchSwitching(in.Volts, in.MeanV, in.RateHz, in.NotHz)
	}
	t := trackSwitching(in.Volts, in.MeanV, in.RateHz, coarse)
	if t == nil || len(t.Pieces) == 0 || float64(len(in.Volts))*t.Hz/in.RateHz < minCycles {
		return nothingFound(in)
	}
	out := Finding{Track: t, SecondHz: coarse.secondHz}
	out.refold(in)
	if t.placesHz(len(in.Volts), in.RateHz) > 0 {
		if k := out.Fold.heldMultiple(t.Hz, in.RateHz); k > 1 {
			t = trackSwitching(in.Volts, in.MeanV, in.RateHz, coarse.times(float64(k)*t.Hz/coarse.hz))
			out.Track = t
			out.refold(in)
		}
	}
	if t.Kind == Bursting {
		t.settleBursts(in.Volts, out.Fold, out.Model)
		out.refold(in)
	} else if t.sharpen(out.Residue, out.Fold, out.Fold.SigmaV) {
		out.refold(in)
	}
	if out.Fold.Power() < repeatSigmas*out.Fold.powerNoise() {
		return nothingFound(in) // nothing repeats at the frequency found
	}
	if t.Kind == Fixed {
		t.SigmaHz = max(t.SigmaHz, out.Fold.hzBound(float64(len(in.Volts))/in.RateHz), t.parts.scatterHz(t.Hz))
	}
	var held heldSpectra
	walk := 0.0
	both(func() { walk = t.walk(in.Volts, in.MeanV) }, func() { held = out.holdAgainst(in) })
	out.Explained = held.explained(in.RateHz)
	duration := float64(len(in.Volts)) / in.RateHz
	// phases that walk at random leave the slope of their line √3·r/T from the mean rate
	t.SigmaHz = max(t.SigmaHz, out.clockSigmaHz(held, duration), math.Sqrt(3)*walk/duration)
	out.Model.smear(walk)
	out.roughen(held)
	out.FundamentalLoss = smearedLine(walk)
	if out.PlacesHz = t.placesHz(len(in.Volts), in.RateHz); out.PlacesHz > 0 {
		out.FastShare = out.Fold.fastShare(t.Hz, in.RateHz)
	}
	return out
}

// nothingFound is the finding where no cycle shows.
func nothingFound(in Input) Finding {
	return Finding{Residue: &Residue{Volts: in.Volts, RateHz: in.RateHz, Slow: slowMedians(in.Volts, in.RateHz)}}
}

// refold folds the record along the track as it is now and takes the cycle apart.
func (c *Finding) refold(in Input) {
	slow := newSlowPart(in.Volts, c.Track)
	c.Fold = foldTrace(in.Volts, c.Track, slow)
	c.Model = modelCycle(c.Fold, 1/c.Track.Hz, in.RateHz, in.HighHz, in.StepV)
	c.Residue = &Residue{Volts: in.Volts, RateHz: in.RateHz, Track: c.Track, Slow: slow, Model: c.Model}
}

// slowMedians is the slow part of a record without a cycle: medians over
// stretches of 20 µs, joined by straight lines.
func slowMedians(volts []float64, rateHz float64) SlowPart {
	var s SlowPart
	n := len(volts)
	length := max(64, int(20e-6*rateHz))
	var buf []float64
	for a := 0; a < n; a += length {
		b := min(a+length, n)
		buf = append(buf[:0], volts[a:b]...)
		s.At = append(s.At, float64(a+b-1)/2)
		s.V = append(s.V, capture.Ranked(buf, len(buf)/2))
	}
	return s
}
