package capture

import (
	"fmt"
	"math"
	"strconv"
)

// rate settles sample rate and start from the fitted times and what is stated.
func (im *importer) rate(r *record) error {
	settle := im.rateOfTimes
	if im.sc.time < 0 || im.sc.timeKind == unitIndex {
		settle = im.rateOfSamples
	}
	if err := settle(r); err != nil {
		return err
	}
	im.trueRate()
	return nil
}

// useStated takes the rate that the options or the preamble state.
func (im *importer) useStated() {
	t := im.t
	t.SampleRateHz = 1 / im.stepS
	// The reciprocal of a printed interval is rarely the round number meant.
	if s := roundStep(im.stepS, 1e-12*im.stepS); s != 0 {
		t.SampleRateHz = roundRate(1 / s)
	}
	if im.given {
		t.SampleRateHz = im.opt.RateHz
	}
	t.assume("sample rate", SI(t.SampleRateHz, "S/s", 6), im.stepWhy)
}

// rateOfSamples settles the rate of a table without times, or with sample
// numbers.
func (im *importer) rateOfSamples(r *record) error {
	t, sc := im.t, im.sc
	im.useStated()
	if other, ok := im.otherStep(); ok && !im.given {
		t.caution(CautionRateConflict, fmt.Sprintf("the file states two rates: %s (used) and %s", SI(t.SampleRateHz, "S/s", 6), SI(1/other, "S/s", 6)), "give the true rate with --rate")
	}
	start, _ := im.meta(metaStart)
	t.StartS = start.num
	if factor, ok := im.unitOfSettings(); ok && start.unit.kind == unitNone {
		t.StartS *= factor
	}
	if sc.time < 0 || r.fit.step == 0 {
		if r.row0 > 0 {
			t.StartS += float64(r.row0) * im.stepS
		}
		return nil
	}
	if r.fit.step < 0.5 {
		return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: sc.time + 1, Found: "sample numbers that do not advance by 1", Expected: "1, 2, 3", Fix: "give --time-unit, or --rate"}
	}
	if math.Abs(r.fit.step-1) > 1e-6 && !im.given {
		// Every k-th sample was exported.
		t.SampleRateHz = roundRate(t.SampleRateHz / r.fit.step)
		t.assume("sample rate", SI(t.SampleRateHz, "S/s", 6), fmt.Sprintf("the sample numbers advance by %.6g", r.fit.step))
		t.caution(CautionAlias, fmt.Sprintf("only one sample in %.6g was exported: what lies above half the new rate is aliased", r.fit.step), "export the full record")
	}
	first := math.Round(r.fit.start)
	if first > 0 && first != 1 {
		t.StartS += first * im.stepS
	}
	return nil
}

// rateOfTimes settles the rate of a table with times: the fitted one, unless
// one is given, or one is stated that the stamps allow.
func (im *importer) rateOfTimes(r *record) error {
	t, factor := im.t, im.sc.timeFactor
	step := r.fit.step * factor
	t.StartS = r.fit.start * factor
	if s := roundStep(t.StartS, 0.02*step); t.StartS != 0 && math.Abs(s-t.StartS) < 1e-6*step {
		t.StartS = s
	}
	t.Span.HighHz /= factor
	if im.given {
		im.useStated()
		t.assume("time column", SI(1/step, "S/s", 6), "not used: the rate is given")
		if im.timesStated && math.Abs(im.stepS/step-1) > givenAgrees {
			t.caution(CautionRateConflict, fmt.Sprintf("the time column gives %s, %s is given and believed", SI(1/step, "S/s", 6), SI(t.SampleRateHz, "S/s", 6)), "take the rate out (--rate, rate_hz) unless the times are wrong")
		}
		t.Span.HighHz = 0
		return nil
	}
	why, err := im.fittedRate(r)
	if err != nil {
		return err
	}
	if im.stepS > 0 {
		var stated bool
		if stated, why, err = im.againstStated(r, step, why); err != nil {
			return err
		}
		if stated {
			im.useStated()
			t.SampleRateUHz = 0
			return nil
		}
	}
	im.sayRounded(r)
	t.assume("sample rate", SI(t.SampleRateHz, "S/s", 6), why)
	return nil
}

// trueRate takes the converter's own rate where the file states one below its rows'.
func (im *importer) trueRate() {
	t := im.t
	m, ok := im.meta(metaTrueRate)
	if !ok || !m.ok || m.num <= 0 || m.num >= 0.99*t.SampleRateHz || t.TrueRateHz != 0 {
		return
	}
	t.TrueRateHz = m.num
	t.caution(CautionInterpolated, fmt.Sprintf("the ADC ran at %s, the file holds %s", SI(m.num, "S/s", 6), SI(t.SampleRateHz, "S/s", 6)), "export without interpolation")
}

// fittedRate takes the roundest rate that the stamps allow and says which rule
// gave it.
func (im *importer) fittedRate(r *record) (why string, err error) {
	t, factor := im.t, im.sc.timeFactor
	step := r.fit.step * factor
	tol := max(2*r.fit.stepErr, r.fit.stepMost) * factor
	t.SampleRateHz = roundRate(1 / roundStep(step, tol))
	t.SampleRateUHz = tol / step * t.SampleRateHz
	why = "fitted over the time column"
	if lo, hi := r.stepLo*factor, r.stepHi*factor; hi > 0 {
		if lo <= 0 || hi-lo > widestSlope*(hi+lo) {
			upTo := "any"
			if lo > 0 {
				upTo = SI(1/lo, "S/s", 4)
			}
			return "", &ParseError{Path: im.src.name, Line: im.firstLine(), Column: im.sc.time + 1, Found: fmt.Sprintf("time stamps so rounded that the rate may be %s to %s", SI(1/hi, "S/s", 4), upTo), Expected: "times with more digits", Fix: "export them so, or give --rate"}
		}
		why = im.coarseRate(lo, hi)
	}
	return why, nil
}

// sayRounded doubts a rate that rests on coarse stamps.
func (im *importer) sayRounded(r *record) {
	t, ulp := im.t, r.ulp*im.sc.timeFactor
	step := r.fit.step * im.sc.timeFactor
	if ulp > 0.1*step && r.fit.rms > 0.03*r.fit.step {
		t.caution(CautionTimeRounded, fmt.Sprintf("the time stamps are printed in steps of %s, %.3g of the sample interval: the rate may be off by %.2g %%", SI(ulp, "s", 6), ulp/step, 100*t.SampleRateUHz/t.SampleRateHz), "export the times with more digits, or give the rate")
	}
}

// agrees is how far, as a ratio, a stated rate and that of the time column may
// lie apart without a caution.
const agrees = 1e-3

// givenAgrees is the same for a rate that is given, as people round it.
const givenAgrees = 0.02

// againstStated compares the fitted step with the stated one: used tells that
// the stamps allow the stated one, which then wins. fitted says which rule gave
// the fitted rate; why is that with what the comparison adds.
func (im *importer) againstStated(r *record, step float64, fitted string) (used bool, why string, err error) {
	t := im.t
	lo, hi := r.stepLo*im.sc.timeFactor, r.stepHi*im.sc.timeFactor
	ratio := im.stepS / step
	if r.pairs && ratio > 1.9 && ratio < 2.1 {
		ratio /= 2 // the interval of the pairs
	}
	switch {
	case math.Abs(ratio-1) <= max(3*r.fit.stepErr/r.fit.step, r.fit.stepMost/r.fit.step, 1e-12), lo > 0 && im.stepS >= lo*(1-1e-6) && im.stepS <= hi*(1+1e-6):
		if r.pairs {
			return false, im.stepWhy + ", two samples in each interval", nil
		}
		return true, fitted, nil
	case math.Abs(ratio-1) < agrees:
		return false, fmt.Sprintf("%s; agrees with %s to %.2g %%", fitted, im.stepWhy, 100*math.Abs(ratio-1)), nil
	case unitSlip(ratio):
		return false, fitted, &ParseError{Path: im.src.name, Line: im.firstLine(), Column: im.sc.time + 1, Found: fmt.Sprintf("a time column that gives %s, while %s gives %s", SI(1/step, "S/s", 6), im.stepWhy, SI(1/im.stepS, "S/s", 6)), Expected: "the two to agree", Fix: "give --time-unit or --rate"}
	case ratio > 1.5 && math.Abs(ratio-math.Round(ratio)) < 0.01*ratio:
		t.TrueRateHz = roundRate(1 / im.stepS)
		t.caution(CautionInterpolated, fmt.Sprintf("the file states %s but holds %s: the exporter put %.0f points where the ADC took one", SI(t.TrueRateHz, "S/s", 6), SI(t.SampleRateHz, "S/s", 6), math.Round(ratio)), "export without interpolation")
	case 1/ratio > 1.5 && math.Abs(1/ratio-math.Round(1/ratio)) < 0.01/ratio:
		t.caution(CautionAlias, fmt.Sprintf("the file states %s but holds one sample in %.0f: what lies above half the new rate may be aliased", SI(1/im.stepS, "S/s", 6), math.Round(1/ratio)), "export the full record")
	default:
		t.caution(CautionRateConflict, fmt.Sprintf("the time column gives %s, %s gives %s; the time column is used", SI(t.SampleRateHz, "S/s", 6), im.stepWhy, SI(1/im.stepS, "S/s", 6)), "give the true rate with --rate")
	}
	return false, fitted, nil
}

// coarseRate settles the rate that coarse stamps leave between steps of lo and
// hi seconds: a usual rate in between, else the roundest.
func (im *importer) coarseRate(lo, hi float64) (why string) {
	t := im.t
	mid, half := (lo+hi)/2, (hi-lo)/2
	why = "the roundest within the rounding of the time column"
	if usual := usualRate((1-1e-9)/hi, (1+1e-9)/lo); usual > 0 {
		t.SampleRateHz = usual
		why = "a usual rate within the rounding of the time column"
	} else {
		t.SampleRateHz = roundRate(1 / roundStep(mid, half))
	}
	t.SampleRateUHz = max(1/lo-t.SampleRateHz, t.SampleRateHz-1/hi)
	return why
}

// unitSlip tells a ratio of exactly 1000, 1e6, ... either way: a unit read wrong.
func unitSlip(r float64) bool {
	l := math.Log10(r) / 3
	return math.Abs(l) > 0.5 && math.Abs(l-math.Round(l)) < 0.001
}

// roundRate takes floating dust off a rate that came from a reciprocal.
func roundRate(r float64) float64 {
	for digits := 0; digits < 15; digits++ {
		if q, err := strconv.ParseFloat(strconv.FormatFloat(r, 'e', digits, 64), 64); err == nil && math.Abs(q-r) <= 2e-15*r {
			return q
		}
	}
	return r
}

// checkPoints compares the rows with the record length the file states.
func (im *importer) checkPoints(rows *rowsRead) {
	m, ok := im.meta(metaPoints)
	if !ok || !m.isCount(2) {
		return
	}
	n := len(rows.volts)
	im.t.assume("record length", fmt.Sprintf("%d rows", n), fmt.Sprintf("%s says %.0f", stated(m), m.num))
	for _, c := range im.t.Cautions {
		if c.Code == CautionTruncated || c.Code == CautionAlias || c.Code == CautionGaps {
			return
		}
	}
	if k := float64(n) / m.num; im.sc.time < 0 && k >= 2 && k == math.Trunc(k) && len(rows.pieces) <= 1 {
		im.t.caution(CautionSegments, fmt.Sprintf("the file states %.0f points and holds %.0f times as many: it may hold %.0f records one after the other, read here as one", m.num, k, k), "save one record per file")
	}
	if float64(n) < m.num && len(rows.pieces) <= 1 {
		im.t.caution(CautionTruncated, fmt.Sprintf("the file states %.0f points and holds %d", m.num, n), "save the record again")
	}
}
