package capture

import (
	"bytes"
	"strings"
)

// preamble is what stands above and left of the table.
type preamble struct {
	values map[metaKey][]metaValue
	// from and to are given to the values that are added.
	from, to int
}

// channelValue is a value with its channel ahead: "CH1:0.50".
var channelValue = newPattern(`^(?i)((?:ch|chan|channel|c|analog)[ _]?[0-9a-d]?) ?[:=] ?(.+)$`)

// add takes one key and its values, side by side.
func (p *preamble) add(key string, values []string, decimal byte, line int) bool {
	key = strings.TrimRight(strings.TrimSpace(key), ":=")
	k, unitText, channel := lookupKey(key)
	if k == metaNone {
		return false
	}
	vs := readValues(k, values, metaValue{line: line, key: key, channel: channel, index: -1, from: p.from, to: p.to}, decimal)
	if len(vs) == 0 || !vs[0].ok && !metaIsText(k) && k != metaBandwidth && k != metaProbe {
		return false
	}
	u, hasUnit := parseUnit(unitText)
	if f := ratePrefix(unitText); k == metaRate && f != 0 {
		u, hasUnit = unit{kind: unitHertz, factor: f}, true // "Sample rate (M),10"
	}
	for i := range vs {
		if vs[i].ok && vs[i].unit.kind == unitNone && hasUnit {
			vs[i].unit = u
			vs[i].num *= u.factor
		}
		if len(vs) > 1 {
			vs[i].index, vs[i].of = i, len(vs)
		}
	}
	p.values[k] = append(p.values[k], vs...)
	return true
}

// ratePrefix is the factor of a prefix of SI that stands for a unit of rates, 0 for none.
func ratePrefix(s string) float64 {
	switch s {
	case "k", "K", "M", "G":
		return siPrefix[s]
	}
	return 0
}

// readValues reads the values of key k up to the first empty one behind them;
// like is what they have in common.
func readValues(k metaKey, values []string, like metaValue, decimal byte) []metaValue {
	var vs []metaValue
	for _, s := range values {
		s = strings.Trim(strings.TrimSpace(s), `"`)
		if s == "" {
			if len(vs) > 0 {
				break
			}
			continue
		}
		v := like
		v.read(s, decimal)
		// A value and its unit may stand in two cells.
		if len(vs) > 0 && !v.ok && !metaIsText(k) {
			last := &vs[len(vs)-1]
			u, isUnit := parseUnit(v.text)
			if f := ratePrefix(v.text); k == metaRate && f != 0 {
				u, isUnit = unit{kind: unitHertz, factor: f}, true
			}
			if isUnit && last.ok && last.unit.kind == unitNone {
				last.unit = u
				last.num *= u.factor
			}
			break
		}
		vs = append(vs, v)
	}
	return vs
}

// read reads one value, which may have its channel ahead.
func (m *metaValue) read(s string, decimal byte) {
	if g := channelValue.FindStringSubmatch(s); g != nil {
		if ch, _ := normKey(g[1]); channelWord.MatchString(ch) {
			m.channel, m.own = strings.ReplaceAll(ch, " ", ""), g[1]
		}
		s = strings.TrimSpace(g[2])
	}
	m.text = s
	m.num, m.unit, m.ok = readQuantity(s, decimal)
	m.either = decimal == ',' && oneGroup(s) == '.'
}

// readPreamble collects what the lines above the table state, and the cells
// left and right of the numbers in its first rows.
func readPreamble(h *textHead, t *table, header *header) *preamble {
	p := &preamble{values: map[metaKey][]metaValue{}}
	p.above(h, t, header)
	p.unitLines(h, t, header)
	p.ownFrequency()
	isNum := map[int]bool{}
	for _, j := range t.numeric {
		isNum[j] = true
	}
	for i := t.first; i < min(t.first+sideRows, len(h.lines)); i++ {
		p.beside(splitCells(h.line(i), t.delim, nil), isNum, t, h.lines[i].number)
	}
	for _, row := range header.rows {
		p.namedBeside(row, isNum, h, t)
	}
	return p
}

// above reads the lines above the table.
func (p *preamble) above(h *textHead, t *table, header *header) {
	var before []cell // for keys over their values
	for i := range t.first {
		line := bytes.TrimSpace(h.line(i))
		n := h.lines[i].number
		if header.uses(i) && before != nil && len(line) > 0 {
			p.column(before, splitCells(line, t.delim, nil), t, n) // "CH1,Start,Increment" over "Volt,0.0,1.0e-06"
		}
		if len(line) == 0 || header.uses(i) {
			continue
		}
		if isComment(line, t.delim) {
			line = uncomment(line)
		}
		line = unquoted(line, t.delim)
		if inDecibels.Match(line) {
			p.add("volt unit", []string{"dB"}, t.decimal, n)
		}
		cells := splitCells(line, t.delim, nil)
		if t.delim == ',' {
			line, cells = joinGroups(line, cells)
		}
		p.line(line, cells, t, n)
		if before != nil {
			p.column(before, cells, t, n)
		}
		before = cells
	}
}

// unitLines reads the channels' units from lines of a name and a unit in turn, a pair
// for each channel.
func (p *preamble) unitLines(h *textHead, t *table, header *header) {
	var units []string
	last, named := 0, false // line, and that the one before was no unit
	for i := range t.first {
		cells := splitCells(h.line(i), t.delim, nil)
		text, n := firstOf(cells)
		if n != 1 || header.uses(i) {
			named = false
			continue
		}
		u, ok := parseUnit(text)
		ok = ok && (u.kind == unitVolt || u.kind == unitOther || u.kind == unitAmpere && len(text) > 1)
		if ok && named {
			units, last = append(units, text), h.lines[i].number
		}
		named = !ok
	}
	if n := len(t.numeric); len(units) > 0 && (len(units) == n || len(units) == n-1) {
		p.add("volt unit", units, t.decimal, last)
	}
}

// ownFrequency takes "FREQUENCY" for the sample rate where the number of samples is
// stated in the words of the same format; elsewhere it is that of a signal.
func (p *preamble) ownFrequency() {
	f := p.values[metaFrequency]
	delete(p.values, metaFrequency)
	if len(f) == 0 || len(p.values[metaRate]) > 0 || len(p.values[metaInterval]) > 0 {
		return
	}
	for _, m := range p.values[metaPoints] {
		if k, _ := normKey(m.key); k == "no of samples" || k == "no of frames" {
			p.values[metaRate] = f
			return
		}
	}
}

// beside reads the cells beside the numbers of a row.
func (p *preamble) beside(cells []cell, isNum map[int]bool, t *table, n int) {
	var side []cell
	for j, c := range cells {
		if !isNum[j] {
			side = append(side, c)
			continue
		}
		if len(side) > 0 {
			p.from, p.to = j, blockEnd(isNum, j)
			p.cells(side, t, n)
			side = side[:0]
		}
	}
	p.from, p.to = 0, 0
	p.cells(side, t, n)
}

// namedBeside reads names over cells beside the numbers: "Start,Increment" next to
// the channels.
func (p *preamble) namedBeside(row headerRow, isNum map[int]bool, h *textHead, t *table) {
	n := h.lines[row.line].number
	all := headerCells(h.line(row.line), t)
	for _, c := range all {
		p.inHeader(cellText(c.text), t, n)
	}
	for j, c := range all {
		key := cellText(c.text)
		if isNum[j] || len(c.text) == 0 || p.pair(key, t, n) {
			continue
		}
		if k, _, _ := lookupKey(key); k == metaNone {
			continue
		}
		for i := row.line + 1; i < min(t.first+2, len(h.lines)); i++ {
			if isComment(h.line(i), t.delim) {
				continue // a remark, whose words stand under the names by chance
			}
			below := splitCells(h.line(i), t.delim, nil)
			if j < len(below) && len(below[j].text) > 0 && p.add(key, []string{cellText(below[j].text)}, t.decimal, h.lines[i].number) {
				break
			}
		}
	}
}

var (
	lastGroup = newPattern(`^[0-9]{3}(?: ?[A-Za-zµ/]+)?$`)
	someGroup = newPattern(`^[0-9]{3}$`)
	firstDigs = newPattern(`(?:^|[:= ])[0-9]{1,3}$`)
)

var (
	headerValue  = newPattern(`^([A-Za-z][A-Za-z ]*?)\s+([-+]?[0-9].*)$`)
	headerPeriod = newPattern(`[(\[]([-+]?[0-9][^)\]]*)[)\]]`)
)

// inHeader reads an interval or a rate that stands in a header cell:
// "Increment 1.0us", "Sample (1us)".
func (p *preamble) inHeader(text string, t *table, n int) {
	if m := headerValue.FindStringSubmatch(text); m != nil {
		if k, _, _ := lookupKey(m[1]); k == metaInterval || k == metaRate || k == metaStart {
			p.add(m[1], []string{m[2]}, t.decimal, n)
			return
		}
	}
	if m := headerPeriod.FindStringSubmatch(text); m != nil {
		switch _, u, ok := readQuantity(m[1], t.decimal); {
		case ok && u.kind == unitSecond:
			p.add("interval", []string{m[1]}, t.decimal, n)
		case ok && u.kind == unitHertz:
			p.add("sample rate", []string{m[1]}, t.decimal, n)
		}
	}
}

// joinGroups joins the cells of a number with thousands marks, which a row cut
// at commas tears apart: "Sample Rate", "10", "000", "000 Hz". It does so only
// behind keys whose values are not one for each channel.
func joinGroups(line []byte, cells []cell) ([]byte, []cell) {
	for i := 0; i+1 < len(cells); i++ {
		text := cells[i].text
		key := text
		if k := bytes.IndexAny(text, ":="); k >= 0 {
			key = text[:k]
		} else if i > 0 {
			key = cells[i-1].text
		}
		switch k, _, _ := lookupKey(cellText(key)); k {
		case metaRate, metaTrueRate, metaPoints, metaMemory, metaInterval:
		default:
			continue
		}
		e := i + 1
		for e < len(cells) && lastGroup.Match(cells[e].text) {
			e++
			if !someGroup.Match(cells[e-1].text) {
				break
			}
		}
		if e == i+1 || !firstDigs.Match(text) {
			continue
		}
		joined := append([]byte{}, text...)
		for _, c := range cells[i+1 : e] {
			joined = append(joined, c.text...)
		}
		out := append(append(append([]cell{}, cells[:i]...), cell{text: joined}), cells[e:]...)
		var b [][]byte
		for _, c := range out {
			b = append(b, c.text)
		}
		return bytes.Join(b, []byte{','}), out
	}
	return line, cells
}

// blockEnd is where the columns of numbers that begin at j end.
func blockEnd(isNum map[int]bool, j int) int {
	for isNum[j] {
		j++
	}
	return j
}

// line reads one line above the table.
func (p *preamble) line(line []byte, cells []cell, t *table, n int) {
	if p.cells(cells, t, n) {
		return
	}
	// Several pairs "key=value" or "key: value" in one line.
	s := cellText(line)
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == ';' || r == '\t' || r == ',' && t.decimal != ',' || r == '|' }) {
		switch w := strings.Fields(part); {
		case p.pair(part, t, n):
		case strings.Contains(part, "  "):
			i := strings.Index(part, "  ")
			p.add(part[:i], []string{part[i:]}, t.decimal, n)
		case len(w) == 2 && numberPrefix(w[1], '.') > 0: // as instruments answer: "WFMPRE:XINCR 2.0E-6"
			p.add(w[0][strings.LastIndexByte(w[0], ':')+1:], w[1:], t.decimal, n)
		}
	}
	if t.decimal == ',' || t.delim == ' ' {
		p.pair(s, t, n)
	}
	for _, sep := range []string{";", "\t", "|"} {
		if a, b, ok := strings.Cut(s, sep); ok && p.add(a, strings.Split(b, sep), t.decimal, n) {
			return
		}
	}
	p.sentence(s, t, n)
	// "sampled at 1 MHz"
	if m := sampledAt.FindStringSubmatch(s); m != nil && len(p.values[metaRate]) == 0 {
		p.add("sample rate", []string{m[1]}, t.decimal, n)
	}
	if t.delim == ' ' {
		p.words(strings.Fields(s), t, n)
	}
}

// words reads a key and its value that are apart by one blank: it tries each
// length of the key.
func (p *preamble) words(w []string, t *table, n int) {
	for k := min(4, len(w)-1); k >= 1; k-- {
		if p.add(strings.Join(w[:k], " "), []string{strings.Join(w[k:], " ")}, t.decimal, n) {
			return
		}
	}
}

var (
	inUnit     = newPattern(`(?i)([a-z][a-z0-9_ ]*?)(?: (?:are|is|was|were|given|measured|recorded|stored))* in ([a-zµμ]+)\b`)
	timeWord   = newPattern(`(?i)\b(times?|t|x|zeit|temps|timestamps?|time stamps?)$`)
	valueWord  = newPattern(`(?i)\b(volts?|voltages?|values?|amplitudes?|signals?|data|samples?|y|v|u|spannung|tension|channels?)$`)
	inDecibels = newPattern(`(?i)\b(?:on|in) (?:an? )?(?:db|decibel|logarithmic|log) scale\b`)
	ownChannel = newPattern(`(?i)\b(?:ch|chan|channel|kanal)[ _]?[0-9a-d]$`)
)

// sentence reads units from words such as "CH1 in mV" or "values are in
// millivolts, times in microseconds".
func (p *preamble) sentence(s string, t *table, n int) {
	for _, m := range inUnit.FindAllStringSubmatch(s, -1) {
		subject := strings.TrimSpace(m[1])
		u, ok := parseUnit(m[2])
		switch {
		case !ok:
		case u.kind == unitSecond && timeWord.MatchString(subject):
			p.add("time unit", []string{m[2]}, t.decimal, n)
		case u.kind == unitSecond || u.kind == unitIndex || u.kind == unitHertz:
		case valueWord.MatchString(subject):
			p.add("volt unit", []string{m[2]}, t.decimal, n)
		case ownChannel.MatchString(subject):
			p.add(ownChannel.FindString(subject)+" volt unit", []string{m[2]}, t.decimal, n)
		}
	}
}

// pair reads "key=value" or "key: value".
func (p *preamble) pair(s string, t *table, n int) bool {
	for _, sep := range []string{"=", ":"} {
		if a, b, ok := strings.Cut(s, sep); ok {
			if p.add(a, []string{strings.Trim(strings.TrimSpace(b), `"`)}, t.decimal, n) {
				return true
			}
		}
	}
	return false
}

// cells reads a key cell and the values that follow it; further keys may
// stand in the same row.
func (p *preamble) cells(cells []cell, t *table, n int) (found bool) {
	for i := 0; i < len(cells); i++ {
		if len(cells[i].text) == 0 || len(cells[i].text) > 80 {
			continue
		}
		key := cellText(cells[i].text)
		if k := p.listed(cells[i:], t, n); k > 0 {
			i += k - 1
			found = true
			continue
		}
		if p.pair(key, t, n) {
			found = true
			continue
		}
		if i+1 == len(cells) {
			continue
		}
		k, _, _ := lookupKey(strings.TrimRight(key, ":= "))
		if k == metaNone {
			continue
		}
		var vals []string
		for j := i + 1; j < len(cells) && j <= i+33; j++ {
			s := cellText(cells[j].text)
			if len(vals) > 0 {
				if k2, _, _ := lookupKey(s); k2 != metaNone && !isUnitWord(s) {
					break
				}
			}
			vals = append(vals, s)
		}
		before := len(p.values[k])
		if p.add(key, vals, t.decimal, n) {
			lead := 0
			for lead < len(vals) && strings.TrimSpace(vals[lead]) == "" {
				lead++
			}
			p.place(p.values[k][before:], i+1+lead, t)
			found = true
			if !metaIsText(k) {
				continue
			}
			i++
		}
	}
	return found
}

// listed reads names that follow a key in its own cell: "Channels (2/2): CH1",
// "CH2". It gives the number of cells.
func (p *preamble) listed(cells []cell, t *table, n int) int {
	key, first, ok := strings.Cut(cellText(cells[0].text), ":")
	if k, _, _ := lookupKey(key); !ok || k != metaSource || !channelLike(strings.TrimSpace(first)) {
		return 0
	}
	names := []string{first}
	for _, c := range cells[1:] {
		if !channelLike(cellText(c.text)) {
			break
		}
		names = append(names, cellText(c.text))
	}
	if len(names) < 2 || !p.add(key, names, t.decimal, n) {
		return 0
	}
	return len(names)
}

// place gives values side by side, the first in cell i, above the table the
// columns they stand over.
func (p *preamble) place(vs []metaValue, i int, t *table) {
	if p.to > 0 || len(vs) < 2 {
		return
	}
	for k := range vs {
		if c := i + k; c < t.cells {
			vs[k].from, vs[k].to = c, c+1
		}
	}
}

func isUnitWord(s string) bool { _, ok := parseUnit(s); return ok }

// keyOfSetting reports whether a cell is the key of a known setting.
func (c cell) keyOfSetting() bool {
	if len(c.text) < 2 || len(c.text) > 60 || c.text[0]-'0' <= 9 {
		return false
	}
	k, _, _ := lookupKey(cellText(c.text))
	return k != metaNone
}

// column pairs a row of keys with the row of values below it.
func (p *preamble) column(keys, vals []cell, t *table, n int) {
	known := 0
	for j, c := range keys {
		if len(c.text) == 0 {
			continue
		}
		if readCell(c.text, t.decimal).kind != cellWords {
			return // a row of keys holds words only
		}
		if j >= len(vals) {
			continue
		}
		if k, _, _ := lookupKey(cellText(c.text)); k != metaNone {
			known++
		}
	}
	if known == 0 {
		return
	}
	for j, c := range keys {
		if j < len(vals) && len(c.text) > 0 && len(vals[j].text) > 0 {
			if k, _, _ := lookupKey(cellText(vals[j].text)); k != metaNone {
				continue // a key itself: "Source,CH1" over "Coupling,DC"
			}
			if k, _, _ := lookupKey(cellText(c.text)); k != metaNone && !metaIsText(k) {
				p.add(cellText(c.text), []string{cellText(vals[j].text)}, t.decimal, n)
			}
		}
	}
}
