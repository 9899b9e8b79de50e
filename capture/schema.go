package capture

import (
	"fmt"
	"sort"
)

// schema is what the columns mean.
type schema struct {
	time       int      // column, -1 none
	timeKind   unitKind // unitSecond or unitIndex
	timeFactor float64  // file's time unit to seconds; 0: not stated
	timeText   string   // unit as written, "" when not stated
	timeClock  bool
	seg        int // column, -1 none
	volts      []int
	names      []string
	units      []string // as written, "" not stated
	raw        []int    // columns of raw codes, beside volts
	current    []int
	freq       bool
}

// findSchema gives every column its meaning.
func findSchema(name string, t *table, hd *header, cols []columnData, p *preamble, opt Options) (*schema, error) {
	s := &schema{time: -1, seg: -1}
	type role struct {
		name string // folded
		unit unit
		has  bool
	}
	roles := make([]role, t.cells)
	headed := false
	for _, j := range t.numeric {
		r := &roles[j]
		r.name, _ = normKey(hd.names[j])
		headed = headed || r.name != ""
		ut := hd.units[j]
		if ut == "" {
			ut = cols[j].unit
		}
		if u, ok := parseUnit(ut); ok {
			r.unit, r.has = u, true
		}
	}
	// Time: by name or unit, then by its numbers.
	var byName, byIndex []int
	for _, j := range t.numeric {
		r := roles[j]
		switch {
		case r.has && r.unit.kind == unitHertz || freqName.MatchString(r.name) && !(r.has && r.unit.kind != unitHertz):
			if ok, _ := ramp(cols[j].x); ok && len(byName) == 0 {
				s.freq = true
			}
		case r.has && r.unit.kind == unitIndex, r.name != "" && indexName.MatchString(r.name) && !(r.has && r.unit.kind != unitIndex):
			byIndex = append(byIndex, j)
		case r.has && r.unit.kind == unitSecond, r.name != "" && timeName.MatchString(r.name) && !r.has, cols[j].clock:
			byName = append(byName, j)
		}
	}
	if s.freq && len(byName) == 0 {
		return nil, &ParseError{Path: name, Line: hd.firstLine(t), Found: "a table over frequency", Expected: "volts over time", Fix: "save the waveform, not its spectrum"}
	}
	sort.SliceStable(byName, func(i, k int) bool {
		a, _ := ramp(cols[byName[i]].x)
		b, _ := ramp(cols[byName[k]].x)
		return a && !b
	})
	isTime := map[int]bool{}
	if len(byName)+len(byIndex) > 0 {
		// A row number without a name, as data frames write it.
		for _, j := range t.numeric {
			if ok, unitStep := ramp(cols[j].x); ok && unitStep && cols[j].ints && roles[j].name == "" && !roles[j].has {
				isTime[j] = true
			}
		}
	}
	for _, j := range append(append([]int{}, byName...), byIndex...) {
		isTime[j] = true
	}
	switch {
	case len(byName) > 0:
		s.time = byName[0]
		s.timeKind = unitSecond
	case len(byIndex) > 0:
		s.time = byIndex[0]
		s.timeKind = unitIndex
	default:
		for _, j := range t.numeric {
			if roles[j].has && roles[j].unit.kind != unitNone || segName.MatchString(roles[j].name) {
				continue
			}
			if len(t.numeric) == 1 {
				break // one column alone is volts
			}
			ok, unitStep := ramp(cols[j].x)
			if !ok || len(cols[j].x) < 2 || s.time >= 0 && !straight(cols[j].x) {
				continue
			}
			index := unitStep && cols[j].ints
			isTime[j] = true
			switch {
			case s.time < 0 && index:
				s.time, s.timeKind = j, unitIndex
			case s.time < 0 || s.timeKind == unitIndex && !index:
				s.time, s.timeKind = j, unitSecond
			}
		}
	}
	setTime := func(j int) error {
		s.time, s.timeFactor, s.timeText, s.timeClock = j, 0, "", false
		if roles[j].has && s.timeKind == unitSecond && roles[j].unit.kind == unitSecond {
			s.timeFactor = roles[j].unit.factor
			s.timeText = hd.units[j]
			if s.timeText == "" {
				s.timeText = cols[j].unit
			}
		}
		if cols[j].clock {
			s.timeClock, s.timeFactor, s.timeText = true, 1, "s"
		}
		if cols[j].changes && !s.timeClock {
			return &ParseError{Path: name, Line: cols[j].line, Column: j + 1, Found: "a time whose unit changes from row to row", Expected: "one unit in the whole column", Fix: "export the times in seconds"}
		}
		return nil
	}
	if s.time >= 0 {
		if err := setTime(s.time); err != nil {
			return nil, err
		}
	}
	// The others.
	for _, j := range t.numeric {
		r := roles[j]
		if isTime[j] {
			continue
		}
		isRaw := r.has && r.unit.kind == unitCount || rawName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt)
		switch {
		case r.name != "" && segName.MatchString(r.name):
			s.seg = j
		case isRaw:
			s.raw = append(s.raw, j)
		case r.has && r.unit.kind == unitAmpere, ampName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt):
			s.current = append(s.current, j)
		case r.has && (r.unit.kind == unitOther || r.unit.kind == unitHertz), otherName.MatchString(r.name) && !(r.has && r.unit.kind == unitVolt), freqName.MatchString(r.name) && r.unit.kind != unitVolt && len(r.name) > 1:
		default:
			if s.time >= 0 && sameColumn(cols[j].x, cols[s.time].x) {
				continue // a simulator repeats the time before every vector
			}
			s.volts = append(s.volts, j)
		}
	}
	// Unnamed codes beside their volts.
	if len(s.volts) > 1 {
		var keep []int
		for _, j := range s.volts {
			coded := false
			if cols[j].ints && !roles[j].has {
				for _, k := range s.volts {
					if k != j && !cols[k].ints && affine(cols[j].x, cols[k].x) {
						coded = true
					}
				}
			}
			if coded {
				s.raw = append(s.raw, j)
			} else {
				keep = append(keep, j)
			}
		}
		s.volts = keep
	}
	if len(s.volts) == 0 {
		s.volts, s.raw = s.raw, nil
	}
	if len(s.volts) == 0 {
		if len(s.current) > 0 {
			return nil, &ParseError{Path: name, Line: hd.firstLine(t), Column: s.current[0] + 1, Found: "a current in amperes", Expected: "a column of volts", Fix: "save the voltage channel"}
		}
		return nil, &ParseError{Path: name, Line: hd.firstLine(t), Found: "no column of volts", Expected: "time and volts columns", Fix: "export the channel's voltage"}
	}
	s.nameChannels(hd, cols, p)
	// Where every channel has a time column of its own in front of it, the
	// chosen channel's counts.
	if ch, err := pickChannel(name, opt.Channel, s.names); err == nil && len(s.volts) > 1 && s.timeKind == unitSecond {
		own := 0
		for _, j := range s.volts {
			if isTime[j-1] {
				own++
			}
		}
		if j := s.volts[ch]; own == len(s.volts) && j-1 != s.time {
			if err := setTime(j - 1); err != nil {
				return nil, err
			}
		}
	}
	return s, nil
}

// nameChannels gives the volts columns unique names.
func (s *schema) nameChannels(hd *header, cols []columnData, p *preamble) {
	seen := map[string]int{}
	for i, j := range s.volts {
		n := hd.names[j]
		if n == "" || len(s.volts) == 1 && isUnitWord(n) {
			if v, ok := p.get(metaSource, "", i, len(s.volts)); ok && v.text != "" && (len(s.volts) == 1 || v.of == len(s.volts)) {
				n = v.text
			}
		}
		if n == "" && len(s.volts) > 1 {
			n = fmt.Sprintf("column %d", j+1)
		}
		seen[n]++
		if seen[n] > 1 {
			n = fmt.Sprintf("%s (column %d)", n, j+1)
		}
		s.names = append(s.names, n)
		u := hd.units[j]
		if u == "" {
			u = cols[j].unit
		}
		s.units = append(s.units, u)
	}
}
