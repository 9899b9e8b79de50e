package spectrum

import "slices"

// halfBandReach is the number of samples on each side of the centre of the
// half-band low-pass. Its pass band ends at 0.175 and its stop band begins at 0.325 of
// the sample rate.
const halfBandReach = 23

// halfBandEdge is the highest frequency, in units of the halved sample rate,
// that is neither attenuated nor mixed with aliases (below -110 dB).
const halfBandEdge = 0.35

// halfBandTaps are the nonzero taps right of the centre: at distance 1, 3, 5,
// ... 23. The centre tap is 0.5, taps at even distance are zero.
//
// They are equiripple, of which fewer do than of a window's: those of every other
// sample, which pass up to 0.35 of half the rate, are scipy 1.10's
// signal.remez(24, [0, 0.35], [1], grid_density=64) over 2, scaled to a gain of one at
// zero frequency (Vaidyanathan and Nguyen 1987, from memory).
var halfBandTaps = [(halfBandReach + 1) / 2]float64{
	0.31546772397244155, -0.09784848069267642, 0.05076391656290737, -0.029051252442787653,
	0.01669632854212297, -0.009244447808340793, 0.004797716833208305, -0.002275666180598201,
	0.0009568903444047777, -0.00034078659832385486, 9.445599256404321e-05, -1.6398524922132052e-05,
}

// halver halves the rate of a stream. Only outputs whose whole reach lies
// inside the stream come out, so the ends of a record lend it no transient:
// output k is centred on input halfBandReach + 2k.
type halver struct {
	rest  []float64 // inputs not yet used up, from the next output's first on
	joint []float64 // these and what follows them
}

// halfBandSpan is how many inputs an output is made of.
const halfBandSpan = 2*halfBandReach + 1

func newHalver() *halver { return new(halver) }

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
	t := &halfBandTaps
	was := len(dst)
	dst = slices.Grow(dst, n)[:was+n]
	k := 0
	for ; k+1 < n; k += 2 {
		// two outputs, written out since the index of a loop would cost as much as the
		// sums
		x := (*[halfBandSpan + 2]float64)(x[2*k:])
		a, b := 0.5*x[halfBandReach], 0.0   // the first's taps of even and of odd number
		c, d := 0.5*x[halfBandReach+2], 0.0 // the second's
		a, c = a+t[0]*(x[22]+x[24]), c+t[0]*(x[24]+x[26])
		b, d = b+t[1]*(x[20]+x[26]), d+t[1]*(x[22]+x[28])
		a, c = a+t[2]*(x[18]+x[28]), c+t[2]*(x[20]+x[30])
		b, d = b+t[3]*(x[16]+x[30]), d+t[3]*(x[18]+x[32])
		a, c = a+t[4]*(x[14]+x[32]), c+t[4]*(x[16]+x[34])
		b, d = b+t[5]*(x[12]+x[34]), d+t[5]*(x[14]+x[36])
		a, c = a+t[6]*(x[10]+x[36]), c+t[6]*(x[12]+x[38])
		b, d = b+t[7]*(x[8]+x[38]), d+t[7]*(x[10]+x[40])
		a, c = a+t[8]*(x[6]+x[40]), c+t[8]*(x[8]+x[42])
		b, d = b+t[9]*(x[4]+x[42]), d+t[9]*(x[6]+x[44])
		a, c = a+t[10]*(x[2]+x[44]), c+t[10]*(x[4]+x[46])
		b, d = b+t[11]*(x[0]+x[46]), d+t[11]*(x[2]+x[48])
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
