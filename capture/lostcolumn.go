package capture

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// shiftNames moves names that stand one column too far left to where they belong: some
// programs write a number ahead of each row and no name over it. The names are one fewer
// than the columns, the first of these counts the rows, and the first name is a time's.
func (hd *header) shiftNames(t *table, cols []columnData) {
	if t.cells < 3 || len(t.numeric) != t.cells || !cols[0].numbersRows() || !grows(cols[1].x) {
		return
	}
	named := false
	for _, r := range hd.rows {
		if len(r.cells) != t.cells-1 || usedCells(r.cells) != len(r.cells) {
			return
		}
		named = named || indexLike(r.cells) && !indexName.MatchString(strings.ToLower(cellText(r.cells[0].text)))
	}
	if !named {
		return
	}
	for k := range hd.rows {
		hd.rows[k].cells = append([]cell{{}}, hd.rows[k].cells...)
	}
	hd.names, hd.units = make([]string, t.cells), make([]string, t.cells)
	hd.fill(t)
}

// widthRows is how many of the first rows are looked at for their cells.
const widthRows = 64

// refuseLostColumn refuses rows that hold fewer cells than channels are named above them: a
// column was taken out and its name was not, so that the names, and their units, stand over
// the wrong ones. Where units are given or the single column needs none, it is passed.
func (t *table) refuseLostColumn(name string, h *textHead, hd *header, opt Options) error {
	if t.delim == ' ' || (opt.TimeUnit != "" || opt.RateHz > 0) && (opt.VoltUnit != "" || opt.Scale != 0) {
		return nil
	}
	for _, r := range hd.rows {
		used := usedCells(r.cells)
		if r.kind != namesAbove || used <= t.cells || t.widest(h) >= used || !namesChannels(r.cells[t.cells:used]) || !indexLike(r.cells) {
			continue
		}
		return &ParseError{Path: name, Line: h.lines[r.line].number, Column: t.cells + 1, Found: fmt.Sprintf("%d names, to %q, above rows of %s", used, short(cellText(r.cells[used-1].text)), Plural(t.cells, "cell")), Expected: "a name for each column", Fix: "put the lost column back, or take its name out"}
	}
	return nil
}

// widest is the most cells that one of the first rows has.
func (t *table) widest(h *textHead) (most int) {
	var cells []cell
	for i := t.first; i < min(t.first+widthRows, len(h.lines)); i++ {
		cells = splitCells(h.line(i), t.delim, cells)
		most = max(most, len(cells))
	}
	return most
}

// namesChannels reports whether all cells are names of channels, or state volts or amperes.
func namesChannels(cells []cell) bool {
	for _, c := range cells {
		name, text, _ := splitNameUnit(cellText(c.text))
		if u, _ := parseUnit(text); u.kind != unitVolt && u.kind != unitAmpere && !(channelLike(name) && !allDigits(name)) {
			return false
		}
	}
	return len(cells) > 0
}

// unitAbove is a unit that a row above states for a column.
type unitAbove struct {
	unit
	text string
	line int // of the head
}

// unitsAbove are the units of time and of volts that each row above states for each column.
func (t *table) unitsAbove(hd *header) [][]unitAbove {
	stated := make([][]unitAbove, t.cells)
	for _, r := range hd.rows {
		if r.kind == groupAbove && (len(r.cells) != t.cells || slices.ContainsFunc(r.cells, func(c cell) bool { return len(c.text) == 0 })) {
			continue // one name for several columns
		}
		for j, c := range r.cells[:min(len(r.cells), t.cells)] {
			text := unnumbered(r.cells, j)
			if r.kind != unitsAbove {
				_, text, _ = splitNameUnit(cellText(c.text))
			}
			if u, ok := parseUnit(text); ok && (u.kind == unitSecond || u.kind == unitVolt) {
				stated[j] = append(stated[j], unitAbove{u, text, r.line})
			}
		}
	}
	return stated
}

// refuseTwoUnits refuses columns for which two rows above state different units, unless they
// are given: one of them is of another table, or was left there when the names were changed.
func refuseTwoUnits(name string, h *textHead, stated [][]unitAbove, opt Options) error {
	given := func(k unitKind) bool {
		return k == unitSecond && (opt.TimeUnit != "" || opt.RateHz > 0) || k == unitVolt && (opt.VoltUnit != "" || opt.Scale != 0)
	}
	if len(stated) < 2 {
		return nil // settings stand above a single column
	}
	for j, of := range stated {
		of = slices.DeleteFunc(slices.Clone(of), func(u unitAbove) bool { return given(u.kind) })
		for i, u := range of {
			if i > 0 && of[i-1].unit != u.unit {
				return &ParseError{Path: name, Line: h.lines[u.line].number, Column: j + 1, Found: fmt.Sprintf("%q under another row that states %q", u.text, of[i-1].text), Expected: "one unit for each column", Fix: "take the wrong one out, or give --time-unit and --volt-unit"}
			}
		}
	}
	return nil
}

// nearRows is how many lines above the table may be names that were not taken for any.
const nearRows = 4

// refuseLostUnit refuses values that would be taken for volts while a line right above them
// names channels in millivolts or microvolts, but not as many as there are columns.
func (im *importer) refuseLostUnit(h *textHead, hd *header) error {
	if im.unitStated || im.opt.VoltUnit != "" || im.opt.Scale != 0 {
		return nil
	}
	for i := im.tab.first - 1; i >= max(0, im.tab.first-nearRows); i-- {
		line := uncomment(bytes.TrimSpace(h.line(i)))
		if hd.uses(i) || !bytes.ContainsAny(line, ",;\t") || slices.ContainsFunc(im.lone, func(l loneUnit) bool { return l.line == h.lines[i].number }) {
			continue
		}
		for _, d := range []byte{',', ';', '\t'} {
			cells := splitCells(line, d, nil)
			if len(cells) < 2 || slices.ContainsFunc(cells, func(c cell) bool { return readCell(c.text, '.').kind != cellWords || bytes.ContainsAny(c.text, "=:") }) {
				continue // cut otherwise, or a setting
			}
			for j, c := range cells {
				name, text, ok := splitNameUnit(cellText(c.text))
				if u, _ := parseUnit(text); ok && u.kind == unitVolt && u.factor != 1 && (channelLike(name) || voltName.MatchString(name)) {
					return &ParseError{Path: im.src.name, Line: h.lines[i].number, Column: j + 1, Found: fmt.Sprintf("%q, a name in %s for none of the columns below", short(cellText(c.text)), text), Expected: "a name for each column", Fix: "give --volt-unit, or correct the names"}
				}
			}
		}
	}
	return nil
}

// commonFactor is a factor that a numerical program prints above all numbers: "1.0e-03 *".
var commonFactor = newPattern(`^[-+]?[0-9.]+[eE][-+]?[0-9]+ *[*×]$`)

// refuseCommonFactor refuses numbers below a factor that is meant for all of them: times and
// volts alike would be off by it.
func (t *table) refuseCommonFactor(name string, h *textHead, opt Options) error {
	if (opt.TimeUnit != "" || opt.RateHz > 0) && (opt.VoltUnit != "" || opt.Scale != 0) {
		return nil
	}
	for i := t.first - 1; i >= max(0, t.first-nearRows); i-- {
		line := cellText(bytes.TrimSpace(h.line(i)))
		if !commonFactor.MatchString(line) {
			continue
		}
		factor, err := strconv.ParseFloat(strings.TrimRight(line, " *×"), 64)
		if err != nil || factor == 1 {
			continue
		}
		return &ParseError{Path: name, Line: h.lines[i].number, Found: fmt.Sprintf("%q, a factor of all numbers below", line), Expected: "numbers in full", Fix: "export them without a common factor, or give --rate and --scale"}
	}
	return nil
}
