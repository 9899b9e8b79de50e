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

// reach are the levels from which on a sample could be next to an extreme.
func (c *curveExtremes) reach() (lo, hi float64) {
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
	return q
}

func (q *quantileScale) add(x []float64) {
	counts, lo, perVolt := (*[quantileSteps + 1]uint32)(q.counts), q.lo, 1/q.step
	for _, v := range x {
		counts[min(max(int((v-lo)*perVolt), 0), quantileSteps)]++
	}
	q.total += len(x)
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
func Measure(ctx context.Context, volts []float64, meanV, minV, maxV, rateHz float64, shape LowPass, cutHz float64) (PeakToPeak, error) {
	span := maxV - minV
	q := newQuantileScale(minV-meanV-span/4, maxV-meanV+span/4)
	var parts [ppParts]*curveExtremes
	ip := spectrum.NewInterpolator()
	for i := range parts {
		parts[i] = newCurveExtremes(ip)
	}
	n := len(volts)
	err := lowPassBlocks(ctx, volts, meanV, rateHz, shape, cutHz, func(start int, y []float64, guard, count int) {
		q.add(y[guard : guard+count])
		for at := start; at < start+count; {
			part := min(at*ppParts/n, ppParts-1)
			end := min((part+1)*n/ppParts, start+count)
			if part == ppParts-1 {
				end = start + count
			}
			end = max(end, at+1)
			parts[part].add(y, guard+at-start, guard+end-start)
			at = end
		}
	})
	if err != nil {
		return PeakToPeak{}, err
	}
	all := curveExtremes{min: math.Inf(1), max: math.Inf(-1)}
	var pp PeakToPeak
	for _, c := range parts {
		if c.max >= c.min {
			pp.PartsV = append(pp.PartsV, c.max-c.min)
			all.max = max(all.max, c.max)
			all.min = min(all.min, c.min)
		}
	}
	pp.AbsoluteV = all.max - all.min
	pp.P999V = q.at(0.9995) - q.at(0.0005)
	return pp, nil
}
