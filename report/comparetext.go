package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"stillglow/analysis/figure"
)

// WriteComparison writes a comparison for a terminal, no line wider than
// opt.Width.
func WriteComparison(w io.Writer, c *Comparison, opt TableOptions) error {
	width := opt.width()
	var b strings.Builder
	markInvented(&b, c.Invented, width)
	wrapTo(&b, "before: "+isolate(c.A), width)
	wrapTo(&b, "after:  "+isolate(c.B), width)
	b.WriteByte('\n')
	if len(c.Changes) > 0 {
		writeColumns(&b, fit(changeColumns(changedFirst(c.Changes)), width, 0), nil)
	}
	for i, u := range unitsChangedFirst(c.Units) {
		if i > 0 {
			b.WriteByte('\n')
		}
		wrapTo(&b, strings.TrimSuffix(fmt.Sprintf("%s: %s", isolate(u.Key), verdictChange(&u)), ": "), width)
		writeColumns(&b, fit(changeColumns(changedFirst(u.Changes)), width, 0), nil)
	}
	b.WriteByte('\n')
	wrapTo(&b, "A change below 0 dB is quieter. One in brackets is within the uncertainty of the two figures, or between two bounds.", width)
	for _, s := range c.Notes {
		wrapTo(&b, "note: "+s, width)
	}
	for _, s := range c.OnlyA {
		wrapTo(&b, "note: only before: "+isolate(s), width)
	}
	for _, s := range c.OnlyB {
		wrapTo(&b, "note: only after: "+isolate(s), width)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// moved is by how many dB a figure changed beyond what the uncertainty of the two
// could make; below zero for one that can't be compared.
func moved(x Change) float64 {
	switch {
	case x.DB == nil:
		return -1
	case math.Abs(*x.DB) <= x.UDB, x.DBIs == NoBound:
		return 0
	}
	return math.Abs(*x.DB)
}

// changedFirst puts what changed most ahead of what stayed, each of the two by size.
func changedFirst(changes []Change) []Change {
	out := slices.Clone(changes)
	size := func(x Change) float64 {
		if x.DB == nil {
			return 0
		}
		return math.Abs(*x.DB)
	}
	slices.SortStableFunc(out, func(a, b Change) int {
		return cmp.Or(cmp.Compare(moved(b), moved(a)), cmp.Compare(size(b), size(a)))
	})
	return out
}

// unitsChangedFirst puts units with another verdict ahead of the others, and those
// whose worst margin moved most ahead of those where it stayed.
func unitsChangedFirst(units []UnitChange) []UnitChange {
	weight := func(u UnitChange) float64 {
		w := 0.0
		if u.MarginDB != nil && u.MarginBeforeDB != nil {
			w = math.Abs(*u.MarginDB - *u.MarginBeforeDB)
		}
		if u.Verdict != u.VerdictBefore {
			w += 1e6
		}
		return w
	}
	out := slices.Clone(units)
	slices.SortStableFunc(out, func(a, b UnitChange) int { return cmp.Compare(weight(b), weight(a)) })
	return out
}

// verdictChange is "near miss, -4.1 dB → pass, +3.2 dB".
func verdictChange(u *UnitChange) string {
	side := func(verdict string, db *float64) string {
		if db == nil {
			return verdict // "" for a capture, which has none
		}
		return verdict + ", worst margin " + dbText(*db)
	}
	before, after := side(u.VerdictBefore, u.MarginBeforeDB), side(u.Verdict, u.MarginDB)
	if before == after && after != "" {
		return after + ", as before"
	}
	return strings.Trim(before+" → "+after, " →")
}

func changeColumns(changes []Change) []column {
	cols := []column{{head: "figure", keep: 0}, {head: "before", right: true, keep: 1}, {head: "after", right: true, keep: 1}, {head: "change", right: true, keep: 0}}
	for _, x := range changes {
		for i, s := range []string{x.Name, sideText(x.Before, x.Unit, x.BeforeIs), sideText(x.After, x.Unit, x.AfterIs), changeText(x)} {
			cols[i].cells = append(cols[i].cells, s)
		}
	}
	return cols
}

func sideText(v *float64, unit string, is Bound) string {
	if v == nil {
		return "not measured"
	}
	return is.sign() + figureText(figure.Known(*v), unit)
}

// sign is "≥ " or "≤ " ahead of a bound.
func (b Bound) sign() string {
	switch b {
	case AtLeast:
		return "≥ "
	case AtMost:
		return "≤ "
	}
	return ""
}

// changeText is the change in dB, of a frequency in percent; in brackets when the
// uncertainties of the two figures could make it, or both are bounds.
func changeText(x Change) string {
	if x.DB == nil {
		return "-"
	}
	text := dbText(*x.DB)
	if x.Unit == "Hz" { // a frequency is no level
		text = fmt.Sprintf("%+.2f %%", 100*(*x.After / *x.Before - 1))
	}
	text = x.DBIs.sign() + text
	if x.UDB > 0 && math.Abs(*x.DB) <= x.UDB || x.DBIs == NoBound {
		return "(" + text + ")"
	}
	return text
}

// JSON is the comparison for scripts; keys end in their unit.
func (c *Comparison) JSON() ([]byte, error) {
	o := object{{"schema_version", SchemaVersion}, {"before", c.A}, {"after", c.B}, {"invented", c.Invented},
		{"changes", changeObjects(c.Changes)}}
	units := []object{}
	for _, u := range c.Units {
		units = append(units, object{{"key", u.Key}, {"verdict_before", u.VerdictBefore}, {"verdict", u.Verdict},
			{"worst_margin_before_db", numberOrNull(u.MarginBeforeDB)}, {"worst_margin_db", numberOrNull(u.MarginDB)},
			{"changes", changeObjects(u.Changes)}})
	}
	o = append(o, object{{"units", units}, {"only_before", list(c.OnlyA)}, {"only_after", list(c.OnlyB)}, {"notes", list(c.Notes)}}...)
	return appendJSON(nil, o)
}

func changeObjects(changes []Change) []object {
	out := []object{}
	for _, x := range changes {
		out = append(out, object{{"figure", x.Key}, {"unit", x.Unit}, {"before", numberOrNull(x.Before)}, {"after", numberOrNull(x.After)},
			{"change_db", numberOrNull(x.DB)}, {"uncertainty_db", positive(x.UDB)},
			{"before_is", orNull(string(x.BeforeIs))}, {"after_is", orNull(string(x.AfterIs))}, {"change_is", orNull(string(x.DBIs))}})
	}
	return out
}

func numberOrNull(v *float64) any {
	if v == nil {
		return nil
	}
	return number(*v)
}
