package target

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// doubt is a caution that could carry a margin over to the other side of its
// limit, or (couldFail) from inside or a near miss to a fail with no bound.
type doubt struct {
	margin           int // index into Evaluation.Margins
	flips, couldFail bool
	text, fix        string
}

// doubtsOf lists the cautions of the captures behind a margin that could flip
// it, and captures that contradict it.
func doubtsOf(u Unit, index int, mg Margin, p picked) []doubt {
	c, ok := lookup(mg.Limit.Criterion)
	if !ok {
		return nil
	}
	out := cautionDoubts(u, c, index, mg, p)
	out = append(out, packetDoubt(u, c, index, mg, p)...)
	if mg.DB >= 0 && mg.LowDB < -doubtDB || mg.DB < 0 && mg.HighDB > doubtDB {
		out = append(out, doubt{margin: index, flips: true,
			text: fmt.Sprintf("the uncertainty reaches over the limit, from %.1f to %.1f dB", mg.LowDB, mg.HighDB),
			fix:  "capture it again with fewer volts per division, or several times"})
	}
	if c.figure == nil || len(p.from) == 0 || mg.Figure.LowerBound {
		return out
	}
	if m := p.from[0]; mg.DB < 0 && atQuantisation(c, m, mg.Figure) {
		out = append(out, doubt{margin: index, flips: true,
			text: "the noise is that of the ADC's own steps",
			fix:  "use fewer volts per division, AC coupling, or a recorder with more bits"})
	}
	return append(out, contradictions(u, c, index, mg, p)...)
}

// cautionDoubts are the cautions of the captures behind a margin that move its
// figure by enough, each once.
func cautionDoubts(u Unit, c criterion, index int, mg Margin, p picked) []doubt {
	var out []doubt
	seen := map[string]bool{}
	for _, m := range p.from {
		for _, k := range cautionsOf(u, m) {
			down, up := marginShift(k.Code, c, m, mg.Figure)
			flips := (mg.DB >= 0 && mg.DB < down) || (mg.DB < 0 && -mg.DB <= up)
			couldFail := mg.DB >= -NearMissDB && down >= couldFailDB && mg.DB-down < -NearMissDB
			if (flips || couldFail) && !seen[k.Code] {
				seen[k.Code] = true
				out = append(out, doubt{margin: index, flips: flips, couldFail: couldFail, text: k.Text, fix: k.Fix})
			}
		}
	}
	return out
}

// contradictions are captures just as fit as the one behind a margin that put the
// figure on the limit's other side.
func contradictions(u Unit, c criterion, index int, mg Margin, p picked) []doubt {
	var out []doubt
	for _, m := range u.Captures {
		f := c.of(m)
		if slices.Contains(p.from, m) || !f.Known || f.LowerBound || f.UpperBound || !m.Calibrated || quality(u, c, m) > quality(u, c, p.from[0]) ||
			!roughlyCovers(m.Span, mg.Limit.NeedLowHz, mg.Limit.NeedHighHz) {
			continue
		}
		other := MarginDB(mg.Limit.Max, f.Value)
		if (other < 0) != (mg.DB < 0) && math.Abs(other-mg.DB) > contradictDB {
			out = append(out, doubt{margin: index, flips: true,
				text: fmt.Sprintf("%s gives %s, %s gives %s", p.from[0].File, mg.Limit.text(mg.Figure.Value), m.File, mg.Limit.text(f.Value)),
				fix:  "repeat both with the same set-up"})
		}
	}
	return out
}

// atLeast reports whether a figure over its limit may be any amount higher and not
// so low as to be inside.
func atLeast(doubts []doubt) bool {
	more := false
	for _, d := range doubts {
		if d.flips {
			return false
		}
		more = more || d.couldFail
	}
	return more
}

// atQuantisation reports whether a density is within 3 dB of the converter's own.
func atQuantisation(c criterion, m *analysis.Measurement, f figure.Figure) bool {
	if c.id == Noise && m.Noise.AtQuantisation {
		return true
	}
	return c.group.Has(figure.Density) && !c.group.Has(figure.MaskRatio) && m.QuantNoiseVPerRtHz.Known && f.Value < twicePower*m.QuantNoiseVPerRtHz.Value
}

// cautionsOf gives a capture's cautions. A wrong probe factor shows only where
// DC does, so an AC-coupled capture shares the suspicion of its neighbours.
func cautionsOf(u Unit, m *analysis.Measurement) []capture.Caution {
	if m.DCV.Known {
		return m.Cautions
	}
	for _, other := range u.Captures {
		for _, k := range other.Cautions {
			if other != m && k.Code == capture.CautionProbeFactor {
				return append(append([]capture.Caution(nil), m.Cautions...), k)
			}
		}
	}
	return m.Cautions
}
