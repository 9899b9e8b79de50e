package capture

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// byTime sorts rows by their stamps.
//
// Note: package slices sorts one slice; here two move together.
type byTime struct{ t, v []float64 }

func (b byTime) Len() int           { return len(b.t) }
func (b byTime) Less(i, j int) bool { return b.t[i] < b.t[j] }
func (b byTime) Swap(i, j int) {
	b.t[i], b.t[j] = b.t[j], b.t[i]
	b.v[i], b.v[j] = b.v[j], b.v[i]
}

// Limits of what resampling may repair.
const (
	unevenMaxGap    = 0.1 // of the record
	unevenMaxGrowth = 4   // grid points per row
)

// settle makes an even record of rows that are out of order or unevenly
// spaced: it sorts them, and resamples between them with straight lines.
func (o *rowsRead) settle(name string, p *rowSpec, opt Options, t *Trace) (*record, error) {
	x, v := o.times[:0], o.volts[:0]
	for i, ti := range o.times {
		if !math.IsNaN(ti) && !math.IsNaN(o.volts[i]) {
			x, v = append(x, ti), append(v, o.volts[i])
		}
	}
	x, v, err := restarted(name, o.first, x, v, opt, t)
	if err != nil {
		return nil, err
	}
	n := len(x)
	if n < minSamples {
		return nil, &ParseError{Path: name, Line: o.lines, Found: fmt.Sprintf("%d rows with a time", n), Expected: fmt.Sprintf("at least %d", minSamples)}
	}
	rows := byTime{x, v}
	if !sort.IsSorted(rows) {
		back := 0
		for i := 1; i < n; i++ {
			if x[i] < x[i-1] {
				back++
			}
		}
		sort.Stable(rows)
		t.assume("row order", "sorted by time", fmt.Sprintf("%d rows were out of order", back))
		t.caution(CautionUnsorted, fmt.Sprintf("the rows were not in the order of their times (%d steps back); they were sorted", back), "save the record again")
	}
	if r, ok := pairRecord(p, x, v); ok {
		a := &t.Acquisition
		a.Extremes, a.Mode, a.ModeWhy = ExtremesPairs, AcquisitionPeak, "each time appears twice, with the lowest and the highest value"
		return r, nil
	}
	same := 0
	for i := 1; i < n; i++ {
		if x[i] == x[i-1] {
			same++
		}
	}
	b, step := p.blockOf(x)
	if step <= 0 {
		return nil, &ParseError{Path: name, Line: o.first, Column: p.time + 1, Found: "a time that does not advance", Expected: "rising times", Fix: "give --rate"}
	}
	f := b.fit(step)
	if f.rms <= max(0.6*b.ulp, jitterShare*f.step) {
		r := &record{volts: v, fit: f, ulp: b.ulp}
		if lo, hi, ok := p.slopeBounds(x, f.step); ok && r.coarse() {
			r.stepLo, r.stepHi = lo, hi
		}
		return r, nil
	}
	if same*10 > n {
		return nil, &ParseError{Path: name, Line: o.first, Column: p.time + 1, Found: fmt.Sprintf("%d rows with the time of another row", same), Expected: "one record with rising times", Fix: "export one segment at a time, or give --rate"}
	}
	return resample(name, o.first, p, x, v, f, t)
}

// restarted gives one of several records of different rates that stand one after the other:
// each time goes back by many steps at once, and rises all the way to the next time. Rows out
// of order go back by a few steps, or many times.
func restarted(name string, line int, x, v []float64, opt Options, t *Trace) (_, _ []float64, err error) {
	starts := []int{0}
	for i := 1; i < len(x); i++ {
		if x[i] < x[i-1] {
			starts = append(starts, i)
		}
	}
	if len(starts) == 1 || len(starts) > len(x)/minSamples {
		return x, v, nil
	}
	var pieces []timeBlock
	var paces []float64
	for k, from := range starts {
		to := len(x)
		if k+1 < len(starts) {
			to = starts[k+1]
		}
		if to-from < minSamples {
			return x, v, nil
		}
		paces = append(paces, upperMedian(stepsOf(x[from:to])))
		if k > 0 && x[from-1]-x[from] < minSamples*min(paces[k-1], paces[k]) {
			return x, v, nil
		}
		pieces = append(pieces, timeBlock{row0: from, n: to - from, line: line + from})
	}
	if k := opt.Segment - 1; k > 0 && k < len(paces) && unitSlip(paces[k]/paces[0]) && opt.TimeUnit == "" && opt.RateHz == 0 {
		return x, v, &ParseError{Path: name, Line: pieces[k].line, Found: fmt.Sprintf("times %.4g apart in segment %d, %.4g in the first: they may be in another unit, and the volts, too", paces[k], k+1, paces[0]), Expected: "one unit of time", Fix: "save each capture in a file of its own"}
	}
	use, err := chooseSegment(name, v, pieces, opt.Segment, t)
	return x[use.row0 : use.row0+use.n], v[use.row0 : use.row0+use.n], err
}

// stepsOf is the differences between neighbours.
func stepsOf(x []float64) []float64 {
	d := make([]float64, 0, len(x))
	for i := 1; i < len(x); i++ {
		d = append(d, x[i]-x[i-1])
	}
	return d
}

// blockOf gives the sums for a fit through the stamps x about the mean step.
func (p *rowSpec) blockOf(x []float64) (b timeBlock, step float64) {
	n := len(x)
	b = timeBlock{n: n, first: x[0], last: x[n-1], lastJ: n - 1, ulp: max(p.resolutionAt(x[0]), p.resolutionAt(x[n-1]))}
	step = (x[n-1] - x[0]) / float64(n-1)
	for i, ti := range x {
		j := float64(i)
		u := ti - x[0] - step*j
		b.m++
		b.sj += j
		b.sjj += j * j
		b.su += u
		b.sju += j * u
		b.suu += u * u
	}
	return b, step
}

// pairsInOrder is the share of pairs that must hold least and greatest in one
// order.
const pairsInOrder = 0.98

// pairRecord knows peak-detect and envelope records: each time stands twice,
// and of its two values the same one is the greater. The record has both
// samples of a pair, half an interval apart.
func pairRecord(p *rowSpec, x, v []float64) (*record, bool) {
	pairs := len(x) / 2
	if pairs < minSamples {
		return nil, false
	}
	var up, down, odd int
	stamps := make([]float64, pairs)
	for k := range pairs {
		stamps[k] = x[2*k]
		switch d := v[2*k+1] - v[2*k]; {
		case d > 0:
			up++
		case d < 0:
			down++
		}
		if x[2*k] != x[2*k+1] || k > 0 && x[2*k] <= x[2*k-1] {
			odd++
		}
	}
	if float64(odd) > (1-pairsInOrder)*float64(pairs) || min(up, down) > pairs-int(pairsInOrder*float64(pairs)) || up+down < pairs/4 {
		return nil, false
	}
	b, step := p.blockOf(stamps)
	if step <= 0 {
		return nil, false
	}
	f := b.fit(step)
	if f.rms > max(0.6*b.ulp, jitterShare*f.step) {
		return nil, false
	}
	r := &record{volts: v[:2*pairs], fit: f, ulp: b.ulp, pairs: true}
	if lo, hi, ok := p.slopeBounds(stamps, f.step); ok && r.coarse() {
		r.stepLo, r.stepHi = lo/2, hi/2
	}
	r.fit.step, r.fit.stepErr, r.fit.stepMost = f.step/2, f.stepErr/2, f.stepMost/2
	return r, true
}

// resample draws straight lines between uneven samples and reads them off on
// an even grid. The rows begin in line.
func resample(name string, line int, p *rowSpec, x, v []float64, f timeFit, t *Trace) (*record, error) {
	n := len(x)
	steps := make([]float64, 0, n)
	gap, gapAt := 0.0, 0
	for i := 1; i < n; i++ {
		d := x[i] - x[i-1]
		if d > 0 {
			steps = append(steps, d)
		}
		if d > gap {
			gap, gapAt = d, i
		}
	}
	span := x[n-1] - x[0]
	slices.Sort(steps)
	q := func(f float64) float64 { return steps[int(f*float64(len(steps)-1))] }
	if gap > unevenMaxGap*span {
		return nil, &ParseError{Path: name, Line: line, Column: p.time + 1, Found: fmt.Sprintf("an uneven time with a gap of %.3g %s after %.9g", gap, t.TimeUnit, x[gapAt-1]), Expected: "even sampling", Fix: "save the record again, without the gap"}
	}
	step := max(q(0.1), span/float64(unevenMaxGrowth*n))
	start, m := x[0], int(span/step)+1
	near := math.Abs(f.start-x[0]) < f.step && math.Abs(f.start+f.step*float64(n-1)-x[n-1]) < f.step
	if q(0.95) < 4*q(0.05) && near {
		start, step, m = f.start, f.step, n // a jittering clock, not an adaptive one
	}
	out := make([]float64, m)
	k := 0
	for i := range out {
		ti := start + step*float64(i)
		for k < n-2 && x[k+1] < ti {
			k++
		}
		d := x[k+1] - x[k]
		if d <= 0 {
			out[i] = v[k]
			continue
		}
		out[i] = v[k] + (v[k+1]-v[k])*(ti-x[k])/d
	}
	t.Span.HighHz = 0.4 / q(0.95) // in 1/unit; the caller scales
	t.caution(CautionUneven, fmt.Sprintf("the sampling is uneven (steps of %.3g to %.3g %s, median %.3g): resampled to an even grid with straight lines, which weakens the highest frequencies", q(0), gap, t.TimeUnit, q(0.5)), "export with an even time step")
	return &record{volts: out, fit: timeFit{start: start, step: step}}, nil
}
