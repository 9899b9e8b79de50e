package target

import (
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// withJoined makes a smaller upper bound of an audio sum that is one by what was folded
// into it: of a slow record the part below joinHz alone, and above it, where most of
// the folded noise lies, the sum of a faster record of the same unit, into which less
// is folded. A faster one may have missed what the unit does at times only, so it
// counts where what the slow one shows more is no more than what it folds down.
func withJoined(u Unit, c criterion, p picked) picked {
	if !c.group.Has(figure.Audio) || c.unit != "V" || !p.fig.Known || !p.fig.UpperBound || len(p.from) == 0 {
		return p
	}
	slow, best := p.from[0], p
	for _, m := range u.Captures {
		if !joins(u, c, slow, m) {
			continue
		}
		if f, ok := joinedSum(c, slow, m, p.fig); ok && f.Value+f.U < best.fig.Value+best.fig.U {
			best.fig, best.from = f, []*analysis.Measurement{slow, m}
			best.source = fmt.Sprintf("%s up to %s, %s above", slow.File, HzText(joinHz), m.File)
		}
	}
	return best
}

// joins reports whether m may stand in for a slow capture above joinHz.
func joins(u Unit, c criterion, slow, m *analysis.Measurement) bool {
	return m != slow && m.Calibrated && m.Span.Covers(joinHz, c.highHz) &&
		m.SampleRateHz >= joinFaster*slow.SampleRateHz &&
		atOneLoad(m, slow) &&
		!m.ACRMSV.LowerBound && !doubtedBelow(u, c, m)
}

// doubtedBelow reports whether a caution of m says that its sums may lie too low.
func doubtedBelow(u Unit, c criterion, m *analysis.Measurement) bool {
	for _, k := range cautionsOf(u, m) {
		if down, _ := marginShift(k.Code, c, m, m.ACRMSV); down > 0 {
			return true
		}
	}
	return false
}

// joinedSum is the band's sum, fig as the slow record has it, with the part above
// joinHz by m; ok is false where the two disagree there by more than what is folded.
func joinedSum(c criterion, slow, m *analysis.Measurement, fig figure.Figure) (f figure.Figure, ok bool) {
	below, _, okLow := weightedPower(c, slow, c.lowHz, joinHz)
	slowAbove, _, okHigh := weightedPower(c, slow, joinHz, c.highHz)
	above, cells, okAbove := weightedPower(c, m, joinHz, c.highHz)
	if !okLow || !okHigh || !okAbove || !(fig.Value > 0) {
		return f, false
	}
	// What noise of n independent cells scatters by; k = 2.
	uAbove := 2 * above / math.Sqrt(math.Max(cells, 1))
	if slowAbove > above+uAbove+foldsMost*foldedInto(slow, m, joinHz, c.highHz) {
		return f, false
	}
	if all := fig.Value * fig.Value; slowAbove < all/2 {
		below = math.Max(below, all-slowAbove) // the curve smears the lowest lines, the sum does not
	}
	v := math.Sqrt(below + above)
	f = figure.Figure{Known: true, Value: v, UpperBound: true}
	f.U = math.Hypot(v*fig.U/fig.Value, uAbove/(2*v))
	return f, true
}

// foldedInto is the power in V² that a slow record may hold between two frequencies of
// its own: what it folds down of what a faster one shows, and its converter's noise.
func foldedInto(slow, fast *analysis.Measurement, lowHz, highHz float64) float64 {
	folded := fast.FoldedInto(slow.SampleRateHz, lowHz, highHz)
	if q := slow.QuantNoiseVPerRtHz; q.Known {
		folded += q.Value * q.Value * (highHz - lowHz)
	}
	return folded
}

// explained reports whether an upper figure of a slow record may top that of a faster
// one by no more than it folds down: else the faster one missed what the unit does at
// times. Where the two can't be compared it is.
func explained(c criterion, slow, fast *analysis.Measurement) bool {
	if c.domain != power || c.unit != "V" && !c.group.Has(figure.Density) || c.highHz <= c.lowHz || slow.SampleRateHz >= fast.SampleRateHz {
		return true
	}
	s, f := c.of(slow), c.of(fast)
	most := (f.Value + f.U) * (f.Value + f.U)
	folded := foldsMost * foldedInto(slow, fast, c.lowHz, c.highHz)
	if c.group.Has(figure.Density) {
		folded /= c.highHz - c.lowHz
	}
	return s.Value*s.Value <= most+folded
}

// weightedPower is the power in V² of a capture's spectrum from lowHz to highHz by a
// criterion's weighting, and of how many independent cells it is the sum: the square
// of the power over the sum of squares, times the record's length.
func weightedPower(c criterion, m *analysis.Measurement, lowHz, highHz float64) (power, cells float64, ok bool) {
	s, squares := m.Spectrum, 0.0
	for lo := lowHz; lo < highHz; lo *= joinStep {
		hi := math.Min(lo*joinStep, highHz)
		p, known := meanPower(s.FrequencyHz, s.VPerRtHz, lo, hi)
		if !known {
			return 0, 0, false
		}
		w := c.weighted(1, math.Sqrt(lo*hi))
		p *= w * w
		power += p * (hi - lo)
		squares += p * p * (hi - lo)
	}
	if squares > 0 {
		cells = power * power / squares * m.DurationS
	}
	return power, cells, true
}
