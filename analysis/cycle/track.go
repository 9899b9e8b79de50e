package cycle

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"

	"stillglow/capture"
)

// Piece is a stretch of samples over which the switching phase runs straight.
type Piece struct {
	From, To  float64 // in samples; pieces ascend and do not overlap
	Phase     float64 // in cycles, at from
	PerSample float64 // cycles per sample
}

// Track follows the switching cycle through the record: one piece for a
// fixed supply, many joined ones for a dithered one, one per packet for a
// bursting one. Where no piece lies the supply rests.
type Track struct {
	Kind         Kind    // how the supply keeps time
	Hz, SigmaHz  float64 // mean frequency while switching, its standard deviation
	SpreadHz     float64 // range over which a dithered clock wanders, Hz
	BurstHz      float64 // rate of the packets of a bursting supply, Hz; 0: none
	BurstSigmaHz float64 // its standard deviation, Hz
	Pieces       []Piece // the phase as straight lines, in order

	parts harmonicSum // of the record, where the clock is fixed
}

// Cycles is how many switching cycles the pieces hold.
func (t *Track) Cycles() float64 {
	n := 0.0
	for _, p := range t.Pieces {
		n += (p.To - p.From) * p.PerSample
	}
	return n
}

// demodBlock is the complex amplitude of one harmonic in a short tapered block.
type demodBlock struct {
	middle float64 // sample
	c      complex128
	ref    complex128 // the same half a harmonic up, where there is only noise; 0 where it is not asked for
}

// demodulator takes the complex amplitude of a frequency from blocks of a record. The
// samples are summed in groups first, 64 or more to a cycle: the sum's zeros keep
// harmonics near its rate from folding onto the fundamental.
type demodulator struct {
	volts     []float64
	meanV     float64
	perSample float64 // cycles
	group     int
	means     []float64 // of groups of several, less meanV; made when the first blocks are asked for
	some      []float64 // of one block where they are not kept
}

// keptMeans is how many means of groups are kept from one demodulation to the next, 32 MB:
// of a longer record they are taken anew for each block.
const keptMeans = 1 << 22

func newDemodulator(volts []float64, meanV, perSample float64) *demodulator {
	return &demodulator{volts: volts, meanV: meanV, perSample: perSample, group: max(int(1/perSample/groupsInCycle), 1)}
}

// block are the means of length groups from start on, the record's taken off.
func (d *demodulator) block(start, length int) []float64 {
	n := len(d.volts) / d.group
	if d.group == 1 || n > keptMeans {
		d.some = slices.Grow(d.some[:0], length)[:length]
		d.take(d.some, start)
		return d.some
	}
	if d.means == nil {
		d.means = make([]float64, n)
		d.take(d.means, 0)
	}
	return d.means[start : start+length]
}

// take puts the means of the groups from start on into dst.
func (d *demodulator) take(dst []float64, start int) {
	if d.group == 1 {
		copy(dst, d.volts[start:])
		floats.AddConst(-d.meanV, dst)
		return
	}
	for i := range dst {
		from := (start + i) * d.group
		dst[i] = sumOf(d.volts[from:from+d.group])/float64(d.group) - d.meanV
	}
}

// blocks are blocks of a number of cycles, one every hop cycles, each with the noise
// beside it where that is asked for; nil where the record holds none.
func (d *demodulator) blocks(cycles, hop float64, noise bool) []demodBlock {
	group := float64(d.group)
	length := int(cycles / d.perSample / group)
	step := hop / d.perSample / group
	n := len(d.volts) / d.group
	if length < blockGroups || n < length || step < 1 {
		return nil
	}
	taper := make([]float64, length)
	w := 2 * math.Pi * d.perSample * group
	for i := range taper {
		taper[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(length))
	}
	var own, beside turns // under the taper
	own = newTurns(taper, w)
	if noise {
		beside = newTurns(taper, 1.5*w)
	}
	blocks := make([]demodBlock, int(float64(n-length)/step)+1)
	k := complex(4/float64(length), 0) // amplitude of a cosine under the taper
	for b := range blocks {
		start := int(float64(b) * step)
		block := d.block(start, length)
		mean := floats.Dot(block, taper) / (float64(length) / 2)
		first := (float64(start*d.group) + float64(d.group-1)/2) * d.perSample
		p := cmplx.Rect(1, -2*math.Pi*fraction(first))
		blocks[b] = demodBlock{
			middle: (float64(start)+float64(length-1)/2)*group + float64(d.group-1)/2,
			c:      own.of(block, mean) * p * k,
		}
		if noise {
			q := cmplx.Rect(1, -2*math.Pi*fraction(1.5*first))
			blocks[b].ref = beside.of(block, mean) * q * k
		}
	}
	return blocks
}

// fraction is what x lies above the whole number below it.
func fraction(x float64) float64 { return x - math.Floor(x) }

// offWhole is what x lies off the whole number nearest to it, math.Remainder(x, 1) at a
// part of its time.
func offWhole(x float64) float64 { return x - math.RoundToEven(x) }

// turns is a cosine of a frequency under a taper and what is a quarter of a turn behind
// it, with their sums.
type turns struct {
	re, im       []float64
	sumRe, sumIm float64
}

// newTurns turns by w radians from one sample to the next.
func newTurns(taper []float64, w float64) turns {
	t := turns{re: make([]float64, len(taper)), im: make([]float64, len(taper))}
	for i, h := range taper {
		sin, cos := math.Sincos(w * float64(i))
		t.re[i], t.im[i] = h*cos, -h*sin
	}
	t.sumRe, t.sumIm = floats.Sum(t.re), floats.Sum(t.im)
	return t
}

// of is the projection of x less its mean.
func (t turns) of(x []float64, mean float64) complex128 {
	return complex(floats.Dot(t.re, x)-mean*t.sumRe, floats.Dot(t.im, x)-mean*t.sumIm)
}

// sumOf adds a few numbers, four by four, so that none need wait for all before it.
func sumOf(x []float64) float64 {
	var a, b, c, d float64
	for ; len(x) >= 4; x = x[4:] {
		a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
	}
	for _, v := range x {
		a += v
	}
	return (a + b) + (c + d)
}

// trackSwitching decides how the supply keeps time and follows it.
func trackSwitching(volts []float64, meanV, rateHz float64, found coarseSwitching) *Track {
	if found.hz <= 0 {
		return nil
	}
	n := float64(len(volts))
	demodulated := newDemodulator(volts, meanV, found.hz/rateHz)
	var fixed *Track
	var blocks []demodBlock
	both(func() { fixed = trackFixed(volts, rateHz, found.hz) }, func() { blocks = demodulated.blocks(trackCycles, trackHop, true) })
	if len(blocks) < leastBlocks {
		return fixed
	}
	s := strengthOf(blocks)
	if s.strong < trackSigmas*s.quiet && found.coherent {
		return fixed
	}
	if s.rests {
		if t := trackBursts(demodulated, rateHz); t != nil && t.explains(volts, s.packetGain(), fixed) {
			return t
		}
	}
	best := fixed
	// a wandering track has to earn its place by a better fold than at one
	// frequency; a fast sweep needs short blocks, a slow one long ones against
	// the noise
	power := 0.0
	try := func(b []demodBlock) {
		if len(b) < leastBlocks {
			return
		}
		if t := trackDither(b, n, rateHz, found.hz, s.quiet); t != nil {
			if power == 0 {
				power = wanderGain * foldOnly(volts, best, newSlowPart(volts, best)).Power()
			}
			if p := foldOnly(volts, t, newSlowPart(volts, t)).Power(); p > power {
				best, power = t, p
			}
		}
	}
	try(blocks)
	if s.strong > shortBlocksOver*s.quiet {
		try(demodulated.blocks(3, 1, false))
	}
	return best
}

// trackFixed follows a supply that keeps one frequency near hz.
func trackFixed(volts []float64, rateHz, hz float64) *Track {
	n := float64(len(volts))
	hz, u, parts := refineFixed(volts, rateHz, hz)
	if n*hz/rateHz < shortCycles {
		hz, u = refineShort(volts, rateHz, hz, u)
	}
	// places in the cycle are known to a fraction of a bin at best
	u = max(u, placeKnown*rateHz/n)
	return &Track{Kind: Fixed, Hz: hz, SigmaHz: u, parts: parts,
		Pieces: []Piece{{0, n, 0, hz / rateHz}}}
}

// strength is what blocks show of the switching's fundamental.
type strength struct {
	strong, quiet float64 // V: of the strongest blocks, and of the noise beside them
	rests         bool    // so many blocks are so weak that the supply may rest in them
}

func strengthOf(blocks []demodBlock) strength {
	amp, noise := make([]float64, len(blocks)), make([]float64, len(blocks))
	for i, b := range blocks {
		amp[i], noise[i] = cmplx.Abs(b.c), cmplx.Abs(b.ref)
	}
	s := strength{strong: capture.Ranked(amp, len(amp)*strongestPercent/100), quiet: capture.Ranked(noise, len(noise)/2)}
	off := 0
	for _, a := range amp {
		if a < restsBelow*s.strong {
			off++
		}
	}
	s.rests = float64(off)/float64(len(amp)) > leastRest && s.strong > restSigmas*s.quiet && capture.Ranked(amp, len(amp)/50) < weakestBlock*s.strong
	return s
}

// packetGain is how many times the power of a fixed track one of packets must hold:
// lines that alias near the fundamental beat with it as packets would, but then the cycle
// goes on between them.
func (s strength) packetGain() float64 {
	if s.strong <= restSure*s.quiet {
		return restGain
	}
	return 1
}

// explains reports whether a track of packets holds that many times the power that
// another does.
func (t *Track) explains(volts []float64, times float64, other *Track) bool {
	on := 0.0
	for _, p := range t.Pieces {
		on += p.To - p.From
	}
	var own, others float64
	both(func() { own = on / float64(len(volts)) * foldOnly(volts, t, newSlowPart(volts, t)).Power() },
		func() { others = foldOnly(volts, other, newSlowPart(volts, other)).Power() })
	return own > times*others
}

// Sweeps is how often a dithered supply's frequency went up and down again within
// the record, counted in halves: how often it passed from the highest quarter of
// its spread to the lowest and back.
func (t *Track) Sweeps() float64 {
	centre := t.Hz
	turns, side := 0, 0
	if len(t.Pieces) == 0 {
		return 0
	}
	rate := t.Hz / ((t.Pieces[len(t.Pieces)-1].Phase - t.Pieces[0].Phase) / (t.Pieces[len(t.Pieces)-1].From - t.Pieces[0].From))
	for _, p := range t.Pieces {
		now := 0
		if d := p.PerSample*rate - centre; d > t.SpreadHz/sweepPart {
			now = 1
		} else if d < -t.SpreadHz/sweepPart {
			now = -1
		}
		if now != 0 && now != side {
			if side != 0 {
				turns++
			}
			side = now
		}
	}
	return float64(turns) / 2
}

// trackDither joins the blocks' phases to a line of straight pieces. It answers
// nil where the frequency does not wander by more than the blocks' noise.
func trackDither(blocks []demodBlock, n, rateHz, hz, quiet float64) *Track {
	per := hz / rateHz
	phase := make([]float64, len(blocks)) // cycles, total
	prev := 0.0
	for i, b := range blocks {
		p := cmplx.Phase(b.c) / (2 * math.Pi)
		if i > 0 {
			p = prev + offWhole(p-prev)
		}
		phase[i], prev = p, p
	}
	// local frequency offset per block and its noise
	amp := 0.0
	for _, b := range blocks {
		amp += cmplx.Abs(b.c)
	}
	amp /= float64(len(blocks))
	offsets := make([]float64, len(blocks)-1)
	for i := range offsets {
		offsets[i] = (phase[i+1] - phase[i]) / (blocks[i+1].middle - blocks[i].middle) / per
	}
	ranked := slices.Clone(offsets)
	lo, hi := capture.Ranked(ranked, len(ranked)*5/100), capture.Ranked(ranked, len(ranked)*95/100)
	phaseNoise := quiet / max(amp, tiny) / (2 * math.Pi) // cycles
	hop := (blocks[1].middle - blocks[0].middle) * per   // cycles
	freqNoise := 1.5 * phaseNoise / hop                  // relative
	spread := (hi - lo) / 0.9
	if spread < leastSpread || spread < spreadOver*freqNoise {
		return nil
	}
	t := &Track{Kind: Dithered, SpreadHz: spread * hz}
	slopeFirst := per + (phase[1]-phase[0])/(blocks[1].middle-blocks[0].middle)
	t.Pieces = append(t.Pieces, Piece{0, blocks[0].middle, phase[0] + per*blocks[0].middle - slopeFirst*blocks[0].middle, slopeFirst})
	for i := range offsets {
		a, b := blocks[i].middle, blocks[i+1].middle
		t.Pieces = append(t.Pieces, Piece{a, b, phase[i] + per*a, per + (phase[i+1]-phase[i])/(b-a)})
	}
	last := t.Pieces[len(t.Pieces)-1]
	t.Pieces = append(t.Pieces, Piece{last.To, n, last.Phase + last.PerSample*(last.To-last.From), last.PerSample})
	first, end := t.Pieces[0], t.Pieces[len(t.Pieces)-1]
	total := end.Phase + end.PerSample*(end.To-end.From) - first.Phase
	t.Hz = total / n * rateHz
	t.SigmaHz = t.Hz * phaseNoise / max(total, 1)
	return t
}
