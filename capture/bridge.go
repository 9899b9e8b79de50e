package capture

import (
	"fmt"
	"math"
)

// Limits of what is bridged: few samples, in short runs.
const (
	bridgeRun  = 10
	bridgeFree = 5   // samples always allowed
	bridgePart = 200 // and one in so many beyond
)

// bridgeMissing draws straight lines over single samples that are no numbers
// and trims rows without a sample at either end, where the screen was wider
// than the memory.
func (o *rowsRead) bridgeMissing(name string, r *record, t *Trace) error {
	if o.badN == 0 {
		return nil
	}
	v := r.volts
	a, b := 0, len(v)
	for a < b && math.IsNaN(v[a]) {
		a++
	}
	for b > a && math.IsNaN(v[b-1]) {
		b--
	}
	if a+len(v)-b > 0 {
		t.assume("rows trimmed", fmt.Sprintf("%d at the start, %d at the end", a, len(v)-b), "they hold no sample: the screen was wider than the memory")
	}
	n, run, longest := 0, 0, 0
	for _, x := range v[a:b] {
		if math.IsNaN(x) {
			n++
			run++
			longest = max(longest, run)
		} else {
			run = 0
		}
	}
	most := max(bridgeFree, len(v)/bridgePart)
	if n > most || longest > bridgeRun {
		at := o.bad[0]
		return &ParseError{Path: name, Line: at.line, Found: fmt.Sprintf("%d of %d samples are not numbers, first %q in line %d", n, len(v), at.text, at.line), Expected: fmt.Sprintf("at most %d, and no more than %d in a row", most, bridgeRun), Fix: "save the record again"}
	}
	for i := a; i < b; i++ {
		if !math.IsNaN(v[i]) {
			continue
		}
		e := i
		for math.IsNaN(v[e]) {
			e++
		}
		for k := i; k < e; k++ {
			v[k] = v[i-1] + (v[e]-v[i-1])*float64(k-i+1)/float64(e-i+1)
		}
		i = e
	}
	r.volts = v[a:b]
	r.fit.start += r.fit.step * float64(a)
	r.row0 += a
	if n > 0 {
		at := o.bad[0]
		t.caution(CautionBridged, fmt.Sprintf("%d of %d samples are not numbers, first %q in line %d; filled in with straight lines", n, len(v), at.text, at.line), "save the record again")
	}
	return nil
}

// How a sample over the instrument's range stands among the volts until
// resolveOver: an infinity where its token tells the end, else one of these.
const (
	overAnyEnd = math.MaxFloat64  // a token for over range that tells no end
	overMaybe  = -math.MaxFloat64 // a dash: over range or missing
)

// dashNear is how near to an end of the record, as a share of its span, both
// neighbours of a dash must be for it to mean over range.
const dashNear = 0.25

// resolveOver gives samples over the instrument's range the greatest or least
// value that the file holds: there is where the converter stopped.
func (o *rowsRead) resolveOver() {
	if o.overN == 0 {
		return
	}
	o.overN = 0
	lo, hi := math.Inf(1), math.Inf(-1)
	var below, above bool // tokens that tell their end
	for _, v := range o.volts {
		if measured(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
		below, above = below || math.IsInf(v, -1), above || math.IsInf(v, 1)
	}
	for i := 0; i < len(o.volts); i++ {
		if !overMark(o.volts[i]) {
			continue
		}
		e := i
		for e < len(o.volts) && overMark(o.volts[e]) {
			e++
		}
		near := o.beside(i, e)
		for k := i; k < e; k++ {
			if o.volts[k] == overAnyEnd && below && !above {
				o.volts[k] = math.Inf(1) // "Over" beside "-Over"
			}
			if o.volts[k] = endStopOf(o.volts[k], near, lo, hi); !math.IsNaN(o.volts[k]) {
				o.overN++
			}
		}
		i = e
	}
}

// measured tells a sample from marks for over range and for none.
func measured(v float64) bool { return !math.IsNaN(v) && math.Abs(v) < math.MaxFloat64 }

// overMark tells a mark for over range.
func overMark(v float64) bool { return !math.IsNaN(v) && !measured(v) }

// beside gives the samples next to the rows from i to e.
func (o *rowsRead) beside(i, e int) []float64 {
	var near []float64
	if i > 0 && measured(o.volts[i-1]) {
		near = append(near, o.volts[i-1])
	}
	if e < len(o.volts) && measured(o.volts[e]) {
		near = append(near, o.volts[e])
	}
	return near
}

// endStopOf gives the value of one sample over range between the neighbours
// near, in a record from lo to hi; NaN where it is none.
func endStopOf(v float64, near []float64, lo, hi float64) float64 {
	switch {
	case hi < lo:
		return math.NaN()
	case math.IsInf(v, 1):
		return hi
	case math.IsInf(v, -1):
		return lo
	}
	up, atTop, atBottom := 0.0, len(near) > 0, len(near) > 0
	for _, x := range near {
		up += x - (lo+hi)/2
		atTop = atTop && x >= hi-dashNear*(hi-lo)
		atBottom = atBottom && x <= lo+dashNear*(hi-lo)
	}
	if v == overMaybe && !atTop && !atBottom {
		return math.NaN()
	}
	if up < 0 {
		return lo
	}
	return hi
}

// sayOver states samples over the instrument's range, by marks in place of their volts and
// behind them.
func (o *rowsRead) sayOver(name string, t *Trace) error {
	const fix = "use more volts per division"
	marked := ""
	if o.remarksOver > 0 {
		marked = Plural(o.remarksOver, "sample") + " marked as over the instrument's range"
	}
	if o.overN == 0 {
		if marked != "" {
			t.caution(CautionClipped, marked+"; the true peaks are higher", fix)
		}
		return nil
	}
	if marked != "" {
		marked = ", and " + marked + " behind their volts"
	}
	if 2*o.overN > len(o.volts) {
		return &ParseError{Path: name, Line: o.bad[0].line, Found: fmt.Sprintf("%d of %d samples over the instrument's range, first %q in line %d", o.overN, len(o.volts), o.bad[0].text, o.bad[0].line), Expected: "a signal within it", Fix: "use more volts per division and save the record again"}
	}
	t.Levels.OverRange = o.overN
	t.caution(CautionClipped, fmt.Sprintf("%d samples were over the instrument's range, first %q in line %d; they are kept at the end of its range%s, and the true peaks are higher", o.overN, o.bad[0].text, o.bad[0].line, marked), fix)
	return nil
}
