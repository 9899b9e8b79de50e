package capture

import (
	"bytes"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// header is the rows above the table that name its columns and their units.
type header struct {
	rows   []headerRow // top to bottom
	names  []string    // per column of the table, "" for none
	units  []string
	passed []int // lines between the names and the rows that begin like a row, from below
}

type headerRow struct {
	line  int // index of the line in the head
	cells []cell
	kind  aboveKind
}

func (h *header) uses(i int) bool {
	for _, r := range h.rows {
		if r.line == i {
			return true
		}
	}
	return false
}

func (h *header) hasUnits() bool {
	return slices.ContainsFunc(h.rows, func(r headerRow) bool { return r.kind == unitsAbove })
}

// anyUnit reports whether any of the rows read so far states a unit.
func (h *header) anyUnit() bool {
	for _, r := range h.rows {
		for _, c := range r.cells {
			if _, _, ok := splitNameUnit(cellText(c.text)); ok || r.kind == unitsAbove {
				return true
			}
		}
	}
	return false
}

// nameRows counts the rows that name columns of their own, groups of columns included.
func (h *header) nameRows() (n int) {
	for _, r := range h.rows {
		if r.kind == namesAbove || r.kind == groupAbove {
			n++
		}
	}
	return n
}

func (h *header) firstLine(t *table) int {
	if len(h.rows) > 0 {
		return h.rows[0].line + 1
	}
	return t.first + 1
}

// mostRows is how many rows of names and units may stand above each other.
const mostRows = 5

// mostBlanks is how many blank lines in a row part a table from what is above it.
const mostBlanks = 3

// findHeader reads the rows of names and units above the table: those right above it,
// or where something else stands there, the next above that which state the units of
// its columns.
func findHeader(h *textHead, t *table) *header {
	hd := &header{names: make([]string, t.cells), units: make([]string, t.cells)}
	at := hd.readUp(h, t, t.first-1)
	if up := hd.unitsBeyond(h, t, at); up >= 0 {
		hd.rows = nil // words without units, right below the names with theirs
		for i := at; i > up; i-- {
			if damaged(h.line(i)) {
				hd.passed = append(hd.passed, i)
			}
		}
		hd.readUp(h, t, up)
	}
	hd.fill(t)
	return hd
}

// readUp takes the rows of names and units from line i upwards. It gives the line at which
// something else stands, -1 where none does.
func (hd *header) readUp(h *textHead, t *table, i int) int {
	blanks, skipped := 0, 0
	for ; i >= 0 && len(hd.rows) < mostRows; i-- {
		line, cells := h.above(i, t)
		kind := notHeader
		switch {
		case bytes.ContainsFunc(line, letterOrDigit):
			all := usedCells(cells)
			cells = t.withoutPairs(cells)
			kind = hd.kindOf(t, line, cells, all, skipped)
		case blanks+1 < mostBlanks:
			blanks++
			continue
		}
		switch kind {
		case notHeader:
			return i
		case settingAbove:
			skipped++
			continue
		}
		hd.rows = append([]headerRow{{line: i, cells: cells, kind: kind}}, hd.rows...)
		if kind == groupAbove {
			break
		}
		blanks = 0
	}
	return -1
}

// unitsBeyond is the line that states the units of the table's columns at line at, where
// readUp stopped, or above it; -1 where there is none, or where the rows read so far state
// some. Names without units hide those of the next line alone.
func (hd *header) unitsBeyond(h *textHead, t *table, at int) int {
	if at < 0 || hd.anyUnit() {
		return -1
	}
	up := h.unitsFurtherUp(t, at)
	if len(hd.rows) > 0 && up < at {
		return -1
	}
	return up
}

// letterOrDigit is true too of what is no UTF-8: letters of another encoding.
func letterOrDigit(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || r == utf8.RuneError
}

// above gives a line above the table without its comment mark, and its cells.
func (h *textHead) above(i int, t *table) (line []byte, cells []cell) {
	line = h.line(i)
	if isComment(line, t.delim) && !t.namesNumbers(line) {
		line = uncomment(bytes.TrimSpace(line))
	}
	if t.cells > 1 { // else a name that holds a delimiter
		line = unquoted(line, t.delim)
	}
	return line, headerCells(line, t)
}

// unitsFurtherUp finds the next line from i upwards that states the units of the
// table's columns, whatever stands between; -1 where there is none, or where rows of
// numbers that it may belong to come first.
func (h *textHead) unitsFurtherUp(t *table, i int) int {
	blank := func(i int) bool { return len(bytes.TrimSpace(h.line(i))) == 0 }
	apart := false // a blank line parts what is above from the table
	for k := i + 1; k < t.first; k++ {
		apart = apart || blank(k)
	}
	for rows := 0; i >= 0; i-- {
		_, cells := h.above(i, t)
		if t.statesUnits(cells) {
			return i
		}
		apart = apart || blank(i)
		if t.fits(cells) && !isComment(h.line(i), t.delim) {
			if rows++; rows > 1 || apart { // one row right above the table is a stray one
				break
			}
		}
	}
	return -1
}

// statesUnits reports whether a row names the columns with their units, or is a row of
// units: a time over the first numbers and volts, divisions or counts over others, or
// over a single column the name of a channel or a voltage in volts.
func (t *table) statesUnits(cells []cell) bool {
	if last := t.numeric[len(t.numeric)-1]; len(cells) <= last || usedCells(cells) > t.cells+1 {
		return false
	}
	volts := 0
	for k, j := range t.numeric {
		if readCell(cells[j].text, t.decimal).kind != cellWords {
			return false
		}
		name, text, _ := splitNameUnit(cellText(cells[j].text))
		u, _ := parseUnit(text)
		switch {
		case len(t.numeric) == 1:
			return u.kind == unitVolt && usedCells(cells) == 1 && (channelLike(name) || voltName.MatchString(name))
		case k == 0 && u.kind != unitSecond:
			return false
		case u.kind == unitVolt, u.kind == unitDiv, u.kind == unitCount:
			volts++
		}
	}
	return volts > 0
}

// aboveKind is what a line above the table is.
type aboveKind uint8

const (
	notHeader    aboveKind = iota
	unitsAbove             // a row of units
	settingAbove           // a setting, which may stand between the names and the rows
	namesAbove             // a row of names
	partAbove              // names below the names, or one of the times alone
	groupAbove             // fewer names above the names
)

// kindOf tells what a line above the table is; all is how many cells it had with
// the settings beside the names, skipped how many settings stand below it. The order
// matters: a row that states a setting would often pass for names too.
func (hd *header) kindOf(t *table, line []byte, cells []cell, all, skipped int) aboveKind {
	switch {
	case t.countsRow(cells), answersRow(cells):
		return settingAbove
	case t.unitsRow(cells) && !hd.hasUnits():
		return unitsAbove
	case skipped < maxSettings && t.maySet(cells) && t.settingRow(line, cells) && !t.keptNames(cells, all):
		return settingAbove
	case t.namesRow(cells) && hd.nameRows() == 0 && (skipped == 0 || indexLike(cells)):
		return namesAbove
	case skipped == 0 && hd.nameRows() == 0 && t.partRow(cells):
		return partAbove
	case skipped == 0 && hd.nameRows() == 1 && t.namesTime(cells) && t.namesRow(cells) && !t.holdsNumber(cells), hd.nameRows() > 0 && t.groupRow(cells):
		return groupAbove
	}
	return notHeader
}

// holdsNumber reports whether a cell over the numbers is one, or a quantity.
func (t *table) holdsNumber(cells []cell) bool {
	return slices.ContainsFunc(t.numeric, func(j int) bool {
		return j < len(cells) && readCell(cells[j].text, t.decimal).numeric()
	})
}

// answers are what a setting with one value for each channel may hold, and no column is
// called.
var answers = map[string]bool{"on": true, "off": true, "yes": true, "no": true, "true": true, "false": true, "enabled": true, "disabled": true, "ein": true, "aus": true, "ja": true, "nein": true, "oui": true, "non": true}

// answersRow reports whether a row is a key and an answer for each channel: "Inverted,Yes,No".
func answersRow(cells []cell) bool {
	n := 0
	for k, c := range cells {
		switch {
		case len(c.text) == 0:
		case k > 0 && !answers[strings.ToLower(cellText(c.text))]:
			return false
		default:
			n++
		}
	}
	return n > 1 && len(cells[0].text) > 0
}

// maySet reports whether a row's first cell can be the key of a setting: it is no name
// of a time or of the rows' numbers, but where the row says otherwise, with a colon, an
// equals sign, or a number behind words.
func (t *table) maySet(cells []cell) bool {
	return !indexLike(cells) || t.pairCell(cells) || t.delim == ' ' && endsInNumber(cells)
}

// keptNames reports whether settings stood beside cells and were taken off, all cells
// with them, and what is left is names.
func (t *table) keptNames(cells []cell, all int) bool {
	return len(cells) < all && t.named(cells)
}

// endsInNumber reports whether a number follows two words or more: "Sample Rate 48000".
func endsInNumber(cells []cell) bool {
	k := len(cells) - 1
	return k >= 2 && readCell(cells[k].text, '.').kind == cellNumber && readCell(cells[k-1].text, '.').kind == cellWords
}

// partRow reports whether a row holds words over some of several columns of numbers and
// nothing else: of the first of them alone a name of the time, of the others any.
func (t *table) partRow(cells []cell) bool {
	if len(t.numeric) < 2 || len(cells) > t.cells+1 {
		return false
	}
	over, first := 0, false
	for k, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		if readCell(cells[j].text, t.decimal).kind != cellWords && !bytes.EqualFold(cells[j].text, []byte("x")) { // an axis, not a missing value
			return false
		}
		over, first = over+1, first || k == 0
	}
	_, all := firstOf(cells)
	return over > 0 && over == all && (!first || over == 1 && indexLike(cells))
}

// namesNumbers reports whether the # that begins a line is no comment mark but the name
// of the first column, the rows' numbers: there is a cell for each column with it and one
// too few without.
func (t *table) namesNumbers(line []byte) bool {
	cells := splitCells(line, t.delim, nil)
	return len(t.numeric) > 1 && len(cells) == t.cells && string(cells[0].text) == "#"
}

// namesTime reports whether a cell over the numbers names a time or a sample number.
func (t *table) namesTime(cells []cell) bool {
	for _, j := range t.numeric {
		if j < len(cells) && indexLike(cells[j:j+1]) {
			return true
		}
	}
	return false
}

// isVoltWord tells "Volt" and its like, which name no channel.
func isVoltWord(s string) bool {
	u, ok := parseUnit(s)
	return ok && u.kind == unitVolt
}

// isTimeWord tells "us", "sec" and their like.
func isTimeWord(s string) bool {
	u, ok := parseUnit(s)
	return ok && u.kind == unitSecond
}

// filled reports whether any cell holds something.
func filled(cells []cell) bool {
	for _, c := range cells {
		if len(c.text) > 0 {
			return true
		}
	}
	return false
}

// withoutPairs takes settings such as "dt = 1e-6 s" beside the names off them, and off
// the name of a lone channel the keys of those whose values stand below.
func (t *table) withoutPairs(cells []cell) []cell {
	if len(cells) <= t.cells {
		return cells
	}
	lone := t.cells == 1 && channelLike(cellText(cells[0].text))
	for _, c := range cells[t.cells:] {
		if len(c.text) == 0 || lone && c.keyOfSetting() {
			continue
		}
		p := &preamble{values: map[metaKey][]metaValue{}}
		if !p.pair(cellText(c.text), t, 0) {
			return cells
		}
	}
	return cells[:t.cells]
}

// named reports whether pairs were taken off the names in cells: what is left is
// no setting.
func (t *table) named(cells []cell) bool {
	if len(cells) != t.cells || t.cells > 1 {
		return false
	}
	p := &preamble{values: map[metaKey][]metaValue{}}
	return !p.pair(cellText(cells[0].text), t, 0)
}

// maxSettings is how many lines of settings may stand below the names.
const maxSettings = 40

// pairCell reports whether a cell over the numbers ends in a colon or an equals
// sign, or holds one: "sample interval: 1e-6" is no row of names.
func (t *table) pairCell(cells []cell) bool {
	for _, j := range t.numeric {
		if j < len(cells) && bytes.ContainsAny(cells[j].text, ":=") {
			return true
		}
	}
	return false
}

// settingRow reports whether a line above the table states a known setting.
func (t *table) settingRow(line []byte, cells []cell) bool {
	if t.unitNames(cells) || len(t.numeric) > 1 && t.statesUnits(cells) {
		return false
	}
	p := &preamble{values: map[metaKey][]metaValue{}}
	if whole := unquoted(line, t.delim); len(whole) < len(line) {
		line, cells = whole, splitCells(whole, t.delim, nil)
	}
	p.line(bytes.TrimSpace(line), cells, t, 0)
	return len(p.values) > 0
}

// unitNames reports whether cells over the numbers are names with their units in
// brackets, as "Frequency (Hz),Trace 1 (V)": no setting and its value.
func (t *table) unitNames(cells []cell) bool {
	n := 0
	for _, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		text := cellText(cells[j].text)
		if _, _, ok := splitNameUnit(text); !ok || !bytes.ContainsAny(cells[j].text, "([{") || readCell(cells[j].text, t.decimal).kind != cellWords {
			return false
		}
		n++
	}
	return n > 1
}

// headerCells cuts a header row; in a table cut at blanks a name may itself
// hold blanks: "Time (s)   CH1 (V)".
func headerCells(line []byte, t *table) []cell {
	cells := splitCells(line, t.delim, nil)
	switch {
	case len(cells) == t.cells, len(cells) == t.cells+1 && t.delim != ' ':
	case t.delim == ' ':
		if names := blankNames(line, cells, t.cells); names != nil {
			return names
		}
	case len(cells) == 1:
		// A remark may be cut otherwise than the table.
		for _, d := range []byte{',', ';', '\t', ' '} {
			if c := splitCells(line, d, nil); len(c) == t.cells {
				return c
			}
		}
	}
	return cells
}

// blankNames cuts names that hold blanks into n cells; nil where none of the ways
// does.
func blankNames(line []byte, cells []cell, n int) []cell {
	var merged []cell
	for _, c := range cells {
		if len(merged) > 0 && len(c.text) > 0 && (c.text[0] == '(' || c.text[0] == '[') {
			m := &merged[len(merged)-1]
			m.text = append(append(append([]byte{}, m.text...), ' '), c.text...)
			continue
		}
		merged = append(merged, c)
	}
	if len(merged) == n {
		return merged
	}
	for _, sep := range []string{"\t", "  ", ",", ";"} {
		var parts []cell
		for _, s := range bytes.Split(line, []byte(sep)) {
			if s = bytes.TrimSpace(s); len(s) > 0 {
				parts = append(parts, cell{text: s})
			}
		}
		if len(parts) == n {
			return parts
		}
	}
	return nil
}

// fill gives each column its name and unit.
func (h *header) fill(t *table) {
	var group []string
	part := &header{names: make([]string, t.cells), units: make([]string, t.cells)}
	stacked := len(h.rows) > 0 && h.nameRows() > 1 && t.namesTime(h.rows[0].cells) // the names stand above what is below them
	for k, r := range h.rows {
		switch {
		case r.kind == unitsAbove:
			h.fillUnits(r, t)
		case r.kind == partAbove, k > 0 && stacked:
			part.fillNames(r, t)
		case k == 0 && h.nameRows() > 1 && !stacked:
			group = groupNames(r, t)
		default:
			h.fillNames(r, t)
		}
	}
	h.addPart(part)
	if group == nil {
		return
	}
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

// addPart gives columns the name and the unit from rows that name some of them: where
// there are none, and behind names that several columns share.
func (h *header) addPart(part *header) {
	seen := map[string]int{}
	for _, s := range h.names {
		seen[s]++
	}
	for j, s := range h.names {
		switch p := part.names[j]; {
		case p == "":
		case s == "":
			h.names[j] = p
		case seen[s] > 1:
			h.names[j] = s + " " + p
		}
		if h.units[j] == "" {
			h.units[j] = part.units[j]
		}
	}
}

// fillUnits takes a row of units.
func (h *header) fillUnits(r headerRow, t *table) {
	for j := range min(len(r.cells), t.cells) {
		if s := strings.Join(strings.Fields(unnumbered(r.cells, j)), " "); s != "" {
			h.units[j] = unbracket(s)
			// A word serves as name, too: "Volts", "adc".
			if h.names[j] == "" && len(h.units[j]) > 2 && (len(t.numeric) == 1 || !isVoltWord(h.units[j])) {
				h.names[j] = h.units[j]
			}
		}
	}
}

// groupNames takes a row of names, each of which holds up to the next.
func groupNames(r headerRow, t *table) []string {
	group := make([]string, t.cells)
	last := ""
	for j := range group {
		if j < len(r.cells) {
			if s := blanksFolded(r.cells[j].text); s != "" {
				last = s
			}
		}
		group[j] = last
	}
	return group
}

// fillNames takes a row of names, with or without units.
func (h *header) fillNames(r headerRow, t *table) {
	for j := range min(len(r.cells), t.cells) {
		s := blanksFolded(r.cells[j].text)
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

// blanksFolded is a cell's text with its line ends and runs of blanks folded.
func blanksFolded(b []byte) string { return strings.Join(strings.Fields(cellText(b)), " ") }

func unbracket(s string) string {
	if n := len(s); n > 2 {
		if p := strings.IndexByte("([{<", s[0]); p >= 0 && s[n-1] == ")]}>"[p] {
			return strings.TrimSpace(s[1 : n-1])
		}
	}
	return s
}
