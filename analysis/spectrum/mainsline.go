package spectrum

import (
	"math"
	"math/cmplx"
	"slices"
)

// followed is a line of the mains measured over a record.
type followed struct {
	rms, u, noise float64 // V: its power's root, its expanded uncertainty, one standard deviation by noise
	phase         float64 // as a cosine at the record's start
	blockS        float64 // of the blocks whose powers were added
}

// projections are a line's over the blocks of a record.
type projections struct {
	power, noise float64 // V²: mean of the squares, and what noise makes of it
	deviation    float64 // V²: standard deviation of their difference
	phase        float64
	blockS       float64
}

// line is the line's own power, V².
func (p projections) line() float64 { return max(p.power-p.noise, 0) }

// followLine measures a line that wanders as the mains does. A sine over the whole
// record is the most sensitive, and sums to nothing where the phase runs away from
// it: so the record is cut in halves and halves again, down to leastBlockS, and the
// longest blocks are taken whose power no shorter ones exceed. blockS > 0 gives
// the blocks.
func (m *Multirate) followLine(src Source, hz, blockS float64) followed {
	rec, rate, startS := m.lowestRecord(src, hz)
	n := rec.Len()
	if n < minSpectrumLen {
		return followed{}
	}
	duration := float64(n) / rate
	var best projections
	unsure := 0.0
	if blockS > 0 && blockS < duration/wholeRecord {
		best = projectLine(rec, rate, hz, int(blockS*rate), 1, startS)
	} else {
		places := 1
		if blockS == 0 {
			places = len(besideBins)
		}
		best = projectLine(rec, rate, hz, n, places, startS)
		for length := n / 2; blockS == 0 && float64(length) >= leastBlockS*rate; length /= 2 {
			p := projectLine(rec, rate, hz, length, 1, startS)
			switch more := p.line() - best.line(); {
			case more > wanderOver*math.Hypot(p.deviation, best.deviation)+wanderShare*p.line():
				best, unsure = p, 0
			case more > wanderUnsure*math.Hypot(p.deviation, best.deviation):
				unsure = max(unsure, more)
			}
		}
	}
	f := followed{rms: math.Sqrt(best.line()), phase: best.phase, blockS: best.blockS, noise: math.Sqrt(best.noise / 2)}
	if best.blockS > duration/wholeRecord {
		f.rms = math.Sqrt(best.power) // a single projection: what noise adds is in its deviation
		f.u = 2 * f.noise
	} else {
		f.noise = math.Sqrt(best.deviation)
		f.u = math.Sqrt(best.line()+2*best.deviation) - f.rms
	}
	f.u = math.Hypot(f.u, math.Sqrt(best.line()+unsure)-math.Sqrt(best.line()))
	return f
}

// projectLine projects a record on a line of known frequency, in blocks of length
// samples that overlap by half, each under a Hann taper. The noise is that of places
// frequencies to either side of the line where the taper shows none of it.
func projectLine(rec Source, rateHz, hz float64, length, places int, startS float64) projections {
	n := rec.Len()
	blocks := max(2*n/length-1, 1)
	p := projections{blockS: float64(length) / rateHz}
	bin := rateHz / float64(length)
	buf := make([]float64, min(length, blockLen/4))
	beside := make([]float64, 0, 6)
	for b := range blocks {
		from := 0
		if blocks > 1 {
			from = b * (n - length) / (blocks - 1)
		}
		perSample := append(make([]float64, 0, 1+2*len(besideBins)), hz/rateHz)
		for _, d := range besideBins[:places] {
			perSample = append(perSample, math.Abs(hz-d*bin)/rateHz, math.Abs(hz+d*bin)/rateHz)
		}
		found := tapered(rec, buf, from, length, perSample)
		z := found[0]
		p.power += (real(z)*real(z) + imag(z)*imag(z)) / float64(blocks)
		if b == blocks/2 {
			p.phase = wrapPhase(cmplx.Phase(z) - 2*math.Pi*math.Mod(hz*(startS+float64(from)/rateHz), 1))
		}
		beside = beside[:0]
		for _, z := range found[1:] {
			beside = append(beside, real(z)*real(z)+imag(z)*imag(z))
		}
		p.noise += noiseOf(beside) / float64(blocks)
	}
	// overlapping by half, Hann tapers give nearly independent blocks
	p.deviation = math.Sqrt((p.noise*p.noise + 2*max(p.power-p.noise, 0)*p.noise) / float64(blocks))
	return p
}

// besideBins are the distances in bins at which the noise beside a line is read:
// zeros of the taper.
var besideBins = [3]float64{3, 4, 5}

// noiseOf is the mean of powers of noise: of some by their median, which no line
// among them moves much and which is ln 2 of the mean of an exponential
// distribution.
func noiseOf(powers []float64) float64 {
	if len(powers) == 2 {
		return (powers[0] + powers[1]) / 2
	}
	slices.Sort(powers)
	return (powers[len(powers)/2-1] + powers[len(powers)/2]) / 2 / math.Ln2
}

// tapered are the projections of length samples from a place on under a Hann taper,
// the mean taken off, on cosines of so many cycles a sample each: V rms, the phases
// those of the first sample. buf is work space.
func tapered(rec Source, buf []float64, from, length int, perSample []float64) []complex128 {
	lines := make([]projection, len(perSample))
	var one, mean float64
	w := make([]float64, len(buf))
	for pos := 0; pos < length; pos += len(buf) {
		x := buf[:min(len(buf), length-pos)]
		rec.Fill(x, from+pos)
		ws, wc := math.Sincos(2 * math.Pi * float64(pos) / float64(length))
		dws, dwc := math.Sincos(2 * math.Pi / float64(length))
		for i, v := range x {
			h := 0.5 - 0.5*wc
			one += h
			mean += h * v
			w[i], x[i] = h, h*v
			wc, ws = wc*dwc-ws*dws, wc*dws+ws*dwc
		}
		k := 0
		for ; k+1 < len(lines); k += 2 { // two at a time, so that one needn't wait for the other
			addLines(&lines[k], &lines[k+1], x, w, pos, perSample[k], perSample[k+1])
		}
		if k < len(lines) {
			var none projection
			addLines(&lines[k], &none, x, w, pos, perSample[k], 0)
		}
	}
	out := make([]complex128, len(lines))
	if one == 0 {
		return out
	}
	mean /= one
	for k, l := range lines {
		out[k] = complex((l.re-mean*l.oneRe)/one*math.Sqrt2, (l.im-mean*l.oneIm)/one*math.Sqrt2)
	}
	return out
}

// projection are a line's sums over samples under the taper, and over the taper alone.
type projection struct{ re, im, oneRe, oneIm float64 }

// addLines adds samples x, the taper w on them, from place pos on to the sums of two
// lines of a and b cycles a sample.
func addLines(p, q *projection, x, w []float64, pos int, a, b float64) {
	sin, cos := math.Sincos(2 * math.Pi * math.Mod(a*float64(pos), 1))
	ds, dc := math.Sincos(2 * math.Pi * a)
	sin2, cos2 := math.Sincos(2 * math.Pi * math.Mod(b*float64(pos), 1))
	ds2, dc2 := math.Sincos(2 * math.Pi * b)
	s, t := *p, *q
	w = w[:len(x)]
	for i, v := range x {
		h := w[i]
		s.oneRe += h * cos
		s.oneIm -= h * sin
		s.re += v * cos
		s.im -= v * sin
		t.oneRe += h * cos2
		t.oneIm -= h * sin2
		t.re += v * cos2
		t.im -= v * sin2
		cos, sin = cos*dc-sin*ds, cos*ds+sin*dc
		cos2, sin2 = cos2*dc2-sin2*ds2, cos2*ds2+sin2*dc2
	}
	*p, *q = s, t
}
