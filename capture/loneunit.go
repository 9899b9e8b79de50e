package capture

import (
	"bytes"
	"fmt"
	"slices"
)

// loneUnit is a line of settings whose key we don't know and whose values are units of volts,
// one or one for each channel: "Signal unit,mV".
type loneUnit struct {
	line  int
	key   string
	units []string
}

// ofValues is what a key of the values' unit is called, and ofSettings what makes it that of a
// setting.
var (
	ofValues   = newPattern(`unit|einheit|unidad|unité|jednotk|единиц|单位|單位|単位|label|axis|achse|quantity|^y( |$)`)
	ofSettings = newPattern(`trig|offset|scale|range|level|thresh|cursor|div|marker|limit|position|hyst|delay`)
)

// loneUnits finds such lines above the table, other than its names.
func (h *textHead) loneUnits(t *table, hd *header) (found []loneUnit) {
	for i := range t.first {
		if hd.uses(i) {
			continue
		}
		line := bytes.TrimSpace(h.line(i))
		if isComment(line, 0) {
			line = uncomment(line)
		}
		if len(line) == 0 || len(line) > 200 {
			continue
		}
		for _, d := range []byte{',', ';', '\t', ':', '=', '|'} {
			cells := splitCells(line, d, nil)
			for len(cells) > 0 && len(cells[len(cells)-1].text) == 0 {
				cells = cells[:len(cells)-1]
			}
			if len(cells) < 2 || len(cells[0].text) == 0 {
				continue
			}
			u := loneUnit{line: h.lines[i].number}
			for _, c := range cells[1:] {
				text := cellText(c.text)
				if p, ok := parseUnit(text); !ok || p.kind != unitVolt {
					u.units = nil
					break
				}
				u.units = append(u.units, text)
			}
			key := cellText(cells[0].text)
			if k, _, _ := lookupKey(key); len(u.units) == 0 || k != metaNone || isUnitWord(key) {
				continue
			}
			u.key, _ = normKey(key)
			found = append(found, u)
			break
		}
	}
	return found
}

// loneVoltUnit is the unit of the channel by lines of an unknown key; ok is false where they
// say nothing but volts. It is an error where the key may be that of another setting, or two
// lines disagree.
func (im *importer) loneVoltUnit() (u unit, text, why string, ok bool, err error) {
	k := slices.Index(im.sc.data, im.sc.volts[im.ch])
	for _, l := range im.lone {
		stated := l.units[0]
		if len(l.units) > 1 {
			if k < 0 || len(l.units) != len(im.sc.data) {
				continue
			}
			stated = l.units[k]
		}
		p, _ := parseUnit(stated)
		plain := ofValues.MatchString(l.key) && !ofSettings.MatchString(l.key)
		switch {
		case p.factor == 1 && !plain:
			continue
		case !plain || ok && p.factor != u.factor:
			return u, "", "", false, &ParseError{Path: im.src.name, Line: l.line, Found: fmt.Sprintf("%q, which may be the unit of the values, whose own is not stated", stated), Expected: "a unit beside the column's name", Fix: "give --volt-unit"}
		}
		u, text, why, ok = p, stated, fmt.Sprintf("%q stated in line %d", l.key, l.line), true
	}
	return u, text, why, ok && u.factor != 1, nil
}
