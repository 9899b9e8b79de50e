package spectrum

import "math"

// AWeight is the amplitude gain (1 at 1 kHz) of frequency weighting A at hz > 0, by the
// closed form of IEC 61672-1, annex E.
func AWeight(hz float64) float64 { return aWeightRaw(hz) / aWeightRaw(1000) }

func aWeightRaw(hz float64) float64 {
	const f1, f2, f3, f4 = 20.598997 * 20.598997, 107.65265 * 107.65265, 737.86223 * 737.86223, 12194.217 * 12194.217
	f := hz * hz
	return f4 * f * f / ((f + f1) * math.Sqrt((f+f2)*(f+f3)) * (f + f4))
}

// response468 is the response (magnitude 1 near 1 kHz) of the weighting network
// of ITU-R BS.468-4 at hz, by the rational form customary for its passive
// network (from memory; the tests hold it to the recommendation's table).
func response468(hz float64) complex128 {
	f := hz
	f2 := f * f
	h1 := ((-4.737338981378384e-24*f2+2.043828333606125e-15)*f2-1.363894795463638e-7)*f2 + 1
	h2 := ((1.306612257412824e-19*f2-2.118150887518656e-11)*f2 + 5.559488023498642e-4) * f
	const gain = 8.171749 // 18.2463 dB
	return complex(0, gain*1.246332637532143e-4*f) / complex(h1, h2)
}
