package spectrum

import (
	"math"
	"slices"
)

// halfBandReach is the number of samples on each side of the centre of the
// half-band low-pass. With a Kaiser window for 120 dB the pass band ends at
// 0.175 and the stop band begins at 0.325 of the sample rate (Kaiser 1974).
const halfBandReach = 27

// halfBandEdge is the highest frequency, in units of the halved sample rate,
// that is neither attenuated nor mixed with aliases (below -110 dB).
const halfBandEdge = 0.35

// halfBandTaps are the nonzero taps right of the centre: at distance 1, 3, 5,
// ... 27. The centre tap is 0.5, taps at even distance are zero.
func halfBandTaps() []float64 {
	const beta = 12.2653 // Kaiser: 0.1102*(120-8.7)
	taps := make([]float64, (halfBandReach+1)/2)
	sum := 0.25
	for i := range taps {
		d := float64(2*i + 1)
		r := d / (halfBandReach + 1)
		taps[i] = math.Sin(math.Pi*d/2) / (math.Pi * d) * besselI0(beta*math.Sqrt(1-r*r)) / besselI0(beta)
		sum += taps[i]
	}
	// unity gain at DC: 0.5 + 2*sum(taps) = 1
	scale := 0.25 / (sum - 0.25)
	for i := range taps {
		taps[i] *= scale
	}
	return taps
}

// besselI0 is the modified Bessel function of the first kind and order zero, by
// its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}

// halver halves the rate of a stream. Only outputs whose whole reach lies
// inside the stream come out, so the ends of a record lend it no transient:
// output k is centred on input halfBandReach + 2k.
type halver struct {
	taps  [(halfBandReach + 1) / 2]float64
	rest  []float64 // inputs not yet used up, from the next output's first on
	joint []float64 // these and what follows them
}

// halfBandSpan is how many inputs an output is made of.
const halfBandSpan = 2*halfBandReach + 1

func newHalver() *halver {
	h := &halver{}
	copy(h.taps[:], halfBandTaps())
	return h
}

// push takes samples and appends the finished outputs to dst.
func (h *halver) push(dst, in []float64) []float64 {
	if k := len(h.rest); k > 0 {
		// the outputs that begin among the inputs left from before
		h.joint = append(append(h.joint[:0], h.rest...), in[:min(len(in), halfBandSpan)]...)
		n := min(halvedLen(len(h.joint)), (k+1)/2)
		dst = h.halve(dst, h.joint, n)
		if 2*n < k { // so few inputs
			h.rest = append(h.rest[:0], h.joint[2*n:]...)
			return dst
		}
		in = in[2*n-k:]
	}
	n := halvedLen(len(in))
	dst = h.halve(dst, in, n)
	h.rest = append(h.rest[:0], in[2*n:]...)
	return dst
}

// halve appends n outputs, the first of them centred on x[halfBandReach].
func (h *halver) halve(dst, x []float64, n int) []float64 {
	t := &h.taps
	was := len(dst)
	dst = slices.Grow(dst, n)[:was+n]
	k := 0
	for ; k+1 < n; k += 2 {
		// two outputs, written out since the index of a loop would cost as much as the
		// sums
		x := (*[halfBandSpan + 2]float64)(x[2*k:])
		a, b := 0.5*x[halfBandReach], 0.0   // the first's taps of even and of odd number
		c, d := 0.5*x[halfBandReach+2], 0.0 // the second's
		a, c = a+t[0]*(x[26]+x[28]), c+t[0]*(x[28]+x[30])
		b, d = b+t[1]*(x[24]+x[30]), d+t[1]*(x[26]+x[32])
		a, c = a+t[2]*(x[22]+x[32]), c+t[2]*(x[24]+x[34])
		b, d = b+t[3]*(x[20]+x[34]), d+t[3]*(x[22]+x[36])
		a, c = a+t[4]*(x[18]+x[36]), c+t[4]*(x[20]+x[38])
		b, d = b+t[5]*(x[16]+x[38]), d+t[5]*(x[18]+x[40])
		a, c = a+t[6]*(x[14]+x[40]), c+t[6]*(x[16]+x[42])
		b, d = b+t[7]*(x[12]+x[42]), d+t[7]*(x[14]+x[44])
		a, c = a+t[8]*(x[10]+x[44]), c+t[8]*(x[12]+x[46])
		b, d = b+t[9]*(x[8]+x[46]), d+t[9]*(x[10]+x[48])
		a, c = a+t[10]*(x[6]+x[48]), c+t[10]*(x[8]+x[50])
		b, d = b+t[11]*(x[4]+x[50]), d+t[11]*(x[6]+x[52])
		a, c = a+t[12]*(x[2]+x[52]), c+t[12]*(x[4]+x[54])
		b, d = b+t[13]*(x[0]+x[54]), d+t[13]*(x[2]+x[56])
		out := (*[2]float64)(dst[was+k:])
		out[0], out[1] = a+b, c+d
	}
	if k < n {
		x := (*[halfBandSpan]float64)(x[2*k:])
		a, b := 0.5*x[halfBandReach], 0.0
		for i := 0; i < len(t); i += 2 {
			a += t[i] * (x[halfBandReach-1-2*i] + x[halfBandReach+1+2*i])
			b += t[i+1] * (x[halfBandReach-3-2*i] + x[halfBandReach+3+2*i])
		}
		dst[was+k] = a + b
	}
	return dst
}

// halvedLen is the number of outputs that n inputs yield.
func halvedLen(n int) int {
	if n < halfBandSpan {
		return 0
	}
	return (n-halfBandSpan)/2 + 1
}
