package capture

import (
	"fmt"
	"math"
	"strconv"
)

// timeUnit settles the unit of the time column and the interval that the
// options or the preamble state.
func (im *importer) timeUnit() error {
	sc := im.sc
	if im.opt.RateHz > 0 {
		im.stepS, im.stepWhy, im.given = 1/im.opt.RateHz, "given", true
	} else if step, why, ok := im.statedStep(); ok {
		im.stepS, im.stepWhy = step, why
	}
	if sc.time < 0 {
		im.t.TimeUnit = "none"
		if im.stepS == 0 {
			return im.noRate("no time column and no sample rate")
		}
		return nil
	}
	if x := im.cols[sc.time]; im.opt.TimeUnit == "" && sc.timeKind == unitSecond && sc.timeFactor > 0 && !sc.timeClock && im.stepS > 0 && !im.given && x.ints && x.unit == "" {
		// Sample numbers under a header that promises times.
		if step := typicalStep(x.x); step == 1 && math.Abs(im.stepS/sc.timeFactor-1) > 0.02 {
			sc.timeKind, sc.timeFactor = unitIndex, 0
		}
	}
	if im.opt.TimeUnit != "" {
		u, _ := parseUnit(im.opt.TimeUnit)
		sc.timeKind, sc.timeFactor, sc.timeText = u.kind, u.factor, im.opt.TimeUnit
		im.t.assume("time unit", im.opt.TimeUnit, "given")
		if u.kind == unitIndex {
			sc.timeFactor = 0
		}
	} else if sc.timeKind == unitSecond && sc.timeFactor == 0 {
		im.guessTimeUnit()
	} else if sc.timeKind == unitSecond {
		why := "stated in the header"
		if sc.timeWhy != "" {
			why = sc.timeWhy
		}
		if sc.timeClock {
			why = "time of day"
		}
		if u, ok := parseUnit(sc.timeText); ok && u.guessed {
			why += "; read as thousandths in spite of the capital M"
		}
		im.t.assume("time unit", sc.timeText, why)
	}
	if sc.timeKind == unitIndex {
		im.t.TimeUnit = "samples"
		if im.stepS == 0 {
			return im.noRate("sample numbers and no sample rate")
		}
		im.t.assume("time unit", "samples", "the column counts")
		return nil
	}
	im.t.TimeUnit = sc.timeText
	if sc.timeFactor == 0 {
		if dayStamps(im.cols[sc.time].x) {
			return im.noRate("a time column without a unit that may count days, as spreadsheets do")
		}
		return im.noRate("a time column without a unit, in steps that are unlikely as seconds")
	}
	return nil
}

func (im *importer) noRate(found string) error {
	return &ParseError{Path: im.src.name, Line: im.firstLine(), Found: found, Expected: "a time column with its unit, or the sample rate in the preamble", Fix: "give --rate, or --time-unit"}
}

// statedStep is the sample interval the preamble states, in seconds.
func (im *importer) statedStep() (float64, string, bool) {
	for _, k := range []metaKey{metaInterval, metaRate} {
		if m, ok := im.meta(k); ok {
			if step, ok := im.stepOf(k, m); ok {
				return step, stated(m), true
			}
		}
	}
	return 0, "", false
}

// otherStep is a stated interval that differs from the one in use by more
// than one per cent.
func (im *importer) otherStep() (float64, bool) {
	for _, k := range []metaKey{metaInterval, metaRate} {
		for _, m := range im.pre.values[k] {
			if m.channel != "" || m.index > 0 {
				continue
			}
			if step, ok := im.stepOf(k, m); ok && math.Abs(step/im.stepS-1) > 0.01 {
				return step, true
			}
		}
	}
	return 0, false
}

// stepOf reads a stated interval or rate as an interval in seconds.
func (im *importer) stepOf(k metaKey, m metaValue) (float64, bool) {
	if !m.ok || m.num <= 0 || math.IsInf(m.num, 0) {
		return 0, false
	}
	step := m.num
	asRate := k == metaRate
	switch m.unit.kind {
	case unitSecond:
		asRate = false
	case unitHertz:
		asRate = true
	case unitNone:
		if k == metaInterval {
			if tu, ok := im.meta(metaTimeUnit); ok && im.sc.time < 0 {
				if u, ok := parseUnit(tu.text); ok && u.kind == unitSecond {
					step *= u.factor
				}
			}
		}
	default:
		return 0, false
	}
	if asRate {
		step = 1 / step
	}
	return step, step > 0 && !math.IsInf(step, 0)
}

// slowestHz is the lowest rate that is believed of a time column whose unit
// nobody states.
const slowestHz = 50

// doubtfulHz is the rate below which an assumed unit of seconds is cautioned.
const doubtfulHz = 9e3

// guessTimeUnit finds the unit of a time column that states none.
func (im *importer) guessTimeUnit() {
	sc := im.sc
	if m, ok := im.meta(metaTimeUnit); ok {
		if u, ok := parseUnit(m.text); ok && u.kind == unitSecond {
			sc.timeFactor, sc.timeText = u.factor, m.text
			im.t.assume("time unit", m.text, stated(m))
			return
		}
		if u, ok := parseUnit(m.text); ok && u.kind == unitIndex {
			sc.timeKind = unitIndex
			return
		}
	}
	step := math.Abs(typicalStep(im.cols[sc.time].x))
	if step == 0 {
		sc.timeFactor, sc.timeText = 1, "s"
		return
	}
	if im.stepS > 0 {
		if im.cols[sc.time].ints && math.Abs(step-1) < 1e-9 {
			sc.timeKind = unitIndex
			return
		}
		for _, c := range []struct {
			f    float64
			text string
		}{{1, "s"}, {1e-3, "ms"}, {1e-6, "us"}, {1e-9, "ns"}, {1e-12, "ps"}} {
			if r := step * c.f / im.stepS; r > 0.98 && r < 1.02 {
				sc.timeFactor, sc.timeText = c.f, c.text
				im.t.assume("time unit", c.text, "agrees with the sample interval "+im.stepWhy)
				return
			}
		}
		if im.given {
			sc.timeFactor, sc.timeText = 1, "s"
			return
		}
	}
	if step*slowestHz > 1 {
		return // refused by the caller
	}
	if dayStamps(im.cols[sc.time].x) {
		return // refused by the caller
	}
	sc.timeFactor, sc.timeText = 1, "s"
	im.t.assume("time unit", "s", "no unit stated: seconds assumed")
	if step*doubtfulHz > 1 {
		im.t.caution(CautionTimeUnit, fmt.Sprintf("the file states no unit of time; as seconds the rate is %s, slow for a supply's noise", SI(1/step, "Hz", 6)), "give --time-unit")
	}
}

// Days since 1899-12-30, as spreadsheets count them, of the years 1954 to 2118.
const firstDay, lastDay = 20e3, 80e3

// dayStamps tells whether times can be a spreadsheet's dates.
func dayStamps(x []float64) bool {
	for _, v := range x {
		if v < firstDay || v > lastDay {
			return false
		}
	}
	return len(x) > 0 && x[len(x)-1]-x[0] < 1 && x[0] != math.Trunc(x[0]+0.5)
}

// rate settles sample rate and start from the fitted times and what is stated.
func (im *importer) rate(r *record) error {
	t, sc := im.t, im.sc
	useStated := func() {
		t.SampleRateHz = 1 / im.stepS
		// The reciprocal of a printed interval is rarely the round number meant.
		if s := roundStep(im.stepS, 1e-12*im.stepS); s != 0 {
			t.SampleRateHz = roundRate(1 / s)
		}
		if im.given {
			t.SampleRateHz = im.opt.RateHz
		}
		t.assume("sample rate", SI(t.SampleRateHz, "Hz", 6), im.stepWhy)
		if other, ok := im.otherStep(); ok && !im.given && (sc.time < 0 || sc.timeKind == unitIndex) {
			t.caution(CautionRateConflict, fmt.Sprintf("the file states two rates: %s (used) and %s", SI(t.SampleRateHz, "Hz", 6), SI(1/other, "Hz", 6)), "give the true rate with --rate")
		}
	}
	start, _ := im.meta(metaStart)
	if sc.time < 0 || sc.timeKind == unitIndex {
		useStated()
		t.StartS = start.num
		if sc.time >= 0 && r.fit.step != 0 {
			if r.fit.step < 0.5 || math.Abs(r.fit.step-1) > 1e-6 {
				if r.fit.step < 0.5 {
					return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: sc.time + 1, Found: "sample numbers that do not advance by 1", Expected: "1, 2, 3", Fix: "give --time-unit, or --rate"}
				}
				// Every k-th sample was exported.
				if !im.given {
					t.SampleRateHz = roundRate(t.SampleRateHz / r.fit.step)
					t.assume("sample rate", SI(t.SampleRateHz, "Hz", 6), fmt.Sprintf("the sample numbers advance by %.6g", r.fit.step))
					t.caution(CautionAlias, fmt.Sprintf("only every %.6g-th sample was exported: what lies above half the new rate is folded down", r.fit.step), "export the full record")
				}
			}
			first := math.Round(r.fit.start)
			if sc.timeKind == unitIndex && first > 0 && first != 1 {
				t.StartS += first * im.stepS
			}
		} else if r.row0 > 0 {
			t.StartS += float64(r.row0) * im.stepS
		}
		return nil
	}
	step := r.fit.step * sc.timeFactor
	tol := max(2*r.fit.stepErr, r.fit.stepMost) * sc.timeFactor
	t.StartS = r.fit.start * sc.timeFactor
	if s := roundStep(t.StartS, 0.02*step); t.StartS != 0 && math.Abs(s-t.StartS) < 1e-6*step {
		t.StartS = s
	}
	t.Span.HighHz /= sc.timeFactor
	if im.given {
		useStated()
		t.assume("time column", SI(1/step, "Hz", 6), "not used: the rate is given")
		t.Span.HighHz = 0
		return nil
	}
	fitted := roundStep(step, tol)
	t.SampleRateHz = roundRate(1 / fitted)
	t.SampleRateUHz = tol / step * t.SampleRateHz
	why := "fitted over the time column"
	lo, hi := r.stepLo*sc.timeFactor, r.stepHi*sc.timeFactor // bounds of the step, 0 unknown
	if hi > 0 {
		if lo <= 0 || hi-lo > widestSlope*(hi+lo) {
			upTo := "any"
			if lo > 0 {
				upTo = SI(1/lo, "Hz", 4)
			}
			return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: sc.time + 1, Found: fmt.Sprintf("time stamps so rounded that the rate may be %s to %s", SI(1/hi, "Hz", 4), upTo), Expected: "times with more digits", Fix: "export them so, or give --rate"}
		}
		why = im.coarseRate(lo, hi)
	}
	if r.ulp*sc.timeFactor > 0.1*step && r.fit.rms > 0.03*r.fit.step {
		t.caution(CautionTimeRounded, fmt.Sprintf("the time stamps are printed in steps of %s, %.3g of the sample interval: the rate may be off by %.2g %%", SI(r.ulp*sc.timeFactor, "s", 6), r.ulp*sc.timeFactor/step, 100*t.SampleRateUHz/t.SampleRateHz), "export the times with more digits, or give the rate")
	}
	if im.stepS > 0 {
		ratio := im.stepS / step
		if r.pairs && ratio > 1.9 && ratio < 2.1 {
			ratio /= 2 // the interval of the pairs
		}
		switch {
		case math.Abs(ratio-1) <= max(3*r.fit.stepErr/r.fit.step, r.fit.stepMost/r.fit.step, 1e-12), lo > 0 && im.stepS >= lo*(1-1e-6) && im.stepS <= hi*(1+1e-6):
			if r.pairs {
				why = im.stepWhy + ", two samples in each interval"
				break
			}
			useStated()
			t.SampleRateUHz = 0
			return nil
		case math.Abs(ratio-1) < 0.01:
			why += fmt.Sprintf("; agrees with %s to %.2g %%", im.stepWhy, 100*math.Abs(ratio-1))
		case unitSlip(ratio):
			return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: sc.time + 1, Found: fmt.Sprintf("a time column that gives %s, while %s gives %s", SI(1/step, "Hz", 6), im.stepWhy, SI(1/im.stepS, "Hz", 6)), Expected: "the two to agree", Fix: "give --time-unit or --rate"}
		case ratio > 1.5 && math.Abs(ratio-math.Round(ratio)) < 0.01*ratio:
			t.TrueRateHz = roundRate(1 / im.stepS)
			t.caution(CautionInterpolated, fmt.Sprintf("the file states %s but holds %s: the exporter put %.0f points where the converter took one", SI(t.TrueRateHz, "Hz", 6), SI(t.SampleRateHz, "Hz", 6), math.Round(ratio)), "export without interpolation")
		case 1/ratio > 1.5 && math.Abs(1/ratio-math.Round(1/ratio)) < 0.01/ratio:
			t.caution(CautionAlias, fmt.Sprintf("the file states %s but holds every %.0f-th sample: what lies above half the new rate may be folded down", SI(1/im.stepS, "Hz", 6), math.Round(1/ratio)), "export the full record")
		default:
			t.caution(CautionRateConflict, fmt.Sprintf("the time column gives %s, %s gives %s; the time column is used", SI(t.SampleRateHz, "Hz", 6), im.stepWhy, SI(1/im.stepS, "Hz", 6)), "give the true rate with --rate")
		}
	}
	if m, ok := im.meta(metaTrueRate); ok && m.ok && m.num > 0 && m.num < 0.99*t.SampleRateHz && t.TrueRateHz == 0 {
		t.TrueRateHz = m.num
		t.caution(CautionInterpolated, fmt.Sprintf("the converter ran at %s, the file holds %s", SI(m.num, "Hz", 6), SI(t.SampleRateHz, "Hz", 6)), "export without interpolation")
	}
	t.assume("sample rate", SI(t.SampleRateHz, "Hz", 6), why)
	return nil
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
	if !ok || !m.ok || m.num < 2 || m.num != math.Trunc(m.num) || m.unit.kind == unitSecond {
		return
	}
	n := len(rows.volts)
	im.t.assume("record length", fmt.Sprintf("%d rows", n), fmt.Sprintf("%s says %.0f", stated(m), m.num))
	for _, c := range im.t.Cautions {
		if c.Code == CautionTruncated || c.Code == CautionAlias || c.Code == CautionGaps {
			return
		}
	}
	if float64(n) < m.num && len(rows.pieces) <= 1 {
		im.t.caution(CautionTruncated, fmt.Sprintf("the file states %.0f points and holds %d", m.num, n), "save the record again")
	}
}
