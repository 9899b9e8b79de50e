package target

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// suspectProbes cautions units whose figures in volts all lie about ten or a
// hundred times over or under those of their brand's others. Where the verdict
// would be another with the factor taken out, the unit is to be taken again.
func suspectProbes(evals []Evaluation) {
	for i := range evals {
		e := &evals[i]
		byDB, ok := scaleAgainstBrand(evals, i)
		if !ok || scaleShown(e.Unit) {
			continue
		}
		times := "ten times"
		switch {
		case byDB <= -aboveTenDB:
			times = "a hundredth of"
		case byDB < 0:
			times = "a tenth of"
		case byDB >= aboveTenDB:
			times = "a hundred times"
		}
		k := capture.Caution{Code: CautionBrandScale,
			Text: fmt.Sprintf("wrong probe factor? Its figures are about %s those of the other %s units", times, e.Unit.Brand),
			Fix:  "compare the probe's 1:1/10:1 switch with the factor set on the scope channel, and take a DC-coupled capture, whose mean shows the scale"}
		e.Cautions = append(e.Cautions, k)
		// The true margins lie higher by byDB: a unit that reads ten times too high
		// is 20 dB better than it looks.
		if (e.Verdict == Pass || e.Verdict == Open) && e.WorstDB+byDB < 0 ||
			(e.Verdict == Fail || e.Verdict == NearMiss) && e.WorstDB+byDB >= 0 {
			e.Verdict = Retake
			e.Why = "undecided: " + k.Text + "; if the captures are right: " + e.Why
			e.WouldFlip = strings.Join([]string{k.Text, k.Fix}, "; ")
		}
	}
}

// scaleShown reports whether a DC-coupled capture's mean shows that the scale is
// right.
func scaleShown(u Unit) bool {
	want := expectedV(u)
	for _, m := range u.ofMode(capture.Differential).Captures {
		if want > 0 && m.DCV.Known && m.Calibrated && math.Abs(m.DCV.Value/want-1) < rightDC {
			return true
		}
	}
	return false
}

// scaleAgainstBrand is by how many dB the figures of a unit lie over those of its
// brand's others, where that looks like a factor of 10 or 100.
func scaleAgainstBrand(evals []Evaluation, i int) (byDB float64, ok bool) {
	mine := &evals[i]
	if mine.Unit.Brand == "" {
		return 0, false
	}
	var ratios []float64
	for k, m := range mine.Margins {
		c, found := lookup(m.Limit.Criterion)
		if !found || !m.Covered || !c.showsScale() || !(m.Figure.Value > 0) {
			continue
		}
		if mates := matesDB(evals, i, k); len(mates) >= scaleMates {
			ratios = append(ratios, 20*math.Log10(m.Figure.Value)-median(mates))
		}
	}
	if len(ratios) < scaleFigures || slices.Max(ratios)-slices.Min(ratios) > scaleSpreadDB {
		return 0, false
	}
	mid := median(ratios)
	for _, step := range [...]float64{-40, -20, 20, 40} {
		if math.Abs(mid-step) <= scaleOffDB {
			return step, true
		}
	}
	return 0, false
}

// showsScale reports whether a probe's factor would show in the criterion's figure,
// and no brand's units differ in it by design: volts across the output, not their
// mean.
func (c criterion) showsScale() bool {
	return c.unit == "V" && c.mode == capture.Differential && !c.group.Has(figure.Mean)
}

// matesDB are the figures of criterion k, in dB over 1 V, of the other supplies of
// unit i's make in the same state.
func matesDB(evals []Evaluation, i, k int) []float64 {
	mine := &evals[i]
	var out []float64
	for j := range evals {
		o := &evals[j]
		if j == i || !mine.Unit.alike(o.Unit) || o.Aside && o.Unit.bare() || k >= len(o.Margins) {
			continue
		}
		if m := o.Margins[k]; m.Covered && m.Limit.Criterion == mine.Margins[k].Limit.Criterion && m.Figure.Value > 0 {
			out = append(out, 20*math.Log10(m.Figure.Value))
		}
	}
	return out
}
