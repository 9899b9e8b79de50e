package capture

import (
	"bytes"
	"fmt"
	"strings"
)

// table is where the rows of numbers stand in a text file.
type table struct {
	delim, decimal byte
	cells          int   // cells in a row of the bulk
	numeric        []int // columns that hold numbers
	emptyLeft      bool  // the cell ahead of the first of them is empty in most rows
	first          int   // index of the first row's line in the head
	firstNumber    int   // its line number, from 1
	rows           int   // rows of the first run seen in the head
	doubt          *doubtfulMark
}

const (
	// maxCells bounds a row.
	maxCells = 1024
	// maxColumns is how wide a table of a few rows may be.
	maxColumns = 64
)

// locate finds the numeric columns of the bulk and the first run of rows that
// holds them.
func (h *textHead) locate(name string, c candidate) (*table, error) {
	t := &table{delim: c.delim, decimal: c.decimal, cells: c.cells}
	var rows int
	if t.numeric, rows = h.numericColumns(c); len(t.numeric) == 0 {
		return nil, noTable(name, h)
	}
	if len(t.numeric) > maxColumns && rows <= 4 {
		return nil, &ParseError{Path: name, Line: h.lines[0].number, Found: fmt.Sprintf("rows of %d numbers", len(t.numeric)), Expected: "one sample per row", Fix: "swap rows and columns"}
	}
	h.findEmptyLeft(t)
	r, ok := firstRun(h.runs(t), len(t.numeric) > 1)
	if !ok {
		return nil, noTable(name, h)
	}
	t.first, t.rows, t.firstNumber = r.first, r.rows, h.lines[r.first].number
	h.skipCounts(t)
	h.markAbove(t)
	return t, nil
}

// commaBetween is a comma that marks decimals, as the semicolon or the tab ahead of it tells.
var commaBetween = map[byte]*pattern{';': newPattern(`;[ "]*[-+]?[0-9]*,[0-9]`), '\t': newPattern(`\t[ "]*[-+]?[0-9]*,[0-9]`)}

// commaAhead is a comma with a digit behind it: one at a row's end marks nothing.
var commaAhead = newPattern(`,[ "]*[0-9]`)

// markAbove finds the decimal mark, and for rows of one number the delimiter, by the
// settings above where the rows show neither: whole numbers, as of codes that a spreadsheet
// saved below "Sample Interval;0,000001". A comma between digits behind a semicolon or a
// tab marks decimals.
func (h *textHead) markAbove(t *table) {
	if t.decimal != '.' || t.delim == ',' && t.cells > 1 {
		return
	}
	points := false
	for _, i := range h.sampleLines() {
		if i < t.first || !t.fits(splitCells(h.line(i), t.delim, nil)) {
			continue
		}
		if commaAhead.Match(h.line(i)) {
			return
		}
		points = points || bytes.IndexByte(h.line(i), '.') >= 0
	}
	for i := range t.first {
		for _, d := range []byte{';', '\t'} {
			key, _, _ := bytes.Cut(h.line(i), []byte{d})
			if d != t.delim && t.cells > 1 || bytes.IndexByte(key, ',') >= 0 || !commaBetween[d].Match(h.line(i)) {
				continue
			}
			if t.delim = d; !points {
				t.decimal = ','
			}
			return
		}
	}
}

// skipCounts moves the start of the table behind a row of whole numbers that leaves
// the first column empty, as the samples of each channel ahead of the times do.
func (h *textHead) skipCounts(t *table) {
	if t.first+1 >= len(h.lines) || !t.countsRow(splitCells(h.line(t.first), t.delim, nil)) {
		return
	}
	below := splitCells(h.line(t.first+1), t.delim, nil)
	if !t.fits(below) || len(below) <= t.numeric[0] || len(below[t.numeric[0]].text) == 0 {
		return
	}
	t.first++
	t.rows--
	t.firstNumber = h.lines[t.first].number
}

// countsRow reports whether a row leaves the first of several columns of numbers empty
// and holds the same whole number in all others.
func (t *table) countsRow(cells []cell) bool {
	if len(t.numeric) < 2 || len(cells) <= t.numeric[len(t.numeric)-1] || len(cells[t.numeric[0]].text) > 0 {
		return false
	}
	for _, j := range t.numeric[1:] {
		if !allDigits(string(cells[j].text)) || string(cells[j].text) != string(cells[t.numeric[1]].text) {
			return false
		}
	}
	return true
}

// numericColumns gives the columns with numbers in four of five of the rows
// of the usual shape, and how many such rows were seen.
func (h *textHead) numericColumns(c candidate) (numeric []int, rows int) {
	var cells []cell
	count := make([]int, c.cells)
	for _, i := range h.sampleLines() {
		cells = splitCells(h.line(i), c.delim, cells)
		used, num := 0, 0
		for j, x := range cells {
			if len(x.text) > 0 {
				used = j + 1
				if readCell(x.text, c.decimal).numeric() {
					num++
				}
			}
		}
		if used != c.cells || num != c.numeric {
			continue
		}
		rows++
		for j := range c.cells {
			if readCell(cells[j].text, c.decimal).numeric() {
				count[j]++
			}
		}
	}
	if rows == 0 {
		return nil, 0
	}
	for j, k := range count {
		if 5*k >= 4*rows {
			numeric = append(numeric, j)
		}
	}
	return numeric, rows
}

// run is rows of the table without other text between them.
type run struct {
	first, rows int
	at, to      float64 // first numeric cell of the first and last row
	joined      bool    // the row behind the run looks like a damaged one
}

// pace is how far the first numeric cell moves from row to row.
func (r run) pace() float64 { return (r.to - r.at) / float64(max(1, r.rows-1)) }

// runs lists the runs in the head. Blank lines and remarks don't end one.
func (h *textHead) runs(t *table) []run {
	n := len(h.lines)
	if !h.eof && n > 1 {
		n--
	}
	var runs []run
	var cells []cell
	open := false
	for i := range n {
		line := h.line(i)
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		cells = splitCells(line, t.delim, cells)
		if t.fits(cells) {
			x := readCell(cells[min(t.numeric[0], len(cells)-1)].text, t.decimal).num.v
			if !open {
				runs = append(runs, run{first: i, at: x})
				open = true
			}
			r := &runs[len(runs)-1]
			r.rows++
			r.to = x
			continue
		}
		if open && damaged(line) {
			runs[len(runs)-1].joined = true
		}
		if open && isComment(line, t.delim) {
			continue
		}
		open = false
	}
	return runs
}

// firstRun picks the run with which the table begins; timed tells that the
// rows hold more than one number. Short runs ahead of the table are settings,
// unless the table goes on behind a damaged row or a line of text.
func firstRun(runs []run, timed bool) (run, bool) {
	longest, pace := longestRun(runs)
	need := min(leadRows+1, max(min(4, longest), longest/2))
	for i, r := range runs {
		// Another table, of another pace, is no part of this one.
		if own := r.pace(); r.rows < longest && timed && r.rows > 1 && pace != 0 && !(own/pace > 0.4 && own/pace < 2.5) {
			continue
		}
		goesOn := false
		if i+1 < len(runs) {
			next := runs[i+1]
			d := (next.at - r.to) / next.pace()
			goesOn = r.joined || timed && d > 0.5 && d < 4.5
		}
		if r.rows >= need || goesOn {
			return r, true
		}
	}
	return run{}, false
}

// longestRun gives the rows of the longest run, and the pace of the last as long.
func longestRun(runs []run) (rows int, pace float64) {
	for _, r := range runs {
		if r.rows >= rows {
			rows, pace = r.rows, r.pace()
		}
	}
	return rows, pace
}

// damaged reports whether a line that is no row begins like one.
func damaged(line []byte) bool {
	line = bytes.TrimLeft(line, " \t\"")
	return len(line) > 0 && (line[0]-'0' <= 9 || len(line) > 1 && bytes.IndexByte([]byte("+-."), line[0]) >= 0 && line[1]-'0' <= 9)
}

// fits reports whether a row holds a number, or a mark for a missing one, in
// every numeric column, and at least one true number.
func (t *table) fits(cells []cell) bool {
	if len(cells) <= t.numeric[len(t.numeric)-1] && len(cells) < len(t.numeric) {
		return false
	}
	nums, bare := 0, len(cells) > t.numeric[len(t.numeric)-1] // bare: a time and nothing else
	for k, j := range t.numeric {
		if j >= len(cells) {
			continue
		}
		v := readCell(cells[j].text, t.decimal)
		if !v.usable() {
			return false
		}
		bare = bare && (k == 0) == v.numeric() && (k == 0 || v.kind == cellEmpty)
		if v.numeric() {
			nums++
		}
	}
	// Cells beyond the table's width must be empty, numbers, or a remark.
	over := cells[min(len(cells), max(t.cells, t.numeric[len(t.numeric)-1]+1)):]
	for k, c := range over {
		if k == 0 && len(c.text) == 0 {
			break // settings at the right, apart by an empty cell
		}
		if len(c.text) > 0 && !readCell(c.text, t.decimal).numeric() && !(nums >= 2 && isRemark(over, t.delim)) {
			return false
		}
	}
	if t.setting(cells, nums) {
		return false
	}
	return nums > 0 && (2*nums >= len(t.numeric) || bare)
}

// isRemark reports whether the cells beyond a table's width are one that says something
// of its row, such as "trig" or "CLIP": words or a mark for over range, and neither a
// setting nor a unit.
func isRemark(over []cell, delim byte) bool {
	if len(over) == 0 || delim == ' ' || usedCells(over) != 1 {
		return false
	}
	switch readCell(over[0].text, '.').kind {
	case cellOver:
		return true
	case cellWords:
		return !over[0].keyOfSetting() && !isUnitWord(cellText(over[0].text))
	}
	return false
}

// setting reports whether a row with nums numbers is a setting and its values
// rather than samples: a word stands where the rows of the bulk begin with an
// empty cell. Settings beside samples stand further left.
func (t *table) setting(cells []cell, nums int) bool {
	j := t.numeric[0] - 1
	if !t.emptyLeft || j < 0 || j >= len(cells) || len(cells[j].text) == 0 || filled(cells[:j]) || readCell(cells[j].text, t.decimal).kind != cellWords {
		return false
	}
	key, _ := normKey(cellText(cells[j].text))
	return j == 0 || nums < len(t.numeric) || cells[j].keyOfSetting() || settingName.MatchString(key)
}

// findEmptyLeft notes whether the rows hold an empty cell ahead of their first
// number.
func (h *textHead) findEmptyLeft(t *table) {
	j := t.numeric[0] - 1
	if j < 0 || t.delim == ' ' {
		return
	}
	empty, rows := 0, 0
	var cells []cell
	for _, i := range h.sampleLines() {
		cells = splitCells(h.line(i), t.delim, cells)
		if len(cells) <= j+1 || !readCell(cells[j+1].text, t.decimal).numeric() {
			continue
		}
		rows++
		if len(cells[j].text) == 0 {
			empty++
		}
	}
	t.emptyLeft = 5*empty >= 4*rows && empty > 0
}

// words describes the table for people.
func (t *table) words(s *schema, enc encoding, header string) string {
	var b strings.Builder
	b.WriteString("CSV, " + delimName(t.delim))
	if t.decimal == ',' {
		b.WriteString(", decimal comma")
	}
	if enc != encUTF8 {
		b.WriteString(", " + enc.String())
	}
	switch {
	case s.time >= 0 && s.timeKind == unitIndex:
		b.WriteString(", sample number and ")
	case s.time >= 0:
		b.WriteString(", time and ")
	default:
		b.WriteString(", no time column, ")
	}
	b.WriteString(Plural(len(s.volts), "voltage column"))
	if len(s.raw) > 0 {
		fmt.Fprintf(&b, ", %s of raw codes left alone", Plural(len(s.raw), "column"))
	}
	b.WriteString(", " + header)
	return b.String()
}
