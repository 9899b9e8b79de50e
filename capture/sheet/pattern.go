package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Pattern matches the names of files as a scope writes them to units of the
// sheet. {brand}, {model} and {mark} stand for the unit's own words (spaces may
// be written as spaces, hyphens, underscores or not at all), {load} for the load
// current in amperes, {rest} or * for anything.
type Pattern struct{ text string }

var field = regexp.MustCompile(`\{[^{}]*\}|\*|[{}]`)

// ParsePattern checks a pattern. It must name the mark, or the brand, and no
// folder; the error says what is wrong with it.
func ParsePattern(text string) (Pattern, error) {
	if strings.ContainsAny(text, `/\`) {
		return Pattern{}, fmt.Errorf("pattern %q names a folder, expected a file name", text)
	}
	named := false
	for _, f := range field.FindAllString(text, -1) {
		switch f {
		case "{mark}", "{brand}":
			named = true
		case "{model}", "{load}", "{rest}", "*":
		default:
			return Pattern{}, fmt.Errorf("%s in pattern %q, expected {brand}, {model}, {mark}, {load}, {rest} or *", f, text)
		}
	}
	if !named {
		return Pattern{}, fmt.Errorf("pattern %q names no unit, expected {mark} or {brand} in it", text)
	}
	return Pattern{text}, nil
}

// Match tells which unit of the sheet a file belongs to and at which load
// current (0 when the pattern has none). A name that fits two units fits none.
func (p Pattern) Match(name string, units []Unit) (unit int, loadA float64, ok bool) {
	unit = -1
	for i, u := range units {
		load, fits := p.fits(name, u)
		if !fits {
			continue
		}
		if unit >= 0 {
			return -1, 0, false
		}
		unit, loadA = i, load
	}
	return unit, loadA, unit >= 0
}

func (p Pattern) fits(name string, u Unit) (loadA float64, ok bool) {
	var b strings.Builder
	b.WriteString(`(?i)^`)
	at := 0
	for _, loc := range field.FindAllStringIndex(p.text, -1) {
		b.WriteString(regexp.QuoteMeta(p.text[at:loc[0]]))
		at = loc[1]
		switch p.text[loc[0]:loc[1]] {
		case "{brand}":
			b.WriteString(loose(u.Brand))
		case "{model}":
			b.WriteString(loose(u.Model))
		case "{mark}":
			b.WriteString(loose(u.Mark))
		case "{load}":
			b.WriteString(`(\d+(?:[.,]\d+)?)`)
		default:
			b.WriteString(`.*`)
		}
	}
	b.WriteString(regexp.QuoteMeta(p.text[at:]) + `$`)
	m := regexp.MustCompile(b.String()).FindStringSubmatch(name)
	if m == nil {
		return 0, false
	}
	if len(m) > 1 {
		loadA, _ = strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	}
	return loadA, true
}

// loose matches words however their gaps are written in a file name.
func loose(words string) string {
	parts := strings.Fields(words)
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return strings.Join(parts, `[ _-]?`)
}
