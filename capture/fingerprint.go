package capture

import "math"

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

// Fingerprint computes the trace's.
func (t *Trace) Fingerprint() Fingerprint {
	n := len(t.Volts)
	var mean, ss float64
	for _, v := range t.Volts {
		mean += v
	}
	mean /= float64(n)
	for _, v := range t.Volts {
		ss += (v - mean) * (v - mean)
	}
	// A record of one value, give or take the sum's rounding.
	if !(ss > float64(n)*mean*mean*1e-26) {
		return Fingerprint{}
	}
	f := Fingerprint{Samples: n, MeanV: mean, SDV: math.Sqrt(ss / float64(n))}
	for i, v := range t.Volts {
		d := v - mean
		for k := 0; k < fingerprints; k += 4 {
			for bits, j := scrambled(uint64(i)*fingerprints+uint64(k)), k; j < k+4; j++ {
				f.Projections[j] += d * float64(int16(bits))
				bits >>= 16
			}
		}
	}
	const weightRMS = 1 << 15 / 1.7320508075688772 // of 16 uniform bits
	for k := range f.Projections {
		f.Projections[k] /= weightRMS * math.Sqrt(ss)
	}
	return f
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
