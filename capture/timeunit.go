package capture

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
)

// timeUnit settles the unit of the time column and the interval that the
// options or the preamble state.
func (im *importer) timeUnit() error {
	sc := im.sc
	im.timesStated = sc.timeKind == unitSecond && sc.timeFactor != 0 && im.opt.TimeUnit == ""
	if im.opt.RateHz > 0 {
		im.stepS, im.stepWhy, im.given = 1/im.opt.RateHz, "given", true
	} else if err := im.useStatedStep(); err != nil {
		return err
	}
	if sc.time < 0 {
		im.t.TimeUnit = "none"
		if im.stepS == 0 {
			return im.noRate("no time column and no sample rate")
		}
		return nil
	}
	im.unitOfTimes()
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

// dropStandingTimes leaves out a column of times that stand still, as of a clock that shows
// seconds, where the file states the rate or it is given.
func (im *importer) dropStandingTimes() {
	sc := im.sc
	if sc.time < 0 || sc.timeKind != unitSecond {
		return
	}
	x := im.cols[sc.time].x
	for _, v := range x {
		if v != x[0] {
			return
		}
	}
	if len(x) < max(minSamples, min(schemaRows, im.tab.rows)) {
		return // other rows hold a time and no volts
	}
	if _, m, stated := im.statedStep(); im.opt.RateHz == 0 && (!stated || m.either) {
		return
	}
	sc.time = -1
	im.t.caution(CautionTimeRounded, fmt.Sprintf("the times stand still over the first %d rows and are not used: rows that are missing don't show", len(x)), "export the times with more digits")
}

// unitOfTimes finds the unit of the time column: given, that sample numbers
// need none, stated, or guessed.
func (im *importer) unitOfTimes() {
	sc := im.sc
	if im.opt.TimeUnit != "" {
		u, _ := parseUnit(im.opt.TimeUnit)
		if sc.timeKind == unitSecond && u.kind == unitSecond && sc.timeFactor != 0 && sc.timeFactor != u.factor {
			im.t.caution(CautionTimeUnit, fmt.Sprintf("the file states its times in %s, %s is given and believed", cmp.Or(sc.timeText, "s"), im.opt.TimeUnit), "take the unit out (--time-unit, time_unit) unless the file is wrong")
		}
		sc.timeKind, sc.timeFactor, sc.timeText = u.kind, u.factor, im.opt.TimeUnit
		im.t.assume("time unit", im.opt.TimeUnit, "given")
		if u.kind == unitIndex {
			sc.timeFactor = 0
		}
		return
	}
	if im.numbersUnderTime() {
		sc.timeKind, sc.timeFactor = unitIndex, 0
	}
	switch {
	case sc.timeKind != unitSecond:
	case sc.timeFactor == 0:
		im.guessTimeUnit()
	default:
		im.t.assume("time unit", sc.timeText, im.timeUnitWhy())
		if c := im.cols[sc.time]; sc.timeClock && c.parts == 2 && c.exp10 >= 0 && !im.given {
			im.t.caution(CautionTimeUnit, "times of two whole numbers, as 12:30, are taken for minutes and seconds; as hours and minutes the rate is 60 times lower", "give --rate")
		}
	}
}

// timeUnitWhy says where the unit of the times stands.
func (im *importer) timeUnitWhy() string {
	why := "stated in the header"
	if im.sc.timeWhy != "" {
		why = im.sc.timeWhy
	}
	if im.sc.timeClock {
		why = "time of day"
	}
	if u, ok := parseUnit(im.sc.timeText); ok && u.guessed {
		why += "; read as thousandths in spite of the capital M"
	}
	return why
}

// numbersUnderTime tells sample numbers under a header that promises times: they
// count by 1, and the stated interval is another.
func (im *importer) numbersUnderTime() bool {
	sc := im.sc
	if sc.timeKind != unitSecond || sc.timeFactor == 0 || sc.timeClock || im.stepS == 0 || im.given {
		return false
	}
	x := im.cols[sc.time]
	return x.ints && x.unit == "" && typicalStep(x.x) == 1 && math.Abs(im.stepS/sc.timeFactor-1) > 0.02
}

func (im *importer) noRate(found string) error {
	return &ParseError{Path: im.src.name, Line: im.firstLine(), Found: found, Expected: "a time column with its unit, or the sample rate in the preamble", Fix: "give --rate, or --time-unit"}
}

// useStatedStep takes the stated interval, unless its mark may be for decimals
// or for thousands and no time column tells which.
func (im *importer) useStatedStep() error {
	step, m, ok := im.statedStep()
	timed := im.sc.time >= 0 && im.sc.timeKind == unitSecond
	if !ok || m.either && timed {
		return nil
	}
	if !timed {
		if err := im.checkStated(step, m); err != nil {
			return err
		}
	}
	im.stepS, im.stepWhy = step, stated(m)
	return nil
}

// checkStated refuses an interval or a rate on which all rests and that may mean
// something else, and doubts a slow one without a unit.
func (im *importer) checkStated(step float64, m metaValue) error {
	slow, unsaid := step*slowestHz > 1, m.unit.kind == unitNone
	if _, ok := im.unitOfSettings(); ok {
		unsaid = false
	}
	refuse := &ParseError{Path: im.src.name, Line: m.line, Fix: "give --rate"}
	switch {
	case m.either:
		refuse.Found, refuse.Expected = fmt.Sprintf("%s %s, whose point may mark decimals or thousands", m.key, m.text), "one meaning for the point"
	case slow && unsaid:
		refuse.Found, refuse.Expected = fmt.Sprintf("%s %s without a unit, which gives %s", m.key, m.text, SI(1/step, "S/s", 4)), "a unit"
	case slow && m.unit.kind == unitHertz && m.unit.factor < 1:
		refuse.Found, refuse.Expected = fmt.Sprintf("%s %s, which may be thousandths or millions of a hertz", m.key, m.text), "MHz"
	default:
		if step*doubtfulHz > 1 && unsaid && m.unit.factor == 1 && step == m.num {
			im.t.caution(CautionTimeUnit, fmt.Sprintf("%s %s is stated without a unit; in seconds the rate is %s, slow for a supply's noise", m.key, m.text, SI(1/step, "S/s", 6)), "give --rate")
		}
		return nil
	}
	return refuse
}

// statedStep is the sample interval the preamble states, in seconds.
func (im *importer) statedStep() (float64, metaValue, bool) {
	for _, k := range []metaKey{metaInterval, metaRate} {
		if m, ok := im.meta(k); ok {
			if step, ok := im.stepOf(k, m); ok {
				return step, m, true
			}
		}
	}
	return 0, metaValue{}, false
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
			if factor, ok := im.unitOfSettings(); ok {
				step *= factor
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

// unitOfSettings is the unit that a file without times states for those of its settings.
func (im *importer) unitOfSettings() (factor float64, ok bool) {
	if m, stated := im.meta(metaTimeUnit); stated && im.sc.time < 0 {
		if u, isUnit := parseUnit(m.text); isUnit && u.kind == unitSecond {
			return u.factor, true
		}
	}
	return 1, false
}

// slowestHz is the lowest rate that is believed of a time column whose unit
// nobody states.
const slowestHz = 50

// doubtfulHz is the rate below which an assumed unit of seconds is cautioned.
const doubtfulHz = 9e3

// guessTimeUnit finds the unit of a time column that states none.
func (im *importer) guessTimeUnit() {
	sc := im.sc
	if im.preambleTimeUnit() {
		return
	}
	step := math.Abs(typicalStep(im.cols[sc.time].x))
	if step == 0 {
		sc.timeFactor, sc.timeText = 1, "s"
		return
	}
	if im.stepS > 0 && im.timeUnitByStep(step) {
		return
	}
	if im.epochUnit(step) {
		return
	}
	// An instrument that prints exponents and states volts has no need of another unit.
	exponents := !im.cols[sc.time].plain && !sc.unsaid && isVoltWord(sc.units[im.ch])
	if step*slowestHz > 1 && !exponents || dayStamps(im.cols[sc.time].x) {
		return // refused by the caller
	}
	sc.timeFactor, sc.timeText = 1, "s"
	im.mayBeSweep = step*doubtfulHz > 1 && sc.unsaid
	why := "no unit stated: seconds assumed"
	if exponents {
		why = "no unit stated: seconds assumed, as the times are printed with exponents"
	}
	im.t.assume("time unit", "s", why)
	if step*doubtfulHz > 1 {
		im.t.caution(CautionTimeUnit, fmt.Sprintf("the file states no unit of time; as seconds the rate is %s, slow for a supply's noise", SI(1/step, "S/s", 6)), "give --time-unit")
	}
}

// Seconds since 1970-01-01 of the years 2001 to 2033.
const firstEpoch, lastEpoch = 1e9, 2e9

// epochUnit finds the unit of stamps that count from 1970: their size tells it. A
// count of microseconds since a board was switched on stays below 2^32 and has no
// decimals, so that stamps of such a size are seconds only where they advance by
// less than 1 or by 1.
func (im *importer) epochUnit(step float64) bool {
	sc := im.sc
	x := im.cols[sc.time].x
	for _, c := range []struct {
		f    float64
		text string
	}{{1, "s"}, {1e-3, "ms"}, {1e-6, "us"}, {1e-9, "ns"}} {
		if !(x[0]*c.f >= firstEpoch && x[0]*c.f <= lastEpoch) || c.f == 1 && step > 1 {
			continue
		}
		sc.timeFactor, sc.timeText = c.f, c.text
		im.t.assume("time unit", c.text, "the stamps count from 1970, and their size tells their unit")
		return true
	}
	return false
}

// preambleTimeUnit takes the unit of times that the preamble states.
func (im *importer) preambleTimeUnit() bool {
	m, ok := im.meta(metaTimeUnit)
	if !ok {
		return false
	}
	switch u, ok := parseUnit(m.text); {
	case ok && u.kind == unitSecond:
		im.sc.timeFactor, im.sc.timeText = u.factor, m.text
		im.t.assume("time unit", m.text, stated(m))
		return true
	case ok && u.kind == unitIndex:
		im.sc.timeKind = unitIndex
		return true
	}
	return false
}

// timeUnitByStep takes the unit in which steps of the column are the stated
// interval.
func (im *importer) timeUnitByStep(step float64) bool {
	sc := im.sc
	if im.cols[sc.time].whole() && math.Abs(step-1) < 1e-9 {
		sc.timeKind = unitIndex
		return true
	}
	for _, c := range []struct {
		f    float64
		text string
	}{{1, "s"}, {1e-3, "ms"}, {1e-6, "us"}, {1e-9, "ns"}, {1e-12, "ps"}} {
		if r := step * c.f / im.stepS; r > 0.98 && r < 1.02 {
			sc.timeFactor, sc.timeText = c.f, c.text
			im.t.assume("time unit", c.text, "agrees with the sample interval "+im.stepWhy)
			return true
		}
	}
	if im.given {
		sc.timeFactor, sc.timeText = 1, "s"
	}
	return im.given
}

// Days as programs count them, of the years 1954 to 2118: spreadsheets from 1899-12-30,
// numerical programs from year 0, astronomers from 4713 BC.
var dayCounts = [][2]float64{{20e3, 80e3}, {713.7e3, 773.7e3}, {2434.7e3, 2494.7e3}}

// dayStamps reports whether times can be dates that count days, or times of day in
// fractions of one, as a spreadsheet saves either once their format is lost.
func dayStamps(x []float64) bool {
	if len(x) == 0 || !(math.Abs(x[len(x)-1]-x[0]) < 1) {
		return false
	}
	lo, hi, broken := x[0], x[0], false
	for _, v := range x {
		lo, hi, broken = min(lo, v), max(hi, v), broken || v != math.Trunc(v)
	}
	for _, c := range dayCounts {
		if broken && lo >= c[0] && hi <= c[1] {
			return true
		}
	}
	return lo >= 0 && hi < 1 && dayFraction(math.Abs(typicalStep(x)))
}

// dayFractionWithin is how far, as a share, a step may be off a round one: of 256 rows with
// the nine digits that a spreadsheet shows of a fraction of a day.
const dayFractionWithin = 2e-4

// dayFraction reports whether a step is 1, 2, 2.5 or 5 times a power of ten in seconds if
// it counts days, and no round number by itself.
func dayFraction(step float64) bool {
	if step == 0 || near(step, 3) || near(1/step, 2) {
		return false
	}
	s := step * dayS
	m := s / math.Pow(10, math.Floor(math.Log10(s)))
	for _, round := range []float64{1, 2, 2.5, 5, 10} {
		if math.Abs(m/round-1) < dayFractionWithin {
			return true
		}
	}
	return false
}

// near reports whether v is within dayFractionWithin of a number of so many digits.
func near(v float64, digits int) bool {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	return err == nil && math.Abs(v/r-1) < dayFractionWithin
}
