package analysis

import "math"

// halfBandReach is the number of samples on each side of the centre of the
// half-band low-pass. With a Kaiser window for 120 dB the pass band ends at 0.2
// and the stop band begins at 0.3 of the sample rate (Kaiser 1974).
const halfBandReach = 39

// halfBandEdge is the highest frequency, in units of the halved sample rate,
// that is neither attenuated nor mixed with aliases (both below -110 dB).
const halfBandEdge = 0.4

// halfBandTaps are the nonzero taps right of the centre: at distance 1, 3, 5,
// ... 39. The centre tap is 0.5, taps at even distance are zero.
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
	taps []float64
	buf  []float64 // inputs not yet used up
}

// push takes samples and appends the finished outputs to dst.
func (h *halver) push(dst, in []float64) []float64 {
	h.buf = append(h.buf, in...)
	const span = 2*halfBandReach + 1
	pos := 0
	for ; pos+span <= len(h.buf); pos += 2 {
		x := h.buf[pos : pos+span : pos+span]
		y := 0.5 * x[halfBandReach]
		for i, t := range h.taps {
			d := 2*i + 1
			y += t * (x[halfBandReach-d] + x[halfBandReach+d])
		}
		dst = append(dst, y)
	}
	n := copy(h.buf, h.buf[pos:])
	h.buf = h.buf[:n]
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
