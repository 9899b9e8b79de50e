package capture

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// cell is one trimmed cell of a row.
type cell struct {
	text   []byte
	quoted bool
}

// formulaMark begins a cell that a spreadsheet is to take for text: ="0.1".
var formulaMark = []byte(`="`)

// splitCells cuts a row at delim (RFC 4180 quoting; ' ' stands for any run of
// blanks and tabs; 0 for no delimiter) into dst. Trailing empty cells stay.
func splitCells(line []byte, delim byte, dst []cell) []cell {
	dst = dst[:0]
	if delim == 0 {
		return append(dst, trimCell(line))
	}
	if delim == ' ' {
		for {
			line = bytes.TrimLeft(line, " \t")
			if len(line) == 0 {
				return dst
			}
			if bytes.HasPrefix(line, formulaMark) {
				line = line[1:]
			}
			if line[0] == '"' {
				c, n := quotedCell(line)
				dst = append(dst, c)
				line = line[n:]
				continue
			}
			n := bytes.IndexAny(line, " \t")
			if n < 0 {
				n = len(line)
			}
			dst = append(dst, cell{text: line[:n]})
			line = line[n:]
		}
	}
	for {
		rest := bytes.TrimLeft(line, " ")
		if bytes.HasPrefix(rest, formulaMark) {
			rest = rest[1:]
		}
		if len(rest) > 0 && rest[0] == '"' {
			c, n := quotedCell(rest)
			dst = append(dst, c)
			line = rest[n:]
			if i := bytes.IndexByte(line, delim); i >= 0 {
				line = line[i+1:]
				continue
			}
			return dst
		}
		i := bytes.IndexByte(line, delim)
		if i < 0 {
			return append(dst, trimCell(line))
		}
		dst = append(dst, trimCell(line[:i]))
		line = line[i+1:]
	}
}

func trimCell(b []byte) cell {
	b = bytes.TrimSpace(b)
	if bytes.HasPrefix(b, formulaMark) {
		b = b[1:]
	}
	if len(b) >= 2 && b[0] == '"' && b[len(b)-1] == '"' {
		return cell{text: bytes.TrimSpace(b[1 : len(b)-1]), quoted: true}
	}
	return cell{text: b}
}

// quotedCell reads a cell that begins with a quote; n bytes belong to it.
func quotedCell(b []byte) (cell, int) {
	escaped := false
	for i := 1; i < len(b); i++ {
		if b[i] != '"' {
			continue
		}
		if i+1 < len(b) && b[i+1] == '"' {
			escaped = true
			i++
			continue
		}
		t := b[1:i]
		if escaped {
			t = bytes.ReplaceAll(t, []byte(`""`), []byte(`"`))
			if bytes.HasPrefix(t, formulaMark) {
				return cell{text: trimCell(t).text, quoted: true}, i + 1
			}
		}
		return cell{text: bytes.TrimSpace(t), quoted: true}, i + 1
	}
	return cell{text: bytes.TrimSpace(b[1:]), quoted: true}, len(b)
}

// cellKind tells what a cell holds.
type cellKind uint8

const (
	cellWords    cellKind = iota
	cellEmpty             // nothing: a missing value
	cellNumber            // a plain number
	cellQuantity          // a number with a unit or an SI prefix behind it
	cellClock             // a time of day, with or without a date
	cellMissing           // NaN and its like
	cellOver              // an overrange mark
)

// value is a cell as read.
type value struct {
	kind  cellKind
	num   number
	unit  string // of a cellQuantity, as written
	scale float64
}

func (v value) numeric() bool {
	return v.kind == cellNumber || v.kind == cellQuantity || v.kind == cellClock
}

// usable reports whether the cell may stand in a column of numbers.
func (v value) usable() bool { return v.kind != cellWords }

// scpiOver is the smallest magnitude that IEEE 488.2 instruments send for
// "over range" (9.9E37) and "not a number" (9.91E37).
const scpiOver = 9.899e37

var missingWords = map[string]bool{
	"nan": true, "-nan": true, "+nan": true, "nan(ind)": true, "-nan(ind)": true, "na": true, "n/a": true, "#n/a": true, "null": true, "none": true, "nil": true,
	"?": true, "#num!": true, "#value!": true, "#div/0!": true, "#ref!": true, "1.#ind": true, "-1.#ind": true, "1.#qnan": true, "-1.#qnan": true, "1.#snan": true, "1.#ind00": true, "-1.#ind00": true, "1.#qnan0": true,
	"invalid": true, "missing": true, "no data": true, "err": true, "error": true, "bad": true, "void": true, "blank": true, "x": true, "undef": true, "undefined": true,
}

var overWords = map[string]bool{
	"inf": true, "+inf": true, "-inf": true, "infinity": true, "+infinity": true, "-infinity": true, "∞": true, "+∞": true, "-∞": true,
	"1.#inf": true, "-1.#inf": true, "1.#inf00": true, "-1.#inf00": true,
	"over": true, "+over": true, "-over": true, "overrange": true, "over range": true, "over-range": true, "over_range": true, "overflow": true, "ovf": true, "ovr": true, "ovrng": true, "ofl": true, "+ofl": true, "-ofl": true, "ol": true, "+ol": true, "-ol": true, "o.l": true, "o.l.": true, "overload": true, "ovl": true, "+ovl": true, "-ovl": true, "ovld": true,
	"clip": true, "clipped": true, "clipping": true, "saturated": true, "sat": true, "out of range": true, "out_of_range": true, "oor": true,
	"under": true, "underrange": true, "under range": true, "under-range": true, "underflow": true, "udr": true, "udf": true, ">max": true, "<min": true, "off scale": true, "offscale": true,
}

// scpiNaN is what IEEE 488.2 instruments send for "not a number".
const scpiNaN = 9.91e37

// hugeCell is a number that stands for over range or for none.
func hugeCell(n number) value {
	if math.Abs(n.v) >= 0.9999*scpiNaN && math.Abs(n.v) <= 1.0001*scpiNaN {
		return value{kind: cellMissing}
	}
	return overCell(math.Inf(int(math.Copysign(1, n.v))))
}

// overCell is a sample over range; end is how it stands among the volts.
func overCell(end float64) value { return value{kind: cellOver, num: number{v: end}} }

// isOver tells a token for over range: a word, with a sign at either end, stars,
// or a bound such as ">10.0".
func isOver(low string) bool {
	if overWords[low] || len(low) > 1 && (overWords[strings.TrimRight(low, "+- ")] || strings.Trim(low, "*") == "") {
		return true
	}
	bound := strings.TrimSpace(strings.TrimLeft(low, "<>≤≥="))
	return bound != low && numberPrefix(bound, '.') > 0 && strings.Trim(bound, "0123456789.,e+- muvµμ") == ""
}

// overEnd tells at which end a token for over range is.
func overEnd(low string) float64 {
	switch {
	case strings.HasPrefix(low, "-"), strings.HasSuffix(low, "-"), strings.HasPrefix(low, "<"), strings.HasPrefix(low, "≤"), strings.HasPrefix(low, "under"), strings.HasPrefix(low, "ud"):
		return math.Inf(-1)
	case strings.HasPrefix(low, "+"), strings.HasSuffix(low, "+"), strings.HasPrefix(low, ">"), strings.HasPrefix(low, "≥"), strings.Contains(low, "inf"), strings.Contains(low, "∞"):
		return math.Inf(1)
	}
	return overAnyEnd
}

// readCell finds out what a cell holds.
func readCell(t []byte, decimal byte) value {
	if len(t) == 0 {
		return value{kind: cellEmpty}
	}
	if n, end := scanNumber(t, decimal); end == len(t) {
		if math.Abs(n.v) >= scpiOver {
			return hugeCell(n)
		}
		return value{kind: cellNumber, num: n, scale: 1}
	}
	if len(t) > 64 {
		return value{kind: cellWords}
	}
	return readOddCell(cellText(t), decimal)
}

// readOddCell reads what is no plain number.
func readOddCell(s string, decimal byte) value {
	// of the tokens that begin with a digit all have such a sign: 1.#INF
	if s == "" || s[0]-'0' > 9 || strings.IndexByte(s, '#') >= 0 {
		if v, ok := readToken(strings.ToLower(strings.TrimSpace(s))); ok {
			return v
		}
	}
	s = foldSigns(s)
	if numberPrefix(strings.TrimLeft(s, "+- "), decimal) == 0 {
		return value{kind: cellWords}
	}
	if strings.IndexByte(s, ':') >= 0 {
		if v, ok := readClock(s); ok {
			return v
		}
	}
	if t, ok := ungroup(s, decimal); ok {
		s = t
	}
	s = usualForm(strings.TrimSpace(s), decimal)
	n, end := scanNumber([]byte(s), decimal)
	switch {
	case end == 0:
		return value{kind: cellWords}
	case math.Abs(n.v) >= scpiOver:
		return hugeCell(n)
	case end == len(s):
		return value{kind: cellNumber, num: n, scale: 1}
	}
	return quantityCell(n, strings.TrimSpace(s[end:]))
}

// readToken reads what stands in place of a number: dashes, words for a missing
// value or for one over range.
func readToken(low string) (v value, ok bool) {
	switch {
	case strings.Trim(low, "-−–—") == "":
		return overCell(overMaybe), true
	case missingWords[low], strings.Trim(low, "-.") == "", strings.Trim(low, "#") == "" && low != "#":
		return value{kind: cellMissing}, true
	case isOver(low):
		return overCell(overEnd(low)), true
	}
	return value{}, false
}

// usualForm writes a Fortran exponent (0.123D-04) and a sign apart from its
// number as scanNumber reads them. A hexadecimal code has no decimal mark.
func usualForm(s string, decimal byte) string {
	if i := strings.IndexAny(s, "dD"); i > 0 && i+1 < len(s) && strings.IndexByte("+-0123456789", s[i+1]) >= 0 && strings.IndexByte(s[:i], decimal) >= 0 {
		s = s[:i] + "e" + s[i+1:]
	}
	if len(s) > 2 && (s[0] == '-' || s[0] == '+') && s[1] == ' ' {
		s = s[:1] + strings.TrimLeft(s[1:], " ")
	}
	return s
}

// quantityCell is a number with rest behind it, which must be a prefix or a unit.
func quantityCell(n number, rest string) value {
	if rest != "" && strings.IndexByte(",.;|", rest[0]) >= 0 {
		return value{kind: cellWords} // no unit begins so: most often a row cut elsewhere
	}
	if f, ok := siPrefix[rest]; ok && len(rest) == 1 {
		return value{kind: cellQuantity, num: n, unit: rest, scale: f}
	}
	u, ok := parseUnit(rest)
	if !ok {
		return value{kind: cellWords}
	}
	switch u.kind {
	case unitSecond, unitVolt, unitAmpere, unitHertz, unitDiv, unitCount:
		return value{kind: cellQuantity, num: n, unit: rest, scale: u.factor}
	}
	return value{kind: cellWords}
}

// ungroup takes thousands separators out where the groups are whole and the
// number also shows its decimal mark or a second group: 1,234 alone may be
// either.
func ungroup(s string, decimal byte) (string, bool) {
	body := strings.TrimLeft(s, "+-")
	sign := s[:len(s)-len(body)]
	whole, frac, hasFrac := strings.Cut(body, string(decimal))
	for _, sep := range []string{".", ",", "'", " "} {
		if sep[0] == decimal || !strings.Contains(whole, sep) {
			continue
		}
		groups := strings.Split(whole, sep)
		if len(groups[0]) < 1 || len(groups[0]) > 3 || !allDigits(groups[0]) {
			return "", false
		}
		for _, g := range groups[1:] {
			if len(g) != 3 || !allDigits(g) {
				return "", false
			}
		}
		if !hasFrac && len(groups) < 3 && (sep == "." || sep == ",") {
			return "", false
		}
		out := sign + strings.Join(groups, "")
		if hasFrac {
			out += string(decimal) + frac
		}
		return out, true
	}
	return "", false
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// readClock reads [date ]hh:mm:ss[.fraction], also hh:mm:ss:fraction, into seconds of the day. The
// date must not change within a capture, so it is not used.
func readClock(s string) (value, bool) {
	s, half := halfDay(s)
	p, ok := clockParts(s)
	if !ok {
		return value{}, false
	}
	if half != 0 {
		h, err := strconv.Atoi(p[0])
		if err != nil || h < 1 || h > 12 || len(p) < 3 {
			return value{}, false
		}
		p[0] = strconv.Itoa(h%12 + half - 1)
	}
	sec := strings.Replace(p[len(p)-1], ",", ".", 1)
	n, end := scanNumber([]byte(sec), '.')
	if end != len(sec) || end == 0 || n.v < 0 || n.v >= 61 || sec[0] == '+' {
		return value{}, false
	}
	v := n.v
	for i := range len(p) - 1 {
		m, err := strconv.Atoi(p[i])
		if err != nil || m < 0 || m > 99 {
			return value{}, false
		}
		v += float64(m) * math.Pow(60, float64(len(p)-1-i))
	}
	return value{kind: cellClock, num: number{v: v, exp10: n.exp10, digits: 19}, scale: 1}, true
}

// halfDay takes AM or PM off a time of day: half is 1 before noon, 13 after, 0 without.
func halfDay(s string) (rest string, half int) {
	low := strings.ToLower(s)
	for k, words := range [][]string{{"am", "a.m."}, {"pm", "p.m."}} {
		for _, w := range words {
			if t, ok := strings.CutSuffix(low, w); ok && len(t) > 0 {
				return strings.TrimSpace(s[:len(t)]), 1 + 12*k
			}
		}
	}
	return s, 0
}

// zone is what names the offset from universal time behind a time of day, the same in
// all rows.
var zone = newPattern(`(:[0-9.,]+) ?(?:Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})$`)

// clockParts cuts a time of day, with or without a date, at its colons.
func clockParts(s string) (p []string, ok bool) {
	if i := strings.IndexByte(s, ':'); i > 0 && strings.ContainsAny(s[i:], "+-ZUG") {
		s = zone.ReplaceAllString(s, "$1")
	}
	if i := strings.LastIndexAny(s, " T"); i > 0 {
		if !isDate(s[:i]) && !days.MatchString(s[:i]) {
			return nil, false
		}
		s = s[i+1:]
	}
	p = strings.Split(s, ":")
	if len(p) == 4 && allDigits(p[3]) { // 12:59:59:123
		p = []string{p[0], p[1], p[2] + "." + p[3]}
	}
	return p, len(p) >= 2 && len(p) <= 3 && len(p[0]) <= 2 && allDigits(p[0])
}

// days is what stands ahead of the time in an elapsed time of data frames.
var days = newPattern(`^[0-9]+ days?$`)

// isDate tells digits in three groups, as ahead of a time of day.
func isDate(s string) bool {
	marks := strings.Count(s, "-") + strings.Count(s, "/") + strings.Count(s, ".")
	return marks == 2 && strings.Trim(s, "0123456789-/.") == ""
}

// isComment reports whether a line is a remark.
func isComment(line []byte, delim byte) bool {
	line = bytes.TrimLeft(line, " \t\"")
	if len(line) == 0 {
		return false
	}
	switch line[0] {
	case '#', '%', '!', '\'':
		return true
	case ';':
		return delim != ';'
	case '/':
		return len(line) > 1 && line[1] == '/'
	case '*':
		return len(line) > 1 && line[1] == ' '
	case 'R', 'r':
		return len(line) > 3 && (string(line[:4]) == "REM " || string(line[:4]) == "rem ")
	}
	return false
}

// unquoted takes the quotes off a line that a spreadsheet has quoted as a whole, with its
// delimiters inside: "Probe,10".
func unquoted(line []byte, delim byte) []byte {
	if delim == ' ' || bytes.IndexByte(line, '"') < 0 {
		return line
	}
	cells := splitCells(line, delim, nil)
	if usedCells(cells) == 1 && cells[0].quoted && bytes.IndexByte(cells[0].text, delim) > 0 {
		return cells[0].text
	}
	return line
}

// uncomment strips the mark of a remark.
func uncomment(line []byte) []byte {
	return bytes.Trim(bytes.TrimLeft(line, " \t#%!;/*'"), " \t")
}
