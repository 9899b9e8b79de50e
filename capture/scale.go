package capture

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// importer is one text file on its way to a Trace.
type importer struct {
	src  *source
	opt  Options
	tab  *table
	sc   *schema
	pre  *preamble
	cols []columnData
	ch   int // index into sc.volts
	t    *Trace
	// above are the units that the rows above state for the channel's column.
	above []unitAbove
	lone  []loneUnit // units in settings of unknown keys
	// stepS is the sample interval the options or the preamble state, in
	// seconds, 0 unknown; stepWhy where it stands.
	stepS   float64
	stepWhy string
	given   bool // by the options
	// timesStated tells that the times' unit stands in the file.
	timesStated bool
	// unitStated tells that the volts' unit is given or stands in the file.
	unitStated bool
	// mayBeSweep tells that nothing but its numbers makes the first column a time.
	mayBeSweep bool
}

func (im *importer) meta(k metaKey) (metaValue, bool) {
	return im.pre.get(k, im.sc.spot(im.ch))
}

// voltScale turns the file's values into volts: (x - zero)*factor + add.
type voltScale struct {
	unitFactor        float64 // of the column's own unit
	factor, zero, add float64
	counts            bool
	bits              int
}

// toVolts turns the file's values into volts in place.
func (v *voltScale) toVolts(x []float64) {
	switch over := wholeBelow(v.factor); {
	case v.add != 0 || v.zero != 0 && over == 0:
		for i := range x {
			x[i] = (x[i]-v.zero)*v.factor + v.add
		}
	case over != 0:
		for i := range x {
			x[i] = (x[i] - v.zero) / over
		}
	case v.factor != 1:
		for i := range x {
			x[i] *= v.factor
		}
	}
}

// apply scales the trace, and takes converter step and full scale of codes.
func (v *voltScale) apply(t *Trace) {
	v.toVolts(t.Volts)
	if !v.counts {
		return
	}
	t.StepV = math.Abs(v.factor)
	if v.bits < 2 || v.bits > 32 {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range t.Volts {
		c := (x-v.add)/v.factor + v.zero
		lo, hi = min(lo, c), max(hi, c)
	}
	end := math.Ldexp(1, v.bits)
	a, b := 0.0, end-1
	if lo < -0.5 {
		a, b = -end/2, end/2-1
	}
	if lo < a-0.5 || hi > b+0.5 {
		return
	}
	a, b = (a-v.zero)*v.factor+v.add, (b-v.zero)*v.factor+v.add
	t.FullScaleMinV, t.FullScaleMaxV = min(a, b), max(a, b)
}

// voltSymbol is a symbol for a voltage in a circuit: Vin, UCE, v2.
var voltSymbol = newPattern(`^[uv] ?(in|out|cc|dd|ss|ee|gs|ds|be|ce|cb|gk|ak|ref|e|b|c|g|d|s|a|k|i|o)?\d{0,2}$`)

// wholeBelow gives the whole number n where f is the nearest one to 1/n, else 0.
// To divide by n gives the very number that stands for the printed volts, as
// 5003 mV and 5.003 V; to multiply by f may miss it by a last bit.
func wholeBelow(f float64) float64 {
	if n := math.Round(1 / f); math.Abs(n) > 1 && math.Abs(n) < 1<<52 && 1/n == f {
		return n
	}
	return 0
}

var voltName = newPattern(`(?i)volt|spannung|tension|tensione|napi[eę]ci|napět|spanning|напряж|電圧|电压|^u\b|^v\b|^v\(`)

// voltUnit gives the unit of the chosen column: the unit, its text and where
// it was found. The values' own units win over the header's.
func (im *importer) voltUnit(hasScale bool) (u unit, text, why string, err error) {
	j := im.sc.volts[im.ch]
	cell, head := im.cols[j].unit, im.sc.units[im.ch]
	if im.opt.VoltUnit != "" {
		if u, ok, err := im.givenUnit(cell, head); ok || err != nil {
			return u, im.opt.VoltUnit, "given", err
		}
	}
	if cell != "" {
		return im.cellUnit(j, cell, head)
	}
	if u, ok := parseUnit(head); ok && !(u.kind == unitIndex && head == "#") {
		if u.kind == unitVolt && im.codesByDivision() && isUnitWord(im.sc.headers[im.ch]) {
			return unit{kind: unitCount, factor: 1}, "counts", "whole numbers at a stated volts per division", nil
		}
		im.sayOtherUnit(u, head)
		if u.kind == unitVolt && u.factor == 1 {
			im.sayWhole(im.cols[j], head)
		}
		return u, head, "stated in the header", nil
	}
	if u, text, why, ok := im.statedVoltUnit(); ok {
		return u, text, why, nil
	}
	if !hasScale && !im.rawColumn(j) && im.opt.Scale == 0 {
		if u, text, why, ok, err := im.loneVoltUnit(); ok || err != nil {
			return u, text, why, err
		}
	}
	return im.guessVoltUnit(hasScale)
}

// longestUnit is the letters of a unit's symbol; what is longer is a word.
const longestUnit = 2

// givenUnit is the unit that is given. Where the file states others alone it is refused,
// since one of the two is off by some power of ten, or gives way if it is only the
// instrument's usual one; where the file contradicts itself it decides, which is said.
func (im *importer) givenUnit(cell, head string) (u unit, ok bool, err error) {
	u, _ = parseUnit(im.opt.VoltUnit)
	settings, line := "", im.firstLine()
	if m, has := im.meta(metaVoltUnit); has {
		settings = m.text
		if cell == "" && head == "" {
			line = m.line
		}
	}
	other, agrees, word := "", false, false
	factor := 1.0
	texts := []string{cell, head, settings}
	for _, a := range im.above {
		texts = append(texts, a.text)
	}
	for _, text := range texts {
		s, isUnit := parseUnit(text)
		switch {
		case !isUnit || s.kind != unitVolt || u.kind != unitVolt:
		case s.factor == u.factor:
			agrees = true
		case other == "":
			other, factor = text, max(s.factor/u.factor, u.factor/s.factor)
			word = s.factor == 1 && len(text) > longestUnit
		}
	}
	switch {
	case other == "":
	case agrees:
		im.t.caution(CautionProbeFactor, fmt.Sprintf("the file states %s in one place, %s is given and believed: the volts may be off by a factor of %g", other, im.opt.VoltUnit, factor),
			"check a reading with a meter")
	case word: // "volts" over a column may be its quantity, not its unit
		im.t.caution(CautionProbeFactor, fmt.Sprintf("the file states %s, %s is given and believed: the volts may be off by a factor of %g", other, im.opt.VoltUnit, factor),
			"take the unit out (--volt-unit, volt_unit) unless the column's name is its quantity")
	case im.opt.VoltUnitUsual:
		return u, false, nil
	default:
		return u, false, &ParseError{Path: im.src.name, Line: line, Found: fmt.Sprintf("%s stated and %s given, a factor of %g apart", other, im.opt.VoltUnit, factor), Expected: "one unit",
			Fix: "take the unit out (--volt-unit, volt_unit); where the file is wrong, give what its values are to be multiplied by instead (--scale, scale)"}
	}
	return u, true, nil
}

// sayOtherUnit doubts the volts where the settings state another multiple of the volt
// than the header, which is believed: it stands nearer to the numbers.
func (im *importer) sayOtherUnit(u unit, head string) {
	m, ok := im.meta(metaVoltUnit)
	if !ok || u.kind != unitVolt {
		return
	}
	if s, isUnit := parseUnit(m.text); isUnit && s.kind == unitVolt && s.factor != u.factor {
		im.t.caution(CautionProbeFactor, fmt.Sprintf("the header states %s, and %s in line %d %s: the header is believed, and the volts may be off by a factor of %g", head, m.key, m.line, m.text, max(s.factor/u.factor, u.factor/s.factor)), "check a reading with a meter, and give --volt-unit")
	}
}

// statedVoltUnit is the unit that the settings state for the channel.
func (im *importer) statedVoltUnit() (u unit, text, why string, ok bool) {
	m, has := im.meta(metaVoltUnit)
	if !has {
		return unit{}, "", "", false
	}
	u, ok = parseUnit(m.text)
	switch {
	case !ok || u.kind != unitVolt:
	case im.codesByDivision():
		return unit{kind: unitCount, factor: 1}, "counts", "whole numbers at a stated volts per division", true
	case im.codesByScale():
		return unit{kind: unitCount, factor: 1}, "counts", "whole numbers, with a scale stated", true
	case im.codesByZero():
		return unit{kind: unitCount, factor: 1}, "counts", "whole numbers, with a code of zero stated", true
	}
	switch u.kind {
	case unitVolt, unitCount, unitDiv, unitAmpere, unitOther:
		return u, m.text, stated(m), ok
	}
	return unit{}, "", "", false
}

// cellUnit is the unit of values that carry it, under a header that may state
// one, too.
func (im *importer) cellUnit(j int, cell, head string) (u unit, text, why string, err error) {
	hu, inHead := parseUnit(head)
	inHead = inHead && head != cell
	conflict := &ParseError{Path: im.src.name, Line: im.firstLine(), Column: j + 1, Found: fmt.Sprintf("values such as %q under a header that states %s", "1"+cell, head), Expected: "one unit", Fix: "give --volt-unit"}
	u, ok := parseUnit(cell)
	if f, isPrefix := siPrefix[cell]; isPrefix && (!ok || len(cell) == 1 && u.kind != unitVolt) {
		if inHead && (hu.kind != unitVolt || hu.factor != 1) {
			return u, "", "", conflict
		}
		return unit{kind: unitVolt, factor: f}, cell + "V", "the prefix follows each value", nil
	}
	if !ok || inHead && hu.kind != u.kind {
		return u, "", "", conflict
	}
	why = "follows each value"
	if inHead && hu.factor != u.factor {
		why += ", and overrides the header's " + head
	}
	return u, cell, why, nil
}

// voltsAssumed is why values without a unit are volts.
const voltsAssumed = "no unit stated: volts assumed"

// mostPerDivision is the greatest volts per division that is believed without
// a unit.
const mostPerDivision = 100

// guessVoltUnit is voltUnit where nothing states a unit.
func (im *importer) guessVoltUnit(hasScale bool) (u unit, text, why string, err error) {
	j := im.sc.volts[im.ch]
	col, name := im.cols[j], im.sc.names[im.ch]
	raw := im.rawColumn(j)
	if m, ok := im.perDivision(); ok && m.unit.kind == unitNone && m.num > mostPerDivision && im.opt.Scale == 0 {
		return unit{}, "", "", &ParseError{Path: im.src.name, Line: m.line, Found: fmt.Sprintf("%s %s without a unit, too much for volts", m.key, m.text), Expected: "a unit of the values", Fix: "give --volt-unit"}
	}
	counts := unit{kind: unitCount, factor: 1}
	switch {
	case col.ints && !hasScale && !raw && im.opt.Scale == 0 && im.codesByDivision():
		return counts, "counts", "whole numbers at a stated volts per division", nil
	case raw:
		return counts, "counts", "from the column's name", nil
	case col.ints && hasScale && spread(col.x) >= 2:
		return counts, "counts", "whole numbers, with a scale stated", nil
	case voltName.MatchString(name):
		if im.opt.Scale == 0 {
			im.sayWhole(col, name)
		}
		return unit{kind: unitVolt, factor: 1}, "V", "from the column's name", nil
	case col.likeCodes() && im.opt.Scale == 0:
		return unit{}, "", "", &ParseError{Path: im.src.name, Line: im.firstLine(), Column: j + 1, Found: "whole numbers without a unit, which look like ADC codes", Expected: "volts, or a scale", Fix: "give --scale (volts per count) and --offset, or --volt-unit"}
	}
	return unit{kind: unitVolt, factor: 1}, "V", voltsAssumed, nil
}

// codesByScale reports whether the channel's whole numbers can only be codes of the
// converter, since a scale that makes a fraction of a volt of each is stated.
func (im *importer) codesByScale() bool {
	m, ok := im.meta(metaScale)
	col := im.cols[im.sc.volts[im.ch]]
	return ok && m.ok && m.num != 0 && math.Abs(m.num) < 1 && col.likeCodes() && im.opt.Scale == 0
}

// leastZeroCode is the least code of zero that tells codes from volts.
const leastZeroCode = 16

// codesByZero is codesByScale where the scale was lost, and the code of zero was not.
func (im *importer) codesByZero() bool {
	m, ok := im.meta(metaZeroCode)
	return ok && m.ok && m.unit.kind != unitVolt && math.Abs(m.num) >= leastZeroCode && im.cols[im.sc.volts[im.ch]].likeCodes() && im.opt.Scale == 0
}

// likeCodes tells whole numbers that are codes of a converter or thousandths of a volt
// rather than volts: volts in whole numbers show no ripple of any heater supply. Two
// levels alone, or none, may be those of a logic line or a log, and are told elsewhere.
func (c *columnData) likeCodes() bool {
	return c.ints && (countDistinct(c.x) >= 3 || spread(c.x) >= 8)
}

// sayWhole doubts whole numbers without a unit under a name that says volts.
func (im *importer) sayWhole(col columnData, name string) {
	if col.likeCodes() {
		im.t.caution(CautionProbeFactor, fmt.Sprintf("whole numbers under %q, taken for volts: they may be millivolts or ADC codes", name), "check a reading with a meter, and give --volt-unit or --scale")
	}
}

// rawColumn reports whether column j is named for codes.
func (im *importer) rawColumn(j int) bool {
	return slices.Contains(im.sc.raw, j) || rawName.MatchString(strings.ToLower(im.sc.names[im.ch])) && !im.cols[j].decimals()
}

// checkLogic refuses a column that nothing calls volts and that holds 0 and 1
// only, printed as whole numbers: the level of a logic line, or a flag.
func (im *importer) checkLogic() error {
	j := im.sc.volts[im.ch]
	if !im.cols[j].ints || im.unitStated || im.opt.Scale != 0 || im.opt.OffsetV != 0 || voltName.MatchString(im.sc.headers[im.ch]) {
		return nil
	}
	for _, v := range im.t.Volts {
		if v != 0 && v != 1 {
			return nil
		}
	}
	return im.badColumn("samples of 0 and 1 only without a unit, which look like logic levels", "volts", "choose a voltage channel, or give --volt-unit V")
}

// mostAssumedV is the greatest value without a unit that is taken for volts: no
// probe of a bench shows more, and millivolts of a heater supply do.
const mostAssumedV = 1000

// checkAssumed refuses values without a unit that are too much for volts; reach is
// their extent.
func (im *importer) checkAssumed(reach extent) error {
	if im.unitStated || im.opt.Scale != 0 || reach.lo >= -mostAssumedV && reach.hi <= mostAssumedV {
		return nil
	}
	for _, v := range im.t.Volts {
		if v > mostAssumedV || v < -mostAssumedV {
			return im.badColumn(fmt.Sprintf("values such as %g without a unit, too much for volts", v), "a unit of the values", "give --volt-unit")
		}
	}
	return nil
}

// soundRates are the sample rates of sound cards and recorders, in hertz (AES5 and common
// practice).
var soundRates = [...]float64{8e3, 11025, 12e3, 16e3, 22050, 24e3, 32e3, 44100, 48e3, 64e3, 88200, 96e3, 176400, 192e3, 352800, 384e3, 705600, 768e3}

// fractionRounding is what adding an offset and taking it off again may do to 1.
const fractionRounding = 1e-9

// fractionsOfFullScale knows the samples that a sound program writes as text: at a sound
// card's rate, which the text states, without a unit, none beyond digital full scale. Like a WAV's they are
// volts only by the volts at full scale, and an offset given is in volts. It reports
// whether it scaled them.
func (im *importer) fractionsOfFullScale(scale *voltScale) bool {
	t := im.t
	if im.unitStated || im.opt.Scale != 0 || im.stepS == 0 || !slices.Contains(soundRates[:], t.SampleRateHz) {
		return false
	}
	for _, v := range t.Volts {
		if math.Abs(v-scale.add) > 1+fractionRounding {
			return false
		}
	}
	if full := im.opt.VoltsPerFullScale; full != 0 {
		for i, v := range t.Volts {
			t.Volts[i] = (v-scale.add)*full + scale.add
		}
		scale.factor *= full
		t.assume("volts at full scale", SI(full, "V", 6)+" peak", "given")
		return true
	}
	t.Calibrated = false
	t.assume("volt unit", "of full scale", fmt.Sprintf("no unit stated, none beyond 1, and %s is a sound card's rate", SI(t.SampleRateHz, "S/s", 6)))
	t.caution(CautionUncalibrated, "samples without a unit within 1 at a sound card's rate, taken for fractions of digital full scale: their volts are not known", "give the volts at full scale with --volts-per-full-scale, or --volt-unit V if they are volts")
	return false
}

// evenWithin is how far, as a share of the step, the steps of a clock differ at
// most; those of a waveform that a converter took differ by more.
const evenWithin = 0.05

// checkTimes refuses one column alone that goes up by the same step all the way, as
// times and sample numbers do: the volts beside them were lost.
func (im *importer) checkTimes() error {
	x := im.t.Volts
	if im.sc.time >= 0 || len(im.tab.numeric) > 1 || im.opt.VoltUnit != "" || im.opt.Scale != 0 || len(x) < minSamples {
		return nil
	}
	step := (x[len(x)-1] - x[0]) / float64(len(x)-1)
	for i := 1; i < len(x); i++ {
		if math.Abs(x[i]-x[i-1]-step) > evenWithin*math.Abs(step) {
			return nil
		}
	}
	if step == 0 {
		return nil
	}
	return im.badColumn("one column of numbers that advance by the same step all the way, as times do", "volts", "export time and volts side by side, or give --volt-unit if these are volts")
}

// samplesPerLevel is how many samples there are to a level at least, on average, where
// a converter took a slow wave.
const samplesPerLevel = 5

// farFromZero is how many times its own length a slow record without a name over its
// times may lie from zero.
const farFromZero = 20

// sweepBack is how far, as a share of their range, the values of a sweep's curve go back
// at most.
const sweepBack = 0.02

// onFewLevels tells a converter's record of a slow wave from readings of a meter: its
// samples share few levels.
func onFewLevels(x []float64) bool {
	seen := map[float64]bool{}
	for _, v := range x {
		if seen[v] = true; len(seen)*samplesPerLevel > len(x) {
			return false
		}
	}
	return true
}

// checkSweep refuses a slow table whose first column has no name where the values only
// rise or only fall: the curve of a part over its voltage looks like that, and no supply
// does.
func (im *importer) checkSweep() error {
	if !im.mayBeSweep {
		return nil
	}
	x := im.t.Volts
	if span := float64(len(x)) / im.t.SampleRateHz; math.Abs(im.t.StartS) > farFromZero*span {
		return &ParseError{Path: im.src.name, Line: im.firstLine(), Found: fmt.Sprintf("a first column without a name from %.6g to %.6g: it may be a frequency or a wavelength", im.t.StartS, im.t.StartS+span), Expected: "a time column with its unit", Fix: "give --time-unit if it is a time"}
	}
	lo, hi := slices.Min(x), slices.Max(x)
	up, down := true, true
	most, least := x[0], x[0]
	for _, v := range x {
		most, least = max(most, v), min(least, v)
		up = up && most-v <= sweepBack*(hi-lo)
		down = down && v-least <= sweepBack*(hi-lo)
	}
	if lo == hi || !up && !down || onFewLevels(x) {
		return nil
	}
	return &ParseError{Path: im.src.name, Line: im.firstLine(), Found: "values that only rise or only fall over a first column without a name: it may be the voltage of a sweep", Expected: "a time column with its unit", Fix: "give --time-unit if it is a time"}
}

// sayHuge doubts volts that no probe of a bench shows, whatever states them.
func (im *importer) sayHuge(reach extent) {
	if most := max(-reach.lo, reach.hi); most > mostAssumedV {
		im.t.caution(CautionProbeFactor, fmt.Sprintf("samples of up to %s: no heater supply gives them, so the unit, the scale or the probe factor is wrong, or a row is not a sample", SI(most, "V", 4)), "check the file's unit, and give --volt-unit or --scale")
	}
}

// inName is a factor in a column's name, as of one that a spreadsheet works out or a probe's:
// "CH1*1000", "V/10", "CH1 x10".
var inName = newPattern(`(?i)(?:^|[^a-z0-9.])(?:[x×*/] ?([0-9]{1,6})|([0-9]{1,6}) ?[x×*])(?:$|[^0-9.])|[a-z0-9)][*/]([0-9]{1,6})(?:$|[^a-z0-9.])`)

// leastInName is the least factor that is believed to be one: names hold smaller numbers
// for all kinds of reasons.
const leastInName = 10

// node is a circuit's voltage, whose part may be called x10.
var node = newPattern(`(?i)^v\(`)

// sayFactor doubts volts whose column's name states a factor: nothing tells whether they are
// multiplied by it or have to be.
func (im *importer) sayFactor() {
	name := im.sc.headers[im.ch]
	m := inName.FindStringSubmatch(name)
	if m == nil || im.opt.Scale != 0 || im.opt.ProbeFactor != 0 {
		return
	}
	if f, err := strconv.Atoi(m[1] + m[2] + m[3]); err == nil && f >= leastInName && !node.MatchString(name) {
		im.t.caution(CautionProbeFactor, fmt.Sprintf("the name %q states a factor of %d: whether the values are volts at the probe's tip, or so many times or parts of them, is not known; they are taken as they are", short(name), f), "give --scale or --probe, or name the column without it")
	}
}

// voltScale decides what the values mean. Volts stay volts; converter codes
// and divisions need a scale from the file or the user.
func (im *importer) voltScale() (*voltScale, error) {
	v := &voltScale{unitFactor: 1, factor: 1}
	scale, hasScale := im.meta(metaScale)
	u, text, why, err := im.voltUnit(hasScale)
	if err != nil {
		return nil, err
	}
	im.t.VoltUnit, im.unitStated = text, why != voltsAssumed
	im.sayFactor()
	if u.guessed {
		why += "; read as thousandths in spite of the capital M"
	}
	switch u.kind {
	case unitVolt:
		v.unitFactor, v.factor = u.factor, u.factor
		im.t.assume("volt unit", text, why)
		if hasScale && im.opt.Scale == 0 && scale.unit.kind == unitVoltPerCount {
			im.t.StepV = math.Abs(scale.num)
		}
	case unitCount:
		im.t.assume("volt unit", "counts", why)
		err = im.scaleOfCounts(v, scale, hasScale)
	case unitDiv:
		im.t.assume("volt unit", "div", why)
		err = im.scaleOfDivisions(v, scale, hasScale)
	case unitAmpere:
		err = im.badColumn("a current in "+text, "volts", "choose the voltage channel with --channel, or give --volt-unit V")
	default:
		err = im.badColumn(fmt.Sprintf("values in %q", text), "volts", "choose another channel with --channel, or give --volt-unit")
	}
	if err != nil {
		return nil, err
	}
	if im.opt.Scale != 0 {
		v.factor, v.zero = im.opt.Scale, 0
		im.t.assume("scale", fmt.Sprintf("%g V per unit of the file", v.factor), "given")
	}
	if im.opt.OffsetV != 0 {
		v.add += im.opt.OffsetV
		im.t.assume("offset", SI(im.opt.OffsetV, "V", 6)+" added", "given")
	}
	return v, nil
}

// badColumn is an error about the channel's column.
func (im *importer) badColumn(found, expected, fix string) error {
	return &ParseError{Path: im.src.name, Line: im.firstLine(), Column: im.sc.volts[im.ch] + 1, Found: found, Expected: expected, Fix: fix}
}

// scaleOfCounts finds the volts per converter code and the code of zero.
func (im *importer) scaleOfCounts(v *voltScale, scale metaValue, hasScale bool) error {
	v.counts = true
	if m, ok := im.meta(metaBits); ok && m.ok {
		v.bits = int(m.num)
	}
	if im.opt.Scale != 0 {
		return nil
	}
	if m, ok := im.meta(metaStep); !hasScale && ok && m.ok && m.unit.kind != unitNone {
		scale, hasScale = m, true
	}
	if m, ok := im.meta(metaPerDiv); ok && m.unit.kind == unitVoltPerCount {
		scale, hasScale = m, true // "vertical scale (V/count)"
	}
	switch {
	case !hasScale && im.codesByDivision():
		var why string
		var err error
		if v.factor, why, err = im.voltsPerCode(); err != nil {
			return err
		}
		if err := im.refuseScreenOffset(v.factor); err != nil {
			return err
		}
		im.t.assume("scale", SI(v.factor, "V", 6)+" per count", why)
		return nil
	case !hasScale || scale.num == 0:
		return im.badColumn("ADC codes without a scale", "volts per count in the preamble", "give --scale (volts per count) and --offset")
	case scale.unit.kind == unitVoltPerDiv:
		return &ParseError{Path: im.src.name, Line: scale.line, Found: "volts per division for a table of ADC codes", Expected: "volts per count", Fix: "give --scale (volts per count) and --offset"}
	}
	v.factor = scale.num
	im.t.assume("scale", SI(v.factor, "V", 6)+" per count", stated(scale))
	return im.countOffset(v)
}

// scaleOfDivisions finds the volts per division, and where zero volts lie on
// the screen.
func (im *importer) scaleOfDivisions(v *voltScale, scale metaValue, hasScale bool) error {
	if im.opt.Scale != 0 {
		return nil
	}
	m, ok := im.meta(metaPerDiv)
	if !ok && hasScale && scale.unit.kind != unitVoltPerCount {
		m, ok = scale, true
	}
	if !ok || m.num == 0 {
		return im.badColumn("values in screen divisions without volts per division", "volts per division in the preamble", "give --scale (volts per division)")
	}
	v.factor = m.num
	im.t.assume("scale", SI(v.factor, "V", 6)+" per division", stated(m))
	if im.opt.OffsetV != 0 {
		return nil
	}
	if m, ok := im.meta(metaOffset); ok && m.ok && math.Abs(m.num) > v.factor/codesPerDivision {
		return &ParseError{Path: im.src.name, Line: m.line, Found: fmt.Sprintf("divisions with %q %s, which may be volts to add or to take off", m.key, m.text), Expected: "volts, or the volts to add", Fix: "give the volts to add with --offset"}
	}
	if m, ok := im.meta(metaPosition); ok && m.num != 0 {
		v.zero = m.num
		im.t.assume("position", fmt.Sprintf("%g divisions subtracted", m.num), stated(m))
	}
	return nil
}

// countOffset reads where zero volts lie for converter codes.
func (im *importer) countOffset(v *voltScale) error {
	if m, ok := im.meta(metaZeroCode); ok && m.ok {
		if m.unit.kind == unitVolt {
			v.add += m.num
			im.t.assume("offset", SI(m.num, "V", 6)+" added", stated(m))
		} else {
			v.zero = m.num
			im.t.assume("code of zero", fmt.Sprintf("%g counts subtracted first", m.num), stated(m))
		}
	}
	m, ok := im.meta(metaOffset)
	if !ok || !m.ok || m.num == 0 {
		return nil
	}
	switch {
	case m.unit.kind == unitCount:
		v.zero += m.num
		im.t.assume("code of zero", fmt.Sprintf("%g counts subtracted first", m.num), stated(m))
	case m.unit.kind != unitVolt && im.opt.OffsetV == 0 && m.num == math.Trunc(m.num) && math.Abs(m.num) >= 16 && math.Abs(m.num*v.factor) < 0.1*math.Abs(m.num):
		return &ParseError{Path: im.src.name, Line: m.line, Found: fmt.Sprintf("%s %s, which may be volts or counts", m.key, m.text), Expected: "a unit after it", Fix: "give --scale and --offset (volts)"}
	default:
		v.add += m.num
		im.t.assume("offset", SI(m.num, "V", 6)+" added", stated(m))
	}
	return nil
}

// resolution is the coarsest step that is known of the samples, in volts.
func (im *importer) resolution(scale *voltScale) float64 {
	res := im.t.StepV
	if e := im.cols[im.sc.volts[im.ch]].exp10; e != math.MaxInt {
		res = max(res, pow10(e)*math.Abs(scale.factor))
	}
	if m, ok := im.meta(metaPerDiv); ok && m.ok && m.num > 0 && m.unit.kind != unitVoltPerCount {
		res = max(res, m.num/codesPerDivision)
	}
	return res
}

func stated(m metaValue) string { return fmt.Sprintf("%q stated in line %d", m.key, m.line) }

func spread(x []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return hi - lo
}

func (im *importer) firstLine() int {
	return im.tab.firstNumber
}
