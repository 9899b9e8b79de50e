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
	if n < 8 {
		return followed{}
	}
	duration := float64(n) / rate
	var best projections
	unsure := 0.0
	if blockS > 0 && blockS < duration/1.5 {
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
			case more > 2*math.Hypot(p.deviation, best.deviation):
				unsure = max(unsure, more)
			}
		}
	}
	f := followed{rms: math.Sqrt(best.line()), phase: best.phase, blockS: best.blockS, noise: math.Sqrt(best.noise / 2)}
	if best.blockS > duration/1.5 {
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
		z := tapered(rec, buf, from, length, hz/rateHz)
		p.power += (real(z)*real(z) + imag(z)*imag(z)) / float64(blocks)
		if b == blocks/2 {
			p.phase = wrapPhase(cmplx.Phase(z) - 2*math.Pi*math.Mod(hz*(startS+float64(from)/rateHz), 1))
		}
		beside = beside[:0]
		for _, d := range besideBins[:places] {
			for _, f := range [2]float64{hz - d*bin, hz + d*bin} {
				z := tapered(rec, buf, from, length, math.Abs(f)/rateHz)
				beside = append(beside, real(z)*real(z)+imag(z)*imag(z))
			}
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

// tapered is the projection of length samples from a place on under a Hann taper,
// the mean taken off, on a cosine of hz/rate cycles a sample: V rms, the phase that
// of the first sample. buf is work space.
func tapered(rec Source, buf []float64, from, length int, perSample float64) complex128 {
	var re, im, one, mean, oneRe, oneIm float64
	for pos := 0; pos < length; pos += len(buf) {
		x := buf[:min(len(buf), length-pos)]
		rec.Fill(x, from+pos)
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(perSample*float64(pos), 1))
		ds, dc := math.Sincos(2 * math.Pi * perSample)
		ws, wc := math.Sincos(2 * math.Pi * float64(pos) / float64(length))
		dws, dwc := math.Sincos(2 * math.Pi / float64(length))
		for _, v := range x {
			w := 0.5 - 0.5*wc
			one += w
			mean += w * v
			oneRe += w * cos
			oneIm -= w * sin
			re += w * v * cos
			im -= w * v * sin
			cos, sin = cos*dc-sin*ds, cos*ds+sin*dc
			wc, ws = wc*dwc-ws*dws, wc*dws+ws*dwc
		}
	}
	if one == 0 {
		return 0
	}
	mean /= one
	return complex((re-mean*oneRe)/one*math.Sqrt2, (im-mean*oneIm)/one*math.Sqrt2)
}
