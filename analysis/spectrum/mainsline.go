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
// longest blocks are taken whose power no shorter ones exceed.
func (m *Multirate) followLine(src Source, hz float64) followed {
	rec, rate, startS := m.lowestRecord(src, hz)
	n := rec.Len()
	if n < minSpectrumLen {
		return followed{}
	}
	project := func(length, places int) projections {
		return projectLines(rec, rate, []float64{hz}, length, places, startS)[0]
	}
	best, unsure := project(n, len(besideBins)), 0.0
	for length := n / 2; float64(length) >= leastBlockS*rate; length /= 2 {
		p := project(length, 1)
		switch more := p.line() - best.line(); {
		case more > wanderOver*math.Hypot(p.deviation, best.deviation)+wanderShare*p.line():
			best, unsure = p, 0
		case more > wanderUnsure*math.Hypot(p.deviation, best.deviation):
			unsure = max(unsure, more)
		}
	}
	return best.followed(float64(n)/rate, unsure)
}

// followAlike measures lines of ascending frequencies that wander as one does that was
// followed in blocks of blockS.
func (m *Multirate) followAlike(src Source, hz []float64, blockS float64) []followed {
	var lines []followed
	for len(hz) > 0 {
		rec, rate, startS := m.lowestRecord(src, hz[0])
		n, same := rec.Len(), 1
		for same < len(hz) {
			if _, r, _ := m.lowestRecord(src, hz[same]); r != rate {
				break
			}
			same++
		}
		duration := float64(n) / rate
		length := n
		if blockS > 0 && blockS < duration/wholeRecord {
			length = int(blockS * rate)
		}
		if n < minSpectrumLen {
			lines = append(lines, make([]followed, same)...)
		} else {
			for _, p := range projectLines(rec, rate, hz[:same], length, 1, startS) {
				lines = append(lines, p.followed(duration, 0))
			}
		}
		hz = hz[same:]
	}
	return lines
}

// followed is the line of a record of durationS; unsure is the power by which blocks of
// another length leave it in doubt, V².
func (p projections) followed(durationS, unsure float64) followed {
	f := followed{rms: math.Sqrt(p.line()), phase: p.phase, blockS: p.blockS, noise: math.Sqrt(p.noise / 2)}
	if p.blockS > durationS/wholeRecord {
		f.rms = math.Sqrt(p.power) // a single projection: what noise adds is in its deviation
		f.u, f.chance = besideSix*f.noise, 2*f.noise
	} else {
		f.noise = math.Sqrt(p.deviation)
		f.u = math.Sqrt(p.line()+2*p.deviation) - f.rms
		f.chance = f.u
	}
	wander := math.Sqrt(p.line()+unsure) - math.Sqrt(p.line())
	f.u, f.chance = math.Hypot(f.u, wander), math.Hypot(f.chance, wander)
	return f
}

// projectLines projects a record on lines of known frequencies, in blocks of length
// samples that overlap by half, each under a Hann taper. The noise is that of places
// frequencies to either side of a line where the taper shows none of it.
func projectLines(rec Source, rateHz float64, hz []float64, length, places int, startS float64) []projections {
	n := rec.Len()
	blocks := max(2*n/length-1, 1)
	bin := rateHz / float64(length)
	buf := make([]float64, min(length, blockLen/4))
	var perSample []float64 // of each line itself and of the places beside it
	for _, f := range hz {
		perSample = append(perSample, f/rateHz)
		for _, d := range besideBins[:places] {
			perSample = append(perSample, math.Abs(f-d*bin)/rateHz, math.Abs(f+d*bin)/rateHz)
		}
	}
	lines, each := make([]projections, len(hz)), 1+2*places
	beside := make([]float64, 0, 2*len(besideBins))
	for b := range blocks {
		from := 0
		if blocks > 1 {
			from = b * (n - length) / (blocks - 1)
		}
		found := tapered(rec, buf, from, length, perSample)
		for k := range lines {
			p, z := &lines[k], found[k*each]
			p.power += (real(z)*real(z) + imag(z)*imag(z)) / float64(blocks)
			if b == blocks/2 {
				p.phase = wrapPhase(cmplx.Phase(z) - 2*math.Pi*math.Mod(hz[k]*(startS+float64(from)/rateHz), 1))
			}
			beside = beside[:0]
			for _, z := range found[k*each+1:][:2*places] {
				beside = append(beside, real(z)*real(z)+imag(z)*imag(z))
			}
			p.noise += noiseOf(beside) / float64(blocks)
		}
	}
	for k := range lines {
		p := &lines[k]
		p.blockS = float64(length) / rateHz
		// overlapping by half, Hann tapers give nearly independent blocks
		p.deviation = math.Sqrt((p.noise*p.noise + 2*max(p.power-p.noise, 0)*p.noise) / float64(blocks))
	}
	return lines
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

// linesAtOnce is how many lines are summed side by side, and turnsAhead for how many
// samples each is turned by a table before its phase is moved on.
const (
	linesAtOnce = 4
	turnsAhead  = 16
)

// addLines adds samples x, from place pos on, to the sums of up to linesAtOnce lines of
// so many cycles a sample.
func addLines(lines []complex128, x []float64, pos int, perSample []float64) {
	var turns [turnsAhead][linesAtOnce]complex128
	var at, step [linesAtOnce]complex128
	for k := range lines {
		at[k] = cmplx.Rect(1, -2*math.Pi*math.Mod(perSample[k]*float64(pos), 1))
		step[k] = cmplx.Rect(1, -2*math.Pi*math.Mod(perSample[k]*turnsAhead, 1))
		one, turn := cmplx.Rect(1, -2*math.Pi*perSample[k]), complex(1, 0)
		for i := range turns {
			turns[i][k] = turn
			turn *= one
		}
	}
	for ; len(x) > 0; x = x[min(turnsAhead, len(x)):] {
		var a, b, c, d complex128 // single numbers, which stay in registers as an array's would not
		for i, v := range x[:min(turnsAhead, len(x))] {
			t := &turns[i]
			a += complex(real(t[0])*v, imag(t[0])*v)
			b += complex(real(t[1])*v, imag(t[1])*v)
			c += complex(real(t[2])*v, imag(t[2])*v)
			d += complex(real(t[3])*v, imag(t[3])*v)
		}
		for k, z := range [linesAtOnce]complex128{a, b, c, d} {
			if k < len(lines) {
				lines[k] += at[k] * z
				at[k] *= step[k]
			}
		}
	}
}
