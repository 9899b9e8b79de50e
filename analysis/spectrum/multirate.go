package spectrum

import (
	"context"
	"math"
)

// Options tunes Of; the zero value is what measuring uses.
type Options struct {
	// SegmentLen is the samples in a segment of every stage but the last; 0
	// takes a power of two that gives at least 8 segments, at most 8192.
	SegmentLen int
	// Keep retains the decimated records of the lower stages for finding lines:
	// about one byte per sample of the record.
	Keep bool
}

// plenty is the number of segments from which on they no longer overlap: the
// averages are good enough, and the transforms dominate the cost.
const plenty = 100

// stage is one octave step of a multirate spectrum.
type Stage struct {
	RateHz   float64
	StartS   float64   // time of its first sample, s from the record's start
	Samples  int       // samples the stage holds
	Record   []float64 // the decimated record less MeanV, when kept
	BinHz    float64   // spacing of its bins
	ENBWHz   float64   // equivalent noise bandwidth of a bin
	Segments int
	DOF      float64 // equivalent degrees of freedom of a bin
}

// multirate is a one-sided power spectral density from the lowest frequency of
// a record to half its sample rate with a constant resolution per octave: every
// stage halves the rate and contributes its highest undisturbed octave, the
// last one everything below. Bins ascend; cells of neighbouring bins touch, so
// that the sum of PSD times WidthHz is a power without gap or overlap.
type Multirate struct {
	RateHz  float64
	Samples int
	MeanV   float64 // level taken off before filtering, V
	Excised float64 // share of the record gated out, 0 to 1

	FreqHz  []float64
	PSD     []float64 // V²/Hz
	WidthHz []float64 // width of the bin's cell
	Stage   []int     // index into Stages
	Stages  []Stage   // falling rate
}

// Of computes the spectrum of a source in one pass, in blocks. When the
// source is gated, the density is that of the samples not excised. A record of
// fewer than 8 samples yields an empty spectrum. The error is the context's.
func Of(ctx context.Context, src Source, rateHz float64, opt Options) (Multirate, error) {
	n := src.Len()
	m := Multirate{RateHz: rateHz, Samples: n}
	if n < 8 || !(rateHz > 0) {
		return m, ctx.Err()
	}
	gate, gated := src.(GatedSource)
	seg := opt.SegmentLen
	if seg <= 0 {
		seg = min(max(floorPow2(n/8), 8), 4096)
	}
	seg = min(seg, n) &^ 1

	type chain struct {
		welch  *welch
		halver *halver
		x, w   []float64 // decimated block being handed down
		wTail  []float64
		keep   bool
	}
	var chains []*chain
	var space *segmentSpace
	for s, length, offset := 0, n, 0.0; ; s++ {
		next := halvedLen(length)
		last := next < 2*seg
		size := seg
		if last {
			// three segments over the whole: the lowest frequencies are worth it
			size = max(SmoothLen(length/4)*2, 2)
		}
		st := Stage{RateHz: rateHz / math.Exp2(float64(s)), StartS: offset / rateHz, Samples: length}
		hop := size / 2
		if length >= plenty*size {
			hop = size // so many that overlap buys nothing
			if gated {
				// the floor's medians need no more, and it holds no single events
				hop *= min(length/(plenty*size), 4)
			}
		}
		if s <= 1 || len(space.work) != size { // the first stage runs beside the others
			space = newSegmentSpace(size)
		}
		c := &chain{welch: newWelch(space, hop, gated)}
		if opt.Keep && s > 0 && length <= max(n/16, 1<<17) {
			c.keep = true
			st.Record = make([]float64, 0, length)
		}
		m.Stages = append(m.Stages, st)
		chains = append(chains, c)
		if last {
			break
		}
		c.halver = newHalver()
		offset += halfBandReach * math.Exp2(float64(s))
		length = next
	}

	// descend takes a block through the stages from..to-1 and gives what it leaves
	// for the next one.
	descend := func(from, to int, xb, wb []float64) ([]float64, []float64) {
		for s := from; s < min(to, len(chains)); s++ {
			c := chains[s]
			c.welch.push(xb, wb)
			if c.keep {
				m.Stages[s].Record = append(m.Stages[s].Record, xb...)
			}
			if c.halver == nil {
				return nil, nil
			}
			c.x = c.halver.push(c.x[:0], xb)
			if gated {
				c.wTail = append(c.wTail, wb...)
				c.w = c.w[:0]
				for k := range c.x {
					t := c.wTail[2*k+halfBandReach-1:]
					c.w = append(c.w, t[0]/4+t[1]/2+t[2]/4)
				}
				c.wTail = c.wTail[:copy(c.wTail, c.wTail[2*len(c.x):])]
				wb = c.w
			}
			xb = c.x
		}
		return xb, wb
	}
	// the first stage is as much work as all below it, which run beside it
	below := newRelay(func(xb, wb []float64) { descend(1, len(chains), xb, wb) })
	defer below.close()

	const block = 1 << 14
	x := make([]float64, min(block, n))
	var w []float64
	if gated {
		w = make([]float64, len(x))
	}
	kept := 0.0
	for pos := 0; pos < n; pos += block {
		if err := ctx.Err(); err != nil {
			return Multirate{}, err
		}
		xb := x[:min(block, n-pos)]
		src.Fill(xb, pos)
		var wb []float64
		if gated {
			wb = w[:len(xb)]
			gate.FillWeights(wb, pos)
			for _, g := range wb {
				kept += g
			}
		}
		if pos == 0 {
			m.MeanV = weightedMean(xb, wb)
		}
		for i := range xb {
			if gated {
				xb[i] = (xb[i] - m.MeanV) * wb[i]
			} else {
				xb[i] -= m.MeanV
			}
		}
		below.push(descend(0, 1, xb, wb))
	}
	below.close()
	if gated {
		m.Excised = 1 - kept/float64(n)
	}
	psds := make([][]float64, len(chains))
	for s, c := range chains {
		st := &m.Stages[s]
		psds[s] = c.welch.density(st.RateHz)
		st.BinHz = st.RateHz / float64(c.welch.n)
		st.ENBWHz = c.welch.taper.NENBW * st.BinHz
		st.Segments = c.welch.segments
		st.DOF = c.welch.degreesOfFreedom()
	}
	m.join(psds)
	return m, nil
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
	for k := int(edge / bin); k > 4 && float64(k)*bin > 0.85*edge; k-- {
		worst := 0.0
		for i := max(k-3, 0); i <= min(k+3, len(above)-1); i++ {
			worst = max(worst, above[i])
		}
		if worst < 0.5*best {
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
