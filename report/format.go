package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/bidi"

	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// eng is v in engineering notation with three significant digits and an SI
// prefix, e.g. "12.3 mV", "65.0 kHz", "18.2 nV/√Hz", "131 k/s". A rate has unit
// "1/s".
func eng(v float64, unit string) string {
	if unit == "" { // a plain ratio
		return mantissa(v)
	}
	m, _, prefix := capture.Prefixed(v, 3)
	return mantissa(m) + " " + prefix + unitTail(unit)
}

// unitTail writes a rate as "/s", so that a prefix can stand before it.
func unitTail(unit string) string {
	if unit == "1/s" {
		return "/s"
	}
	return unit
}

// mantissa is v with three significant digits, 1 <= |v| < 1000 or 0.
func mantissa(v float64) string {
	switch a := math.Abs(v); {
	case a == 0:
		return "0"
	case a < 0.9995:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a < 9.995:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case a < 99.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	default:
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
}

// figureText is a figure for people: "12.3 mV", "≥ 80.1 mV" or "not measured".
func figureText(f figure.Figure, unit string) string {
	if !f.Known || math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
		return "not measured"
	}
	s := eng(f.Value, unit)
	if unit == "V" && math.Abs(f.Value) >= 0.9995 { // volts DC to the millivolt
		s = VoltsText(f.Value)
	}
	if f.LowerBound {
		return "≥ " + s
	}
	if f.UpperBound {
		return "≤ " + s
	}
	return s
}

// VoltsText is volts DC to the millivolt, and to ten of them where a meter shows no more:
// "7.125 V", "7.02 V".
func VoltsText(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 3, 64), "0") + " V"
}

// figureWithU adds the expanded uncertainty in the figure's own prefix, to two
// digits where three decimals hold them and to one beyond, the figure rounded to
// match (JCGM 100, 7.2.6): "12.30 ± 0.40 mV", "118.0002 ± 0.0003 kHz". One that
// wants more than four decimals is given in parts per million, not less than one:
// "118.0002 kHz ± 1 ppm". Below one part in 10⁹ it is left out.
func figureWithU(f figure.Figure, unit string) string {
	size := max(math.Abs(f.Value), f.U)
	if !f.Known || f.U <= 1e-9*size || math.IsInf(f.U, 0) || math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
		return figureText(f, unit)
	}
	_, factor, prefix := capture.Prefixed(size, 3)
	if unit == "" {
		factor, prefix = 1, ""
	}
	v, u := f.Value/factor, f.U/factor
	tail := strings.TrimRight(" "+prefix+unitTail(unit), " ")
	s := ""
	if d := decimalsOf(u, 2); d <= 3 {
		s = fmt.Sprintf("%s ± %s%s", rounded(v, d), rounded(u, d), tail)
	} else if d := decimalsOf(u, 1); d <= 4 {
		s = fmt.Sprintf("%s ± %s%s", rounded(v, d), rounded(u, d), tail)
	} else {
		// No time base is known to a part in a million: more digits would say nothing.
		u = math.Max(u, 1e-6*math.Abs(v))
		s = fmt.Sprintf("%s%s ± %s ppm", rounded(v, decimalsOf(u, 1)), tail, string(appendNumber(nil, 1e6*u/math.Abs(v), 2)))
	}
	if f.LowerBound {
		return "≥ " + s
	}
	if f.UpperBound {
		return "≤ " + s
	}
	return s
}

// decimalsOf is how many decimals show the given significant digits of u > 0 once
// it is rounded to them; negative where its last digit stands before the point.
func decimalsOf(u float64, digits int) int {
	_, exponent, _ := strings.Cut(strconv.FormatFloat(u, 'e', digits-1, 64), "e")
	e, _ := strconv.Atoi(exponent)
	return digits - 1 - e
}

// rounded is v to the given decimals; a negative number rounds to tens, hundreds.
func rounded(v float64, decimals int) string {
	if decimals < 0 {
		ten := math.Pow10(-decimals)
		v, decimals = math.Round(v/ten)*ten, 0
	}
	if s := strconv.FormatFloat(v, 'f', decimals, 64); strings.Trim(s, "-0.") != "" {
		return s
	}
	return strconv.FormatFloat(0, 'f', decimals, 64) // never "-0.00"
}

// dbText is a level in dB with its sign: "+4.2 dB".
func dbText(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "not measured"
	}
	if s := fmt.Sprintf("%+.1f dB", db); s != "-0.0 dB" {
		return s
	}
	return "+0.0 dB"
}

// MarginText is a margin as the report writes it.
func MarginText(m target.Margin) string { return marginText(&m) }

// marginText is a margin for people. Where the figure is a lower bound the true
// margin can only be smaller, where it is an upper bound only larger.
func marginText(m *target.Margin) string {
	if m.Figure.LowerBound && m.Limit.Criterion != target.HeaterDC {
		return "≤ " + dbText(m.DB)
	}
	if m.Figure.UpperBound && m.Limit.Criterion != target.HeaterDC {
		return "≥ " + dbText(m.DB)
	}
	return dbText(m.DB)
}

// limitText is a limit for people.
func limitText(l target.Limit) string {
	if l.Criterion == target.Mask {
		return "mask"
	}
	return l.Text()
}

// shortName heads narrow columns and bars.
func shortName(l target.Limit) string {
	if s := target.ShortName(l.Criterion); s != "" {
		return s
	}
	return l.Name
}

func longName(l target.Limit) string {
	if l.Name != "" {
		return l.Name
	}
	return shortName(l)
}

// shapes tell a verdict without colour.
var shapes = map[target.Verdict]string{
	target.Pass:     "●",
	target.NearMiss: "◐",
	target.Fail:     "✕",
	target.Open:     "◌",
	target.Retake:   "↻",
}

func shape(v target.Verdict) string {
	if s, ok := shapes[v]; ok {
		return s
	}
	return "?"
}

// worstMargin is the unit's worst covered margin, nil when none is covered.
func worstMargin(e *target.Evaluation) *target.Margin {
	if e.Worst < 0 || e.Worst >= len(e.Margins) || !e.Margins[e.Worst].Covered {
		return nil
	}
	return &e.Margins[e.Worst]
}

// clean makes a text from outside one printable line without needless blanks.
func clean(s string) string {
	return strings.Join(strings.Fields(capture.OneLine(s)), " ")
}

// isolate cleans a name and, when it holds right-to-left letters, wraps it in
// first-strong-isolate marks, so that it can't turn the sentence around it.
func isolate(s string) string {
	s = clean(s)
	for _, r := range s {
		p, _ := bidi.LookupRune(r)
		if c := p.Class(); c == bidi.R || c == bidi.AL {
			return "\u2068" + s + "\u2069"
		}
	}
	return s
}

// shorten cuts s to n runes with an ellipsis in its middle: a unit's mark and a
// file's ending stand at the end.
func shorten(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	r := []rune(s)
	tail := n / 3
	return strings.TrimRight(string(r[:n-1-tail]), " ") + "…" + strings.TrimLeft(string(r[len(r)-tail:]), " ")
}

// unitName is brand, model and mark in one line, told apart where two units
// would read alike.
func unitName(u target.Unit) string {
	name := clean(u.Key)
	if name == "" {
		name = clean(u.Brand + " " + u.Model + " " + u.Mark)
	}
	if name == "" {
		return "unnamed unit"
	}
	return name
}

// slug makes a file name part of a free text: lower-case ASCII letters, digits
// and hyphens, at most 40 characters, never empty.
func slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 40 {
			break
		}
	}
	if out := strings.Trim(b.String(), "-"); out != "" {
		return out
	}
	return "unit"
}

// dash is a figure for a narrow cell: "-" when not measured.
func dash(f figure.Figure, unit string) string {
	if !f.Known {
		return "-"
	}
	return figureText(f, unit)
}
