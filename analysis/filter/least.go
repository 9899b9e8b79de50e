package filter

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
)

const (
	// leastEnds are the samples at either end of a record that leastPP leaves out, where the
	// low-pass of the 20 MHz span takes the record to go on otherwise.
	leastEnds = 64
	// leastWhole is the longest record that is filtered as a whole for it, where the
	// circuit remembers for longer than a block's guard.
	leastWhole = 1 << 18
)

// leastPP bounds from below, in volts, the peak-to-peak in the 20 MHz span that capture i
// shows behind a circuit: the samples are filtered, as apply does it, there alone where
// they are likely to be extreme, and what is seen of a record is at most what it holds. ok
// is false where that can't be had in a fraction of the time that all of it takes.
func (in Input) leastPP(i int, c Circuit) (v float64, ok bool) {
	tr, setup, w := in.Traces[i], in.Setups[i], in.work
	insertion := func(hz float64) complex128 { return Insertion(c, hz) }
	limit := analysis.Response20MHz(tr, setup)
	gain := func(hz float64) complex128 { return limit(hz) * insertion(hz) }
	n := len(tr.Volts)
	if n <= 4*leastEnds {
		return 0, false
	}
	if n < splitLeast || fastPart(tr.SampleRateHz, insertion) == nil {
		if n > leastWhole {
			return 0, false
		}
		x := aboutMean(tr.Volts)
		w.through(x, tr, tr.SampleRateHz, gain)
		return peakToPeak(x[leastEnds : n-leastEnds]), true
	}
	h := crossedOver(tr.SampleRateHz)
	multiply(h, tr.SampleRateHz/splitBlock, gain)
	fast := spectrum.NewFilter(h)
	slow := w.slowOf(tr, stat.Mean(tr.Volts, nil))
	low := slow.through(tr.SampleRateHz, gain)
	least, most := math.Inf(1), math.Inf(-1)
	block := make([]float64, splitBlock)
	for _, k := range slow.likely(low[:(n+splitDown-1)/splitDown]) {
		from := k * splitStep
		to := min(from+splitStep, n)
		w.runBlock(fast, slow, k, block)
		inside := block[splitGuard : splitGuard+to-from]
		addBetween(inside, low, from)
		inside = inside[max(leastEnds-from, 0):max(min(n-leastEnds, to)-from, 0)]
		if len(inside) > 0 {
			least, most = min(least, floats.Min(inside)), max(most, floats.Max(inside))
		}
	}
	return most - least, most > least
}

// likely are the blocks that hold the extremes of the record, and those of its filtered
// slow part low.
func (s *slowPart) likely(low []float64) []int {
	if s.extreme == nil {
		s.extreme = []int{floats.MinIdx(s.from.v) / splitStep, floats.MaxIdx(s.from.v) / splitStep}
	}
	blocks := append(slices.Clone(s.extreme), floats.MinIdx(low)*splitDown/splitStep, floats.MaxIdx(low)*splitDown/splitStep)
	slices.Sort(blocks)
	return slices.Compact(blocks)
}

// boundPP puts the least that the samples show of the peak-to-peak behind a circuit into
// the estimates u, in place of what was estimated, and reports whether it could be told of
// every capture.
func (in Input) boundPP(u target.Unit, c Circuit) bool {
	for i, needed := range needsSamples(in.Unit, in.Target) {
		if f := &u.Captures[i].PP20MHzV; needed && f.Known {
			v, ok := in.leastPP(i, c)
			if !ok {
				return false
			}
			f.Value, f.U = v, 0
		}
	}
	return true
}
