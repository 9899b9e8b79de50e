package spectrum

import (
	"math"
	"math/cmplx"
	"slices"
)

// followed is a line of the mains measured over a record.
type followed struct {
	rms, u, noise float64 // V: its power's root, its expanded uncertainty, one standard deviation by noise
	chance        float64 // V: twice what noise makes of it
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
		f.u, f.chance = besideSix*f.noise, 2*f.noise
	} else {
		f.noise = math.Sqrt(best.deviation)
		f.u = math.Sqrt(best.line()+2*best.deviation) - f.rms
		f.chance = f.u
	}
	wander := math.Sqrt(best.line()+unsure) - math.Sqrt(best.line())
	f.u, f.chance = math.Hypot(f.u, wander), math.Hypot(f.chance, wander)
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
	lines := make([]complex128, len(perSample))
	var one, mean float64
	for pos := 0; pos < length; pos += len(buf) {
		x := buf[:min(len(buf), length-pos)]
		rec.Fill(x, from+pos)
		ws, wc := math.Sincos(2 * math.Pi * float64(pos) / float64(length))
		dws, dwc := math.Sincos(2 * math.Pi / float64(length))
		for i, v := range x {
			h := 0.5 - 0.5*wc
			one += h
			mean += h * v
			x[i] = h * v
			wc, ws = wc*dwc-ws*dws, wc*dws+ws*dwc
		}
		for k := 0; k < len(lines); k += linesAtOnce {
			addLines(lines[k:min(k+linesAtOnce, len(lines))], x, pos, perSample[k:])
		}
	}
	if one == 0 {
		return make([]complex128, len(perSample))
	}
	mean /= one
	for k, z := range lines {
		lines[k] = (z - complex(mean, 0)*hannSum(length, perSample[k])) * complex(math.Sqrt2/one, 0)
	}
	return lines
}

// hannSum is the sum over n samples of the Hann taper times exp(-2πi·a·k), sample k
// from 0: three geometric series.
func hannSum(n int, a float64) complex128 {
	series := func(a float64) complex128 {
		sin, whole := math.Sin(math.Pi*a), math.Sin(math.Pi*math.Mod(a*float64(n), 2))
		if math.Abs(sin) < 1e-12 {
			return complex(float64(n), 0)
		}
		return cmplx.Rect(whole/sin, -math.Pi*math.Mod(a*float64(n-1), 2))
	}
	bin := 1 / float64(n)
	return series(a)/2 - (series(a-bin)+series(a+bin))/4
}

// linesAtOnce is how many lines are summed side by side: each turns by one sample
// from the last, which takes longer than the sums.
const linesAtOnce = 4

// addLines adds samples x, from place pos on, to the sums of up to linesAtOnce lines of
// so many cycles a sample.
func addLines(lines []complex128, x []float64, pos int, perSample []float64) {
	var at, step [linesAtOnce]complex128
	for k := range lines {
		at[k] = cmplx.Rect(1, -2*math.Pi*math.Mod(perSample[k]*float64(pos), 1))
		step[k] = cmplx.Rect(1, -2*math.Pi*perSample[k])
	}
	// single numbers, which stay in registers as an array's would not
	a, b, c, d := at[0], at[1], at[2], at[3]
	sa, sb, sc, sd := step[0], step[1], step[2], step[3]
	var za, zb, zc, zd complex128
	for _, v := range x {
		za += complex(real(a)*v, imag(a)*v)
		zb += complex(real(b)*v, imag(b)*v)
		zc += complex(real(c)*v, imag(c)*v)
		zd += complex(real(d)*v, imag(d)*v)
		a, b, c, d = a*sa, b*sb, c*sc, d*sd
	}
	for k, z := range [linesAtOnce]complex128{za, zb, zc, zd} {
		if k < len(lines) {
			lines[k] += z
		}
	}
}
