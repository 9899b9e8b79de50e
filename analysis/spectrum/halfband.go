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
	h.take(in)
	n := min(len(h.even)-halfBandReach, len(h.odd)-halfBandReach/2)
	if n <= 0 {
		return dst
	}
	was := len(dst)
	dst = slices.Grow(dst, n+1)[:was+n+1] // room for one more
	// for it there may be no inputs, and what comes out is cut off again
	even, odd := append(h.even, 0), append(h.odd, 0)
	t := &h.taps
	for k := 0; k < n; k += 2 {
		// two outputs, written out since the index of a loop would cost as much as the
		// sums: e are the inputs under the taps, o those under the centre
		e, o := (*[halfBandReach + 2]float64)(even[k:]), (*[2]float64)(odd[k+halfBandReach/2:])
		a, b := 0.5*o[0], 0.0 // the first's taps of even and of odd number
		c, d := 0.5*o[1], 0.0 // the second's
		a, c = a+t[0]*(e[13]+e[14]), c+t[0]*(e[14]+e[15])
		b, d = b+t[1]*(e[12]+e[15]), d+t[1]*(e[13]+e[16])
		a, c = a+t[2]*(e[11]+e[16]), c+t[2]*(e[12]+e[17])
		b, d = b+t[3]*(e[10]+e[17]), d+t[3]*(e[11]+e[18])
		a, c = a+t[4]*(e[9]+e[18]), c+t[4]*(e[10]+e[19])
		b, d = b+t[5]*(e[8]+e[19]), d+t[5]*(e[9]+e[20])
		a, c = a+t[6]*(e[7]+e[20]), c+t[6]*(e[8]+e[21])
		b, d = b+t[7]*(e[6]+e[21]), d+t[7]*(e[7]+e[22])
		a, c = a+t[8]*(e[5]+e[22]), c+t[8]*(e[6]+e[23])
		b, d = b+t[9]*(e[4]+e[23]), d+t[9]*(e[5]+e[24])
		a, c = a+t[10]*(e[3]+e[24]), c+t[10]*(e[4]+e[25])
		b, d = b+t[11]*(e[2]+e[25]), d+t[11]*(e[3]+e[26])
		a, c = a+t[12]*(e[1]+e[26]), c+t[12]*(e[2]+e[27])
		b, d = b+t[13]*(e[0]+e[27]), d+t[13]*(e[1]+e[28])
		out := (*[2]float64)(dst[was+k:])
		out[0], out[1] = a+b, c+d
	}
	h.even = h.even[:copy(h.even, h.even[n:])]
	h.odd = h.odd[:copy(h.odd, h.odd[n:])]
	return dst[:was+n]
}

// take sorts inputs by even and odd numbers.
func (h *halver) take(in []float64) {
	if h.inputs%2 == 1 && len(in) > 0 {
		h.odd = append(h.odd, in[0])
		h.inputs++
		in = in[1:]
	}
	h.inputs += len(in)
	n := len(in) / 2
	h.even, h.odd = slices.Grow(h.even, n+1), slices.Grow(h.odd, n+1)
	even, odd := h.even[len(h.even):len(h.even)+n], h.odd[len(h.odd):len(h.odd)+n]
	for i := range even {
		pair := in[2*i : 2*i+2]
		even[i], odd[i] = pair[0], pair[1]
	}
	h.even, h.odd = append(h.even[:len(h.even)+n], in[2*n:]...), h.odd[:len(h.odd)+n]
}

// halvedLen is the number of outputs that n inputs yield.
func halvedLen(n int) int {
	const span = 2*halfBandReach + 1
	if n < span {
		return 0
	}
	return (n-span)/2 + 1
}
