package cycle

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// partFold is one part of the record folded at a common frequency: the Fourier
// coefficients of its fold.
type partFold struct {
	middle float64 // sample
	c      []complex128
}

// refineFixed improves the frequency of a coherent supply over the whole record
// by the most likely phase slope of all its harmonics together: the record is
// folded in parts at hz, and the slope is found that adds the parts' harmonics
// in phase. uHz is the standard deviation by the curvature there, half as much
// again and more because the harmonics' weights are read from the same parts.
func refineFixed(volts []float64, rateHz, hz float64) (refined, uHz float64, folded harmonicSum) {
	n := len(volts)
	h := newHarmonicSum(volts, rateHz, hz)
	duration := float64(n) / rateHz
	df, half := 0.0, 1.5/duration
	for top := 1; ; top *= 2 {
		last := top >= h.harmonics
		top = min(top, h.harmonics)
		var w []float64
		if top > 1 {
			w = h.weights(df, top)
		}
		df = h.crest(df, half, top, w)
		half = max(half/2, crestCycles/duration/float64(top))
		if last {
			break
		}
	}
	// Cramér-Rao by curvature: weights carry 1/noise of the coherent sum
	w := h.weights(df, h.harmonics)
	s := 0.05 / duration / float64(h.harmonics)
	a, b, c := h.energy(df-s, h.harmonics, w), h.energy(df, h.harmonics, w), h.energy(df+s, h.harmonics, w)
	if curve := -(a - 2*b + c) / (s * s); curve > 0 && b > 0 {
		uHz = 1.6 * math.Sqrt(1/curve)
	} else {
		uHz = 0.5 / duration
	}
	return hz + df, uHz, h
}

// harmonicSum adds the harmonics of a record's parts in phase at a frequency near
// the one that the parts are folded at.
type harmonicSum struct {
	parts     []partFold
	rateHz    float64
	hz        float64      // that the parts are folded at
	centre    float64      // sample about which the phases turn
	harmonics int          // most that the sample rate and the fold's bins hold
	sums      []complex128 // work space, a place for each harmonic and the mean
}

// newHarmonicSum folds the record in parts at hz.
func newHarmonicSum(volts []float64, rateHz, hz float64) harmonicSum {
	const bins = 256
	n := len(volts)
	cycles := float64(n) * hz / rateHz
	parts := int(min(max(cycles/partCycles, 2), mostParts))
	h := harmonicSum{parts: make([]partFold, parts), rateHz: rateHz, hz: hz, centre: float64(n-1) / 2,
		harmonics: max(int(min(bins/4, harmonicsTop*rateHz/hz)), 1), sums: make([]complex128, bins/4+1)}
	inc := hz / rateHz
	part := func(p int, acc *[bins]float64, fft *fourier.FFT) {
		lo, hi := p*n/parts, (p+1)*n/parts
		// whole cycles only
		whole := math.Floor(float64(hi-lo)*inc) / inc
		if whole >= 1 {
			hi = min(hi, lo+int(whole+0.5))
		}
		clear(acc[:])
		slope, base := trend(volts[lo:hi])
		ph, step := NewPhase(float64(lo)*inc), NewPhase(inc)
		for i, v := range volts[lo:hi] {
			acc[ph.Bin(bins)] += v - base - slope*float64(i)
			ph += step
		}
		h.parts[p] = partFold{middle: float64(lo+hi-1) / 2, c: fft.Coefficients(nil, acc[:])}
	}
	each := func(from, to int) {
		var acc [bins]float64
		fft := fourier.NewFFT(bins)
		for p := from; p < to; p++ {
			part(p, &acc, fft)
		}
	}
	if n < leastHalved {
		each(0, parts)
	} else {
		both(func() { each(parts/2, parts) }, func() { each(0, parts/2) })
	}
	return h
}

// energy is the weighted square of the sums of the first top harmonics, df off
// the folds' frequency; weight nil: all alike.
func (h harmonicSum) energy(df float64, top int, weight []float64) float64 {
	last := top // that counts
	for weight != nil && last > 0 && weight[last] == 0 {
		last--
	}
	sums := h.sums[:last+1]
	clear(sums)
	// harmonic k turns k times as far as the first: its powers
	turnOf := func(f partFold) complex128 {
		return cmplx.Rect(1, -2*math.Pi*df/h.rateHz*(f.middle-h.centre))
	}
	parts := h.parts
	for ; len(parts) >= 2; parts = parts[2:] { // one's powers need not wait for the other's
		f, g := parts[0].c[1:last+1], parts[1].c[1:last+1]
		turn, turnG := turnOf(parts[0]), turnOf(parts[1])
		at, atG := turn, turnG
		for k, c := range f {
			sums[k+1] = sums[k+1] + c*at + g[k]*atG
			at *= turn
			atG *= turnG
		}
	}
	for _, f := range parts {
		turn := turnOf(f)
		at := turn
		for k, c := range f.c[1 : last+1] {
			sums[k+1] += c * at
			at *= turn
		}
	}
	sum := 0.0
	for k, a := range sums {
		if k == 0 || weight != nil && weight[k] == 0 {
			continue
		}
		e := real(a)*real(a) + imag(a)*imag(a)
		if weight != nil {
			e *= weight[k]
		}
		sum += e
	}
	return sum
}

// weights are the inverse noise of each harmonic's sum, from the parts' spread
// about their mean; 0 where it does not stand out.
func (h harmonicSum) weights(df float64, top int) []float64 {
	w := make([]float64, top+1)
	for k := 1; k <= top; k++ {
		var a complex128
		var p float64
		for _, f := range h.parts {
			r := f.c[k] * cmplx.Rect(1, -2*math.Pi*float64(k)*df/h.rateHz*(f.middle-h.centre))
			a += r
			p += real(r)*real(r) + imag(r)*imag(r)
		}
		coherent := real(a)*real(a) + imag(a)*imag(a)
		noise := max(p-coherent/float64(len(h.parts)), tiny) // of the sum of the parts
		if coherent > coherentOver*noise {
			w[k] = 1 / noise
		}
	}
	return w
}

// phases are by how much the parts run ahead of a straight phase, in cycles, df off
// the folds' frequency: each part's harmonics against the mean of all parts', by the
// weights; nil where no harmonic stands out.
func (h harmonicSum) phases(df float64, w []float64) []float64 {
	n := float64(len(h.parts))
	out := make([]float64, len(h.parts))
	turned := make([]complex128, len(h.parts))
	den := 0.0
	for k := 1; k < len(w); k++ {
		if w[k] == 0 {
			continue
		}
		var mean complex128
		for i, f := range h.parts {
			turned[i] = f.c[k] * cmplx.Rect(1, -2*math.Pi*float64(k)*df/h.rateHz*(f.middle-h.centre))
			mean += turned[i] / complex(n, 0)
		}
		for i, c := range turned {
			out[i] += w[k] * float64(k) * (real(mean)*imag(c) - imag(mean)*real(c))
		}
		den += w[k] * float64(k*k) * (real(mean)*real(mean) + imag(mean)*imag(mean))
	}
	if den == 0 {
		return nil
	}
	for i := range out {
		out[i] /= 2 * math.Pi * den
	}
	return out
}

// scatterHz is the standard deviation that the phases of the record's parts leave a
// frequency near the one they are folded at, 0 where they are too few to tell: what
// phases that walk off their line leave it, √3 of their deviation over the record's
// duration, or the slope left in them where it stands out of their noise, since the
// two estimates then disagree. The noise of the phases themselves, as their differences
// from one to the next show it, other bounds know.
func (h harmonicSum) scatterHz(hz float64) float64 {
	df := hz - h.hz
	ph := h.phases(df, h.weights(df, h.harmonics))
	n := float64(len(ph))
	if n < leastPhases {
		return 0
	}
	var x, y float64
	for i, p := range ph {
		x += h.parts[i].middle / n
		y += p / n
	}
	var sxx, sxy, left, steps float64
	for i, p := range ph {
		d := h.parts[i].middle - x
		sxx += d * d
		sxy += d * (p - y)
	}
	slope := sxy / sxx
	was := 0.0
	for i, p := range ph {
		r := p - y - slope*(h.parts[i].middle-x)
		left += r * r / (n - 2)
		if i > 0 {
			steps += (r - was) * (r - was) / (2 * (n - 1))
		}
		was = r
	}
	noise := min(left, steps)
	noiseHz := math.Sqrt(noise/sxx) * h.rateHz
	walk2 := max(left-noise*(1+walkSigmas*math.Sqrt(2/n)), 0)
	sigma := math.Sqrt(3*walk2) * h.rateHz / (2*h.centre + 1)
	if slopeHz := math.Abs(slope) * h.rateHz; slopeHz > slopeSigmas*noiseHz {
		sigma = max(sigma, slopeHz)
	}
	return sigma
}

// crest is the offset within half of df at which the energy is greatest.
func (h harmonicSum) crest(df, half float64, top int, w []float64) float64 {
	const grid = 12
	best, at := math.Inf(-1), df
	for i := -grid; i <= grid; i++ {
		d := df + half*float64(i)/grid
		if e := h.energy(d, top, w); e > best {
			best, at = e, d
		}
	}
	step := half / grid
	for range 3 {
		a, b, c := h.energy(at-step, top, w), h.energy(at, top, w), h.energy(at+step, top, w)
		if den := a - 2*b + c; den < 0 {
			at += step * min(max(0.5*(a-c)/den, -1), 1)
		}
		step /= 3
	}
	return at
}

// hzBound is the Cramér-Rao bound of the frequency of a periodic waveform in
// white noise, as a standard deviation in hertz: √(12·σ²/(n·Σh²·P_h))/(2π·T), for
// harmonics h of power P_h that stand clearly out of the folded cycle's noise (Rife and
// Boorstyn 1974 for one line, from memory). Half the record's resolution where
// none does.
func (f *Fold) hzBound(durationS float64) float64 {
	m := float64(len(f.Mean))
	n := f.samples()
	if n == 0 || !(durationS > 0) {
		return 0
	}
	noise := f.SigmaV * f.SigmaV / n // per degree of freedom of the mean cycle, as power
	sum := 0.0
	for h, c := range fourier.NewFFT(len(f.Mean)).Coefficients(nil, f.Mean) {
		p := 2 * (real(c)*real(c) + imag(c)*imag(c)) / (m * m)
		if h > 0 && h < len(f.Mean)/2 && p > boundOver*noise {
			sum += float64(h) * float64(h) * p
		}
	}
	if sum == 0 {
		return 0.5 / durationS
	}
	// no estimate quite reaches the bound: half as much again by drawn supplies
	return 1.5 * math.Sqrt(12*noise/sum) / (2 * math.Pi * durationS)
}
