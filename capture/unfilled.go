package capture

import (
	"fmt"
	"slices"
)

// Stretches of memory that were never filled.
const (
	unfilledLeast = 64   // equal samples in a row, at least,
	unfilledShare = 0.01 // and as a share of the record
	unfilledTimes = 10   // times as long as any other rest of the samples
	unfilledMost  = 2    // such stretches: where there are more, the wave itself rests
)

// rest is a run of equal samples.
type rest struct{ from, n int }

// leaveOutUnfilled keeps the longest stretch of a record between runs of one value
// that nothing else in it resembles: memory that the instrument never filled, digital
// silence ahead of a recording, a stretch that was lost on the way. A run at the
// record's own extreme is none of these unless it is at zero: there the input may
// have saturated. It reports whether any was left out.
func (t *Trace) leaveOutUnfilled() bool {
	runs := unfilled(t.Volts)
	if len(runs) == 0 {
		return false
	}
	var keep rest
	from := 0
	for _, r := range append(runs, rest{from: len(t.Volts)}) {
		if r.from-from > keep.n {
			keep = rest{from, r.from - from}
		}
		from = r.from + r.n
	}
	r := runs[0]
	t.caution(CautionSkipped, fmt.Sprintf("samples %d to %d all read %s, as memory that was never filled does, and nothing else in the record stands still like that: only samples %d to %d are used",
		r.from+1, r.from+r.n, SI(t.Volts[r.from], "V", 3), keep.from+1, keep.from+keep.n), "let the record fill before saving it")
	t.Volts = slices.Clip(t.Volts[keep.from : keep.from+keep.n])
	t.StartS += float64(keep.from) / t.SampleRateHz
	return true
}

// unfilled are the runs of equal samples that stand out, in their order.
func unfilled(x []float64) []rest {
	least := max(unfilledLeast, int(unfilledShare*float64(len(x))))
	if !mayRest(x, least) {
		return nil
	}
	var long []rest
	other := 0 // the longest of the rest
	for from := 0; from < len(x); {
		n := 1
		for from+n < len(x) && x[from+n] == x[from] {
			n++
		}
		if n < least {
			other = max(other, n)
		} else if long = append(long, rest{from, n}); len(long) > unfilledMost {
			return nil
		}
		from += n
	}
	left := len(x)
	for _, r := range long {
		left -= r.n
	}
	if left < least {
		return nil // flat, or as good as flat
	}
	return slices.DeleteFunc(long, func(r rest) bool {
		return r.n < unfilledTimes*other || x[r.from] != 0 && !between(x, x[r.from], r)
	})
}

// unfilledInside is how far from the record's extremes, as a share of its range, a run
// must lie: a wave's flat top may rest a converter step or two below the highest sample.
const unfilledInside = 0.05

// between reports whether values beside a run lie well on both sides of its own.
func between(x []float64, v float64, r rest) bool {
	near := unfilledInside * (slices.Max(x) - slices.Min(x))
	below, above := false, false
	for i, y := range x {
		if i < r.from || i >= r.from+r.n {
			below, above = below || y < v-near, above || y > v+near
		}
	}
	return below && above
}

// mayRest reports whether as many equal samples in a row as that may be in x: such a
// run holds one of the stretches looked at, half as long, from end to end.
func mayRest(x []float64, least int) bool {
	half := least / 2
	for from := 0; from+half <= len(x); from += half {
		n := 1
		for n < half && x[from+n] == x[from] {
			n++
		}
		if n >= half {
			return true
		}
	}
	return false
}
