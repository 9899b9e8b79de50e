package capture

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// schema is what the columns mean.
type schema struct {
	time       int      // column, -1 none
	timeKind   unitKind // unitSecond or unitIndex
	timeFactor float64  // file's time unit to seconds; 0: not stated
	timeText   string   // unit as written, "" when not stated
	timeWhy    string   // where the unit stands, "" for the header
	timeClock  bool
	seg        int   // column, -1 none
	data       []int // columns of values: neither times nor numbers of rows
	volts      []int
	others     []otherColumn // columns that are no voltage
	names      []string
	nameWhy    []string // where the name stands
	headers    []string // what heads the column, to choose it by
	units      []string // as written, "" not stated
	raw        []int    // columns of raw codes, beside volts
	unitBehind []int    // columns that have the unit of each number in the column behind
	freq       bool
	unsaid     bool   // the time column has no name, or one of any quantity
	strange    string // name of a column that advances like a time, but is not known to be one
}

// otherColumn is a column of something else than volts.
type otherColumn struct {
	col  int
	name string
	what string // "a current in A", "values in dB"
}

// spot is where channel i stands.
func (s *schema) spot(i int) spot {
	return spot{name: s.names[i], col: s.volts[i], places: []place{s.place(s.volts[i]), {i, len(s.volts)}}}
}

// place is that of column j among the columns of values.
func (s *schema) place(j int) place {
	for k, d := range s.data {
		if d == j {
			return place{k, len(s.data)}
		}
	}
	return place{-1, -1}
}

// role is what a column's name and unit say.
type role struct {
	name string // folded
	unit unit
	text string // as written
	has  bool   // a unit is stated
}

// schemaFinder holds what the steps of findSchema share.
type schemaFinder struct {
	name   string // of the file
	t      *table
	hd     *header
	cols   []columnData
	roles  []role       // per column
	isTime map[int]bool // times, sample numbers and row numbers
	inVolt map[int]bool // columns that the settings state to be in volts
	pre    *preamble
	opt    Options
	s      *schema
}

// findSchema gives every column its meaning.
func findSchema(name string, t *table, hd *header, cols []columnData, p *preamble, opt Options) (*schema, error) {
	f := &schemaFinder{name: name, t: t, hd: hd, cols: cols, isTime: map[int]bool{}, inVolt: map[int]bool{}, pre: p, opt: opt, s: &schema{time: -1, seg: -1}}
	f.readRoles()
	if err := f.refuseSpectrum(p); err != nil {
		return nil, err
	}
	if err := f.findTime(); err != nil {
		return nil, err
	}
	if err := f.refuseSpan(p); err != nil {
		return nil, err
	}
	f.statedUnits(p)
	if err := f.refuseMultiples(opt); err != nil {
		return nil, err
	}
	if err := f.refuseTimes(opt); err != nil {
		return nil, err
	}
	f.sortOthers()
	f.setCodesApart()
	if err := f.wantVolts(); err != nil {
		return nil, err
	}
	if err := f.refuseWrapped(opt); err != nil {
		return nil, err
	}
	f.s.nameChannels(hd, cols, p)
	if err := f.ownTime(opt); err != nil {
		return nil, err
	}
	return f.s, nil
}

// readRoles reads the names and units of the columns of numbers.
func (f *schemaFinder) readRoles() {
	f.roles = make([]role, f.t.cells)
	for _, j := range f.t.numeric {
		r := &f.roles[j]
		r.name, _ = normKey(f.hd.names[j])
		if f.hd.units[j] == f.hd.names[j] && rawName.MatchString(r.name) && f.cols[j].decimals() {
			f.hd.units[j] = "" // a column named ADC that holds volts
		}
		ut := f.hd.units[j]
		if ut == "" {
			ut = f.cols[j].unit
			if _, isPrefix := siPrefix[ut]; isPrefix && ut != "" {
				ut = "" // 7.00k, 12.3m: what follows is the prefix of the column's unit
			}
		}
		if beside := f.cols[j].beside; isUnitWord(beside) && (ut == "" || isVoltWord(ut) && isVoltWord(beside)) {
			f.hd.units[j], ut = beside, beside // a column of units: 7.0012,V
			f.s.unitBehind = append(f.s.unitBehind, j)
		}
		if u, ok := parseUnit(ut); ok {
			r.unit, r.text, r.has = u, ut, true
		} else if symbolUnits[ut] || ut == "C" {
			r.unit, r.text, r.has = unit{kind: unitOther, factor: 1}, ut, true
		}
	}
}

// refuseSpectrum refuses a table whose settings say that it stands over
// frequency.
func (f *schemaFinder) refuseSpectrum(p *preamble) error {
	for _, m := range p.values[metaTimeUnit] {
		if u, ok := parseUnit(m.text); ok && u.kind == unitHertz {
			return &ParseError{Path: f.name, Line: m.line, Found: fmt.Sprintf("%s %s: a table over frequency", m.key, m.text), Expected: "volts over time", Fix: "save the waveform, not its spectrum"}
		}
	}
	return nil
}

// refuseSpan refuses a table without a named time whose settings state a start in hertz,
// as those of an analyser do.
func (f *schemaFinder) refuseSpan(p *preamble) error {
	if f.s.time >= 0 && !f.s.unsaid {
		return nil
	}
	for _, m := range p.values[metaStart] {
		if m.unit.kind == unitHertz {
			return &ParseError{Path: f.name, Line: m.line, Found: fmt.Sprintf("%s %s: a table over frequency", m.key, m.text), Expected: "volts over time", Fix: "save the waveform, not its spectrum"}
		}
	}
	return nil
}

// inBrackets is what stands in brackets at the end of a column's name; ofTimes is what
// tells there how times are counted, and no unit: "(relative)", "(UTC)", "(hh:mm:ss)".
var (
	inBrackets = newPattern(`[(\[{<] ?([^()\[\]{}<>]+?) ?[)\]}>]$`)
	ofTimes    = newPattern(`(?i)^(utc|gmt|local|lokal|rel|relative|relativ|abs|absolute|absolut|elapsed|triggered|time|zeit|t|x|x[ -]?axis|ch ?\d+|[hmsydf:.,/ -]*(hh|mm|ss|yy|dd)[hmsydf:.,/ -]*)$`)
)

// refuseTimes refuses a column of times whose name states a unit that is none of time
// that we know: as seconds they would be off by what it stands for. Where the settings or
// the options state the unit or the rate, they are believed.
func (f *schemaFinder) refuseTimes(opt Options) error {
	j := f.s.time
	if j < 0 || f.s.timeKind != unitSecond || opt.TimeUnit != "" || opt.RateHz > 0 || f.cols[j].clock {
		return nil
	}
	m := inBrackets.FindStringSubmatch(strings.TrimSpace(f.hd.names[j]))
	if f.s.timeFactor != 0 || len(f.pre.values[metaTimeUnit]) > 0 || m == nil || ofTimes.MatchString(m[1]) {
		if !timesMultiple.MatchString(f.hd.names[j]) {
			return nil
		}
		return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Column: j + 1, Found: fmt.Sprintf("%q, which states a multiple of a unit", f.hd.names[j]), Expected: "a unit of time such as s, ms or us", Fix: "give --time-unit, or --rate"}
	}
	return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Column: j + 1, Found: fmt.Sprintf("times in %q", m[1]), Expected: "a unit of time such as s, ms or us", Fix: "give --time-unit, or --rate"}
}

// multiple is a unit with a factor in a column's name: "(x10 V)", "(10 mV)".
var multiple = newPattern(`[(\[] ?(?:[x×*] ?[0-9.,]+ ?[mµμu]?V|[0-9.,]+ ?(?:[x×*] ?[mµμu]?V|[mµμu]V)|[mµμu]?V ?[x×*/·] ?[0-9.,]+(?:[eE][-+]?[0-9]+)?|[0-9.,]*(?:[eE]|[x×*]? ?10 ?\^) ?[-+]?[0-9]+ ?V?|10 ?[-−⁻] ?[0-9³⁶]+ ?V) ?[)\]]`)

// timesMultiple is a factor in the name of a column of times: "Time x 1e-6 (s)", "Time*1000".
var timesMultiple = newPattern(`[^ ] ?(?:[×*·/] ?[0-9.]+|x ?(?:[0-9.]*[eE]|10)[-+0-9^]*)|10 ?\^|[0-9][eE][-+]?[0-9]`)

// refuseMultiples refuses a column whose name states a multiple of a unit, which
// may be that of its numbers or the volts per division, unless it is given.
func (f *schemaFinder) refuseMultiples(opt Options) error {
	if opt.VoltUnit != "" || opt.Scale != 0 {
		return nil
	}
	for _, j := range f.s.data {
		if name := f.hd.names[j]; !f.roles[j].has && multiple.MatchString(name) {
			return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Column: j + 1, Found: fmt.Sprintf("%q, which states a multiple of a unit", name), Expected: "a unit such as V or mV", Fix: "give --volt-unit, or --scale (volts per unit of the file)"}
		}
	}
	return nil
}

// statedUnits gives columns without a unit of their own the one that the
// preamble states for them.
func (f *schemaFinder) statedUnits(p *preamble) {
	for _, j := range f.t.numeric {
		if !f.isTime[j] && j != f.s.time {
			f.s.data = append(f.s.data, j)
		}
	}
	for _, j := range f.s.data {
		r := &f.roles[j]
		if r.has {
			continue
		}
		m, ok := p.get(metaVoltUnit, spot{name: f.hd.names[j], col: j, places: []place{f.s.place(j)}})
		if !ok {
			continue
		}
		u, ok := parseUnit(m.text)
		switch {
		case ok && (u.kind == unitAmpere || u.kind == unitOther):
			r.unit, r.has, r.text = u, true, m.text
		case ok && u.kind == unitVolt:
			f.inVolt[j] = true
		}
	}
}

// namedTimes gives the columns that name or unit make times, those that ramp
// first, and sample numbers. It notes a frequency axis.
func (f *schemaFinder) namedTimes() (byName, byIndex []int) {
	for _, j := range f.t.numeric {
		r := f.roles[j]
		switch {
		case r.has && r.unit.kind == unitHertz || freqName.MatchString(r.name) && !(r.has && r.unit.kind != unitHertz):
			if ok, _ := ramp(f.cols[j].x); ok && len(byName) == 0 {
				f.s.freq = true
			}
		case r.has && r.unit.kind == unitIndex, r.name != "" && indexName.MatchString(r.name) && !(r.has && r.unit.kind != unitIndex) && f.cols[j].whole():
			byIndex = append(byIndex, j)
		case r.has && r.unit.kind == unitSecond, r.name != "" && timeName.MatchString(r.name) && !resultName.MatchString(r.name) && !r.has, f.cols[j].clock:
			byName = append(byName, j)
		}
	}
	byName = f.signalNamedX(f.signalNamedS(byName))
	byIndex = append(byIndex, f.frames()...)
	byName = f.restOfClock(byName)
	slices.SortStableFunc(byName, func(i, k int) int {
		a, _ := ramp(f.cols[i].x)
		b, _ := ramp(f.cols[k].x)
		return falseFirst(!a, !b)
	})
	return byName, byIndex
}

// frames gives the columns that are named like a segment's number but count the rows:
// one that goes up from row to row, or frames and the samples within each.
func (f *schemaFinder) frames() []int {
	var named []int
	within := -1
	for _, j := range f.t.numeric {
		switch n := f.roles[j].name; {
		case subFrame.MatchString(n):
			within = j
		case segName.MatchString(n):
			named = append(named, j)
		}
	}
	var frames []int
	for _, j := range named {
		if ok, unitStep := ramp(f.cols[j].x); ok && unitStep {
			frames = append(frames, j)
		} else if ok && within >= 0 {
			f.isTime[j], f.isTime[within] = true, true
		}
	}
	return frames
}

// restOfClock takes thousandths of a second off the times where they stand beside a
// time of day in whole seconds: by themselves they start anew with every second.
func (f *schemaFinder) restOfClock(byName []int) []int {
	clock := false
	for _, j := range byName {
		clock = clock || f.cols[j].clock
	}
	if !clock {
		return byName
	}
	var kept []int
	for _, j := range byName {
		if f.cols[j].clock || !f.cols[j].ints || !f.cols[j].thousandths() {
			kept = append(kept, j)
			continue
		}
		f.isTime[j] = true
	}
	return kept
}

// thousandths reports whether a column holds 0 to 999 and begins anew at least once.
func (c *columnData) thousandths() bool {
	fell, last := false, math.Inf(-1)
	for _, v := range c.x {
		if v < 0 || v > 999 {
			return false
		}
		fell, last = fell || v < last, v
	}
	return fell
}

// signalNamedS takes a column that is called "s" beside a time, but does not
// run on as a time does, for a signal of that name.
func (f *schemaFinder) signalNamedS(byName []int) []int {
	if len(byName) < 2 {
		return byName
	}
	var kept []int
	for _, j := range byName {
		if ok, _ := ramp(f.cols[j].x); !ok && f.hd.names[j] == "s" && f.hd.units[j] == "s" {
			f.hd.units[j], f.roles[j] = "", role{name: "s"}
			continue
		}
		kept = append(kept, j)
	}
	return kept
}

// signalNamedX takes a column called "X(CH1)" beside a time, but that does not run on as
// a time does, for that channel's signal.
func (f *schemaFinder) signalNamedX(byName []int) []int {
	if len(byName) < 2 {
		return byName
	}
	return slices.DeleteFunc(byName, func(j int) bool {
		m := inBrackets.FindStringSubmatch(strings.TrimSpace(f.hd.names[j]))
		return m != nil && channelLike(m[1]) && !grows(f.cols[j].x)
	})
}

// findTime finds the time: by name or unit, then by its numbers.
func (f *schemaFinder) findTime() error {
	byName, byIndex := f.namedTimes()
	if f.s.freq && len(byName) == 0 {
		return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Found: "a table over frequency", Expected: "volts over time", Fix: "save the waveform, not its spectrum"}
	}
	if len(byName)+len(byIndex) > 0 {
		// A row number without a name, as data frames write it.
		for _, j := range f.t.numeric {
			if ok, unitStep := ramp(f.cols[j].x); ok && unitStep && f.cols[j].ints && (f.roles[j].name == "" || f.cols[j].numbersRows()) && !f.roles[j].has {
				f.isTime[j] = true
			}
		}
	}
	for _, j := range append(append([]int{}, byName...), byIndex...) {
		f.isTime[j] = true
	}
	switch {
	case len(byName) > 0:
		f.s.time = byName[0]
		f.s.timeKind = unitSecond
	case len(byIndex) > 0:
		f.s.time = byIndex[0]
		f.s.timeKind = unitIndex
	default:
		f.unnamedTime()
	}
	if f.s.time >= 0 {
		return f.setTime(f.s.time)
	}
	if f.s.strange != "" && len(f.pre.values[metaInterval])+len(f.pre.values[metaRate]) == 0 {
		return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Found: fmt.Sprintf("no time column; %q advances from row to row, but is not known to be a time", f.s.strange), Expected: "a time column with its unit, or the sample rate in the preamble", Fix: "give --time-unit if it is one, or --rate"}
	}
	return nil
}

// unnamedTime looks for a column without name and unit that grows as a time
// or a sample number does; a time is preferred.
func (f *schemaFinder) unnamedTime() {
	for _, j := range f.t.numeric {
		if f.isTime[j] || f.roles[j].has && f.roles[j].unit.kind != unitNone || segName.MatchString(f.roles[j].name) || f.namesNoTime(j) {
			continue
		}
		if len(f.t.numeric) == 1 {
			break // one column alone is volts
		}
		ok, unitStep := ramp(f.cols[j].x)
		ok = ok || j == f.t.numeric[0] && stairs(f.cols[j].x)
		if !ok || len(f.cols[j].x) < 2 || f.s.time >= 0 && !straight(f.cols[j].x) {
			continue
		}
		index := unitStep && f.cols[j].ints
		if f.roles[j].name != "" && !index && !f.agrees(j) {
			f.s.strange = f.hd.names[j]
			continue
		}
		f.isTime[j] = true
		switch {
		case f.s.time < 0 && index:
			f.s.time, f.s.timeKind = j, unitIndex
		case f.s.time < 0 || f.s.timeKind == unitIndex && !index:
			f.s.time, f.s.timeKind = j, unitSecond
		}
	}
}

// agrees reports whether the rows of column j advance by the stated interval in some unit
// of time, or the unit or the rate is given: then it is a time, whatever its name.
func (f *schemaFinder) agrees(j int) bool {
	if f.opt.TimeUnit != "" || f.opt.RateHz > 0 {
		return true
	}
	step, within := math.Abs(typicalStep(f.cols[j].x)), 0.02
	if x := f.cols[j].x; !grows(x) && stairs(x) {
		step, within = math.Abs(x[len(x)-1]-x[0])/float64(len(x)-1), 1./leastStairs
	}
	for k, vs := range map[metaKey][]metaValue{metaInterval: f.pre.values[metaInterval], metaRate: f.pre.values[metaRate]} {
		for _, m := range vs {
			stated := m.num
			if k == metaRate && m.unit.kind != unitSecond || m.unit.kind == unitHertz {
				stated = 1 / stated
			}
			for _, factor := range []float64{1, 1e-3, 1e-6, 1e-9, 1e-12} {
				if r := step * factor / stated; r > 1-within && r < 1+within {
					return true
				}
			}
		}
	}
	return false
}

// namesNoTime reports whether the name of column j is that of a voltage, a
// current or another quantity: a ramp so named is a sweep and no time.
func (f *schemaFinder) namesNoTime(j int) bool {
	n := f.roles[j].name
	return n != "" && (voltName.MatchString(n) || voltSymbol.MatchString(n) || ampName.MatchString(n) && !indexName.MatchString(n) || otherName.MatchString(n) || freqName.MatchString(n) || resultName.MatchString(n) || strings.HasPrefix(n, "v "))
}

// grows is ramp's first answer.
func grows(x []float64) bool { ok, _ := ramp(x); return ok }

// setTime takes column j for the time.
func (f *schemaFinder) setTime(j int) error {
	f.s.time, f.s.timeFactor, f.s.timeText, f.s.timeClock = j, 0, "", false
	f.s.unsaid = f.roles[j].name == "" || anyAxis.MatchString(f.roles[j].name)
	if f.roles[j].has && f.s.timeKind == unitSecond && f.roles[j].unit.kind == unitSecond {
		f.s.timeFactor = f.roles[j].unit.factor
		f.s.timeText = unbracket(f.hd.units[j])
		if f.s.timeText == "" {
			f.s.timeText = f.cols[j].unit
		}
	}
	if cell := f.cols[j].unit; cell != "" && !f.cols[j].clock {
		if err := f.timeCells(j, cell); err != nil {
			return err
		}
	}
	if f.cols[j].clock {
		f.s.timeClock, f.s.timeFactor, f.s.timeText = true, 1, "s"
	}
	if f.cols[j].changes && !f.s.timeClock {
		return &ParseError{Path: f.name, Line: f.cols[j].line, Column: j + 1, Found: "a time whose unit changes from row to row", Expected: "one unit in the whole column", Fix: "export the times in seconds"}
	}
	return nil
}

// timeCells takes the unit that follows each time; it wins over the
// header's.
func (f *schemaFinder) timeCells(j int, cell string) error {
	head, inHead := parseUnit(f.hd.units[j])
	inHead = inHead && f.hd.units[j] != cell
	u, ok := parseUnit(cell)
	if p, isPrefix := siPrefix[cell]; isPrefix && len(cell) == 1 {
		u, ok = unit{kind: unitSecond, factor: p}, !inHead || head.kind == unitSecond && head.factor == 1
		cell += "s"
	}
	if !ok || u.kind != unitSecond || inHead && head.kind != unitSecond {
		return &ParseError{Path: f.name, Line: f.t.firstNumber, Column: j + 1, Found: fmt.Sprintf("times with %q after them under a header that states %s", f.cols[j].unit, f.hd.units[j]), Expected: "one unit of time", Fix: "give --time-unit, or export the times in seconds"}
	}
	f.s.timeKind, f.s.timeFactor, f.s.timeText = unitSecond, u.factor, cell
	if inHead && head.factor != u.factor {
		f.s.timeWhy = "follows each time, and overrides the header's " + f.hd.units[j]
	} else {
		f.s.timeWhy = "follows each time"
	}
	return nil
}

// ownTime takes the chosen channel's own time column: the nearest ahead of it, where other
// channels stand between that and the first.
func (f *schemaFinder) ownTime(opt Options) error {
	ch, err := f.s.pick(f.name, opt, 0)
	if err != nil || len(f.s.volts) < 2 || f.s.timeKind != unitSecond {
		return nil
	}
	between := f.s.time > f.s.volts[ch]
	own := -1
	for j := range f.s.volts[ch] {
		between = between || j > f.s.time && slices.Contains(f.s.volts, j)
		if between && f.isTime[j] && (!f.cols[j].ints || f.roles[j].of(unitSecond)) {
			own = j
		}
	}
	if own < 0 {
		return nil
	}
	return f.setTime(own)
}
