package cycle

import (
	"math"
	"math/cmplx"
)

// linesBetween reports whether cycles of the track differ from one to the next so
// that its multiple by k is not the cycle: whether lines stand at the track's
// harmonics between the multiple's own. They are held against the same number of
// places beside them, equally far from each harmonic, as a mean of the logarithms:
// lines that alias or belong to something else fall on one set of places as often as
// on another, and noise colours all alike. ok is false where the stretch holds too
// few cycles to tell a line from its neighbours.
func (w *weighing) linesBetween(t *Track, slow SlowPart, k int) (stand, ok bool) {
	aside := besideWidths / t.Cycles()
	if aside > besideMost {
		return false, false
	}
	var mean, square float64
	own, lines := w.levelAt(t, slow, k, 0)
	if lines == 0 {
		return false, false
	}
	for i := range besidePlaces {
		off := aside + (0.5-aside)*float64(i/2)/(besidePlaces/2-1)
		if i%2 == 1 {
			off = -off
		}
		v, _ := w.levelAt(t, slow, k, off)
		mean += v / besidePlaces
		square += v * v / besidePlaces
	}
	// the logarithm of noise power, exponentially distributed, deviates by π/√6
	sigma := max(math.Sqrt(max(square-mean*mean, 0)), math.Pi/math.Sqrt(6*float64(lines)))
	return own-mean > besideSigmas*sigma, true
}

// levelAt is the mean logarithm of the power at the first harmonics of the track
// that are none of its multiple's by k, off cycles a period beside them, and their
// number.
func (w *weighing) levelAt(t *Track, slow SlowPart, k int, off float64) (level float64, lines int) {
	top := heldTop * w.rateHz / 2 / t.Hz
	for m := 1; lines < mostBetween && float64(m) < top; m++ {
		if m%k != 0 {
			level += math.Log(max(w.powerAt(t, slow, float64(m)+off), tiny))
			lines++
		}
	}
	return level / max(float64(lines), 1), lines
}

// powerAt is the power of the stretch at a multiple of the track's phase, under a Hann
// taper; its unit is arbitrary.
func (w *weighing) powerAt(t *Track, slow SlowPart, times float64) float64 {
	n := len(w.x)
	var sum complex128
	turn := cmplx.Rect(1, 2*math.Pi/float64(n))
	Walk(0, n, t, slow, func(s Stretch) {
		if !s.On {
			return
		}
		at := cmplx.Rect(1, -2*math.Pi*math.Mod(times*s.Phase, 1))
		step := cmplx.Rect(1, -2*math.Pi*times*s.PerSample)
		taper := cmplx.Rect(1, 2*math.Pi*(float64(s.From)+0.5)/float64(n))
		base := s.Slow
		for _, v := range w.x[s.From:s.To] {
			y := (v - base) * (1 - real(taper))
			sum += complex(real(at)*y, imag(at)*y)
			at *= step
			taper *= turn
			base += s.SlowSlope
		}
	})
	return real(sum)*real(sum) + imag(sum)*imag(sum)
}
