package reference

import (
	"math"
	"math/rand/v2"
)

// WhiteNoise is n samples of Gaussian noise of standard deviation sigma.
func WhiteNoise(n int, sigma float64, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = sigma * r.NormFloat64()
	}
	return x
}

// Tones is n samples at rate of sines, each given by hertz, volts rms and the phase of
// its cosine in radians.
func Tones(n int, rate float64, ts ...[3]float64) []float64 {
	x := make([]float64, n)
	for _, t := range ts {
		for i := range x {
			x[i] += math.Sqrt2 * t[1] * math.Cos(2*math.Pi*t[0]*float64(i)/rate+t[2])
		}
	}
	return x
}
