package capture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// timeFit is the even time grid of a run of rows, in the file's time unit.
type timeFit struct {
	start, step float64
	rms         float64 // of the stamps against the grid
	stepErr     float64 // one-sigma uncertainty of step from rounding
	stepMost    float64 // greatest error of step, however the stamps were rounded or cut
}

// fit is the least-squares line through a block's stamps.
func (b *timeBlock) fit(step0 float64) timeFit {
	if b.m < 2 {
		return timeFit{start: b.first, step: step0, stepErr: math.Inf(1)}
	}
	sjj := b.sjj - b.sj*b.sj/b.m
	sju := b.sju - b.sj*b.su/b.m
	slope := sju / sjj
	icpt := (b.su - slope*b.sj) / b.m
	f := timeFit{start: b.first + icpt, step: step0 + slope}
	if v := (b.suu - b.su*b.su/b.m - slope*sju) / b.m; v > 0 {
		f.rms = math.Sqrt(v)
	}
	// Rounding errors spread evenly over one printed step have an rms of
	// ulp/sqrt(12); a slope over n even points has 12/n^3 of their variance.
	f.stepErr = math.Max(f.rms, b.ulp/math.Sqrt(12)) * math.Sqrt(12) / math.Pow(b.m, 1.5)
	// Errors within one printed step that follow the rows, as of stamps that
	// are cut or come from single precision, turn the line by no more than
	// ulp/2·Σ|j-m|/Σ(j-m)².
	f.stepMost = 1.5 * b.ulp / b.m
	if math.Abs(f.start-b.first) <= b.ulp {
		f.start = b.first
	}
	return f
}

// roundStep gives the rounder of step and 1/step, within tol of step: the
// exporter's clock is a round number, its stamps are not.
func roundStep(step, tol float64) float64 {
	tol = max(tol, 4e-16*math.Abs(step))
	for digits := 0; digits < 15; digits++ {
		if r, err := strconv.ParseFloat(strconv.FormatFloat(step, 'e', digits, 64), 64); err == nil && math.Abs(r-step) <= tol {
			return r
		}
		if q, err := strconv.ParseFloat(strconv.FormatFloat(1/step, 'e', digits, 64), 64); err == nil && q != 0 && math.Abs(1/q-step) <= tol {
			return 1 / q
		}
	}
	return step
}

// Judging the time column.
const (
	// jitterShare of a step is how far stamps may scatter, rms, and still be
	// taken for an even clock.
	jitterShare = 0.02
	// bridgeGap is the longest run of missing rows that is bridged, and
	// bridgeShare the greatest share of the record bridged in all.
	bridgeGap   = 3
	bridgeShare = 0.05
	// leadRows is how many rows of numbers ahead of the table may be taken
	// for a block of settings.
	leadRows = 16
)

// record is the chosen, even part of the rows.
type record struct {
	volts []float64
	fit   timeFit
	ulp   float64
	row0  int // of the first row used, 0-based
	// line is that of the first row where the rows are one piece of the file, else 0;
	// behind is the line that the piece before it ends in.
	line, behind int
	// stepLo and stepHi bound the step where the stamps are coarse, in the
	// file's time unit; both 0 where they are not.
	stepLo, stepHi float64
	pairs          bool // least and greatest of each interval under one stamp
}

// coarse reports whether the stamps' rounding shows in the step.
func (r *record) coarse() bool { return r.ulp > coarseShare*math.Abs(r.fit.step) && r.fit.step != 0 }

// bound fills stepLo and stepHi from the kept stamps of the record's n rows.
func (r *record) bound(o *rowsRead, p *rowSpec, n int) {
	if !r.coarse() || len(o.times) != len(o.volts) || r.row0+n > len(o.times) {
		return
	}
	lo, hi, ok := p.slopeBounds(o.times[r.row0:r.row0+n], r.fit.step)
	if !ok {
		// A row or two lost within the rounding: the ends alone bound it.
		off := r.ulp / float64(max(1, n-1))
		lo, hi = r.fit.step-off, r.fit.step+off
	}
	r.stepLo, r.stepHi = lo, hi
}

// Knowing lost rows by stamps as coarse as the sample interval.
const (
	// gridStep is the least of the stamps' resolutions that the usual step between rows
	// holds where rounding alone can't double it.
	gridStep = 1.5
	// onGrid is how far, as a share of the usual step, a step may be off its multiple.
	onGrid = 0.05
)

// fillLost knows rows that are missing where the stamps are so coarse that a row's gap is
// within their rounding: every step is the usual one or a whole multiple of it, and none
// lies between, as rounding would have some do. A line through all of them would give too
// low a rate. Few lost rows are filled in with straight lines.
func (r *record) fillLost(o *rowsRead, use *timeBlock, t *Trace) bool {
	n := use.n
	if !r.coarse() || len(o.times) != len(o.volts) || r.row0+n > len(o.times) {
		return false
	}
	x := o.times[r.row0 : r.row0+n]
	d := make([]float64, 0, n)
	for i := 1; i < n; i++ {
		if math.IsNaN(x[i]) || math.IsNaN(x[i-1]) {
			return false
		}
		d = append(d, x[i]-x[i-1])
	}
	usual := upperMedian(d)
	if math.Abs(usual) < gridStep*r.ulp {
		return false
	}
	lost, firstAt, longest := 0, 0, 1
	for i := 1; i < n; i++ {
		k := (x[i] - x[i-1]) / usual
		m := int(math.Round(k))
		if m < 1 || math.Abs(k-float64(m)) > onGrid {
			return false
		}
		if m > 1 && lost == 0 {
			firstAt = i
		}
		lost, longest = lost+m-1, max(longest, m)
	}
	if lost == 0 {
		return false
	}
	if longest > bridgeGap+1 || float64(lost) > bridgeShare*float64(n) {
		return false
	}
	out := make([]float64, 0, n+lost)
	out = append(out, r.volts[0])
	for i := 1; i < n; i++ {
		out = appendBetween(out, r.volts[i-1], r.volts[i], int(math.Round((x[i]-x[i-1])/usual)))
		out = append(out, r.volts[i])
	}
	step := (x[n-1] - x[0]) / float64(len(out)-1)
	t.caution(CautionGaps, fmt.Sprintf("%s seem to be missing, first before line %d: a few time stamps are %.4g %s apart, all others %.4g; filled in with straight lines", Plural(lost, "row"), use.line+firstAt, 2*math.Abs(usual), t.TimeUnit, math.Abs(usual)), "save the record again")
	*r = record{volts: out, ulp: r.ulp, row0: r.row0, fit: timeFit{start: x[0], step: step, stepErr: r.ulp / float64(len(out)), stepMost: r.ulp / float64(len(out))}}
	return true
}

// appendBetween appends the k-1 values that a straight line has between two k steps apart.
func appendBetween(out []float64, v0, v1 float64, k int) []float64 {
	for q := 1; q < k; q++ {
		out = append(out, v0+(v1-v0)*float64(q)/float64(k))
	}
	return out
}

// errNeedTimes asks for a second pass that keeps every time stamp.
var errNeedTimes = fmt.Errorf("times needed")

// choose picks the even record out of the pieces, or says why there is none.
func (o *rowsRead) choose(name string, p *rowSpec, opt Options, t *Trace) (*record, error) {
	if len(o.volts) == 0 {
		return nil, &ParseError{Path: name, Line: o.lines, Found: "no row of numbers", Expected: "time and volts"}
	}
	if o.tooManyJumps {
		return nil, errNeedTimes
	}
	if p.clock {
		o.overMidnight()
	}
	pieces := o.dropLead(name, o.dropRepeats(o.joinOverText(p), p, t), p, t)
	use := pieces[0]
	switch {
	case len(pieces) > 1 && segmented(pieces, p):
		var err error
		if use, err = chooseSegment(name, o.volts, pieces, opt.Segment, t); err != nil {
			return nil, err
		}
	case len(pieces) > 1:
		joined, longest, err := o.overGaps(pieces, p, t)
		if joined != nil || err != nil {
			return joined, err
		}
		use = longest
	case opt.Segment > 1:
		return nil, &ParseError{Path: name, Line: use.line, Found: "one segment", Expected: fmt.Sprintf("segment %d", opt.Segment), Fix: "leave --segment out"}
	}
	o.sayUnstamped(&use, p, t)
	r := &record{volts: o.volts[use.row0 : use.row0+use.n], ulp: use.ulp, row0: use.row0, line: use.line, behind: o.first}
	for _, b := range pieces {
		if b.line < use.line {
			r.behind = max(r.behind, b.line+b.n-1)
		}
	}
	if p.time < 0 {
		return r, nil
	}
	return r, o.fitRecord(name, r, &use, p, t)
}

// dayS is the length of a day in seconds.
const dayS = 86400

// overMidnight lets the time of day run on where it falls by most of a day.
func (o *rowsRead) overMidnight() {
	days := 0.0
	for i := range o.pieces {
		b := &o.pieces[i]
		if i > 0 && b.m > 0 && o.pieces[i-1].last-(b.first+days*dayS) > dayS/2 {
			days++
			b.why = breakText // joined where the times run on
		}
		b.first += days * dayS
		b.last += days * dayS
	}
	days = 0
	for i, v := range o.times {
		if i > 0 && o.times[i-1]-(v+days*dayS) > dayS/2 {
			days++
		}
		o.times[i] += days * dayS
	}
}

// sayUnstamped leaves rows without a time behind the last one out, such as a
// mean below the table, and states others.
func (o *rowsRead) sayUnstamped(use *timeBlock, p *rowSpec, t *Trace) {
	if p.time < 0 || o.noStamp == 0 || use.m == 0 {
		return
	}
	behind := use.n - use.lastJ - 1
	if behind > 0 {
		use.n -= behind
		t.assume("rows skipped", fmt.Sprintf("%d at the end", behind), "they have no time")
	}
	if n := o.noStamp - behind; n > 0 {
		t.caution(CautionGaps, fmt.Sprintf("%d rows have no time and are taken for samples in their places", n), "save the record again")
	}
}

// joinOverText joins pieces between which lines of text stand but whose times
// run on.
func (o *rowsRead) joinOverText(p *rowSpec) []timeBlock {
	var pieces []timeBlock
	for _, b := range o.pieces {
		if k := len(pieces) - 1; k >= 0 && b.why == breakText && p.time >= 0 && b.m > 0 && pieces[k].m > 0 {
			a := &pieces[k]
			dev := b.first - a.last - p.step*float64(b.row0-a.row0-a.lastJ)
			if math.Abs(dev) <= 0.5*math.Abs(p.step)+1.01*max(a.ulp, b.ulp) {
				a.join(&b, p.step)
				continue
			}
		}
		pieces = append(pieces, b)
	}
	return pieces
}

// segmentsAlike is the ratio of two segments' peak-to-peaks up to which they are alike: the
// greatest of a thousand samples of noise scatter by a tenth.
const segmentsAlike = 1.1

// chooseSegment takes the asked segment, or the first whole one where asked is
// 0, and then tells what swings further in the others.
func chooseSegment(name string, volts []float64, pieces []timeBlock, asked int, t *Trace) (timeBlock, error) {
	k, why := asked, "given"
	if k == 0 {
		k, why = firstWhole(pieces), "the first whole one"
	}
	if k > len(pieces) {
		return timeBlock{}, &ParseError{Path: name, Line: pieces[0].line, Found: fmt.Sprintf("%d segments", len(pieces)), Expected: fmt.Sprintf("segment %d", k), Fix: "choose one that is there with --segment"}
	}
	use := pieces[k-1]
	t.assume("segment", fmt.Sprintf("%d of %d, %d rows from line %d", k, len(pieces), use.n, use.line), why)
	if asked == 0 {
		text := fmt.Sprintf("the file holds %d segments; number %d is used", len(pieces), k)
		if n, times := widest(volts, pieces, use); times > segmentsAlike {
			t.OtherSegmentsPP = times
			text += fmt.Sprintf(", and number %d swings %.2g times as far: peaks are lower bounds", n, times)
		}
		t.caution(CautionSegments, text, "choose one with --segment, or save them apart")
	}
	return use, nil
}

// widest is the number of the segment with the greatest peak-to-peak, and how many times
// that of use it is; 0 of a use that does not vary.
func widest(volts []float64, pieces []timeBlock, use timeBlock) (number int, times float64) {
	pp := func(b timeBlock) float64 {
		x := volts[b.row0 : b.row0+b.n]
		if len(x) == 0 {
			return 0
		}
		return slices.Max(x) - slices.Min(x)
	}
	most := 0.0
	for i, b := range pieces {
		if v := pp(b); v > most {
			number, most = i+1, v
		}
	}
	if own := pp(use); own > 0 {
		times = most / own
	}
	return number, times
}

// overGaps bridges short gaps between pieces, or takes the longest piece.
func (o *rowsRead) overGaps(pieces []timeBlock, p *rowSpec, t *Trace) (joined *record, longest timeBlock, err error) {
	longest = pieces[0]
	sorted, moved := inOrder(pieces, p.step < 0)
	if moved {
		return nil, longest, errNeedTimes
	}
	if joined, ok := o.bridge(sorted, p, t); ok {
		return joined, longest, nil
	}
	missing := 0.0
	for i, b := range sorted {
		if b.n > longest.n {
			longest = b
		}
		if i == 0 {
			continue
		}
		steps := (b.first - sorted[i-1].last) / p.step
		if steps < 1.5 {
			return nil, longest, errNeedTimes // a short step is no gap
		}
		missing += math.Round(steps) - 1
	}
	if longest.n < minSamples || longest.n*20 < len(o.volts) {
		return nil, longest, errNeedTimes
	}
	t.caution(CautionGaps, fmt.Sprintf("about %.0f rows are missing in %s, first before line %d; only the longest run of %d rows is used, from line %d", missing, Plural(len(sorted)-1, "place"), sorted[1].line, longest.n, longest.line), "save the record again")
	return nil, longest, nil
}

// fitRecord fits the time grid of the piece in use and turns a record whose
// times fall.
func (o *rowsRead) fitRecord(name string, r *record, use *timeBlock, p *rowSpec, t *Trace) error {
	r.fit = use.fit(p.step)
	switch {
	case r.fit.step == 0 || use.m < 2 || math.IsNaN(r.fit.step):
		return &ParseError{Path: name, Line: use.line, Column: p.time + 1, Found: "a time that does not advance", Expected: "rising times", Fix: "give --rate, or export the times with more digits"}
	case r.fit.rms > max(0.6*use.ulp, jitterShare*math.Abs(r.fit.step)):
		return errNeedTimes
	case o.noStamp*100 > len(o.volts):
		return &ParseError{Path: name, Line: use.line, Column: p.time + 1, Found: fmt.Sprintf("%d of %d rows without a time", o.noStamp, len(o.volts)), Expected: "a time in every row", Fix: "export the capture again"}
	}
	if !r.fillLost(o, use, t) {
		r.bound(o, p, use.n)
	}
	if p.step < 0 {
		reverse(r.volts)
		r.stepLo, r.stepHi = -r.stepHi, -r.stepLo
		r.fit.start += r.fit.step * float64(len(r.volts)-1)
		r.fit.step = -r.fit.step
		t.assume("row order", "newest first, reversed", "the time column falls")
	}
	return nil
}

// dropLead takes the first few rows of numbers for a block of settings when
// their first cells are not on the time line of the rest.
func (o *rowsRead) dropLead(name string, pieces []timeBlock, p *rowSpec, t *Trace) []timeBlock {
	if p.time < 0 || len(pieces) < 2 {
		return pieces
	}
	n, k := 0, 0
	for k < len(pieces)-1 && n+pieces[k].n <= leadRows && pieces[k].n <= leadRows/2 {
		n += pieces[k].n
		k++
	}
	rest := pieces[k]
	if k == 0 || rest.n < 4*n {
		return pieces
	}
	// Rows on the grid, before a gap, are data.
	first := pieces[0]
	off := (rest.first - first.first) / p.step
	if k == 1 && first.n > 2 && off > 0 && math.Abs(off-math.Round(off)) < 0.01 {
		return pieces
	}
	t.assume("rows skipped", fmt.Sprintf("%d from line %d", n, first.line), "numbers before the table that do not fit its times")
	return pieces[k:]
}

// firstWhole is the number of the first piece that is no fragment.
func firstWhole(pieces []timeBlock) int {
	longest := 0
	for _, b := range pieces {
		longest = max(longest, b.n)
	}
	for i, b := range pieces {
		if 4*b.n >= longest {
			return i + 1
		}
	}
	return 1
}

// segmented tells several records one after the other from one with gaps.
func segmented(pieces []timeBlock, p *rowSpec) bool {
	if p.time < 0 {
		return true
	}
	for _, b := range pieces[1:] {
		if b.why == breakSeg {
			return true
		}
	}
	sorted, moved := inOrder(pieces, p.step < 0)
	for i := 1; i < len(sorted); i++ {
		a, b := sorted[i-1], sorted[i]
		if (b.first-a.last)/p.step < 0.5 && a.n > 1 && b.n > 1 {
			return true // they overlap: the clock started anew
		}
	}
	if moved {
		return false
	}
	// Segmented memory: three or more pieces of one length.
	if len(pieces) < 3 || pieces[0].n < minSamples {
		return false
	}
	for _, b := range pieces[:len(pieces)-1] {
		if b.n != pieces[0].n {
			return false
		}
	}
	return pieces[len(pieces)-1].n <= pieces[0].n
}

// inOrder sorts pieces by time; moved says that this changed anything.
func inOrder(pieces []timeBlock, reversed bool) (sorted []timeBlock, moved bool) {
	sorted = append(sorted, pieces...)
	byTime := func(a, b timeBlock) int { return cmp.Compare(a.first, b.first) }
	if reversed {
		byTime = func(a, b timeBlock) int { return cmp.Compare(b.first, a.first) }
	}
	if !slices.IsSortedFunc(sorted, byTime) {
		slices.SortStableFunc(sorted, byTime)
		return sorted, true
	}
	return sorted, false
}

// bridge fills short gaps with straight lines.
func (o *rowsRead) bridge(pieces []timeBlock, p *rowSpec, t *Trace) (*record, bool) {
	total, rows := 0, 0
	for i, b := range pieces {
		rows += b.n
		if i == 0 {
			continue
		}
		a := pieces[i-1]
		steps := (b.first - a.last) / p.step
		k := math.Round(steps)
		if math.Abs(steps-k) > 0.1 || k < 2 || k > bridgeGap+1 || b.row0 != a.row0+a.n || a.lastJ != a.n-1 {
			return nil, false
		}
		total += int(k) - 1
	}
	if float64(total) > bridgeShare*float64(rows) || p.step < 0 {
		return nil, false
	}
	out := make([]float64, 0, rows+total)
	all := pieces[0]
	for i, b := range pieces {
		if i > 0 {
			a := pieces[i-1]
			k := int(math.Round((b.first - a.last) / p.step))
			out = appendBetween(out, o.volts[a.row0+a.n-1], o.volts[b.row0], k)
			// Give the block its place on the filled grid.
			c := b
			c.row0 = all.row0 + len(out)
			all.join(&c, p.step)
		}
		out = append(out, o.volts[b.row0:b.row0+b.n]...)
	}
	all.n = len(out)
	t.caution(CautionGaps, fmt.Sprintf("%d single rows are missing, first before line %d; filled in with straight lines", total, pieces[1].line), "save the record again")
	r := &record{volts: out, ulp: all.ulp, fit: all.fit(p.step), row0: all.row0}
	if r.fit.rms > max(0.6*all.ulp, jitterShare*math.Abs(r.fit.step)) {
		t.Cautions = t.Cautions[:len(t.Cautions)-1]
		return nil, false
	}
	return r, true
}

func reverse(x []float64) {
	for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
		x[i], x[j] = x[j], x[i]
	}
}
