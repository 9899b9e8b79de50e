package capture

import (
	"fmt"
	"math"
)

// Settings without a name stand above samples in a column of their own: how many follow,
// their interval, where the trigger is.
const (
	mostBare    = 8    // lines of them
	bareBeyond  = 3    // times the largest sample, by which a count or a rate exceeds it
	bareBelow   = 1e-3 // of the largest sample, below which an interval is
	bareMatches = 1e-6 // relative, by which an interval or a rate agrees with the one in use
)

// refuseBareNumbers refuses a single column whose first values are settings: a count of the
// rows that follow, or the interval or the rate that the user gave because the file names none.
// As volts they would be the record's peaks.
func (im *importer) refuseBareNumbers(v []float64) error {
	if im.sc.time >= 0 || len(im.tab.numeric) > 1 || len(v) < mostBare+minSamples {
		return nil
	}
	for i, x := range v[:mostBare] {
		what, large := "", true
		switch above := float64(len(v)) - x; {
		case above == math.Trunc(above) && above > float64(i) && above <= mostBare:
			what = fmt.Sprintf("as many as the rows below line %d", im.tab.firstNumber+int(above)-1)
		case math.Abs(x*im.stepS-1) < bareMatches:
			what = "the sample rate"
		case math.Abs(x/im.stepS-1) < bareMatches:
			what, large = "the sample interval", false
		default:
			continue
		}
		reach := extentOf(v[mostBare:])
		if most := max(math.Abs(reach.lo), math.Abs(reach.hi)); large && x < bareBeyond*most || !large && x > bareBelow*most {
			continue
		}
		return &ParseError{Path: im.src.name, Line: im.tab.firstNumber + i, Column: im.tab.numeric[0] + 1, Found: fmt.Sprintf("%g, %s: a setting above the samples", x, what), Expected: "samples only", Fix: "delete the lines above the first sample"}
	}
	return nil
}

// How far beyond the samples, in their peak-to-peak, a result below them lies, and how near
// it is to what it states, as printed.
const (
	resultBeyond = 1
	resultWithin = 5e-3
)

// refuseBareResults refuses a single column whose last values are results without a name, as
// a spreadsheet's formulas below the samples leave them: their peak-to-peak, deviation or
// count. As volts they would be the record's peaks. Means and extremes lie among the samples
// and are told by the results beside them.
func (im *importer) refuseBareResults(v []float64) error {
	if im.sc.time >= 0 || len(im.tab.numeric) > 1 || len(v) < mostBare+minSamples {
		return nil
	}
	reach := extentOf(v[:len(v)-mostBare])
	pp := reach.hi - reach.lo
	first := len(v)
	for i := len(v) - mostBare; i < len(v) && first == len(v); i++ {
		if v[i] > reach.hi+resultBeyond*pp || v[i] < reach.lo-resultBeyond*pp {
			first = i
		}
	}
	if first == len(v) || pp == 0 {
		return nil
	}
	x := v[:first]
	reach = extentOf(x)
	mean, power := 0.0, 0.0
	for _, y := range x {
		mean += y / float64(len(x))
	}
	for _, y := range x {
		power += (y - mean) * (y - mean) / float64(len(x))
	}
	for _, r := range []struct {
		value float64
		what  string
	}{{reach.hi - reach.lo, "the peak-to-peak"}, {math.Sqrt(power), "the standard deviation"}, {float64(len(x)), "the number"}} {
		if math.Abs(v[first]/r.value-1) < resultWithin {
			return &ParseError{Path: im.src.name, Found: fmt.Sprintf("%g in row %d, %s of those above: a result below the samples", v[first], first+1, r.what), Expected: "samples only", Fix: "delete the lines below the last sample"}
		}
	}
	return nil
}
