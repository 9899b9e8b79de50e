package capture

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"sort"
	"strings"
)

// header is the rows above the table that name its columns and their units.
type header struct {
	rows  []headerRow // top to bottom
	names []string    // per column of the table, "" for none
	units []string
}

type headerRow struct {
	line  int // index of the line in the head
	cells []cell
	units bool
}

func (h *header) uses(i int) bool {
	for _, r := range h.rows {
		if r.line == i {
			return true
		}
	}
	return false
}

var (
	timeName  = regexp.MustCompile(`^(time|zeit|temps|tempo|tiempo|czas|t|x|tijd|tid|x ?axis|x ?achse|seconds?|secs?|s|ms|us|ns|timestamp|time ?stamp|elapsed( time)?|milliseconds|microseconds|nanoseconds|sekunden|clock|date ?time|date|uhrzeit|zeitstempel)$|^(rel|relative|abs|absolute|sample|trigger|corrected|record|capture)? ?time\b|^time |^zeit |^t \w+$|^x \w*$|^messzeit`)
	indexName = regexp.MustCompile(`^(n|no|nr|idx|index|samples?|sample ?(no|num|nr|index|number|count|id)|points?|point ?(no|nr|index|number)|pts?|sequence|seq|row|i|k|record|messpunkt|num|number|line|count|counter|data point|punkt|abtastwert|step|datapoint|item)$`)
	rawName   = regexp.MustCompile(`\b(raw|adc|codes?|counts|lsb|digits?|hex|dac|rohwert\w*|rohdaten|quantised|quantized|unscaled)\b`)
	segName   = regexp.MustCompile(`^(segment|seg|frame|acquisition|acq|burst|block|sweep|shot|trigger ?(no|nr|number|index)|waveform ?(no|nr|number)|segment ?(no|nr|number|index|id)|frame ?(no|nr|number|index|id)|history ?(no|nr|number|index)?)$`)
	freqName  = regexp.MustCompile(`^(frequency|freq|frequenz|f|fréquence|frequence|frequency \w+)$`)
	ampName   = regexp.MustCompile(`^(current|strom|courant|i|amps?|amperes?|i ?(out|in|load|rms)?|load current|current \w+)$`)
	otherName = regexp.MustCompile(`^(temp|temperature|temperatur|power|leistung|humidity|marker|flags?|status|valid|quality|digital.*|logic.*|pod ?\d*|d\d{1,2}|battery|pressure|phase|gain|note|comment|remark|trigger|trig|event)$`)
)

// findHeader reads up to four rows right above the table.
func findHeader(h *textHead, t *table) *header {
	hd := &header{names: make([]string, t.cells), units: make([]string, t.cells)}
	blanks, skipped := 0, 0
	for i := t.first - 1; i >= 0 && len(hd.rows) < 3 && blanks < 3; i-- {
		line := bytes.TrimSpace(h.line(i))
		if len(line) == 0 {
			blanks++
			continue
		}
		if isComment(h.line(i), t.delim) {
			line = uncomment(line)
		} else {
			line = h.line(i)
		}
		cells := headerCells(line, t)
		row := headerRow{line: i, cells: cells}
		switch {
		case t.unitsRow(cells) && !hd.has(true):
			row.units = true
		case (!indexLike(cells) || t.pairCell(cells)) && t.settingRow(line, cells) && skipped < maxSettings:
			// Settings may stand between the names and the rows.
			skipped++
			continue
		case t.namesRow(cells) && !hd.has(false) && (skipped == 0 || indexLike(cells)):
		case t.groupRow(cells) && len(hd.rows) > 0 && hd.has(false):
			hd.rows = append([]headerRow{row}, hd.rows...)
			hd.fill(t)
			return hd
		default:
			hd.fill(t)
			return hd
		}
		hd.rows = append([]headerRow{row}, hd.rows...)
		blanks = 0
	}
	hd.fill(t)
	return hd
}

// maxSettings is how many lines of settings may stand below the names.
const maxSettings = 40

// pairCell tells whether a cell over the numbers ends in a colon or an equals
// sign, or holds one: "sample interval: 1e-6" is no row of names.
func (t *table) pairCell(cells []cell) bool {
	for _, j := range t.numeric {
		if j < len(cells) && bytes.ContainsAny(cells[j].text, ":=") {
			return true
		}
	}
	return false
}

// settingRow tells whether a line above the table states a known setting.
func (t *table) settingRow(line []byte, cells []cell) bool {
	p := &preamble{values: map[metaKey][]metaValue{}}
	p.line(bytes.TrimSpace(line), cells, t, 0)
	return len(p.values) > 0
}

func (h *header) has(units bool) bool {
	for _, r := range h.rows {
		if r.units == units {
			return true
		}
	}
	return false
}

// headerCells cuts a header row; in a table cut at blanks a name may itself
// hold blanks: "Time (s)   CH1 (V)".
func headerCells(line []byte, t *table) []cell {
	cells := splitCells(line, t.delim, nil)
	if len(cells) == t.cells || len(cells) == t.cells+1 && t.delim != ' ' {
		return cells
	}
	if t.delim == ' ' {
		var merged []cell
		for _, c := range cells {
			if len(merged) > 0 && len(c.text) > 0 && (c.text[0] == '(' || c.text[0] == '[') {
				m := &merged[len(merged)-1]
				m.text = append(append(append([]byte{}, m.text...), ' '), c.text...)
				continue
			}
			merged = append(merged, c)
		}
		if len(merged) == t.cells {
			return merged
		}
		for _, sep := range []string{"\t", "  ", ",", ";"} {
			var parts []cell
			for _, s := range bytes.Split(line, []byte(sep)) {
				if s = bytes.TrimSpace(s); len(s) > 0 {
					parts = append(parts, cell{text: s})
				}
			}
			if len(parts) == t.cells {
				return parts
			}
		}
		return cells
	}
	// A remark may be cut otherwise than the table.
	if len(cells) == 1 {
		for _, d := range []byte{',', ';', '\t', ' '} {
			if c := splitCells(line, d, nil); len(c) == t.cells {
				return c
			}
		}
	}
	return cells
}

// unitsRow tells whether every filled cell over a number is a unit.
func (t *table) unitsRow(cells []cell) bool {
	n := 0
	for _, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		u, ok := parseUnit(cellText(cells[j].text))
		if !ok {
			return false
		}
		// A row of A, B, C names channels.
		if u.kind == unitAmpere && len(cellText(cells[j].text)) == 1 && j > 0 && j+1 < len(cells) && string(cells[j+1].text) == "B" {
			return false
		}
		n++
	}
	return n > 0 && (n == len(t.numeric) || n >= 2)
}

// namesRow tells whether a row names the columns: words over the numbers,
// and no key of a preamble with its value.
func (t *table) namesRow(cells []cell) bool {
	n, numbers := 0, 0 // filled cells, and those of them that are numbers
	for _, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		if v := readCell(cells[j].text, t.decimal); v.numeric() {
			// Channels may be named 1, 2, 3 behind a name for the time.
			if numbers++; v.num.v != float64(numbers) || !indexLike(cells) {
				return false
			}
		}
		n++
	}
	if n == numbers {
		return false
	}
	first := ""
	filled := 0
	for _, c := range cells {
		if len(c.text) > 0 {
			if first == "" {
				first = cellText(c.text)
			}
			filled++
		}
	}
	if 2*n < len(t.numeric) || filled == 1 && len(t.numeric) > 1 || filled > 1 && t.cells == 1 {
		return false
	}
	for _, sep := range []string{":", "="} {
		if a, _, ok := strings.Cut(first, sep); ok {
			if k, _, _ := lookupKey(a); k != metaNone {
				return false
			}
		}
	}
	if strings.HasSuffix(first, ":") || strings.HasSuffix(first, "=") {
		return false
	}
	name, _, _ := splitNameUnit(first)
	name, _ = normKey(name)
	if timeName.MatchString(name) || indexName.MatchString(name) {
		return true
	}
	if k, _, _ := lookupKey(first); k != metaNone && (metaIsText(k) || filled == 2) && len(t.numeric) > 1 {
		return false
	}
	return true
}

// indexLike tells whether a row begins with a name for time or sample number.
func indexLike(cells []cell) bool {
	for _, c := range cells {
		if len(c.text) > 0 {
			name, _, _ := splitNameUnit(cellText(c.text))
			name, _ = normKey(name)
			return timeName.MatchString(name) || indexName.MatchString(name)
		}
	}
	return false
}

// groupRow is a row of fewer names above the names: one per pair of columns.
func (t *table) groupRow(cells []cell) bool {
	if len(t.numeric) < 3 {
		return false
	}
	n := 0
	for j, c := range cells {
		if len(c.text) == 0 {
			continue
		}
		if readCell(c.text, t.decimal).numeric() || j > t.numeric[len(t.numeric)-1] {
			return false
		}
		if k, _, _ := lookupKey(cellText(c.text)); k != metaNone && n == 0 {
			return false
		}
		n++
	}
	return n >= 2
}

// fill gives each column its name and unit.
func (h *header) fill(t *table) {
	var group []string
	for k, r := range h.rows {
		if r.units {
			for j := range min(len(r.cells), t.cells) {
				if s := oneLine(r.cells[j].text); s != "" {
					h.units[j] = unbracket(s)
					// A word serves as name, too: "Volts", "adc".
					if h.names[j] == "" && len(h.units[j]) > 2 {
						h.names[j] = h.units[j]
					}
				}
			}
			continue
		}
		names := make([]string, t.cells)
		for j := range min(len(r.cells), t.cells) {
			names[j] = oneLine(r.cells[j].text)
		}
		if k == 0 && h.count(false) > 1 {
			last := ""
			group = make([]string, t.cells)
			for j, s := range names {
				if s != "" {
					last = s
				}
				group[j] = last
			}
			continue
		}
		for j, s := range names {
			if s == "" {
				continue
			}
			name, u, ok := splitNameUnit(s)
			h.names[j] = name
			if ok && h.units[j] == "" {
				h.units[j] = u
			}
		}
	}
	if group != nil {
		seen := map[string]int{}
		for _, s := range h.names {
			seen[s]++
		}
		for j, s := range h.names {
			if group[j] != "" && (seen[s] > 1 || s == "") && !timeName.MatchString(strings.ToLower(s)) {
				h.names[j] = group[j]
			}
		}
	}
}

// oneLine is a cell's text with its line ends and runs of blanks folded.
func oneLine(b []byte) string { return strings.Join(strings.Fields(cellText(b)), " ") }

func unbracket(s string) string {
	if n := len(s); n > 2 {
		if p := strings.IndexByte("([{<", s[0]); p >= 0 && s[n-1] == ")]}>"[p] {
			return strings.TrimSpace(s[1 : n-1])
		}
	}
	return s
}

func (h *header) count(units bool) (n int) {
	for _, r := range h.rows {
		if r.units == units {
			n++
		}
	}
	return n
}

// splitNameUnit takes the unit off a column's name: "CH1 (mV)", "t/ms",
// "U in V", "time_us", "Voltage, V". A name that is a unit as a whole keeps
// its text.
func splitNameUnit(s string) (name, unitText string, ok bool) {
	s = strings.TrimSpace(s)
	if u, isUnit := parseUnit(s); isUnit && u.kind != unitAmpere && u.kind != unitOther && u.factor != 60 {
		return s, s, true
	}
	if n := len(s); n > 2 {
		if p := strings.IndexByte(")]}>", s[n-1]); p >= 0 {
			if i := strings.LastIndexByte(s, "([{<"[p]); i >= 0 {
				in := s[i+1 : n-1]
				in = strings.TrimPrefix(strings.TrimSpace(in), "in ")
				if _, isUnit := parseUnit(in); isUnit {
					name := strings.TrimRight(s[:i], " _-")
					return name, in, true
				}
			}
		}
		// Unit in brackets, then more words: "Time (s) relative"
		if m := keyUnit.FindStringSubmatchIndex(s); m != nil && m[0] > 0 {
			if u, isUnit := parseUnit(s[m[2]:m[3]]); isUnit && (u.kind == unitSecond || u.kind == unitVolt) {
				return strings.TrimSpace(s[:m[0]] + s[m[1]:]), s[m[2]:m[3]], true
			}
		}
	}
	for _, sep := range []string{" in ", "/", ",", ":", " ", "_", "-", "."} {
		i := strings.LastIndex(s, sep)
		if i <= 0 || i+len(sep) >= len(s) {
			continue
		}
		u, isUnit := parseUnit(s[i+len(sep):])
		if !isUnit || u.factor == 60 { // "CH1 Min" is no time in minutes
			continue
		}
		switch u.kind {
		case unitSecond, unitVolt, unitHertz, unitCount, unitDiv:
			return strings.TrimRight(s[:i], " _-,:"), strings.TrimSpace(s[i+len(sep):]), true
		case unitAmpere:
			if sep == "/" || sep == " in " || u.factor != 1 {
				return strings.TrimSpace(s[:i]), s[i+len(sep):], true
			}
		}
	}
	return s, "", false
}

// schema is what the columns mean.
type schema struct {
	time       int      // column, -1 none
	timeKind   unitKind // unitSecond or unitIndex
	timeFactor float64  // file's time unit to seconds; 0: not stated
	timeText   string   // unit as written, "" when not stated
	timeClock  bool
	seg        int // column, -1 none
	volts      []int
	names      []string
	units      []string // as written, "" not stated
	raw        []int    // columns of raw codes, beside volts
	current    []int
	freq       bool
}

// columnData is the numbers of the table's first rows, one slice per column.
type columnData struct {
	x       []float64
	ints    bool // printed without decimal mark or exponent throughout
	text    string
	clock   bool
	unit    string // unit behind each number, when always the same
	changes bool   // the unit behind the numbers is not the same throughout
	line    int    // where it changes first
}

const schemaRows = 512

func (t *table) data(h *textHead) []columnData {
	cols := make([]columnData, t.cells)
	for j := range cols {
		cols[j].ints = true
	}
	n := 0
	for i := t.first; i < len(h.lines) && n < schemaRows; i++ {
		if i == len(h.lines)-1 && !h.eof && n > 0 {
			break
		}
		cells := splitCells(h.line(i), t.delim, nil)
		if !t.fits(cells) {
			if len(bytes.TrimSpace(h.line(i))) == 0 || isComment(h.line(i), t.delim) {
				continue
			}
			break
		}
		n++
		for _, j := range t.numeric {
			c := &cols[j]
			if j >= len(cells) {
				c.x = append(c.x, math.NaN())
				continue
			}
			v := readCell(cells[j].text, t.decimal)
			if !v.numeric() {
				c.x = append(c.x, math.NaN())
				continue
			}
			if v.kind == cellQuantity {
				if c.unit == "" && len(c.x) == 0 {
					c.unit = v.unit
				} else if c.unit != v.unit && !c.changes {
					c.changes, c.line = true, h.lines[i].number
				}
			} else if c.unit != "" && !c.changes {
				c.changes, c.line = true, h.lines[i].number
			}
			c.clock = c.clock || v.kind == cellClock
			if bytes.IndexByte(cells[j].text, t.decimal) >= 0 || bytes.IndexAny(cells[j].text, "eE") >= 0 {
				c.ints = false
			}
			c.x = append(c.x, v.num.v)
		}
	}
	for j := range cols {
		if cols[j].changes {
			cols[j].unit = ""
		}
	}
	return cols
}

// ramp tells whether a column grows (or falls) all the way, as only a time or
// a sample number does, and whether it does so by 1.
func ramp(x []float64) (ok, unitStep bool) {
	up, down, same, unit, n := 0, 0, 0, 0, 0
	prev := math.NaN()
	for _, v := range x {
		if math.IsNaN(v) {
			continue
		}
		if !math.IsNaN(prev) {
			n++
			switch {
			case v > prev:
				up++
			case v < prev:
				down++
			default:
				same++
			}
			if v-prev == 1 {
				unit++
			}
		}
		prev = v
	}
	if n < 1 {
		return false, false
	}
	// Restarts (segments) and a few rows out of order are allowed for.
	ok = up+same >= n-n/20 && up > 0 && up*20 >= n || down+same >= n-n/20 && down > 0 && down*20 >= n
	return ok, unit*20 >= n*19
}

// straight tells whether a column lies on a straight line over its rows.
func straight(x []float64) bool {
	n := make([]float64, len(x))
	for i := range n {
		n[i] = float64(i)
	}
	return affine(n, x)
}

// findSchema gives every column its meaning.
func findSchema(name string, t *table, hd *header, cols []columnData, p *preamble, opt Options) (*schema, error) {
	s := &schema{time: -1, seg: -1}
	type role struct {
		name string // folded
		unit unit
		has  bool
	}
	roles := make([]role, t.cells)
	headed := false
	for _, j := range t.numeric {
		r := &roles[j]
		r.name, _ = normKey(hd.names[j])
		headed = headed || r.name != ""
		ut := hd.units[j]
		if ut == "" {
			ut = cols[j].unit
		}
		if u, ok := parseUnit(ut); ok {
			r.unit, r.has = u, true
		}
	}
	// Time: by name or unit, then by its numbers.
	var byName, byIndex []int
	for _, j := range t.numeric {
		r := roles[j]
		switch {
		case r.has && r.unit.kind == unitHertz || freqName.MatchString(r.name) && !(r.has && r.unit.kind != unitHertz):
			if ok, _ := ramp(cols[j].x); ok && len(byName) == 0 {
				s.freq = true
			}
		case r.has && r.unit.kind == unitIndex, r.name != "" && indexName.MatchString(r.name) && !(r.has && r.unit.kind != unitIndex):
			byIndex = append(byIndex, j)
		case r.has && r.unit.kind == unitSecond, r.name != "" && timeName.MatchString(r.name) && !r.has, cols[j].clock:
			byName = append(byName, j)
		}
	}
	if s.freq && len(byName) == 0 {
		return nil, &ParseError{Path: name, Line: hd.firstLine(t), Found: "a table over frequency", Expected: "volts over time", Fix: "save the waveform, not its spectrum"}
	}
	sort.SliceStable(byName, func(i, k int) bool {
		a, _ := ramp(cols[byName[i]].x)
		b, _ := ramp(cols[byName[k]].x)
		return a && !b
	})
	isTime := map[int]bool{}
	if len(byName)+len(byIndex) > 0 {
		// A row number without a name, as data frames write it.
		for _, j := range t.numeric {
			if ok, unitStep := ramp(cols[j].x); ok && unitStep && cols[j].ints && roles[j].name == "" && !roles[j].has {
				isTime[j] = true
			}
		}
	}
	for _, j := range append(append([]int{}, byName...), byIndex...) {
		isTime[j] = true
	}
	switch {
	case len(byName) > 0:
		s.time = byName[0]
		s.timeKind = unitSecond
	case len(byIndex) > 0:
		s.time = byIndex[0]
		s.timeKind = unitIndex
	default:
		for _, j := range t.numeric {
			if roles[j].has && roles[j].unit.kind != unitNone || segName.MatchString(roles[j].name) {
				continue
			}
			if len(t.numeric) == 1 {
				break // one column alone is volts
			}
			ok, unitStep := ramp(cols[j].x)
			if !ok || len(cols[j].x) < 2 || s.time >= 0 && !straight(cols[j].x) {
				continue
			}
			index := unitStep && cols[j].ints
			isTime[j] = true
			switch {
			case s.time < 0 && index:
				s.time, s.timeKind = j, unitIndex
			case s.time < 0 || s.timeKind == unitIndex && !index:
				s.time, s.timeKind = j, unitSecond
			}
		}
	}
	setTime := func(j int) error {
		s.time, s.timeFactor, s.timeText, s.timeClock = j, 0, "", false
		if roles[j].has && s.timeKind == unitSecond && roles[j].unit.kind == unitSecond {
			s.timeFactor = roles[j].unit.factor
			s.timeText = hd.units[j]
			if s.timeText == "" {
				s.timeText = cols[j].unit
			}
		}
		if cols[j].clock {
			s.timeClock, s.timeFactor, s.timeText = true, 1, "s"
		}
		if cols[j].changes && !s.timeClock {
			return &ParseError{Path: name, Line: cols[j].line, Column: j + 1, Found: "a time whose unit changes from row to row", Expected: "one unit in the whole column", Fix: "export the times in seconds"}
		}
		return nil
	}
	if s.time >= 0 {
		if err := setTime(s.time); err != nil {
			return nil, err
		}
	}
	// The others.
	for _, j := range t.numeric {
		r := roles[j]
		if isTime[j] {
			continue
		}
		isRaw := r.has && r.unit.kind == unitCount || rawName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt)
		switch {
		case r.name != "" && segName.MatchString(r.name):
			s.seg = j
		case isRaw:
			s.raw = append(s.raw, j)
		case r.has && r.unit.kind == unitAmpere, ampName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt):
			s.current = append(s.current, j)
		case r.has && (r.unit.kind == unitOther || r.unit.kind == unitHertz), otherName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt), freqName.MatchString(r.name) && r.unit.kind != unitVolt && len(r.name) > 1:
		default:
			if s.time >= 0 && sameColumn(cols[j].x, cols[s.time].x) {
				continue // a simulator repeats the time before every vector
			}
			s.volts = append(s.volts, j)
		}
	}
	// Unnamed codes beside their volts.
	if len(s.volts) > 1 {
		var keep []int
		for _, j := range s.volts {
			coded := false
			if cols[j].ints && !roles[j].has {
				for _, k := range s.volts {
					if k != j && !cols[k].ints && affine(cols[j].x, cols[k].x) {
						coded = true
					}
				}
			}
			if coded {
				s.raw = append(s.raw, j)
			} else {
				keep = append(keep, j)
			}
		}
		s.volts = keep
	}
	if len(s.volts) == 0 {
		s.volts, s.raw = s.raw, nil
	}
	if len(s.volts) == 0 {
		if len(s.current) > 0 {
			return nil, &ParseError{Path: name, Line: hd.firstLine(t), Column: s.current[0] + 1, Found: "a current in amperes", Expected: "a column of volts", Fix: "save the voltage channel"}
		}
		return nil, &ParseError{Path: name, Line: hd.firstLine(t), Found: "no column of volts", Expected: "time and volts columns", Fix: "export the channel's voltage"}
	}
	s.nameChannels(hd, cols, p)
	// Where every channel has a time column of its own in front of it, the
	// chosen channel's counts.
	if ch, err := pickChannel(name, opt.Channel, s.names); err == nil && len(s.volts) > 1 && s.timeKind == unitSecond {
		own := 0
		for _, j := range s.volts {
			if isTime[j-1] {
				own++
			}
		}
		if j := s.volts[ch]; own == len(s.volts) && j-1 != s.time {
			if err := setTime(j - 1); err != nil {
				return nil, err
			}
		}
	}
	return s, nil
}

func (h *header) firstLine(t *table) int {
	if len(h.rows) > 0 {
		return h.rows[0].line + 1
	}
	return t.first + 1
}

// nameChannels gives the volts columns unique names.
func (s *schema) nameChannels(hd *header, cols []columnData, p *preamble) {
	seen := map[string]int{}
	for i, j := range s.volts {
		n := hd.names[j]
		if n == "" || len(s.volts) == 1 && isUnitWord(n) {
			if v, ok := p.get(metaSource, "", i, len(s.volts)); ok && v.text != "" && (len(s.volts) == 1 || v.of == len(s.volts)) {
				n = v.text
			}
		}
		if n == "" && len(s.volts) > 1 {
			n = fmt.Sprintf("column %d", j+1)
		}
		seen[n]++
		if seen[n] > 1 {
			n = fmt.Sprintf("%s (column %d)", n, j+1)
		}
		s.names = append(s.names, n)
		u := hd.units[j]
		if u == "" {
			u = cols[j].unit
		}
		s.units = append(s.units, u)
	}
}

func sameColumn(a, b []float64) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// affine tells whether y = a + b·x within the printed precision of y, with x
// taking at least three values.
func affine(x, y []float64) bool {
	var n, sx, sy, sxx, sxy float64
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		n++
		sx += x[i]
		sy += y[i]
	}
	if n < 3 {
		return false
	}
	mx, my := sx/n, sy/n
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
		lo, hi = min(lo, y[i]), max(hi, y[i])
	}
	if sxx == 0 || hi == lo {
		return false
	}
	b := sxy / sxx
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		if math.Abs(my+b*(x[i]-mx)-y[i]) > 0.01*(hi-lo)+1e-12 {
			return false
		}
	}
	return true
}
