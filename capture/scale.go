package capture

import (
	"fmt"
	"math"
	"regexp"
	"sort"
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
	// stepS is the sample interval the options or the preamble state, in
	// seconds, 0 unknown; stepWhy where it stands.
	stepS   float64
	stepWhy string
	given   bool // by the options
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

func (v *voltScale) apply(t *Trace) {
	if v.factor != 1 || v.zero != 0 || v.add != 0 {
		if v.zero == 0 && v.add == 0 {
			for i := range t.Volts {
				t.Volts[i] *= v.factor
			}
		} else {
			for i := range t.Volts {
				t.Volts[i] = (t.Volts[i]-v.zero)*v.factor + v.add
			}
		}
	}
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
var voltSymbol = regexp.MustCompile(`^[uv] ?(in|out|cc|dd|ss|ee|gs|ds|be|ce|cb|gk|ak|ref|e|b|c|g|d|s|a|k|i|o)?\d{0,2}$`)

var voltName = regexp.MustCompile(`(?i)volt|spannung|tension|tensione|^u\b|^v\b|^v\(`)

// voltUnit gives the unit of the chosen column: the unit, its text and where
// it was found. The values' own units win over the header's.
func (im *importer) voltUnit(hasScale bool) (u unit, text, why string, err error) {
	j := im.sc.volts[im.ch]
	cell, head := im.cols[j].unit, im.sc.units[im.ch]
	switch {
	case im.opt.VoltUnit != "":
		u, _ = parseUnit(im.opt.VoltUnit)
		return u, im.opt.VoltUnit, "given", nil
	case cell != "":
		return im.cellUnit(j, cell, head)
	}
	if u, ok := parseUnit(head); ok && !(u.kind == unitIndex && head == "#") {
		if u.kind == unitVolt && im.codesByDivision() && isUnitWord(im.sc.headers[im.ch]) {
			return unit{kind: unitCount, factor: 1}, "counts", "whole numbers at a stated volts per division", nil
		}
		return u, head, "stated in the header", nil
	}
	if m, has := im.meta(metaVoltUnit); has {
		if mu, ok := parseUnit(m.text); ok && mu.kind == unitVolt && im.codesByDivision() {
			return unit{kind: unitCount, factor: 1}, "counts", "whole numbers at a stated volts per division", nil
		} else if ok && (mu.kind == unitVolt || mu.kind == unitCount || mu.kind == unitDiv || mu.kind == unitAmpere || mu.kind == unitOther) {
			return mu, m.text, stated(m), nil
		}
	}
	return im.guessVoltUnit(hasScale)
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
		return unit{kind: unitVolt, factor: f}, cell + "V", "the prefix stands behind each value", nil
	}
	if !ok || inHead && hu.kind != u.kind {
		return u, "", "", conflict
	}
	why = "stands behind each value"
	if inHead && hu.factor != u.factor {
		why += ", and overrides the header's " + head
	}
	return u, cell, why, nil
}

// mostPerDivision is the greatest volts per division that is believed without
// a unit.
const mostPerDivision = 100

// guessVoltUnit is voltUnit where nothing states a unit.
func (im *importer) guessVoltUnit(hasScale bool) (u unit, text, why string, err error) {
	j := im.sc.volts[im.ch]
	col := im.cols[j]
	isRaw := rawName.MatchString(strings.ToLower(im.sc.names[im.ch])) && !col.decimals()
	for _, r := range im.sc.raw {
		isRaw = isRaw || r == j
	}
	if m, ok := im.perDivision(); ok && m.unit.kind == unitNone && m.num > mostPerDivision && im.opt.Scale == 0 {
		return unit{}, "", "", &ParseError{Path: im.src.name, Line: m.line, Found: fmt.Sprintf("%s %s without a unit, too much for volts", m.key, m.text), Expected: "a unit of the values", Fix: "give --volt-unit"}
	}
	if col.ints && !hasScale && !isRaw && im.opt.Scale == 0 && im.codesByDivision() {
		return unit{kind: unitCount, factor: 1}, "counts", "whole numbers at a stated volts per division", nil
	}
	whole := col.ints && !voltName.MatchString(im.sc.names[im.ch]) && spread(col.x) >= 8
	switch {
	case isRaw, col.ints && hasScale && spread(col.x) >= 2:
		u, text, why = unit{kind: unitCount, factor: 1}, "counts", "whole numbers, with a scale stated"
		if isRaw {
			why = "from the column's name"
		}
	case whole && im.opt.Scale == 0:
		return unit{}, "", "", &ParseError{Path: im.src.name, Line: im.firstLine(), Column: j + 1, Found: "whole numbers without a unit, which look like converter codes", Expected: "volts, or a scale", Fix: "give --scale (volts per count) and --offset, or --volt-unit"}
	default:
		u, text, why = unit{kind: unitVolt, factor: 1}, "V", "no unit stated: volts assumed"
		if voltName.MatchString(im.sc.names[im.ch]) {
			why = "from the column's name"
		}
	}
	return u, text, why, nil
}

// voltScale decides what the values mean. Volts stay volts; converter codes
// and divisions need a scale from the file or the user.
func (im *importer) voltScale() (*voltScale, error) {
	j := im.sc.volts[im.ch]
	name := im.src.name
	v := &voltScale{unitFactor: 1, factor: 1}
	scaleMeta, hasScale := im.meta(metaScale)
	u, ut, why, err := im.voltUnit(hasScale)
	if err != nil {
		return nil, err
	}
	im.t.VoltUnit = ut
	if u.guessed {
		why += "; read as thousandths in spite of the capital M"
	}
	switch u.kind {
	case unitVolt:
		v.unitFactor, v.factor = u.factor, u.factor
		im.t.assume("volt unit", ut, why)
		if hasScale && im.opt.Scale == 0 && scaleMeta.unit.kind == unitVoltPerCount {
			im.t.StepV = math.Abs(scaleMeta.num)
		}
	case unitCount:
		v.counts = true
		im.t.assume("volt unit", "counts", why)
		if im.opt.Scale == 0 {
			if !hasScale {
				if m, ok := im.meta(metaStep); ok && m.ok && m.unit.kind != unitNone {
					scaleMeta, hasScale = m, true
				}
			}
			if m, ok := im.meta(metaPerDiv); ok && m.unit.kind == unitVoltPerCount {
				scaleMeta, hasScale = m, true // "vertical scale (V/count)"
			}
			if !hasScale && im.codesByDivision() {
				if v.factor, why, err = im.voltsPerCode(); err != nil {
					return nil, err
				}
				im.t.assume("scale", SI(v.factor, "V", 6)+" per count", why)
				break
			}
			if !hasScale || scaleMeta.num == 0 {
				return nil, &ParseError{Path: name, Line: im.firstLine(), Column: j + 1, Found: "converter codes without a scale", Expected: "volts per count in the preamble", Fix: "give --scale (volts per count) and --offset"}
			}
			if scaleMeta.unit.kind == unitVoltPerDiv {
				return nil, &ParseError{Path: name, Line: scaleMeta.line, Found: "volts per division for a table of converter codes", Expected: "volts per count", Fix: "give --scale (volts per count) and --offset"}
			}
			v.factor = scaleMeta.num
			im.t.assume("scale", SI(v.factor, "V", 6)+" per count", stated(scaleMeta))
			if err := im.countOffset(v); err != nil {
				return nil, err
			}
		}
		if m, ok := im.meta(metaBits); ok && m.ok {
			v.bits = int(m.num)
		}
	case unitDiv:
		im.t.assume("volt unit", "div", why)
		if im.opt.Scale == 0 {
			m, ok := im.meta(metaPerDiv)
			if !ok && hasScale && scaleMeta.unit.kind != unitVoltPerCount {
				m, ok = scaleMeta, true
			}
			if !ok || m.num == 0 {
				return nil, &ParseError{Path: name, Line: im.firstLine(), Column: j + 1, Found: "values in screen divisions without volts per division", Expected: "volts per division in the preamble", Fix: "give --scale (volts per division)"}
			}
			v.factor = m.num
			im.t.assume("scale", SI(v.factor, "V", 6)+" per division", stated(m))
			if m, ok := im.meta(metaPosition); ok && m.num != 0 {
				v.zero = m.num
				im.t.assume("position", fmt.Sprintf("%g divisions taken off", m.num), stated(m))
			}
			if m, ok := im.meta(metaOffset); ok && m.num != 0 {
				v.add = m.num
				im.t.assume("offset", SI(m.num, "V", 6)+" added", stated(m))
			}
		}
	case unitAmpere:
		return nil, &ParseError{Path: name, Line: im.firstLine(), Column: j + 1, Found: "a current in " + ut, Expected: "volts", Fix: "choose the voltage channel with --channel, or give --volt-unit V"}
	default:
		return nil, &ParseError{Path: name, Line: im.firstLine(), Column: j + 1, Found: fmt.Sprintf("values in %q", ut), Expected: "volts", Fix: "choose another channel with --channel, or give --volt-unit"}
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

// countOffset reads where zero volts lie for converter codes.
func (im *importer) countOffset(v *voltScale) error {
	if m, ok := im.meta(metaZeroCode); ok && m.ok {
		if m.unit.kind == unitVolt {
			v.add += m.num
			im.t.assume("offset", SI(m.num, "V", 6)+" added", stated(m))
		} else {
			v.zero = m.num
			im.t.assume("code of zero", fmt.Sprintf("%g counts taken off first", m.num), stated(m))
		}
	}
	m, ok := im.meta(metaOffset)
	if !ok || !m.ok || m.num == 0 {
		return nil
	}
	switch {
	case m.unit.kind == unitCount:
		v.zero += m.num
		im.t.assume("code of zero", fmt.Sprintf("%g counts taken off first", m.num), stated(m))
	case m.unit.kind != unitVolt && im.opt.OffsetV == 0 && m.num == math.Trunc(m.num) && math.Abs(m.num) >= 16 && math.Abs(m.num*v.factor) < 0.1*math.Abs(m.num):
		return &ParseError{Path: im.src.name, Line: m.line, Found: fmt.Sprintf("%s %s, which may be volts or counts", m.key, m.text), Expected: "a unit behind it", Fix: "give --scale and --offset (volts)"}
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

// instrument takes coupling, bandwidth and probe factor from the preamble.
func (im *importer) instrument() {
	t := im.t
	if m, ok := im.meta(metaCoupling); ok && im.opt.Coupling == CouplingUnknown {
		switch s := strings.ToUpper(strings.TrimSpace(m.text)); {
		case strings.HasPrefix(s, "AC"), s == "A1M", strings.Contains(s, "AC") && !strings.Contains(s, "DC"):
			t.Coupling = CouplingAC
		case strings.HasPrefix(s, "DC"), s == "D1M", s == "D50", strings.Contains(s, "DC") && !strings.Contains(s, "AC"):
			t.Coupling = CouplingDC
		}
		if t.Coupling != CouplingUnknown {
			t.assume("coupling", string(t.Coupling), stated(m))
		} else {
			t.assume("coupling", "unknown", fmt.Sprintf("%q in line %d is neither AC nor DC", m.text, m.line))
		}
	}
	for _, m := range im.bandwidths() {
		im.bandwidth(m)
	}
	if m, ok := im.meta(metaProbe); ok {
		if f, ok := probeFactor(m); ok {
			how := "the file's volts are taken as at the probe's tip already"
			t.assume("probe factor", fmt.Sprintf("%g", f), stated(m)+"; "+how)
			if im.opt.ProbeFactor > 1 && f == im.opt.ProbeFactor {
				t.caution(CautionProbeFactor, fmt.Sprintf("the file states a probe factor of %g itself, and another %g was given: the volts may be %g times too high", f, f, f), "leave the probe factor out unless the meter says otherwise")
			}
		}
	}
	if m, ok := im.meta(metaStep); ok && m.ok && t.StepV == 0 && m.unit.kind == unitVolt && m.num > 0 {
		t.StepV = m.num
		t.assume("ADC step", SI(m.num, "V", 6), stated(m))
	}
}

func (im *importer) bandwidths() []metaValue {
	// Both "bandwidth" and "bandwidth limit" may be stated.
	seen := map[string]bool{}
	var out []metaValue
	for _, m := range im.pre.values[metaBandwidth] {
		k, _ := normKey(m.key)
		if seen[k] {
			continue
		}
		seen[k] = true
		one := &preamble{values: map[metaKey][]metaValue{}}
		for _, v := range im.pre.values[metaBandwidth] {
			if vk, _ := normKey(v.key); vk == k || v.channel != "" {
				one.values[metaBandwidth] = append(one.values[metaBandwidth], v)
			}
		}
		if v, ok := one.get(metaBandwidth, im.sc.spot(im.ch)); ok {
			out = append(out, v)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return !limitKey(out[i]) && limitKey(out[j]) })
	return out
}

func limitKey(m metaValue) bool {
	k, _ := normKey(m.key)
	return strings.Contains(k, "lim") || strings.Contains(k, "bwl") || strings.Contains(k, "filter") || strings.Contains(k, "begrenz")
}

// usualLimitHz is the bandwidth limit nearly every scope has (common
// practice, no source), taken where a file only says "on".
const usualLimitHz = 20e6

func (im *importer) bandwidth(m metaValue) {
	t := im.t
	s := strings.ToLower(strings.TrimSpace(m.text))
	limit := limitKey(m)
	switch {
	case m.ok && m.num >= 1000 || m.ok && m.unit.kind == unitHertz && m.num > 0:
		if im.opt.BandwidthHz == 0 && (t.BandwidthHz == 0 || m.num < t.BandwidthHz) {
			t.BandwidthHz = m.num
			t.assume("bandwidth", SI(m.num, "Hz", 6), stated(m))
		}
		if im.opt.BandLimited == nil && limit {
			t.BandLimited = true
			t.assume("bandwidth limit", "on", stated(m))
		}
	case s == "on" || s == "yes" || s == "true" || s == "1" || s == "ein" || s == "enabled" || s == "limit" || s == "limited":
		if im.opt.BandLimited == nil {
			t.BandLimited = true
			t.assume("bandwidth limit", "on", stated(m))
		}
		if im.opt.BandwidthHz == 0 && (t.BandwidthHz == 0 || t.BandwidthHz > usualLimitHz) {
			t.BandwidthHz = usualLimitHz
			t.assume("bandwidth", SI(usualLimitHz, "Hz", 6), "the usual limit, common practice; the file says only "+s)
		}
	case s == "off" || s == "no" || s == "false" || s == "0" || s == "aus" || s == "disabled" || s == "full" || s == "none":
		t.assume("bandwidth limit", "off", stated(m))
	}
}

var probeRatio = regexp.MustCompile(`^\s*[x×]?\s*([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(?:[x×]|:\s*1|to\s*1)?\s*$`)
var probeInverse = regexp.MustCompile(`^\s*1\s*[:/]\s*([0-9]+(?:[.,][0-9]+)?)\s*$`)

// probeFactor reads 10, 10X, x10, 10:1, 1:10 and 1/10.
func probeFactor(m metaValue) (float64, bool) {
	s := strings.ToLower(m.text)
	for _, re := range []*regexp.Regexp{probeInverse, probeRatio} {
		if g := re.FindStringSubmatch(s); g != nil {
			if v, ok := parseSlow(strings.Replace(g[1], ",", ".", 1), '.'); ok && v > 0 {
				return v, true
			}
		}
	}
	return 0, false
}
