package sheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Pattern matches the names of files as a scope writes them to units of the
// sheet. {brand}, {model} and {mark} stand for the unit's own words (spaces may
// be written as spaces, hyphens, underscores or not at all), {state} for bare,
// filter or dropper, {load} for the load
// current in amperes, {rest} or * for anything. ".csv" at its end stands for every
// ending that a capture may have: .csv, .txt, .tsv, .dat and .wav, gzipped or not.
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
		case "{model}", "{state}", "{load}", "{rest}", "*":
		default:
			return Pattern{}, fmt.Errorf("%s in pattern %q, expected {brand}, {model}, {mark}, {state}, {load}, {rest} or *", f, text)
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
	return p.of(units).match(name)
}

// matcher is a pattern for the units of one sheet.
type matcher []*regexp.Regexp

func (p Pattern) of(units []Unit) matcher {
	m := make(matcher, len(units))
	for i, u := range units {
		m[i] = p.forUnit(u)
	}
	return m
}

func (m matcher) match(name string) (unit int, loadA float64, ok bool) {
	unit = -1
	for i, re := range m {
		found := re.FindStringSubmatch(name)
		if found == nil {
			continue
		}
		if unit >= 0 {
			return -1, 0, false
		}
		unit = i
		if load := slices.Index(re.SubexpNames(), "load"); load > 0 {
			loadA, _ = strconv.ParseFloat(strings.Replace(found[load], ",", ".", 1), 64)
		}
	}
	return unit, loadA, unit >= 0
}

// forUnit is the pattern with a unit's words in it. Where it ends as captures do,
// any such ending will do, so that a sound card's WAV lies beside a scope's CSV.
func (p Pattern) forUnit(u Unit) *regexp.Regexp {
	text := p.text
	ending := captureEnding.FindString(text)
	text = strings.TrimSuffix(text, ending)
	var b strings.Builder
	b.WriteString(`(?i)^`)
	at, loads := 0, 0
	for _, loc := range field.FindAllStringIndex(text, -1) {
		b.WriteString(regexp.QuoteMeta(text[at:loc[0]]))
		at = loc[1]
		switch text[loc[0]:loc[1]] {
		case "{brand}":
			b.WriteString(loose(u.Brand))
		case "{model}":
			b.WriteString(loose(u.Model))
		case "{mark}":
			b.WriteString(loose(u.Mark))
		case "{state}":
			b.WriteString(u.State)
		case "{load}":
			if loads++; loads == 1 {
				b.WriteString(`(?P<load>\d+(?:[.,]\d+)?)`)
			} else {
				b.WriteString(`\d+(?:[.,]\d+)?`)
			}
		default:
			b.WriteString(`.*`)
		}
	}
	b.WriteString(regexp.QuoteMeta(text[at:]))
	if ending != "" || strings.HasSuffix(text, "}") || strings.HasSuffix(text, "*") {
		b.WriteString(anyCaptureEnding)
	}
	b.WriteString(`$`)
	return regexp.MustCompile(b.String())
}

// How the names of captures end, packed or not.
const anyCaptureEnding = `\.(?:csv|txt|tsv|dat|wav)(?:\.gz)?`

var captureEnding = regexp.MustCompile(`(?i)` + anyCaptureEnding + `$`)

// CaptureName reports whether a file's name ends as a capture's does.
func CaptureName(name string) bool { return captureEnding.MatchString(name) }

// OnlyCapture reports whether a file's name ends as little else but a capture's does:
// text files and other data lie beside a sheet too.
func OnlyCapture(name string) bool { return onlyCapture.MatchString(name) }

var onlyCapture = regexp.MustCompile(`(?i)\.(?:csv|wav)(?:\.gz)?$`)

// loose matches words however their gaps are written in a file name.
func loose(words string) string {
	parts := strings.Fields(words)
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return strings.Join(parts, `[ _-]?`)
}
