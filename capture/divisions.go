package capture

import (
	"fmt"
	"math"
)

// mostDivisions is how many volts per division a record may span from peak to
// peak: screens show 8 or 10, converters reach a little beyond.
const mostDivisions = 16

// codesPerDivisions are those of 8-bit converters over 8 to 12.8 divisions
// (common practice, no source).
var codesPerDivisions = [...]float64{20, 25, 30, 32}

// mostCode bounds an 8-bit code, signed or not.
const mostCode = 256

// perDivision is the stated volts per division of the channel.
func (im *importer) perDivision() (metaValue, bool) {
	m, ok := im.meta(metaPerDiv)
	switch m.unit.kind {
	case unitNone, unitVolt, unitVoltPerDiv:
		return m, ok && m.ok && m.num > 0
	}
	return m, false
}

// codesByDivision reports whether the channel's whole numbers can only be
// converter codes, since at the stated volts per division a converter's steps
// are fractions of a volt.
func (im *importer) codesByDivision() bool {
	col := im.cols[im.sc.volts[im.ch]]
	m, ok := im.perDivision()
	return ok && col.ints && m.num < codesPerDivision && countDistinct(col.x) >= 3
}

// voltsPerCode takes the scale of codes from the settings, where these pin the
// codes per division: the trigger level and the position stand on the grid of
// codes, too. Else it is an error that says which scale to give.
func (im *importer) voltsPerCode() (float64, string, error) {
	m, _ := im.perDivision()
	j := im.sc.volts[im.ch]
	refuse := &ParseError{Path: im.src.name, Line: im.firstLine(), Column: j + 1,
		Found:    fmt.Sprintf("whole numbers at %s per division (line %d), which are ADC codes", SI(m.num, "V", 4), m.line),
		Expected: "volts, or the volts per code",
		Fix:      fmt.Sprintf("give --scale (%.6g with 25 codes per division, as most 8-bit scopes have), or --volt-unit", m.num/codesPerDivision)}
	if c, ok := im.meta(metaCodesPerDiv); ok && c.ok && c.num > 0 {
		return m.num / c.num, fmt.Sprintf("%s, %s", stated(m), stated(c)), nil
	}
	for _, v := range im.cols[j].x {
		if math.Abs(v) > mostCode {
			refuse.Found = fmt.Sprintf("whole numbers such as %g at %s per division (line %d), which are not volts", v, SI(m.num, "V", 4), m.line)
			refuse.Fix = "give --volt-unit mV if they are millivolts, or --scale (volts per code)"
			return 0, "", refuse
		}
	}
	fits, evidence := im.codesThatFit(m.num)
	if evidence == 0 || len(fits) != 1 {
		return 0, "", refuse
	}
	return m.num / fits[0], fmt.Sprintf("%s; trigger level and position are whole numbers of 1/%.0f division", stated(m), fits[0]), nil
}

// screenOffset is a stated vertical offset or position of the channel of more than
// least. Some instruments count it from the screen's middle to zero volts, others from
// zero volts to the middle: where the numbers are codes or divisions, and no more is
// stated, the volts of zero are known but for the sign, that is, not at all.
func (im *importer) screenOffset(least float64) (metaValue, bool) {
	for _, k := range []metaKey{metaPosition, metaOffset} {
		if v, ok := im.meta(k); ok && v.ok && math.Abs(v.num) > 1.01*least {
			return v, true
		}
	}
	return metaValue{}, false
}

// refuseScreenOffset refuses codes of perCode volts each whose offset on the screen is
// stated, unless the volts to add are given.
func (im *importer) refuseScreenOffset(perCode float64) error {
	v, ok := im.screenOffset(perCode)
	if !ok || im.opt.OffsetV != 0 {
		return nil
	}
	return &ParseError{Path: im.src.name, Line: v.line,
		Found:    fmt.Sprintf("codes with %q %s, which may be volts to add or to take off", v.key, v.text),
		Expected: "volts, or the volts to add", Fix: fmt.Sprintf("give --scale %.6g and the volts to add with --offset", perCode)}
}

// codesThatFit gives the codes per division at which trigger level, position and
// offset are whole codes, at perDiv volts per division; evidence counts them.
func (im *importer) codesThatFit(perDiv float64) (fits []float64, evidence int) {
	for _, n := range codesPerDivisions {
		on := true
		evidence = 0
		for _, k := range []metaKey{metaTriggerLevel, metaPosition, metaOffset} {
			if v, ok := im.meta(k); ok && v.ok && v.num != 0 {
				c := v.num / (perDiv / n)
				on = on && math.Abs(c-math.Round(c)) < 0.01
				evidence++
			}
		}
		if on {
			fits = append(fits, n)
		}
	}
	return fits, evidence
}

// checkDivisions refuses a record that no screen holds at the stated volts per
// division: a unit or a scale read wrong.
func (im *importer) checkDivisions() error {
	m, ok := im.perDivision()
	if !ok || im.opt.Scale != 0 || im.opt.VoltUnit != "" {
		return nil
	}
	limit := mostDivisions * m.num
	if p, ok := im.meta(metaProbe); ok {
		if f, ok := probeFactor(p); ok && f > 1 {
			limit *= f // volts per division may be those at the input
		}
	}
	if pp := spread(im.t.Volts); pp > limit {
		return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: im.sc.volts[im.ch] + 1,
			Found:    fmt.Sprintf("%s peak to peak at %s per division (line %d): %.0f divisions", SI(pp, "V", 4), SI(m.num, "V", 4), m.line, pp/m.num),
			Expected: fmt.Sprintf("at most %d divisions", mostDivisions), Fix: "give the values' unit with --volt-unit, or their scale with --scale"}
	}
	return nil
}
