package bandlimit

import (
	"context"
	"math"

	"stillglow/analysis/spectrum"
)

// curveExtremes follows the greatest and least value of an oversampled curve
// fed block by block. Between samples it looks only beside those that could be next
// to the extreme.
type curveExtremes struct {
	ip       *spectrum.Interpolator
	min, max float64
}

// peakGrowth is the ratio of a true peak over the nearest of its samples. At 2.5
// samples a period, five samples over two periods lie 72° apart, so that one is
// within 36° of the crest: 1/cos 36° = 1.24.
const peakGrowth = 1.3

func newCurveExtremes(ip *spectrum.Interpolator) *curveExtremes {
	return &curveExtremes{ip: ip, min: math.Inf(1), max: math.Inf(-1)}
}

// add takes y[from:to]; y around it is used to interpolate.
func (c *curveExtremes) add(y []float64, from, to int) {
	if from >= to {
		return
	}
	if c.max < c.min { // the first ones
		c.min, c.max = y[from], y[from]
	}
	lo, hi := c.reach()
	for i, v := range y[from:to] {
		if v > lo && v < hi { // nearly all
			continue
		}
		c.look(y, from+i)
		lo, hi = c.reach()
	}
}

// reach are the levels from which on a sample could be next to an extreme: before there is
// one, any.
func (c *curveExtremes) reach() (lo, hi float64) {
	if c.max < c.min {
		return math.Inf(1), math.Inf(-1)
	}
	mid, half := (c.max+c.min)/2, (c.max-c.min)/(2*peakGrowth)
	return mid - half, mid + half
}

// look takes y[i], and the curve beside it where it is a peak.
func (c *curveExtremes) look(y []float64, i int) {
	v := y[i]
	c.min, c.max = min(c.min, v), max(c.max, v)
	if len(y) < leastInterpolated || i == 0 || i == len(y)-1 {
		return
	}
	if v >= y[i-1] && v > y[i+1] && couldPass(y, i, 1, c.max) {
		p, _ := c.ip.Peak(y, i, 1)
		c.max = max(c.max, p)
	} else if v <= y[i-1] && v < y[i+1] && couldPass(y, i, -1, -c.min) {
		p, _ := c.ip.Peak(y, i, -1)
		c.min = min(c.min, p)
	}
}

// couldPass reports whether the curve near y[i] could pass the extreme so far: the
// vertex of the parabola through three samples, its rise over the sample trebled, is
// taken as the bound.
func couldPass(y []float64, i int, sign, best float64) bool {
	a, b, d := sign*y[i-1], sign*y[i], sign*y[i+1]
	curve := 2*b - a - d
	if curve <= 0 {
		return true
	}
	slope := (d - a) / 2
	rise := slope*slope/(2*curve) + curve/8
	return b+riseBound*rise > best
}

// quantileScale counts samples in fine steps between two levels and reads
// quantiles from the counts; memory does not grow with the record.
type quantileScale struct {
	lo, step float64
	perVolt  float64 // 1/step
	counts   []uint32
	total    int
}

// quantileSteps resolves the record's extent finer than a converter of 16 bits.
const quantileSteps = 1 << 16

func newQuantileScale(lo, hi float64) *quantileScale {
	q := &quantileScale{lo: lo, step: (hi - lo) / quantileSteps, counts: make([]uint32, quantileSteps+1)}
	if !(q.step > 0) {
		q.step = 1
	}
	q.perVolt = 1 / q.step
	return q
}

func (q *quantileScale) add(x []float64) {
	counts, lo, perVolt := (*[quantileSteps + 1]uint32)(q.counts), q.lo, q.perVolt
	for _, v := range x {
		counts[min(max(int((v-lo)*perVolt), 0), quantileSteps)]++
	}
	q.total += len(x)
}

// addAt adds n samples about a level, or takes them off again where n is negative.
func (q *quantileScale) addAt(v float64, n int) {
	q.counts[min(max(int((v-q.lo)*q.perVolt), 0), quantileSteps)] += uint32(n)
	q.total += n
}

// at is the level under which the fraction p of the samples lies.
func (q *quantileScale) at(p float64) float64 {
	want := p * float64(q.total)
	seen := 0.0
	for i, n := range q.counts {
		if n > 0 && seen+float64(n) >= want {
			return q.lo + q.step*(float64(i)+min(max((want-seen)/float64(n), 0), 1))
		}
		seen += float64(n)
	}
	return q.lo + q.step*float64(len(q.counts))
}

// PeakToPeak is the peak-to-peak of a trace behind a low-pass, in volts.
type PeakToPeak struct {
	AbsoluteV float64   // greatest minus least of the oversampled curve
	P999V     float64   // between the 0.05 and 99.95 % quantiles
	PartsV    []float64 // AbsoluteV of each of ppParts equal parts of the record
}

// leastInterpolated is how many samples a curve between them needs, and riseBound the
// rise of the parabola through three of them, in times, that bounds how far the curve
// passes above the middle one.
const (
	leastInterpolated = 8
	riseBound         = 3
)

// ppParts is how many parts give the spread within a record.
const ppParts = 8

// Measure reads the peak-to-peak of volts, at rateHz, behind the low-pass of shape,
// -3 dB at cutHz. meanV, minV and maxV are those of the raw samples, which must not
// be empty. The error is the context's.
//
// Most of a record with spikes can hold none of the extremes, and need not be filtered: a
// few of all blocks tell about how far the figures reach, quiet stretches whose samples
// can't get there whatever the filter makes of them are left out, and those are taken in
// after all that could still have mattered in the end.
func Measure(ctx context.Context, volts []float64, meanV, minV, maxV, rateHz float64, shape LowPass, cutHz float64) (PeakToPeak, error) {
	r := newReading(newBlocks(volts, meanV, maxV-minV, rateHz, shape, cutHz), minV-meanV, maxV-meanV)
	n := r.count()
	for i := 0; i < n; i += triedBlocks {
		if err := ctx.Err(); err != nil {
			return PeakToPeak{}, err
		}
		r.take(r.span(i))
	}
	near := r.near()
	each := func(do func(i int, l levels)) error {
		for i := range n {
			if err := ctx.Err(); err != nil {
				return err
			}
			if i%triedBlocks != 0 {
				do(i, r.ofBlock(i, near))
			}
		}
		return nil
	}
	if err := each(func(i int, l levels) {
		r.eachStretch(i, l.lo, l.hi, func(start, end int, stays bool) {
			if stays {
				r.quantiles.addAt(l.middle(), end-start)
			} else {
				r.take(start, end)
			}
		})
	}); err != nil {
		return PeakToPeak{}, err
	}
	// what all figures have passed by now, whatever else is taken in
	passed := r.reached()
	if err := each(func(i int, l levels) {
		if p := r.ofBlock(i, passed); p.lo <= l.lo && p.hi >= l.hi {
			return
		}
		r.eachStretch(i, l.lo, l.hi, func(start, end int, stays bool) {
			if stays {
				r.quantiles.addAt(l.middle(), start-end)
				r.take(start, end)
			}
		})
	}); err != nil {
		return PeakToPeak{}, err
	}
	return r.peakToPeak(), nil
}

// triedBlocks is one block of so many that is filtered in any case, and nearShare the
// part of what these reach that quiet ones must stay in.
const (
	triedBlocks = 16
	nearShare   = 0.95
)

// reading is what the blocks filtered so far show.
type reading struct {
	*blocks
	quantiles *quantileScale
	parts     [ppParts]*curveExtremes
}

// newReading prepares for samples between two levels.
func newReading(b *blocks, lo, hi float64) *reading {
	r := &reading{blocks: b, quantiles: newQuantileScale(lo-(hi-lo)/4, hi+(hi-lo)/4)}
	ip := spectrum.NewInterpolator()
	for i := range r.parts {
		r.parts[i] = newCurveExtremes(ip)
	}
	return r
}

// take filters samples start to end-1, of one block, and reads them.
func (r *reading) take(start, end int) {
	y := r.run(start, end)
	r.quantiles.add(y[r.guard : r.guard+end-start])
	r.eachPart(start, end, func(part, from, to int) {
		r.parts[part].add(y, r.guard+from-start, r.guard+to-start)
	})
}

// eachPart goes through the parts that samples from to to-1 belong to.
func (r *reading) eachPart(from, to int, do func(part, from, to int)) {
	n := len(r.volts)
	for from < to {
		part := min(from*ppParts/n, ppParts-1)
		end := to
		if part < ppParts-1 {
			end = max(min((part+1)*n/ppParts, to), from+1)
		}
		do(part, from, end)
		from = end
	}
}

// levels are two, in volts less the mean: nothing between them matters to a figure.
type levels struct{ lo, hi float64 }

func (l levels) middle() float64 { return (l.lo + l.hi) / 2 }

// within are the levels that keep to both.
func (l levels) within(o levels) levels { return levels{max(l.lo, o.lo), min(l.hi, o.hi)} }

// reached are the levels of each part that lie within the part's extremes and the
// record's quantiles, as far as these are known.
func (r *reading) reached() (of [ppParts]levels) {
	quantiles := levels{r.quantiles.at(lowQuantile), r.quantiles.at(highQuantile)}
	for k, c := range r.parts {
		lo, hi := c.reach()
		of[k] = quantiles.within(levels{lo, hi})
	}
	return of
}

// near are levels that lie well within those reached, for extremes that are still to come
// shift these.
func (r *reading) near() (of [ppParts]levels) {
	of = r.reached()
	for k, l := range of {
		if l.lo < l.hi {
			trim := (l.hi - l.lo) * (1 - nearShare) / 2
			of[k] = levels{l.lo + trim, l.hi - trim}
		}
	}
	return of
}

// ofBlock are the levels of the parts that block i belongs to.
func (r *reading) ofBlock(i int, of [ppParts]levels) levels {
	l := levels{math.Inf(-1), math.Inf(1)}
	start, end := r.span(i)
	r.eachPart(start, end, func(part, _, _ int) { l = l.within(of[part]) })
	return l
}

// extremes are those of all parts.
func (r *reading) extremes() curveExtremes {
	all := curveExtremes{min: math.Inf(1), max: math.Inf(-1)}
	for _, c := range r.parts {
		all.max, all.min = max(all.max, c.max), min(all.min, c.min)
	}
	return all
}

// lowQuantile and highQuantile are those between which P999V lies.
const (
	lowQuantile  = 0.0005
	highQuantile = 1 - lowQuantile
)

// peakToPeak is what the record shows.
func (r *reading) peakToPeak() PeakToPeak {
	all := r.extremes()
	pp := PeakToPeak{AbsoluteV: all.max - all.min, P999V: r.quantiles.at(highQuantile) - r.quantiles.at(lowQuantile)}
	for _, c := range r.parts {
		if c.max >= c.min {
			pp.PartsV = append(pp.PartsV, c.max-c.min)
		}
	}
	return pp
}
