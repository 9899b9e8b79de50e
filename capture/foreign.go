package capture

import (
	"bytes"
	"fmt"
)

// foreignRows is how many rows cut otherwise than the table may stand ahead of
// it: a few are settings.
const foreignRows = 3

// checkAhead refuses a table ahead of which other rows of numbers stand that
// are cut otherwise: the delimiter or the decimal mark changes midway, and the
// first part would be lost.
func (h *textHead) checkAhead(name string, t *table) error {
	n, first := 0, 0
	for i := range t.first {
		line := h.line(i)
		if k := loneReturn(line); k >= 0 {
			return &ParseError{Path: name, Line: h.lines[i].number, Column: k + 1, Found: "a lone carriage return within a line that ends in a line feed", Expected: "one kind of line end", Fix: "save the record again, or make all line ends alike"}
		}
		if h.foreign(line, t) {
			if n++; n == 1 {
				first = i
			}
		}
	}
	if n <= foreignRows {
		return nil
	}
	return &ParseError{Path: name, Line: h.lines[t.first].number, Found: fmt.Sprintf("rows with delimiter %s and decimal mark %q after %d rows with others, from line %d", delimWord(t.delim), t.decimal, n, h.lines[first].number), Expected: "one delimiter and one decimal mark", Fix: "export the record again in one piece"}
}

// aheadRows is how many rows of numbers above the table are a record of their own, and
// no list of settings or calibration.
const aheadRows = 64

// sayAhead tells of a record above the table that is not read: another capture in the same
// file, whose rows are cut or spaced otherwise.
func (h *textHead) sayAhead(tab *table, t *Trace) {
	n, first := 0, 0
	var cells []cell
	for i := range tab.first {
		line := bytes.TrimSpace(h.line(i))
		if len(line) == 0 || isComment(line, tab.delim) {
			continue
		}
		cells = splitCells(line, tab.delim, cells)
		numbers, filled := 0, 0
		for _, c := range cells {
			if len(c.text) > 0 {
				filled++
				if readCell(c.text, tab.decimal).numeric() {
					numbers++
				}
			}
		}
		if numbers == filled && numbers >= min(2, len(tab.numeric)) {
			if n++; n == 1 {
				first = h.lines[i].number
			}
		}
	}
	if n >= aheadRows {
		t.caution(CautionSkipped, fmt.Sprintf("%d rows of numbers above line %d, which are no part of the table below them, were left out, first in line %d", n, tab.firstNumber, first), "save each capture in a file of its own")
	}
}

func delimWord(d byte) string {
	if d == 0 {
		return "line ends"
	}
	return delimName(d)
}

// loneReturn finds a carriage return with digits on both sides, which some
// programs take for a line end; -1 none.
func loneReturn(line []byte) int {
	for at := 0; ; {
		k := bytes.IndexByte(line[at:], '\r')
		if k < 0 {
			return -1
		}
		k += at
		if rest := bytes.TrimLeft(line[k:], "\r \t+-"); k > 0 && len(rest) > 0 && rest[0]-'0' <= 9 && line[k-1] != '\n' {
			return k
		}
		at = k + 1
	}
}

// foreign reports whether a line is a row of as many numbers as the table's, cut
// in another way.
func (h *textHead) foreign(line []byte, t *table) bool {
	line = bytes.TrimSpace(bytes.TrimPrefix(line, utf8Mark))
	if len(line) == 0 || line[0]-'0' > 9 && bytes.IndexByte([]byte("+-.,\""), line[0]) < 0 {
		return false
	}
	for _, d := range []byte{',', ';', '\t', '|', ' '} {
		for _, m := range []byte{'.', ','} {
			if d == m || d == t.delim && m == t.decimal {
				continue
			}
			cells := splitCells(line, d, nil)
			for len(cells) > 0 && len(cells[len(cells)-1].text) == 0 {
				cells = cells[:len(cells)-1]
			}
			nums := 0
			for _, c := range cells {
				if readCell(c.text, m).numeric() {
					nums++
				}
			}
			if nums == len(cells) && nums == len(t.numeric) && !t.fits(splitCells(line, t.delim, nil)) {
				return true
			}
		}
	}
	return false
}

// utf8Mark is the byte order mark, which joined files may hold anywhere.
var utf8Mark = []byte("\xef\xbb\xbf")

// markRows is how many of the first rows are looked at for a decimal mark.
const markRows = 64

// lostPrefix is a unit with a blank ahead of it alone, in the place of a letter that an
// encoding had no room for: "( s)" was "(µs)".
var lostPrefix = newPattern(`[(\[{<]\s+([sV])[)\]}>]\s*$`)

// refuseLostPrefix refuses columns whose unit may have lost its prefix, unless it is given.
func (im *importer) refuseLostPrefix(h *textHead, hd *header) error {
	for _, r := range hd.rows {
		for _, j := range []int{im.sc.time, im.sc.volts[im.ch]} {
			if j < 0 || j >= len(r.cells) || j == im.sc.time && (im.opt.TimeUnit != "" || im.opt.RateHz > 0) || j != im.sc.time && (im.opt.VoltUnit != "" || im.opt.Scale != 0) {
				continue
			}
			if m := lostPrefix.FindSubmatch(r.cells[j].text); m != nil {
				option := "--volt-unit"
				if j == im.sc.time {
					option = "--time-unit"
				}
				return &ParseError{Path: im.src.name, Line: h.lines[r.line].number, Column: j + 1, Found: fmt.Sprintf("%q, whose unit may have lost its first letter, as of µ%s", cellText(r.cells[j].text), m[1]), Expected: fmt.Sprintf("a unit such as %s, m%s or u%s", m[1], m[1], m[1]), Fix: "give " + option}
			}
		}
	}
	return nil
}

// doubtfulMark is a decimal mark that may be a thousands mark instead: all numbers that
// hold one have three digits behind it.
type doubtfulMark struct {
	text   map[int]string // of the first such number of a column
	line   map[int]int
	usual  bool // the mark is a point, for decimals in most files
	called string
}

// doubtMark looks for a doubtful mark; nil where a number shows that it marks decimals.
func (h *textHead) doubtMark(t *table) *doubtfulMark {
	d := &doubtfulMark{text: map[int]string{}, line: map[int]int{}, called: "comma"}
	if t.decimal == '.' {
		d.called, d.usual = "point", true
	}
	// The first rows often begin with 0, which no thousands mark follows.
	rows := h.sampleLines()
	for i := t.first; i < min(t.first+markRows, len(h.lines)); i++ {
		rows = append(rows, i)
	}
	for _, i := range rows {
		if i < t.first {
			continue
		}
		cells := splitCells(h.line(i), t.delim, nil)
		for _, j := range t.numeric {
			if j >= len(cells) {
				continue
			}
			whole, frac, ok := bytes.Cut(cells[j].text, []byte{t.decimal})
			if !ok {
				continue
			}
			whole = bytes.TrimLeft(whole, "+-")
			if len(frac) != 3 || !allDigits(string(frac)) || len(whole) == 0 || len(whole) > 3 || whole[0] == '0' {
				return nil // only a decimal mark stands so
			}
			if d.text[j] == "" {
				d.text[j], d.line[j] = cellText(cells[j].text), h.lines[i].number
			}
		}
	}
	return d
}

// checkMark refuses numbers whose mark may be for decimals or for thousands. Volts in
// thousands are none of a supply, millivolts are; a point is for decimals but in
// millivolts between semicolons, as spreadsheets of some countries write them.
func (im *importer) checkMark(v *voltScale) error {
	d := im.tab.doubt
	if d == nil {
		return nil
	}
	for _, j := range []int{im.sc.time, im.sc.volts[im.ch]} {
		small := j != im.sc.time && im.unitStated && v.unitFactor < 1
		large := j != im.sc.time && im.unitStated && v.unitFactor >= 1
		if d.text[j] == "" || d.usual && !small || large {
			continue
		}
		return &ParseError{Path: im.src.name, Line: d.line[j], Column: j + 1, Found: fmt.Sprintf("%q, whose %s may mark decimals or thousands", d.text[j], d.called), Expected: "one meaning for the " + d.called, Fix: fmt.Sprintf("give --decimal %s, or export without thousands separators", d.called)}
	}
	return nil
}
