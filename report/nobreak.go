package report

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/jedib0t/go-pretty/v6/text"
)

// noBreak is the space that no line ends at.
const noBreak = "\u00a0"

// joiner is the character of no width at which no line ends: behind a hyphen it keeps
// "p-p" whole.
const joiner = "\u2060"

// Unbreakable is markup in which no line ends between a number and its unit, as in
// "50 %" or "1 kΩ", nor after a sign such as ±, nor within "p-p". It changes the text of the page
// alone: tags, scripts, styles, drawings, what is typed or preformatted, and names
// (bdi), which a reader copies into a command, stay as they are.
func Unbreakable(markup []byte) []byte {
	out := make([]byte, 0, len(markup)+len(markup)/64)
	for len(markup) > 0 {
		at := bytes.IndexByte(markup, '<')
		if at < 0 {
			at = len(markup)
		}
		out = joinUnits(out, bytes.ReplaceAll(markup[:at], []byte("p-p"), []byte("p-"+joiner+"p")), noBreak)
		markup = markup[at:]
		end := endOfTag(markup)
		out = append(out, markup[:end]...)
		markup = markup[end:]
	}
	return out
}

// asTheyAre are the elements whose text is left alone.
var asTheyAre = map[string][]byte{
	"script": []byte("</script"), "style": []byte("</style"), "svg": []byte("</svg"), "title": []byte("</title"), "option": []byte("</option"),
	"pre": []byte("</pre"), "code": []byte("</code"), "textarea": []byte("</textarea"), "bdi": []byte("</bdi"),
}

// endOfTag is the length of the tag that markup begins with, and of its whole
// element where that is left alone.
func endOfTag(markup []byte) int {
	end := bytes.IndexByte(markup, '>') + 1
	if end == 0 {
		return len(markup)
	}
	name := markup[min(1, end):end]
	for i, c := range name {
		if c == ' ' || c == '>' || c == '\n' {
			name = name[:i]
			break
		}
	}
	if last, found := asTheyAre[string(name)]; found {
		if at := bytes.Index(markup[end:], last); at >= 0 {
			return end + at
		}
	}
	return end
}

// Tie stands in for a space that no line of a terminal may end at: a private
// character, since go-pretty breaks lines at noBreak, too.
const Tie = "\uE000"

// TieUnits is text with the spaces at which no line of the page may end (see
// Unbreakable) made Tie; Untie makes them spaces again.
func TieUnits(s string) string { return string(joinUnits(nil, []byte(s), Tie)) }

// Untie undoes TieUnits.
func Untie(s string) string { return strings.ReplaceAll(s, Tie, " ") }

// WrapUnits breaks a terminal's text at spaces into lines of at most width columns,
// none of which ends between a number and its unit.
func WrapUnits(s string, width int) []string {
	lines := strings.Split(Untie(text.WrapSoft(TieUnits(s), width)), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return lines
}

// joinUnits appends text with the spaces at which no line may end made tied.
func joinUnits(out, text []byte, tied string) []byte {
	from := 0
	for i, c := range text {
		if c == ' ' && i > 0 && i+1 < len(text) && belongs(text[:i], text[i+1:]) {
			out = append(append(out, text[from:i]...), tied...)
			from = i + 1
		}
	}
	return append(out, text[from:]...)
}

// belongs reports whether no line may end between the two: a number and its unit, a
// sign or a fuse's T and its number, a count and its times sign.
func belongs(before, after []byte) bool {
	next := after[0]
	switch last := before[len(before)-1]; {
	case isDigit(last):
		return next == 'x' && len(after) > 1 && after[1] == ' ' || beginsWithUnit(after)
	case !isDigit(next):
		return false
	case last == 'x':
		return len(before) > 2 && isDigit(before[len(before)-3]) // "2 x 2.4"
	case last == 'T':
		rest := bytes.TrimLeft(after, "0123456789.") // "T 2 A"
		return (len(before) == 1 || before[len(before)-2] == ' ') && (bytes.HasPrefix(rest, []byte(" A")) || bytes.HasPrefix(rest, []byte(noBreak+"A")))
	}
	return bytes.HasSuffix(before, []byte("±")) || bytes.HasSuffix(before, []byte("≤")) || bytes.HasSuffix(before, []byte("≥"))
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// units are the units' symbols that follow an SI prefix or none.
var units = map[string]bool{
	"V": true, "A": true, "Ω": true, "W": true, "Hz": true, "F": true, "H": true, "s": true, "S/s": true, "FS": true, "/s": true,
	"V/√Hz": true, "FS/√Hz": true, "√Hz": true, "Vs": true, "V/s": true, "V/µs": true, "A/V": true, "%": true, "dB": true, "°C": true, "K": true, "ppm": true, "bit": true, "samples": true, "s/div": true, "V/div": true,
	"k": true, "M": true, // "1 M samples"
}

// beginsWithUnit reports whether text begins with a unit and ends or goes on with
// another word after it.
func beginsWithUnit(text []byte) bool {
	end := len(text)
	for i, r := range string(text[:min(len(text), 24)]) {
		if !unicode.IsLetter(r) && r != '/' && r != '√' && r != '%' && r != '°' {
			end = i
			break
		}
	}
	if end < len(text) && (text[end] == '-' || isDigit(text[end])) { // "A-weighted", "B1"
		return false
	}
	word := string(text[:end])
	if units[word] {
		return true
	}
	switch _, size := utf8.DecodeRuneInString(word); {
	case size < len(word) && (word[:size] == "µ" || bytes.ContainsAny([]byte("fpnmkMG"), word[:size])):
		return units[word[size:]]
	}
	return false
}
