package spectrum

import "math"

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
	taps [(halfBandReach + 1) / 2]float64
	// inputs not yet used up: of even number (under the taps) and of odd number
	// (under the centre)
	even, odd []float64
	inputs    int
}

func newHalver() *halver {
	h := &halver{}
	copy(h.taps[:], halfBandTaps())
	return h
}

// push takes samples and appends the finished outputs to dst.
func (h *halver) push(dst, in []float64) []float64 {
	if h.inputs%2 == 1 && len(in) > 0 {
		h.odd = append(h.odd, in[0])
		h.inputs++
		in = in[1:]
	}
	h.inputs += len(in)
	for ; len(in) >= 2; in = in[2:] {
		h.even = append(h.even, in[0])
		h.odd = append(h.odd, in[1])
	}
	h.even = append(h.even, in...)
	const under = halfBandReach + 1 // even inputs under the taps
	const centre = halfBandReach / 2
	n := min(len(h.even)-under+1, len(h.odd)-centre)
	if n <= 0 {
		return dst
	}
	t := &h.taps
	k := 0
	for ; k+1 < n; k += 2 { // two at a time share what they read
		e := (*[under + 1]float64)(h.even[k:])
		a, b := 0.5*h.odd[k+centre], 0.0
		c, d := 0.5*h.odd[k+centre+1], 0.0
		left, right := e[under/2], e[under/2]
		for i := 0; i < len(t); i += 2 {
			l1, l2 := e[under/2-1-i], e[under/2-2-i]
			r1, r2 := e[under/2+1+i], e[under/2+2+i]
			a += t[i] * (l1 + right)
			b += t[i+1] * (l2 + r1)
			c += t[i] * (left + r1)
			d += t[i+1] * (l1 + r2)
			left, right = l2, r2
		}
		dst = append(dst, a+b, c+d)
	}
	for ; k < n; k++ {
		e := (*[under]float64)(h.even[k:])
		a, b := 0.5*h.odd[k+centre], 0.0
		for i := 0; i < len(t); i += 2 {
			a += t[i] * (e[under/2-1-i] + e[under/2+i])
			b += t[i+1] * (e[under/2-2-i] + e[under/2+1+i])
		}
		dst = append(dst, a+b)
	}
	h.even = h.even[:copy(h.even, h.even[n:])]
	h.odd = h.odd[:copy(h.odd, h.odd[n:])]
	return dst
}

// halvedLen is the number of outputs that n inputs yield.
func halvedLen(n int) int {
	const span = 2*halfBandReach + 1
	if n < span {
		return 0
	}
	return (n-span)/2 + 1
}
