package sheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Pattern matches the names of files as a scope writes them to units of the
// sheet. {brand}, {model} and {mark} stand for the unit's own words (spaces may
// be written as spaces, hyphens, underscores or not at all), {state} for bare,
// filter or dropper, {load} for the load
// current in amperes (milliamperes where mA is behind it), {rest} or * for anything. ".csv" at its end stands for every
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
type matcher []unitMatcher

// unitMatcher is a pattern with one unit's words in it.
type unitMatcher struct {
	words []string // folded, without gaps: a name that lacks one does not match
	text  string   // regular expression
	re    *regexp.Regexp
	milli bool // the pattern itself has milliamperes behind {load}
}

func (p Pattern) of(units []Unit) matcher {
	m := make(matcher, len(units))
	for i, u := range units {
		m[i] = p.forUnit(u)
	}
	return m
}

// inMilliamperes finds mA behind a load.
var inMilliamperes = regexp.MustCompile(`(?i)^[ _]?ma(?:[^a-z]|$)`)

func (m matcher) match(name string) (unit int, loadA float64, ok bool) {
	unit, name = -1, norm.NFC.String(name)
	flat := folded(name)
	for i := range m {
		u := &m[i]
		if slices.ContainsFunc(u.words, func(w string) bool { return !strings.Contains(flat, w) }) {
			continue
		}
		if u.re == nil {
			u.re = regexp.MustCompile(u.text)
		}
		found := u.re.FindStringSubmatchIndex(name)
		if found == nil {
			continue
		}
		if unit >= 0 {
			return -1, 0, false
		}
		unit = i
		if load := 2 * slices.Index(u.re.SubexpNames(), "load"); load > 0 {
			loadA, _ = strconv.ParseFloat(strings.Replace(name[found[load]:found[load+1]], ",", ".", 1), 64)
			if u.milli || inMilliamperes.MatchString(name[found[load+1]:]) {
				loadA /= 1000
			}
		}
	}
	return unit, loadA, unit >= 0
}

// forUnit is the pattern with a unit's words in it. Where it ends as captures do,
// any such ending will do, so that a sound card's WAV lies beside a scope's CSV.
// What {rest} or * stands for doesn't go on where a word beside it ends: unit 1 is
// not the 11 of a name, nor A the AB.
func (p Pattern) forUnit(u Unit) unitMatcher {
	text := norm.NFC.String(p.text)
	ending := captureEnding.FindString(text)
	text = strings.TrimSuffix(text, ending)
	words := map[string]string{"{brand}": norm.NFC.String(u.Brand), "{model}": norm.NFC.String(u.Model), "{mark}": norm.NFC.String(u.Mark), "{state}": u.State}
	var m unitMatcher
	var b strings.Builder
	b.WriteString(`(?i)^`)
	fields := field.FindAllStringIndex(text, -1)
	at, loads, before := 0, 0, ""
	for i, loc := range fields {
		if loc[0] > at {
			before = "" // the pattern's own text bounds the word
		}
		b.WriteString(regexp.QuoteMeta(text[at:loc[0]]))
		at = loc[1]
		name := text[loc[0]:loc[1]]
		switch word, ofUnit := words[name]; {
		case ofUnit:
			b.WriteString(loose(word))
			if f := folded(word); f != "" {
				m.words = append(m.words, f)
			}
			before = word
		case name == "{load}":
			before = "0"
			if loads++; loads > 1 {
				b.WriteString(`\d+(?:[.,]\d+)?`)
				break
			}
			b.WriteString(`(?P<load>\d+(?:[.,]\d+)?)`)
			if behind := strings.ToLower(text[at:]); strings.HasPrefix(behind, "a") {
				b.WriteString(`m?`)
			} else {
				m.milli = strings.HasPrefix(behind, "ma")
			}
		default:
			behind := ""
			if i+1 < len(fields) && fields[i+1][0] == at {
				behind = words[text[fields[i+1][0]:fields[i+1][1]]]
			}
			first, _ := utf8.DecodeRuneInString(behind)
			last, _ := utf8.DecodeLastRuneInString(before)
			fmt.Fprintf(&b, `(?:[^%[1]s%[2]s\n]|[^%[1]s\n].*[^%[2]s\n])?`, goesOn(last), goesOn(first))
			before = ""
		}
	}
	b.WriteString(regexp.QuoteMeta(text[at:]))
	if ending != "" || strings.HasSuffix(text, "}") || strings.HasSuffix(text, "*") {
		b.WriteString(anyCaptureEnding)
	}
	b.WriteString(`$`)
	m.text = b.String()
	return m
}

// goesOn is the class of runes that a word which ends, or begins, with r would go on
// with, for a regular expression; "" where none.
func goesOn(r rune) string {
	switch {
	case unicode.IsDigit(r):
		return `\d`
	case unicode.IsLetter(r):
		return `\pL`
	}
	return ""
}

// folded is text by the rule that (?i) compares with, without the gaps that loose lets
// go: each letter is the least of those that differ in case only.
func folded(s string) string {
	return strings.Map(func(r rune) rune {
		if isGap(r) {
			return -1
		}
		least := r
		for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
			least = min(least, f)
		}
		return least
	}, s)
}

func isGap(r rune) bool { return r == '-' || r == '_' || unicode.IsSpace(r) }

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
	parts := strings.FieldsFunc(words, isGap)
	if len(parts) == 0 {
		return regexp.QuoteMeta(words)
	}
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return strings.Join(parts, `[ _-]?`)
}
