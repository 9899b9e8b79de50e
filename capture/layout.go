package capture

import (
	"bytes"
	"fmt"
	"sort"
	"strings"
)

// table is where the rows of numbers stand in a text file.
type table struct {
	delim, decimal byte
	cells          int   // cells in a row of the bulk
	numeric        []int // columns that hold numbers
	first          int   // index of the first row's line in the head
	firstNumber    int   // its line number, from 1
	rows           int   // rows of the first run seen in the head
}

// delimName is for messages and the layout's words.
func delimName(d byte) string {
	switch d {
	case ',':
		return "comma"
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	case '|':
		return "bar"
	case ' ':
		return "spaces"
	}
	return "one column"
}

// sampleLines picks up to about 160 lines spread over the head: the table is
// the bulk of any capture, whatever stands above it.
func (h *textHead) sampleLines() []int {
	n := len(h.lines)
	if !h.eof && n > 1 {
		n--
	}
	var pick []int
	if n <= 160 {
		for i := range n {
			pick = append(pick, i)
		}
	} else {
		for _, at := range []int{n / 4, n / 2, 3 * n / 4, n - 40} {
			for i := at; i < min(at+40, n); i++ {
				pick = append(pick, i)
			}
		}
	}
	var kept []int
	for _, i := range pick {
		if l := h.line(i); len(bytes.TrimSpace(l)) > 0 {
			kept = append(kept, i)
		}
	}
	return kept
}

// candidate is one way to cut the rows, and how well it fits.
type candidate struct {
	delim, decimal byte
	score          float64
	cells          int // of the most usual row
	numeric        int // numeric cells in it
}

// findTable finds delimiter, decimal mark, the numeric columns and where the
// table begins.
func findTable(name string, h *textHead, opt Options) (*table, error) {
	delims := []byte{',', ';', '\t', '|', ' '}
	if opt.Delimiter != "" {
		switch opt.Delimiter {
		case "tab":
			delims = []byte{'\t'}
		case "space":
			delims = []byte{' '}
		default:
			delims = []byte{opt.Delimiter[0]}
		}
	}
	decimals := []byte{'.', ','}
	if opt.DecimalMark != "" {
		decimals = []byte{opt.DecimalMark[0]}
	}
	lines := h.sampleLines()
	for _, i := range lines {
		if n := bytes.Count(h.line(i), []byte{','}) + bytes.Count(h.line(i), []byte{';'}) + bytes.Count(h.line(i), []byte{'\t'}); n > 2*maxCells || len(h.line(i)) > 1<<16 && len(bytes.Fields(h.line(i))) > maxCells {
			return nil, &ParseError{Path: name, Line: h.lines[i].number, Found: fmt.Sprintf("a row of more than %d cells", maxCells), Expected: "one sample per row", Fix: "exchange rows and columns"}
		}
	}
	var cands []candidate
	for _, d := range delims {
		for _, m := range decimals {
			cands = append(cands, h.judge(lines, d, m))
		}
	}
	sort.SliceStable(cands, func(i, j int) bool {
		a, b := cands[i], cands[j]
		if diff := a.score - b.score; diff > 1e-9 || diff < -1e-9 {
			return diff > 0
		}
		return a.numeric > b.numeric
	})
	var suspicious string
	for _, c := range cands {
		if c.score == 0 {
			break
		}
		if c.delim == ',' && opt.Delimiter == "" && opt.DecimalMark == "" {
			if text := h.fractionCells(lines, c); text != "" {
				suspicious = text
				continue
			}
		}
		if suspicious != "" && c.cells > 1 && c.delim == ',' {
			continue
		}
		return h.locate(name, c)
	}
	if suspicious != "" {
		return nil, &ParseError{Path: name, Line: h.lines[lines[len(lines)-1]].number, Found: fmt.Sprintf("cells such as %q that look like the digits behind a decimal comma, in rows cut at commas", suspicious), Expected: "one meaning for the comma", Fix: "export with semicolons or decimal points, or give --delimiter and --decimal"}
	}
	return nil, noTable(name, h)
}

// noTable says that the file holds no table of numbers.
func noTable(name string, h *textHead) error {
	line, found := 1, "text without a table of numbers"
	for i := range h.lines {
		if l := bytes.TrimSpace(h.line(i)); len(l) > 0 {
			line, found = h.lines[i].number, fmt.Sprintf("text without a table of numbers, beginning with %q", short(cellText(l)))
			break
		}
	}
	return &ParseError{Path: name, Line: line, Column: 1, Found: found, Expected: "rows of numbers such as 0.001,0.52", Fix: "export the capture as CSV with time and volts columns"}
}

// short cuts a text for a message.
func short(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}

// judge scores one way of cutting: the share of numbers among the filled
// cells, summed over the lines of the most usual shape.
func (h *textHead) judge(lines []int, delim, decimal byte) candidate {
	type shape struct{ cells, numeric int }
	score := map[shape]float64{}
	var cells []cell
	for _, i := range lines {
		cells = splitCells(h.line(i), delim, cells)
		n, filled, last := 0, 0, 0
		for j, c := range cells {
			if len(c.text) == 0 {
				continue
			}
			filled++
			last = j + 1
			if v := readCell(c.text, decimal); v.numeric() {
				n++
			}
		}
		if n > 0 && 3*n >= filled {
			score[shape{last, n}] += float64(n) / float64(filled)
		}
	}
	best := candidate{delim: delim, decimal: decimal}
	for s, v := range score {
		if v > best.score+1e-9 || v > best.score-1e-9 && s.numeric > best.numeric {
			best.score, best.cells, best.numeric = v, s.cells, s.numeric
		}
	}
	return best
}

// fractionCells looks for whole columns of unquoted digits with leading
// zeros, of one width: what a decimal comma leaves when cut at commas.
func (h *textHead) fractionCells(lines []int, c candidate) string {
	if c.cells < 2 {
		return ""
	}
	type seen struct {
		n, lead, other int
		text           string
	}
	cols := make([]seen, c.cells)
	var cells []cell
	for _, i := range lines {
		cells = splitCells(h.line(i), c.delim, cells)
		if len(cells) < c.cells || readCell(cells[0].text, c.decimal).kind == cellWords {
			continue
		}
		for j := range c.cells {
			t := cells[j].text
			s := &cols[j]
			s.n++
			// The last may carry an exponent: 0,123E-05.
			digits := t
			if k := bytes.IndexAny(t, "eE"); k > 0 {
				digits = t[:k]
			}
			switch {
			case cells[j].quoted || !allDigits(string(digits)):
				s.other++
			case len(digits) > 1 && digits[0] == '0':
				s.lead++
				s.text = string(t)
			}
		}
	}
	for j := 1; j < len(cols); j++ {
		s, before := cols[j], cols[j-1]
		if s.n >= 2 && s.other == 0 && s.lead > 0 && before.n == s.n {
			return s.text
		}
	}
	return ""
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
	n := len(h.lines)
	if !h.eof && n > 1 {
		n--
	}
	// Columns with numbers in four of five rows of the usual shape.
	var cells []cell
	count := make([]int, c.cells)
	rows := 0
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
	for j, k := range count {
		if 5*k >= 4*rows {
			t.numeric = append(t.numeric, j)
		}
	}
	if rows == 0 || len(t.numeric) == 0 {
		return nil, noTable(name, h)
	}
	if len(t.numeric) > maxColumns && rows <= 4 {
		return nil, &ParseError{Path: name, Line: h.lines[0].number, Found: fmt.Sprintf("rows of %d numbers", len(t.numeric)), Expected: "one sample per row", Fix: "exchange rows and columns"}
	}
	// Runs of rows; blank lines and remarks don't end one.
	type run struct {
		first, rows int
		at, to      float64 // first numeric cell of the first and last row
		joined      bool    // the row behind the run looks like a damaged one
	}
	var runs []run
	open := false
	longest := 0
	for i := range n {
		line := h.line(i)
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		cells = splitCells(line, c.delim, cells)
		if t.fits(cells) {
			x := readCell(cells[min(t.numeric[0], len(cells)-1)].text, t.decimal).num.v
			if !open {
				runs = append(runs, run{first: i, at: x})
				open = true
			}
			r := &runs[len(runs)-1]
			r.rows++
			r.to = x
			longest = max(longest, r.rows)
			continue
		}
		if open && damaged(line) {
			runs[len(runs)-1].joined = true
		}
		if open && isComment(line, c.delim) {
			continue
		}
		open = false
	}
	// Short runs ahead of the table are settings, unless the table goes on
	// behind a damaged row or a line of text.
	need := min(leadRows+1, max(min(4, longest), longest/2))
	pace := 0.0
	for _, r := range runs {
		if r.rows == longest {
			pace = (r.to - r.at) / float64(max(1, r.rows-1))
		}
	}
	for i, r := range runs {
		// Another table, of another pace, is no part of this one.
		if own := (r.to - r.at) / float64(max(1, r.rows-1)); r.rows < longest && len(t.numeric) > 1 && r.rows > 1 && pace != 0 && !(own/pace > 0.4 && own/pace < 2.5) {
			continue
		}
		goesOn := false
		if i+1 < len(runs) {
			next := runs[i+1]
			step := (next.to - next.at) / float64(max(1, next.rows-1))
			d := (next.at - r.to) / step
			goesOn = r.joined || len(t.numeric) > 1 && d > 0.5 && d < 4.5
		}
		if r.rows >= need || goesOn {
			t.first, t.rows, t.firstNumber = r.first, r.rows, h.lines[r.first].number
			return t, nil
		}
	}
	return nil, noTable(name, h)
}

// damaged tells whether a line that is no row begins like one.
func damaged(line []byte) bool {
	line = bytes.TrimLeft(line, " \t\"")
	return len(line) > 0 && (line[0]-'0' <= 9 || len(line) > 1 && bytes.IndexByte([]byte("+-."), line[0]) >= 0 && line[1]-'0' <= 9)
}

// fits tells whether a row holds a number, or a mark for a missing one, in
// every numeric column, and at least one true number.
func (t *table) fits(cells []cell) bool {
	if len(cells) <= t.numeric[len(t.numeric)-1] && len(cells) < len(t.numeric) {
		return false
	}
	nums := 0
	for _, j := range t.numeric {
		if j >= len(cells) {
			continue
		}
		v := readCell(cells[j].text, t.decimal)
		if !v.usable() {
			return false
		}
		if v.numeric() {
			nums++
		}
	}
	// Cells beyond the table's width must be empty.
	for k, c := range cells[min(len(cells), max(t.cells, t.numeric[len(t.numeric)-1]+1)):] {
		if k == 0 && len(c.text) == 0 {
			break // settings at the right, apart by an empty cell
		}
		if len(c.text) > 0 && !readCell(c.text, t.decimal).numeric() {
			return false
		}
	}
	return nums > 0 && 2*nums >= len(t.numeric)
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
	fmt.Fprintf(&b, "%d volts column%s", len(s.volts), plural(len(s.volts)))
	if len(s.raw) > 0 {
		fmt.Fprintf(&b, ", %d column%s of raw codes left alone", len(s.raw), plural(len(s.raw)))
	}
	b.WriteString(", " + header)
	return b.String()
}
