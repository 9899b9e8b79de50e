package spectrum

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Options tunes Of; the zero value is what measuring uses.
type Options struct {
	// SegmentLen is the samples in a segment of every stage but the last; 0
	// takes a power of two that gives at least minSegments, at most maxSegmentLen.
	SegmentLen int
	// Keep retains the decimated records of the lower stages for finding lines:
	// about one byte per sample of the record.
	Keep bool
	// Weights writes the weights of samples start to start+len(w) to w, in ascending
	// order: 0 for one that is excised (inside a spike), 1 for all others. nil: none is.
	Weights func(w []float64, start int)
	// NoiseOnly says that lines and single events are out of the record, so that fewer
	// segments do; with Weights it is so.
	NoiseOnly bool
}

// Stage is one octave step of a multirate spectrum.
type Stage struct {
	RateHz   float64   // samples per second
	StartS   float64   // time of its first sample, s from the record's start
	Samples  int       // samples the stage holds
	Record   []float64 // the decimated record minus MeanV, when kept
	BinHz    float64   // spacing of its bins
	ENBWHz   float64   // equivalent noise bandwidth of a bin
	Segments int       // averaged
	DOF      float64   // equivalent degrees of freedom of a bin, 2 or more; 0 without a segment
}

// Multirate is a one-sided power spectral density from the lowest frequency of
// a record to half its sample rate with a constant resolution per octave: every
// stage halves the rate and contributes its highest undisturbed octave, the
// last one everything below. Bins ascend; cells of neighbouring bins touch, so
// that the sum of PSD times WidthHz is a power without gap or overlap.
type Multirate struct {
	RateHz  float64 // of the record, samples per second
	Samples int     // of the record
	MeanV   float64 // level taken off before filtering, V
	Excised float64 // share of the record gated out, 0 to 1

	FreqHz  []float64 // the bins' centres, Hz, ascending
	PSD     []float64 // V²/Hz
	WidthHz []float64 // width of the bin's cell
	Stage   []int     // index into Stages
	Stages  []Stage   // falling rate
}

// Of computes the spectrum of a source in one pass, in blocks. With weights, the
// density is that of the samples not excised. A record of fewer than minSpectrumLen
// samples, or one without a rate, yields an empty spectrum. The error is the context's.
func Of(ctx context.Context, src Source, rateHz float64, opt Options) (Multirate, error) {
	n := src.Len()
	m := Multirate{RateHz: rateHz, Samples: n}
	if n < minSpectrumLen || !(rateHz > 0) {
		return m, ctx.Err()
	}
	gated := opt.Weights != nil
	c := newCascade(n, rateHz, opt, gated)
	// the first stage is as much work as all below it, which run beside it
	below := newRelay(func(x, w []float64) { c.descend(1, len(c.octaves), x, w) })
	defer below.close()

	x := make([]float64, min(blockLen, n))
	var w []float64
	if gated {
		w = make([]float64, len(x))
	}
	kept := 0.0
	for pos := 0; pos < n; pos += blockLen {
		if err := ctx.Err(); err != nil {
			return Multirate{}, err
		}
		xb := x[:min(blockLen, n-pos)]
		src.Fill(xb, pos)
		var wb []float64
		if gated {
			wb = w[:len(xb)]
			opt.Weights(wb, pos)
			kept += floats.Sum(wb)
		}
		if pos == 0 {
			m.MeanV = weightedMean(xb, wb)
		}
		floats.AddConst(-m.MeanV, xb)
		if gated {
			floats.Mul(xb, wb)
		}
		// what the first stage makes of a block is another goroutine's at once
		first, block := c.octaves[0], below.take()
		first.x, first.w = block.x, block.w
		block.x, block.w = c.descend(0, 1, xb, wb)
		below.push(block)
	}
	below.close()
	defer c.giveBack()
	if gated {
		m.Excised = 1 - kept/float64(n)
	}
	var psds [][]float64
	for _, o := range c.octaves {
		stage, psd := o.finish()
		m.Stages, psds = append(m.Stages, stage), append(psds, psd)
	}
	m.join(psds)
	return m, nil
}

// cascade is the chain of stages that a record runs through, each at half the
// rate of the one before.
type cascade struct {
	octaves []*octave
	gated   bool
	spaces  []*segmentSpace
}

// giveBack ends the use of the work spaces.
func (c *cascade) giveBack() {
	for _, s := range c.spaces {
		segmentSpaces.Give(len(s.work), s)
	}
}

// octave is one stage at work.
type octave struct {
	stage  Stage
	welch  *welch
	halver *halver // nil in the last stage
	keep   bool
	x, w   []float64 // what the halver makes of a block, and its weights
	wTail  []float64 // weights that the halver's reach still holds back
}

// newCascade lays out the stages for a record of n samples, minSpectrumLen or more.
func newCascade(n int, rateHz float64, opt Options, gated bool) *cascade {
	seg := opt.SegmentLen
	if seg <= 0 {
		seg = min(max(floorPow2(n/minSegments), minSpectrumLen), maxSegmentLen)
	}
	seg = min(seg, n) &^ 1
	c := &cascade{gated: gated}
	var space *segmentSpace
	for s, length, offset := 0, n, 0.0; ; s++ {
		next := halvedLen(length)
		last := next < 2*seg
		size := seg
		if last {
			// three segments over the whole: the lowest frequencies are worth it
			size = max(SmoothLen(length/4)*2, 2)
		}
		if s <= 1 || len(space.work) != size { // the first stage runs beside the others
			space = segmentSpaces.Take(size, newSegmentSpace)
			c.spaces = append(c.spaces, space)
		}
		o := &octave{
			stage: Stage{RateHz: rateHz / math.Exp2(float64(s)), StartS: offset / rateHz, Samples: length},
			welch: newWelch(space, hopOf(length, size, gated || opt.NoiseOnly), gated),
		}
		if opt.Keep && s > 0 && length <= max(n/keptShare, keptAlways) {
			o.keep = true
			o.stage.Record = make([]float64, 0, length)
		}
		c.octaves = append(c.octaves, o)
		if last {
			return c
		}
		o.halver = newHalver()
		offset += halfBandReach * math.Exp2(float64(s))
		length = next
	}
}

// hopOf is how far one segment of size samples lies from the next in a stage of
// length samples, half of one at least. Of so many there is no need of all.
func hopOf(length, size int, noiseOnly bool) int {
	if noiseOnly {
		return min(max(length/enoughGated, size/2), maxGatedHop*size)
	}
	if length < enoughSegments*size {
		return size / 2
	}
	return min(max(length/(2*enoughSegments), size), maxHop*size)
}

// descend takes a block through the stages from..to-1 and gives what it leaves
// for the next one.
func (c *cascade) descend(from, to int, x, w []float64) ([]float64, []float64) {
	for _, o := range c.octaves[from:to] {
		o.welch.push(x, w)
		if o.keep {
			o.stage.Record = append(o.stage.Record, x...)
		}
		if o.halver == nil {
			return nil, nil
		}
		o.x = o.halver.push(o.x[:0], x)
		if c.gated {
			w = o.halveWeights(w)
		}
		x = o.x
	}
	return x, w
}

// halveWeights takes the weights of a block just halved to those of its outputs,
// smoothed over the three inputs that weigh most.
func (o *octave) halveWeights(w []float64) []float64 {
	smooth := func(w []float64) float64 { return 0.25*(w[0]+w[2]) + 0.5*w[1] }
	n, held := len(o.x), len(o.wTail)
	o.w = slices.Grow(o.w[:0], n)[:n]
	// first the outputs whose weights were held back; a short block is in joint wholly
	joint := append(o.wTail, w[:min(len(w), halfBandSpan)]...)
	k := 0
	for ; k < n && 2*k+halfBandReach-1 < held; k++ {
		o.w[k] = smooth(joint[2*k+halfBandReach-1:])
	}
	for at := 2*k + halfBandReach - 1 - held; k < n; k, at = k+1, at+2 {
		o.w[k] = smooth((*[3]float64)(w[at:])[:])
	}
	if 2*n < held {
		o.wTail = joint[:copy(joint, joint[2*n:])]
	} else {
		o.wTail = append(joint[:0], w[2*n-held:]...)
	}
	return o.w
}

// finish is the stage with its figures, and its density.
func (o *octave) finish() (Stage, []float64) {
	st := o.stage
	st.BinHz = st.RateHz / float64(o.welch.n)
	st.ENBWHz = o.welch.taper.NENBW * st.BinHz
	st.Segments = o.welch.segments
	st.DOF = o.welch.degreesOfFreedom()
	return st, o.welch.density(st.RateHz)
}

// join strings the stages' bins together, from the lowest stage up.
func (m *Multirate) join(psds [][]float64) {
	last := len(psds) - 1
	low := 0.0
	for s := last; s >= 0; s-- {
		psd, st := psds[s], m.Stages[s]
		first := 2 // bins 0 and 1 suffer from the removed mean
		high := st.RateHz / 2
		if s > 0 {
			high = m.junction(psds[s-1], s)
		}
		if s == last {
			low = 1.5 * st.BinHz
		} else {
			first = max(1, int(low/st.BinHz))
		}
		start := len(m.FreqHz)
		for k := first; k < len(psd); k++ {
			f := float64(k) * st.BinHz
			if f < low {
				continue
			}
			if f > high {
				break
			}
			m.FreqHz = append(m.FreqHz, f)
			m.PSD = append(m.PSD, psd[k])
			m.WidthHz = append(m.WidthHz, min(f+st.BinHz/2, high)-max(f-st.BinHz/2, low))
			m.Stage = append(m.Stage, s)
		}
		// the cells at both ends reach to the neighbouring stage
		if end := len(m.FreqHz) - 1; end >= start {
			m.WidthHz[start] += max(m.FreqHz[start]-st.BinHz/2-low, 0)
			m.WidthHz[end] += max(high-m.FreqHz[end]-st.BinHz/2, 0)
		}
		low = high
	}
}

// junction picks the frequency at which stage s takes over from the faster
// stage above it: the quietest place just under the half-band edge, so that no
// line is cut in two.
func (m *Multirate) junction(above []float64, s int) float64 {
	edge := halfBandEdge * m.Stages[s].RateHz
	bin := m.Stages[s-1].BinHz
	best, at := math.Inf(1), edge
	for k := int(edge / bin); k > junctionBins && float64(k)*bin > junctionReach*edge; k-- {
		worst := 0.0
		for i := max(k-lineReachBins, 0); i <= min(k+lineReachBins, len(above)-1); i++ {
			worst = max(worst, above[i])
		}
		if worst < junctionGain*best {
			best, at = worst, min((float64(k)+0.5)*bin, edge)
		}
	}
	return at
}

func floorPow2(n int) int {
	p := 1
	for p*2 <= n {
		p *= 2
	}
	return p
}

// weightedMean is the mean of x under weights w (nil: all 1); 0 when no weight.
func weightedMean(x, w []float64) float64 {
	sum, n := 0.0, 0.0
	for i, v := range x {
		if w == nil {
			sum += v
			n++
		} else {
			sum += v * w[i]
			n += w[i]
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}
