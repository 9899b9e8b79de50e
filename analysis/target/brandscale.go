package target

import (
	"fmt"
	"math"
	"strings"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// When a unit's volts are taken for a wrong probe factor beside its brand's
// others (common practice, no source).
const (
	scaleMates    = 2    // other units of the brand needed
	scaleFigures  = 2    // criteria in volts needed
	scaleOffDB    = 3.0  // how far the typical ratio may lie off 20 or 40 dB
	scaleSpreadDB = 12.0 // how far the criteria's ratios may lie apart
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
		times := "a hundred times"
		if math.Abs(byDB) < 30 {
			times = "ten times"
		}
		side := "above"
		if byDB < 0 {
			side = "below"
		}
		k := capture.Caution{Code: CautionBrandScale,
			Text: fmt.Sprintf("probe? Its figures lie about %s %s those of the other units of %s", times, side, e.Unit.Brand),
			Fix:  "compare the probe's switch with the channel's factor, and take a DC-coupled capture, whose mean shows the scale"}
		e.Cautions = append(e.Cautions, k)
		// The true margins lie higher by byDB: a unit that reads ten times too high
		// is 20 dB better than it looks.
		if (e.Verdict == Pass || e.Verdict == Open) && e.WorstDB+byDB < 0 ||
			(e.Verdict == Fail || e.Verdict == NearMiss) && e.WorstDB+byDB >= 0 {
			e.Verdict = Retake
			e.Why = "undecided, " + k.Text + "; as captured " + e.Why
			e.WouldFlip = strings.Join([]string{k.Text, k.Fix}, "; ")
		}
	}
}

// scaleShown tells whether a DC-coupled capture's mean shows that the scale is
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
		if !found || !m.Covered || c.unit != "V" || c.mode != capture.Differential || c.group.Has(figure.Mean) || !(m.Figure.Value > 0) {
			continue
		}
		var mates []float64
		for j := range evals {
			o := &evals[j]
			if j == i || !mine.Unit.alike(o.Unit) || o.Aside && o.Unit.bare() || k >= len(o.Margins) {
				continue
			}
			if om := o.Margins[k]; om.Covered && om.Limit.Criterion == m.Limit.Criterion && om.Figure.Value > 0 {
				mates = append(mates, 20*math.Log10(om.Figure.Value))
			}
		}
		if len(mates) >= scaleMates {
			ratios = append(ratios, 20*math.Log10(m.Figure.Value)-median(mates))
		}
	}
	if len(ratios) < scaleFigures {
		return 0, false
	}
	low, high := ratios[0], ratios[0]
	for _, r := range ratios {
		low, high = math.Min(low, r), math.Max(high, r)
	}
	mid := median(ratios)
	for _, step := range [...]float64{-40, -20, 20, 40} {
		if math.Abs(mid-step) <= scaleOffDB && high-low <= scaleSpreadDB {
			return step, true
		}
	}
	return 0, false
}
