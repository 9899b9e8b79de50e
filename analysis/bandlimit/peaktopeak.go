package bandlimit

import (
	"context"
	"math"

	"stillglow/analysis/spectrum"
)

// curveExtremes follows the greatest and least value of an oversampled curve
// fed block by block. Only samples that could hold the extreme are looked at
// between samples: a true peak stands at most peakGrowth above its samples
// where at least 2.5 samples cover a period.
type curveExtremes struct {
	ip       *spectrum.Interpolator
	min, max float64
}

const peakGrowth = 1.3

func newCurveExtremes(ip *spectrum.Interpolator) *curveExtremes {
	return &curveExtremes{ip: ip, min: math.Inf(1), max: math.Inf(-1)}
}

// add takes y[from:to]; y around it is used to interpolate.
func (c *curveExtremes) add(y []float64, from, to int) {
	for i := from; i < to; i++ {
		v := y[i]
		if v > c.max {
			c.max = v
		}
		if v < c.min {
			c.min = v
		}
	}
	if len(y) < 8 {
		return
	}
	mid := (c.max + c.min) / 2
	hi := mid + (c.max-mid)/peakGrowth
	lo := mid - (mid-c.min)/peakGrowth
	for i := max(from, 1); i < min(to, len(y)-1); i++ {
		v := y[i]
		if v >= hi && v >= y[i-1] && v > y[i+1] && c.couldPass(y, i, 1, c.max) {
			if p, _ := c.ip.Peak(y, i, 1); p > c.max {
				c.max = p
			}
		} else if v <= lo && v <= y[i-1] && v < y[i+1] && c.couldPass(y, i, -1, -c.min) {
			if p, _ := c.ip.Peak(y, i, -1); p < c.min {
				c.min = p
			}
		}
	}
}

// couldPass tells whether the curve near y[i] could pass the extreme so far:
// the vertex of the parabola through three samples, doubled in its rise, is
// taken as the bound.
func (c *curveExtremes) couldPass(y []float64, i int, sign, best float64) bool {
	a, b, d := sign*y[i-1], sign*y[i], sign*y[i+1]
	curve := 2*b - a - d
	if curve <= 0 {
		return true
	}
	slope := (d - a) / 2
	rise := slope*slope/(2*curve) + curve/8
	return b+3*rise > best
}

// quantileScale counts samples in fine steps between two levels and reads
// quantiles from the counts; memory does not grow with the record.
type quantileScale struct {
	lo, step float64
	counts   []int
	total    int
}

const quantileSteps = 1 << 16

func newQuantileScale(lo, hi float64) *quantileScale {
	q := &quantileScale{lo: lo, step: (hi - lo) / quantileSteps, counts: make([]int, quantileSteps+1)}
	if !(q.step > 0) {
		q.step = 1
	}
	return q
}

func (q *quantileScale) add(v float64) {
	i := int((v - q.lo) / q.step)
	if i < 0 {
		i = 0
	} else if i > quantileSteps {
		i = quantileSteps
	}
	q.counts[i]++
	q.total++
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

// PeakToPeak is the peak-to-peak of a trace behind a low-pass.
type PeakToPeak struct {
	AbsoluteV float64   // greatest less least of the oversampled curve
	P999V     float64   // between the 0.05 and 99.95 % quantiles
	PartsV    []float64 // AbsoluteV of each of ppParts equal parts of the record
}

const ppParts = 8

// Measure reads the peak-to-peak behind the low-pass; minV and maxV
// are the extremes of the raw samples.
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
		for _, v := range y[guard : guard+count] {
			q.add(v)
		}
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
