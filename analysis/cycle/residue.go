package cycle

import (
	"math"

	"stillglow/capture"
)

// Residue yields the trace minus its slow part and its smooth ripple: spikes,
// rings and noise are left.
type Residue struct {
	Volts  []float64 // the record's samples, V
	RateHz float64   // samples per second
	Track  *Track    // the switching's phase; nil without a cycle
	Slow   SlowPart  // what is taken off as the slow part
	Model  *Model    // nil: no ripple to take off
}

// Reader reads a residue here and there, fastest in ascending order.
type Reader struct {
	*Residue
	at     cursor
	values []float64 // work space of Runs
	bins   []int32
}

// Reader makes a reader; not for use by two goroutines at once.
func (r *Residue) Reader() *Reader { return &Reader{Residue: r} }

// Each visits samples from..to in ascending order; bin is the place in the
// cycle, -1 where the supply rests.
func (r *Reader) Each(from, to int, visit func(i int, v float64, bin int, phase float64)) {
	if r.Model == nil || r.Track == nil {
		r.at.walk(from, to, nil, r.Slow, func(st Stretch) {
			base := st.Slow
			for i := st.From; i < st.To; i++ {
				visit(i, r.Volts[i]-base, -1, -1)
				base += st.SlowSlope
			}
		})
		return
	}
	m := r.Model.Bins
	size := float64(m)
	smooth := r.Model.Smooth
	r.at.walk(from, to, r.Track, r.Slow, func(st Stretch) {
		base := st.Slow
		if !st.On {
			for i := st.From; i < st.To; i++ {
				visit(i, r.Volts[i]-base, -1, -1)
				base += st.SlowSlope
			}
			return
		}
		whole := math.Floor(st.Phase)
		ph := st.Phase - whole
		for i := st.From; i < st.To; i++ {
			x := ph * size
			k := int(x)
			if k >= m {
				k = m - 1
			}
			visit(i, r.Volts[i]-base-smooth[k], k, whole+ph)
			base += st.SlowSlope
			ph += st.PerSample
			if ph >= 1 {
				ph--
				whole++
			}
		}
	})
}

// runLen is the most samples that a run holds.
const runLen = 2048

// Runs visits samples from..to as Each does, in runs of neighbours that follow each
// other without a gap: the first one's number, their values, and each one's place in
// the cycle, -1 where the supply rests. The slices are good until visit returns.
func (r *Reader) Runs(from, to int, visit func(first int, v []float64, bin []int32)) {
	if r.values == nil {
		r.values, r.bins = make([]float64, runLen), make([]int32, runLen)
	}
	values, bins := r.values, r.bins
	track := r.Track
	var smooth []float64
	if r.Model == nil || track == nil {
		track = nil
	} else {
		smooth = r.Model.Smooth
	}
	r.at.walk(from, to, track, r.Slow, func(st Stretch) {
		base := st.Slow
		ph, step := NewPhase(st.Phase), NewPhase(st.PerSample)
		for a := st.From; a < st.To; a += runLen {
			volts := r.Volts[a:min(a+runLen, st.To)]
			v, bin := values[:len(volts)], bins[:len(volts)]
			if !st.On {
				for i, x := range volts {
					v[i], bin[i] = x-base, -1
					base += st.SlowSlope
				}
				visit(a, v, bin)
				continue
			}
			for i, x := range volts {
				k := ph.Bin(len(smooth))
				v[i], bin[i] = x-base-smooth[k], int32(k)
				base += st.SlowSlope
				ph += step
			}
			visit(a, v, bin)
		}
	})
}

// Append appends samples from..to to buf.
func (r *Reader) Append(buf []float64, from, to int) []float64 {
	r.Runs(from, to, func(_ int, v []float64, _ []int32) { buf = append(buf, v...) })
	return buf
}

// RobustScale is the standard deviation of the residue's quiet parts: the lower
// quartile over blocks of each block's median absolute deviation, scaled to the
// normal distribution (Hampel 1974). Taking a low quartile keeps it that of the
// noise where spikes come every cycle; blocks are short against a cycle. skip
// names the bins that an edge's transient covers.
func (r *Residue) RobustScale(skip []bool, stepV float64) float64 {
	n := len(r.Volts)
	const length = 192
	blocks := max(min(n/length, scaleBlocks), 1)
	var mads, sds []float64
	buf := make([]float64, 0, length)
	reader := r.Reader()
	for b := range blocks {
		from := b * (n / blocks)
		buf = buf[:0]
		reader.Runs(from, min(from+length, n), func(_ int, v []float64, bins []int32) {
			for i, bin := range bins {
				if bin < 0 || skip == nil || !skip[bin] {
					buf = append(buf, v[i])
				}
			}
		})
		if len(buf) < scaleSamples {
			continue
		}
		sds = append(sds, deviation(buf))
		med := capture.Ranked(buf, len(buf)/2)
		for i := range buf {
			buf[i] = math.Abs(buf[i] - med)
		}
		mads = append(mads, capture.Ranked(buf, len(buf)/2))
	}
	if len(mads) == 0 {
		if skip != nil {
			return r.RobustScale(nil, stepV)
		}
		return 0
	}
	quarter := 1.4826 * 1.05 * capture.Ranked(mads, len(mads)/4)
	if stepV > quarter {
		// on so coarse steps most samples share one code and the median says
		// little, or zero: the quiet blocks' standard deviation serves
		sd := capture.Ranked(sds, len(sds)/4)
		if sd > coarseNoise*stepV {
			// noise of a quarter of a step and more reaches the second code, 1.5
			// steps off, too often for six of these deviations to stay under it
			return max(sd, coarseReaches*stepV)
		}
		return max(sd, coarseLeast*stepV)
	}
	return quarter
}

// deviation is the standard deviation of x about its mean.
func deviation(x []float64) float64 {
	mean, sq := 0.0, 0.0
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	for _, v := range x {
		sq += (v - mean) * (v - mean)
	}
	return math.Sqrt(sq / float64(len(x)))
}

// Steepness is what a sample may stand off the smooth cycle before it counts as
// more than the ripple's own step, by bin: where a step runs through within a
// sample's distance the two differ by as much as the step by the least jitter.
func (r *Residue) Steepness(threshold float64) []float64 {
	if r.Model == nil {
		return nil
	}
	smooth := r.Model.Smooth
	m := len(smooth)
	reach := min(max(int(math.Ceil(float64(m)/(r.Model.PeriodS*r.RateHz))), 2), m/steepPart)
	out := make([]float64, m)
	for i := range out {
		lo, hi := smooth[i], smooth[i]
		for k := -reach; k <= reach; k++ {
			v := smooth[(i+k+m)%m]
			lo, hi = min(lo, v), max(hi, v)
		}
		out[i] = threshold + hi - lo
	}
	return out
}
