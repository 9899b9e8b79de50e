package capture

import (
	"strings"
)

// metaValue is one stated value.
type metaValue struct {
	text string
	num  float64
	ok   bool // num is a number
	unit unit // kind unitNone when none was written
	line int
	key  string // as written, for messages
	// channel is the lower-case channel the key names, "" for all; index
	// the place among several values side by side, -1 for one alone.
	channel string
	own     string // the channel as written ahead of the value: "CH3:V"
	index   int
	of      int // how many stand side by side
	// from and to are the columns of the table that the value stands over or
	// beside, to exclusive; both 0: none in particular.
	from, to int
	// either tells that the mark in the number may be for decimals or for
	// thousands: "1.000 Hz" above rows with decimal commas.
	either bool
}

// over reports whether the value stands over or beside column col.
func (m metaValue) over(col int) bool { return m.to > 0 && m.from <= col && col < m.to }

// readQuantity reads a number with an optional unit, in the table's decimal
// mark or, preambles often keep it, the point.
func readQuantity(s string, decimal byte) (float64, unit, bool) {
	s = strings.TrimSpace(s)
	if decimal == '.' && oneGroup(s) == ',' {
		s = strings.Replace(s, ",", "", 1) // above rows with decimal points
	}
	if n := thousands(s); n > 0 {
		// Whole groups of three: 10,000,000 Hz. One group alone may be a decimal mark.
		s = strings.NewReplacer(",", "", ".", "", "'", "", " ", "").Replace(s[:n]) + s[n:]
	}
	for _, d := range []byte{decimal, '.', ','} {
		v, rest, ok := splitQuantity(s, d)
		if !ok {
			continue
		}
		if rest == "" {
			return v, unit{factor: 1}, true
		}
		if u, ok := parseUnit(rest); ok && rest != "k" && rest != "K" { // no setting is in kelvins
			return v * u.factor, u, true
		}
		if f, ok := siPrefix[foldSigns(rest)]; ok {
			return v * f, unit{factor: f}, true
		}
		if w := strings.Fields(rest); len(w) > 0 && d == decimal {
			// "1.0 MSa/s per channel", "10 X"
			if u, ok := parseUnit(w[0]); ok && len(w) > 1 {
				return v * u.factor, u, true
			}
		}
	}
	return 0, unit{}, false
}

var groupMark = newPattern(`^[-+]?[1-9][0-9]{0,2}([.,])[0-9]{3}(?:[^0-9.,eE]|$)`)

// oneGroup gives the mark ahead of three digits at the end of a whole number of
// up to three, which may be for decimals or for thousands; 0 where there is none.
func oneGroup(s string) byte {
	if m := groupMark.FindStringSubmatch(s); m != nil {
		return m[1][0]
	}
	return 0
}

var thousandsMark = newPattern(`^[-+]?[0-9]{1,3}(?:(?:,[0-9]{3}){2,}|(?:\.[0-9]{3}){2,}|(?:'[0-9]{3})+|(?: [0-9]{3})+)(?:[^0-9.,]|$)`)

// thousands is the length of a whole number with thousands marks at the start
// of s, 0 for none.
func thousands(s string) int {
	m := thousandsMark.FindString(s)
	if m == "" {
		return 0
	}
	return len(strings.TrimRightFunc(m, func(r rune) bool { return r < '0' || r > '9' }))
}

// spot is one column of the table as the preamble may point at it: by its
// name, its column, or its place among the columns of values.
type spot struct {
	name   string
	col    int
	places []place // among all columns of values, among those of volts
}

// place is a column's index among as many columns.
type place struct{ index, of int }

// get finds the value of a key for a column: the one that names it, the one
// that stands over or beside it, the one in its place among as many as there
// are columns of values, then one alone.
func (p *preamble) get(k metaKey, at spot) (metaValue, bool) {
	vs := p.values[k]
	if v, ok := byName(vs, at.name); ok {
		return v, true
	}
	v, found, placed := byPlace(vs, at.places)
	if found {
		return v, true
	}
	for _, v := range vs {
		if v.channel == "" && v.over(at.col) {
			return v, true
		}
	}
	if placed {
		return metaValue{}, false
	}
	if v, ok := forAll(vs, at.places); ok {
		return v, true
	}
	// A value that names a channel is for all where it is the only one and the
	// table has one column.
	if len(vs) == 1 && len(at.places) > 0 && at.places[0].of == 1 {
		return vs[0], true
	}
	return metaValue{}, false
}

// byName finds the value whose key names the channel.
func byName(vs []metaValue, name string) (metaValue, bool) {
	name, _ = normKey(name)
	name = shortChannel(strings.ReplaceAll(name, " ", ""))
	for _, v := range vs {
		if v.channel != "" && shortChannel(v.channel) == name {
			return v, true
		}
	}
	return metaValue{}, false
}

// byPlace finds the value in the channel's place among as many side by side;
// placed tells that there are as many.
func byPlace(vs []metaValue, places []place) (v metaValue, found, placed bool) {
	for _, pl := range places {
		for _, v := range vs {
			if v.channel == "" && v.index >= 0 && v.of == pl.of {
				placed = true
				if v.index == pl.index {
					return v, true, true
				}
			}
		}
	}
	return metaValue{}, false, placed
}

// forAll finds the value that stands for every channel, or, of several blocks one
// per column, the one of the channel's.
func forAll(vs []metaValue, places []place) (metaValue, bool) {
	var plain []metaValue
	for _, v := range vs {
		if v.channel == "" && v.index <= 0 && (v.to == 0 || v.index < 0 && len(vs) == 1) {
			plain = append(plain, v)
		}
	}
	for _, pl := range places {
		if len(plain) == pl.of && pl.of > 1 && !same(plain) {
			return plain[pl.index], true
		}
	}
	if len(plain) > 0 {
		return plain[0], true
	}
	return metaValue{}, false
}

// shortChannel makes "ch1", "channel1" and "1" alike.
func shortChannel(s string) string {
	for _, pre := range []string{"channel", "kanal", "chan", "voie", "ch", "c"} {
		if t := strings.TrimPrefix(s, pre); t != s && t != "" {
			return t
		}
	}
	return s
}

func same(vs []metaValue) bool {
	for _, v := range vs[1:] {
		if v.text != vs[0].text {
			return false
		}
	}
	return true
}
