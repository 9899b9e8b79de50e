package capture

import (
	"bytes"
	"fmt"
	"math"
	"strings"
)

// betweenLine is a line of text or a remark among the rows.
type betweenLine struct {
	line int
	text string
}

// mostTexts is how many lines of text among the rows are kept, and mostTextBytes how long.
const mostTexts, mostTextBytes = 256, 256

// keep keeps a line of text among the rows.
func (o *oddRows) keep(line []byte, at int) {
	if len(o.between) < mostTexts && len(line) <= mostTextBytes {
		o.between = append(o.between, betweenLine{at, string(line)})
	}
}

// refuseOtherSettings refuses a segment above which, or a record within which, stands a line
// that names the columns otherwise than the table's, or states another rate, scale or unit:
// it would be read by what stands above the first.
func (im *importer) refuseOtherSettings(h *textHead, hd *header, rec *record, o *rowsRead) error {
	from, to := o.first, o.lines
	if rec.line > 0 {
		from, to = rec.behind, rec.line+len(rec.volts)
	}
	p := &preamble{values: map[metaKey][]metaValue{}}
	var before []cell
	for _, l := range o.between {
		if l.line <= from || l.line >= to || im.tab.stoodAbove(h, l.text) {
			before = nil
			if l.line > from && l.line < to {
				before = im.tab.cellsAbove(l.text)
			}
			continue
		}
		cells := im.tab.cellsAbove(l.text)
		clear(p.values)
		p.line(bytes.TrimSpace([]byte(l.text)), cells, im.tab, l.line)
		for j, key := range before { // "Start,Increment" over their values
			if j < len(cells) && key.keyOfSetting() {
				p.add(cellText(key.text), []string{cellText(cells[j].text)}, im.tab.decimal, l.line)
			}
		}
		before = cells
		if im.tab.otherNames(hd, cells) || im.otherSetting(p) {
			return &ParseError{Path: im.src.name, Line: l.line, Found: fmt.Sprintf("%q among the rows, unlike what stands above the first", short(l.text)), Expected: "one record, or segments of one kind", Fix: "save what follows that line in a file of its own"}
		}
	}
	return nil
}

// cellsAbove cuts a line as those above the table are.
func (t *table) cellsAbove(text string) []cell {
	line := []byte(text)
	if isComment(line, t.delim) {
		line = uncomment(line)
	}
	return splitCells(unquoted(bytes.TrimSpace(line), t.delim), t.delim, nil)
}

// stoodAbove reports whether a line of text stands above the table too.
func (t *table) stoodAbove(h *textHead, text string) bool {
	for i := range t.first {
		if strings.EqualFold(strings.TrimSpace(string(h.line(i))), strings.TrimSpace(text)) {
			return true
		}
	}
	return false
}

// otherNames reports whether cells are names or units for all columns, and others than the
// table's.
func (t *table) otherNames(hd *header, cells []cell) bool {
	if len(hd.rows) == 0 || len(cells) <= t.numeric[len(t.numeric)-1] {
		return false
	}
	same, known := true, t.namesTime(cells)
	for _, j := range t.numeric {
		if len(cells[j].text) == 0 || readCell(cells[j].text, t.decimal).kind != cellWords {
			return false
		}
		name, unit, has := splitNameUnit(cellText(cells[j].text))
		if len(t.numeric) == 1 && (!has || name == unit) {
			return false // a remark, or a word that happens to be a unit
		}
		known = known || has || channelLike(name)
		same = same && (strings.EqualFold(name, hd.names[j]) || has && name == unit) && (!has || strings.EqualFold(unit, unbracket(hd.units[j])) || hd.units[j] == "")
	}
	return known && !same
}

// otherSetting reports whether p states a rate, a scale or a unit otherwise than the table's
// own settings.
func (im *importer) otherSetting(p *preamble) bool {
	for k, vs := range p.values {
		switch k {
		case metaInterval, metaRate:
			if im.sc.time >= 0 && im.sc.timeKind == unitSecond || im.given {
				continue
			}
		case metaScale, metaZeroCode, metaOffset, metaPerDiv, metaCodesPerDiv:
			if im.t.VoltUnit != "counts" && im.t.VoltUnit != "div" || im.opt.Scale != 0 {
				continue
			}
		case metaVoltUnit:
			if im.opt.VoltUnit != "" {
				continue
			}
		case metaTimeUnit:
			if im.opt.TimeUnit != "" {
				continue
			}
		default:
			continue
		}
		for i, own := range im.pre.values[k] {
			if i >= len(vs) {
				break
			}
			if m := vs[i]; own.ok != m.ok || own.ok && math.Abs(m.num-own.num) > 1e-9*math.Abs(own.num) || !own.ok && !strings.EqualFold(own.text, m.text) {
				return true
			}
		}
	}
	return false
}
