package cycle

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// placesHz is the rate at which the samples of all cycles together lie on one, where
// clock and sample rate are as whole numbers so small that every cycle is sampled at
// the same places: what lies above half of it is folded into the mean cycle, as into
// any single one. 0 where they lie everywhere, or close enough to tell what rings do.
//
// With x cycles to a sample, samples fall on q places where x lies so near p/q that they
// drift by less than a part of a place's distance over the record; such p/q are
// convergents of x's continued fraction.
func (t *Track) placesHz(samples int, rateHz float64) float64 {
	if t.Kind != Fixed {
		return 0
	}
	x := t.Hz / rateHz
	q0, q1 := 0.0, 1.0
	for rest := x; ; {
		q := q1
		if q*t.Hz >= placesBelowHz {
			return 0
		}
		if off := math.Abs(x*q - math.Round(x*q)); float64(samples)*off < placesDrift {
			return q * t.Hz
		}
		if rest -= math.Floor(rest); rest < wholeRounding {
			return 0
		}
		rest = 1 / rest
		q0, q1 = q1, math.Floor(rest)*q1+q0
	}
}

// fastShare is the share of the mean cycle's power that lies between an eighth and a half
// of the sample rate, where a ripple has little and what is folded most.
func (f *Fold) fastShare(hz, rateHz float64) float64 {
	all, fast := 0.0, 0.0
	for h, c := range fourier.NewFFT(len(f.Mean)).Coefficients(nil, f.Mean) {
		p := real(c)*real(c) + imag(c)*imag(c)
		if at := float64(h) * hz; h == 0 || at > rateHz/2 {
			continue
		} else if at > rateHz/placesFastPart {
			fast += p
		}
		all += p
	}
	return fast / max(all, tiny)
}

// heldMultiple is the multiple of the track's frequency that the mean cycle repeats at
// when only what lies below an eighth of the sample rate counts; 1 where that is the
// frequency itself. Where a clock is sampled at the same few places, what is folded
// down repeats with the places and not with the clock.
func (f *Fold) heldMultiple(hz, rateHz float64) int {
	var powers []float64 // of the harmonics from the first on
	all := 0.0
	for h, c := range fourier.NewFFT(len(f.Mean)).Coefficients(nil, f.Mean) {
		if at := float64(h) * hz; h > 0 && at < rateHz/placesFastPart {
			powers = append(powers, real(c)*real(c)+imag(c)*imag(c))
			all += powers[len(powers)-1]
		}
	}
	for k := min(mostMultiple, len(powers), int(TradeHighHz/hz+wholeSlack)); k > 1; k-- {
		held := 0.0
		for h := k; h <= len(powers); h += k {
			held += powers[h-1]
		}
		if held > multipleHolds*all {
			return k
		}
	}
	return 1
}
