package capture

import (
	"fmt"
	"math"
)

// sortOthers tells volts from codes, currents and the rest.
func (f *schemaFinder) sortOthers() {
	for _, j := range f.t.numeric {
		if f.isTime[j] {
			continue
		}
		what := f.otherThanVolts(j)
		switch {
		case segName.MatchString(f.roles[j].name):
			f.s.seg = j
		case f.isRaw(j):
			f.s.raw = append(f.s.raw, j)
		case what != "":
			f.other(j, what)
		case f.s.time >= 0 && sameColumn(f.cols[j].x, f.cols[f.s.time].x):
			// A simulator repeats the time before every vector.
		default:
			f.s.volts = append(f.s.volts, j)
		}
	}
}

// isRaw tells a column of converter codes by unit or name.
func (f *schemaFinder) isRaw(j int) bool {
	r := f.roles[j]
	return r.has && r.unit.kind == unitCount || rawName.MatchString(r.name) && !r.of(unitVolt) && !f.cols[j].decimals()
}

// of reports whether a unit of the kind is stated.
func (r *role) of(k unitKind) bool { return r.has && r.unit.kind == k }

// otherThanVolts tells what a column holds that its unit or its name says to be
// no voltage, "" where they don't.
func (f *schemaFinder) otherThanVolts(j int) string {
	r := f.roles[j]
	volt := r.of(unitVolt)
	switch {
	case !r.has && r.name == "i" && f.named("q"): // in phase, beside the quadrature
	case r.of(unitAmpere), ampName.MatchString(r.name) && !volt, saysOther(currentWord, &r), !r.has && currentSymbol.MatchString(f.hd.names[j]):
		return "a current"
	case quantityUnit.MatchString(r.name):
		return "values"
	case resultName.MatchString(r.name):
		return "a measurement's result per row"
	case saysOther(otherWord, &r):
		return "values"
	case r.of(unitOther), r.of(unitHertz), otherName.MatchString(r.name) && !volt, freqName.MatchString(r.name) && !volt && len(r.name) > 1:
		return "values"
	case !r.has && !f.inVolt[j] && !voltName.MatchString(f.hd.names[j]) && f.cols[j].levels():
		return "logic levels, 0 and 1"
	}
	return ""
}

// named reports whether a column has the folded name.
func (f *schemaFinder) named(name string) bool {
	for _, j := range f.t.numeric {
		if f.roles[j].name == name {
			return true
		}
	}
	return false
}

// saysOther reports whether a column without a unit has a word in its name that
// is no voltage's, and none that is.
func saysOther(word *pattern, r *role) bool {
	return !r.has && word.MatchString(r.name) && !voltWord.MatchString(r.name)
}

// levels reports whether a column holds 0 and 1 in turn, as whole numbers.
func (c *columnData) levels() bool {
	if !c.ints {
		return false
	}
	turns, last := 0, math.NaN()
	for _, v := range c.x {
		if v != 0 && v != 1 {
			return false
		}
		if v != last && !math.IsNaN(last) {
			turns++
		}
		last = v
	}
	return turns > 1
}

// other notes column j as one of no volts.
func (f *schemaFinder) other(j int, what string) {
	if r := f.roles[j]; r.has {
		what += " in " + r.text
	}
	name := f.hd.names[j]
	if name == "" {
		name = fmt.Sprintf("column %d", j+1)
	}
	f.s.others = append(f.s.others, otherColumn{j, name, what})
}

// setCodesApart takes whole numbers without a unit that follow another column for the
// codes of its volts, and those beside columns in volts for no volts.
func (f *schemaFinder) setCodesApart() {
	if len(f.s.volts) < 2 {
		return
	}
	var keep []int
	for _, j := range f.s.volts {
		coded := false
		if f.cols[j].ints && !f.roles[j].has {
			for _, k := range f.s.volts {
				if k != j && !f.cols[k].ints && (f.roles[k].of(unitVolt) && f.cols[j].likeCodes() || affine(f.cols[j].x, f.cols[k].x)) {
					coded = true
				}
			}
		}
		if coded {
			f.s.raw = append(f.s.raw, j)
		} else {
			keep = append(keep, j)
		}
	}
	f.s.volts = keep
}

// Recognising one record printed with several samples a line.
const (
	wrappedColumns = 3   // least samples a line
	wrappedWithin  = 0.5 // of the change down a column, the change along a line at most
	wrappedOver    = 1.5 // of the change along a line, that to the next line at most
)

// refuseWrapped refuses columns without names and without a time whose numbers run
// on along each line and from its end to the next: one record, several samples a
// line, which read down would have its rate too high as many times.
func (f *schemaFinder) refuseWrapped(opt Options) error {
	v := f.s.volts
	if f.s.time >= 0 || len(v) < wrappedColumns || opt.Channel != "" {
		return nil
	}
	for _, j := range v {
		if f.hd.names[j] != "" {
			return nil
		}
	}
	var within, over, down float64
	last := len(v) - 1
	for i := range len(f.cols[v[0]].x) - 1 {
		for k, j := range v {
			x := f.cols[j].x
			down += math.Abs(x[i+1]-x[i]) / float64(len(v))
			if k < last {
				within += math.Abs(f.cols[v[k+1]].x[i]-x[i]) / float64(last)
			}
		}
		over += math.Abs(f.cols[v[0]].x[i+1] - f.cols[v[last]].x[i])
	}
	if within > 0 && within < wrappedWithin*down && over < wrappedOver*within {
		return &ParseError{Path: f.name, Line: f.t.firstNumber, Found: fmt.Sprintf("%d numbers a line that run on from line to line: one record, %d samples a line", len(v), len(v)), Expected: "one sample per line", Fix: "export one sample per line, or, if they are channels, choose one with --channel"}
	}
	return nil
}

// wantVolts falls back on codes and fails without a column of volts.
func (f *schemaFinder) wantVolts() error {
	if len(f.s.volts) == 0 {
		f.s.volts, f.s.raw = f.s.raw, nil
	}
	if len(f.s.volts) == 0 {
		if len(f.s.others) > 0 {
			o := f.s.others[0]
			return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Column: o.col + 1, Found: o.what, Expected: "a column of volts", Fix: "save the voltage channel's waveform"}
		}
		return &ParseError{Path: f.name, Line: f.hd.firstLine(f.t), Found: "no voltage column", Expected: "a time and a voltage column", Fix: "export the channel's voltage"}
	}
	return nil
}
