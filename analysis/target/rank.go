package target

import (
	"cmp"
	"fmt"
	"slices"

	"stillglow/analysis/spectrum"
)

// verdictOrder is where a verdict stands in a ranking.
func verdictOrder(v Verdict) int {
	for i, o := range []Verdict{Pass, NearMiss, Fail, Open, Retake} {
		if v == o {
			return i
		}
	}
	return 5
}

// interval is that of a unit's worst margin, in dB.
func (e *Evaluation) interval() (low, high float64) {
	if e.Worst < 0 {
		return e.WorstDB, e.WorstDB
	}
	return e.Margins[e.Worst].LowDB, e.Margins[e.Worst].HighDB
}

// How margins are computed and units ordered, in words, for every place that
// explains a ranking. MarginRule follows MarginDB and bandDB, RankRule Rank,
// BrandRule Brands.
const (
	MarginRule = "A margin is 20·log10(limit / figure) in dB: 0 dB is at the limit, 6 dB is half of it, below 0 dB is over it. " +
		"The supply volts have a band: their margin is 20·log10(half the band / distance from its middle)."
	RankRule = "Units are ranked by verdict (pass, near miss, fail, open, retake). Among passing units, those whose rated current covers the heaters come first, then those with common mode measured. After that the order is by the worst margin, then by the sum of the other margins, then by name. " +
		"Supply volts inside their band don't count here, since the dropper brings them down to what the heaters need. " +
		"Units with the same verdict share a rank where their worst margins differ by less than their uncertainty."
	BrandRule = "Brands are ranked by the share of judged units that pass, then by the median of those units' worst margins; open and retake units are not judged yet, and a unit whose common mode is open passes on its output alone. Common mode counts in the brands' margins only where it is measured on every judged unit. A unit counts once, by its latest measurement without filter or dropper."
)

// halfPass tells of a passing unit whose common-mode half is not measured whole.
func (e *Evaluation) halfPass() bool {
	return e.Verdict == Pass && (e.Common == CommonOpen || e.Common == CommonInPart)
}

// class is where a unit stands ahead of all margins: its verdict, and of passing
// units those that carry the heaters' current, then those with both halves measured.
func (e *Evaluation) class() int {
	class := 4 * verdictOrder(e.Verdict)
	if e.Verdict == Pass && e.Overloaded {
		class += 2
	}
	if e.halfPass() {
		class++
	}
	return class
}

// Rank orders evaluations: by verdict, passing units that carry the heaters' current
// ahead of those that don't, then those with both halves measured ahead of those with
// one, then the worst margin, then the sum of the rest, then the name, then the place
// in the sheet. Within one of these classes, a unit whose worst margin's interval
// overlaps that of the first unit at a rank shares that rank; the next rank counts all
// units before it (1, 1, 3). The argument is left as it is.
func Rank(evals []Evaluation) []Evaluation {
	out := make([]Evaluation, len(evals))
	copy(out, evals)
	setAside(out)
	suspectProbes(out)
	slices.SortStableFunc(out, inRank)
	first := 0
	for i := range out {
		a, b := &out[first], &out[i]
		lowA, _ := a.interval()
		_, highB := b.interval()
		if i > 0 && !(a.class() == b.class() && (a.Worst < 0) == (b.Worst < 0) && highB >= lowA) {
			first = i
		}
		b.Rank = first + 1
	}
	markOutliers(out)
	return out
}

// inRank orders units: their class first, those with
// a judged criterion before those without, then by the worst margin and the sum of the
// rest; the sheet's names and order settle what is left.
func inRank(a, b Evaluation) int {
	last := func(is bool) int {
		if is {
			return 1
		}
		return 0
	}
	return cmp.Or(
		cmp.Compare(a.class(), b.class()),
		cmp.Compare(last(a.Worst < 0), last(b.Worst < 0)),
		cmp.Compare(b.WorstDB, a.WorstDB),
		cmp.Compare(b.SumRestDB, a.SumRestDB),
		cmp.Compare(a.Unit.Key, b.Unit.Key),
		cmp.Compare(a.Unit.Index, b.Unit.Index),
	)
}

// RankText explains a rank in a sentence: "ranked 3rd: mains line 2.1 dB over;
// all else passes".
func (e *Evaluation) RankText() string {
	return fmt.Sprintf("ranked %s: %s", spectrum.Ordinal(e.Rank), e.Why)
}
