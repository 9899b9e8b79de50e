package capture

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"
)

// Fingerprint tells a record again whose samples were saved in another file or
// format: its mean and deviation, and the projections on a few fixed random
// sequences of what is left when both are taken out. The zero value is that of a
// record of one value, and is like no other.
type Fingerprint struct {
	Samples     int                   // their number
	MeanV, SDV  float64               // mean and standard deviation, V
	Projections [fingerprints]float64 // of about unit variance over unlike records
}

// fingerprints is how many projections there are: two unlike records agree in all
// of them within sameSamples about once in 1e27.
const fingerprints = 8

// sameSamples is how far the projections of one record may lie apart, rms, and its
// mean and deviation, as a share of the deviation. Values
// rounded to 16 bits stay far below it; two records of one signal, with an ADC's
// noise of 0.4 % of the signal and more (8 bits: step/√12 of a swing of 256 steps),
// stay above it.
const sameSamples = 3e-4

// A record is projected in blocks: the weights of each are a stretch of one fixed
// random sequence, which begins elsewhere in every block and for every projection.
const (
	fingerprintBlock = 128
	weightBits       = 12 // of a place in the sequence
	weightCount      = 1 << weightBits
)

// projectionWeights is the sequence: evenly spread over ±√3, of unit variance.
var projectionWeights = sync.OnceValue(func() []float64 {
	w := make([]float64, weightCount+fingerprintBlock)
	for i := range w {
		w[i] = math.Sqrt(3) * float64(int64(scrambled(uint64(i)))) / (1 << 63)
	}
	return w
})

// Fingerprint computes the trace's.
func (t *Trace) Fingerprint() Fingerprint {
	n := len(t.Volts)
	if n == 0 {
		return Fingerprint{}
	}
	f := Fingerprint{Samples: n, MeanV: t.meanV()}
	weights := projectionWeights()
	var ss float64
	t.eachBlock(f.MeanV, func(from int, d []float64) {
		ss += floats.Dot(d, d)
		const perDraw = 64 / weightBits // places that a draw of 64 bits gives
		for k := 0; k < fingerprints; k += perDraw {
			bits := scrambled(uint64(len(weights) + from*fingerprints + k))
			for j := k; j < min(k+perDraw, fingerprints); j++ {
				at := bits % weightCount
				f.Projections[j] += floats.Dot(d, weights[at:at+uint64(len(d))])
				bits >>= weightBits
			}
		}
	})
	// A record of one value, give or take the mean's rounding.
	if !(ss > float64(n)*f.MeanV*f.MeanV*1e-26) {
		return Fingerprint{}
	}
	f.SDV = math.Sqrt(ss / float64(n))
	floats.Scale(1/math.Sqrt(ss), f.Projections[:])
	return f
}

// meanV sums about the first sample, so that a record of one value has just that mean:
// a sum of millions would be off by more than its threshold.
func (t *Trace) meanV() float64 {
	sum := 0.0
	t.eachBlock(t.Volts[0], func(_ int, d []float64) { sum += floats.Sum(d) })
	return t.Volts[0] + sum/float64(len(t.Volts))
}

// eachBlock gives the record's samples about a level, a block at a time, in memory
// that the next block takes over.
func (t *Trace) eachBlock(aboutV float64, do func(from int, d []float64)) {
	var block [fingerprintBlock]float64
	for from := 0; from < len(t.Volts); from += fingerprintBlock {
		d := block[:copy(block[:], t.Volts[from:])]
		floats.AddConst(-aboutV, d)
		do(from, d)
	}
}

// scrambled makes 64 evenly spread bits of a counter (the output function of
// SplitMix64: Steele, Lea and Flood 2014).
func scrambled(x uint64) uint64 {
	x = (x + 1) * 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// shelfWidth is many times what the first projection of one record may differ by,
// sameSamples·√fingerprints.
const shelfWidth = 0.01

// Shelf numbers fingerprints so that those of one record have the same number, or
// differ by one, and those of unlike records rarely do: it spares comparing all with all.
func (f Fingerprint) Shelf() int { return int(math.Floor(f.Projections[0] / shelfWidth)) }

// SameSamples reports whether two records are one and the same.
func (f Fingerprint) SameSamples(other Fingerprint) bool {
	if f.Samples == 0 || f.Samples != other.Samples ||
		math.Abs(f.SDV-other.SDV) > sameSamples*f.SDV || math.Abs(f.MeanV-other.MeanV) > sameSamples*f.SDV {
		return false
	}
	var ss float64
	for k := range f.Projections {
		ss += (f.Projections[k] - other.Projections[k]) * (f.Projections[k] - other.Projections[k])
	}
	return math.Sqrt(ss/fingerprints) < sameSamples
}
