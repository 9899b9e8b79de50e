package capture

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
)

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
	return h.withFullRows(kept, n)
}

// fullRows is how many of the rows that hold more than a time are looked at where
// most hold a time alone.
const fullRows = 80

// withFullRows adds to the sampled lines, where half of them hold one cell and
// empty ones behind it, the first of the n lines that hold more: a screen wider
// than the memory may leave most rows without volts.
func (h *textHead) withFullRows(sampled []int, n int) []int {
	bare, seen := 0, map[int]bool{}
	for _, i := range sampled {
		seen[i] = true
		if h.oneCell(i) {
			bare++
		}
	}
	if 2*bare < len(sampled) {
		return sampled
	}
	added := 0
	for i := 0; i < n && added < fullRows; i++ {
		if !seen[i] && damaged(h.line(i)) && !h.oneCell(i) {
			sampled = append(sampled, i)
			added++
		}
	}
	slices.Sort(sampled)
	return sampled
}

// timesAlone reports whether a table of one column may be the times of one with volts
// further down: most of its rows hold one cell and empty ones behind it.
func (h *textHead) timesAlone(t *table) bool {
	if len(t.numeric) > 1 {
		return false
	}
	lines, bare := h.sampleLines(), 0
	for _, i := range lines {
		if h.oneCell(i) {
			bare++
		}
	}
	return 2*bare >= len(lines)
}

// oneCell reports whether a line holds one cell and only empty ones behind it.
func (h *textHead) oneCell(i int) bool {
	line := bytes.TrimRight(h.line(i), " \r\"")
	full := bytes.TrimRight(line, " ,;\t|\"")
	return len(full) > 0 && len(full) < len(line) && bytes.IndexByte(full, line[len(line)-1]) < 0
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
	lines := h.sampleLines()
	if err := h.tooWide(name, lines); err != nil {
		return nil, err
	}
	var suspicious string
	for _, c := range h.candidates(lines, opt) {
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
		if c.delim == ',' && opt.Delimiter == "" && opt.DecimalMark == "" && h.oneNameOverFractions(c) {
			continue
		}
		t, err := h.locate(name, c)
		if err == nil {
			err = h.checkAhead(name, t)
		}
		if err == nil && (t.decimal == ',' || t.delim == ';') && opt.DecimalMark == "" {
			t.doubt = h.doubtMark(t)
		}
		return t, err
	}
	if suspicious != "" {
		return nil, &ParseError{Path: name, Line: h.lines[lines[len(lines)-1]].number, Found: fmt.Sprintf("cells such as %q that look like the digits after a decimal comma, in rows split at commas", suspicious), Expected: "one meaning for the comma", Fix: "export with semicolons or decimal points, or give --delimiter and --decimal"}
	}
	return nil, noTable(name, h)
}

// tooWide refuses rows of more cells than a table of samples has.
func (h *textHead) tooWide(name string, lines []int) error {
	for _, i := range lines {
		line := h.line(i)
		n := bytes.Count(line, []byte{','}) + bytes.Count(line, []byte{';'}) + bytes.Count(line, []byte{'\t'})
		if n > 2*maxCells || len(line) > 1<<16 && len(bytes.Fields(line)) > maxCells {
			return &ParseError{Path: name, Line: h.lines[i].number, Found: fmt.Sprintf("a row of more than %d cells", maxCells), Expected: "one sample per row", Fix: "swap rows and columns"}
		}
	}
	return nil
}

// candidates judges every delimiter with every decimal mark that the options
// leave, the best first.
func (h *textHead) candidates(lines []int, opt Options) []candidate {
	delims, decimals := []byte{',', ';', '\t', '|', ' '}, []byte{'.', ','}
	switch opt.Delimiter {
	case "":
	case "tab":
		delims = []byte{'\t'}
	case "space":
		delims = []byte{' '}
	default:
		delims = []byte{opt.Delimiter[0]}
	}
	if opt.DecimalMark != "" {
		decimals = []byte{opt.DecimalMark[0]}
	}
	var cands []candidate
	uncut := map[byte]candidate{} // rows whole, by decimal mark
	for _, d := range delims {
		// blanks are no such delimiter: rows are trimmed otherwise
		nowhere := d != ' ' && !slices.ContainsFunc(lines, func(i int) bool { return bytes.IndexByte(h.line(i), d) >= 0 })
		for _, m := range decimals {
			c, done := uncut[m]
			if !nowhere || !done {
				c = h.judge(lines, d, m)
			}
			if nowhere {
				uncut[m] = c
			}
			c.delim = d
			cands = append(cands, c)
		}
	}
	slices.SortStableFunc(cands, func(a, b candidate) int {
		if diff := a.score - b.score; diff > 1e-9 || diff < -1e-9 {
			return cmp.Compare(b.score, a.score)
		}
		return cmp.Compare(b.numeric, a.numeric)
	})
	return cands
}

// noTable says that the file holds no table of numbers.
func noTable(name string, h *textHead) error {
	line, found, fix := 1, "text without a table of numbers", "export the capture as CSV with a time and a voltage column"
	for i := range h.lines {
		if l := bytes.TrimSpace(h.line(i)); len(l) > 0 {
			line, found = h.lines[i].number, fmt.Sprintf("text without a table of numbers, beginning with %q", short(cellText(l)))
			if wholeInQuotes.Match(h.line(len(h.lines) / 2)) {
				fix = "take the quotes off the lines, which a spreadsheet has put into one cell each"
			}
			break
		}
	}
	return &ParseError{Path: name, Line: line, Column: 1, Found: found, Expected: "rows of numbers such as 0.001,0.52", Fix: fix}
}

// wholeInQuotes is a line of several numbers in quotes as one cell.
var wholeInQuotes = newPattern(`^ *"[-+0-9.eE]+[,;\t][-+0-9.,;eE\t ]*"[,;\t ]*$`)

// short cuts a text for a message.
func short(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}

// timeOnlyBeside is how many of the sampled rows must hold volts for rows of a time alone
// to be of their table.
const timeOnlyBeside = 4

// rowOutline is how many of a row's cells reach to the last filled one, and how many of
// them are numbers.
type rowOutline struct{ cells, numeric int }

// outlineOf is the outline of one row, and how many of its cells hold anything.
func outlineOf(row []cell, decimal byte) (o rowOutline, filled int) {
	for j, c := range row {
		if len(c.text) == 0 {
			continue
		}
		filled++
		o.cells = j + 1
		if readCell(c.text, decimal).numeric() {
			o.numeric++
		}
	}
	return o, filled
}

// judge scores one way of cutting: the share of numbers among the filled
// cells, summed over the lines of the most usual outline.
func (h *textHead) judge(lines []int, delim, decimal byte) candidate {
	score := map[rowOutline]float64{}
	rows := map[rowOutline]int{}
	timeOnly := map[int]int{} // rows of one number and empty cells behind it, by their cells
	var cells []cell
	for _, i := range lines {
		cells = splitCells(h.line(i), delim, cells)
		o, filled := outlineOf(cells, decimal)
		if o.numeric == 1 && filled == 1 && o.cells < len(cells) {
			timeOnly[len(cells)]++
		}
		if o.numeric > 0 && 3*o.numeric >= filled {
			score[o] += float64(o.numeric) / float64(filled)
			rows[o]++
		}
	}
	// Where the screen was wider than the memory, most rows may hold a time alone:
	// they are of the outline of those that hold volts too.
	for cells, more := range timeOnly {
		if o := usualWithVolts(rows, cells); o.cells > 0 {
			score[o] += float64(more)
			score[rowOutline{1, 1}] -= float64(more)
		}
	}
	best := candidate{delim: delim, decimal: decimal}
	for _, o := range mostNumbersFirst(score) {
		if v := score[o]; v > best.score+1e-9 {
			best.score, best.cells, best.numeric = v, o.cells, o.numeric
		}
	}
	return best
}

// usualWithVolts is the most usual outline of rows that hold more than a time, in no
// more than so many cells; the zero outline where there are too few.
func usualWithVolts(rows map[rowOutline]int, cells int) (usual rowOutline) {
	for _, o := range mostNumbersFirst(rows) {
		if n := rows[o]; n >= timeOnlyBeside && o.numeric > 1 && o.cells <= cells && n > rows[usual] {
			usual = o
		}
	}
	return usual
}

// mostNumbersFirst is the outlines in the order in which the first of equals is taken:
// those of more numbers, then the wider, which takes rows of fewer cells too. A map's own
// order changes from run to run.
func mostNumbersFirst[V any](of map[rowOutline]V) []rowOutline {
	return slices.SortedFunc(maps.Keys(of), func(a, b rowOutline) int {
		return cmp.Or(cmp.Compare(b.numeric, a.numeric), cmp.Compare(b.cells, a.cells))
	})
}

// oneNameOverFractions tells a column of numbers with decimal commas below its name from two
// columns cut at commas: the line above names one, and every row is a whole number and as
// many digits behind a comma.
func (h *textHead) oneNameOverFractions(c candidate) bool {
	if c.cells != 2 || c.numeric != 2 {
		return false
	}
	width, rows, name := 0, 0, ""
	for i := range h.lines {
		line := bytes.TrimSpace(h.line(i))
		whole, frac, ok := bytes.Cut(line, []byte{','})
		switch fits := ok && allDigits(string(bytes.TrimLeft(whole, "+-"))) && allDigits(string(frac)); {
		case fits && rows == 0:
			width, rows = len(frac), 1
		case fits && len(frac) == width:
			rows++
		case rows > 0 && !(i == len(h.lines)-1 && !h.eof):
			return false
		case rows == 0 && len(line) > 0:
			name = cellText(line)
		}
	}
	if rows < minSamples || strings.ContainsAny(name, ",;\t|") {
		return false
	}
	_, text, hasUnit := splitNameUnit(name)
	u, _ := parseUnit(text)
	return hasUnit && u.kind == unitVolt || voltName.MatchString(name) || channelLike(name)
}

// fractionCells looks for whole columns of unquoted digits with leading
// zeros, of one width: what a decimal comma leaves when cut at commas.
func (h *textHead) fractionCells(lines []int, c candidate) string {
	if c.cells < 2 {
		return ""
	}
	type seen struct {
		n, lead, other int
		clocks         bool
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
			s.clocks = s.clocks || readCell(t, c.decimal).kind == cellClock
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
		if s.n >= 2 && s.other == 0 && s.lead > 0 && before.n == s.n && !before.clocks {
			return s.text
		}
	}
	return ""
}
