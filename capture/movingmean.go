package capture

import (
	"fmt"
	"math"
)

// Finding records in which each sample is the mean of its neighbours at the
// record's own rate, as scopes' smoothing and spreadsheets make them.
const (
	// meanLeast and meanMost samples are the means looked for. One of two has its only
	// null at half the rate, where inputs and decimators leave little anyway.
	meanLeast, meanMost = 3, 64
	// meanNull and meanLobe are what is compared, as shares of the distance between
	// nulls: within meanNull of one the mean leaves less than 1.6 % of what its
	// neighbouring lobes have within meanLobe of their tops.
	meanNull, meanLobe = 0.04, 0.15
	// meanDepth is the most that may be left at a null, as a power ratio, for the
	// rounding of the means, and meanDepths the same as a geometric mean over all.
	meanDepth, meanDepths = 0.25, 0.05
	// meanBins of the spectrum at least must lie within meanNull of a null: the
	// window's main lobe is four wide to either side.
	meanBins = 6
	// meanCorner is where a moving mean is down by 3 dB, in rates over its samples:
	// sin(πx)/(πx) = 1/√2 at x = 0.443.
	meanCorner = 0.443
	// mattersBelowHz: a corner from there on is no lower than an input's own.
	mattersBelowHz = 70e6
)

// findMovingMean narrows the span to the corner of a mean over neighbouring samples, or
// of a polynomial fitted to them.
// Where that lies below the corner of scopes' inputs and the file doesn't say so, it
// says so. The bandwidth ahead of the converter stays, which what is folded goes by.
// power is the record's spectrum by findUpsampling; interpolated ones, which have none,
// have the same nulls.
func (t *Trace) findMovingMean(power []float64) {
	a := &t.Acquisition
	switch a.Mode {
	case AcquisitionUnknown, AcquisitionSample, AcquisitionHighRes, AcquisitionEnhanced:
	default:
		return
	}
	var corner float64
	var why string
	if k, share := fitOf(power); k > 0 { // first: one of seven has a null where a mean of four has its own
		corner = share * t.SampleRateHz
		why = fmt.Sprintf("the spectrum has the nulls of Savitzky-Golay smoothing: each sample is a polynomial's value fitted to %d", k)
	} else if k := meanOf(power); k > 0 {
		corner = meanCorner * t.SampleRateHz / float64(k)
		why = fmt.Sprintf("nothing is left at multiples of %s: each sample is the mean of %d", SI(t.SampleRateHz/float64(k), "Hz", 3), k)
	}
	if corner == 0 || corner >= t.Span.HighHz || !manySteps(middle(t.Volts)) {
		return
	}
	t.Span.HighHz = corner
	t.assume("highest frequency", SI(corner, "Hz", 3), why)
	if corner >= mattersBelowHz || a.Mode == AcquisitionHighRes {
		return
	}
	if a.Mode != AcquisitionEnhanced {
		a.Mode, a.ModeWhy = AcquisitionEnhanced, why
	}
	a.CornerHz = corner
	t.caution(CautionMovingMean,
		fmt.Sprintf("%s neighbouring ones, which lowers all above %s: peaks, and sums that reach there, are lower bounds", why, SI(corner, "Hz", 2)),
		"switch smoothing and math filters off, and export the channel itself")
}

// manySteps reports whether neighbouring samples differ by more sizes than those of a wave
// of straight lines do, whose own spectrum may have such nulls.
func manySteps(x []float64) bool {
	sizes := make([]float64, 0, len(x))
	for i := 1; i < len(x); i++ {
		sizes = append(sizes, math.Abs(x[i]-x[i-1]))
	}
	return distinct(sizes) >= linearSizes
}

// meanOf is how many neighbouring samples each is the mean of, by the power
// spectrum of the record; 0 for none. A mean of k has nulls at the multiples of the
// rate over k, through which neither signal nor noise comes, and lobes between.
func meanOf(power []float64) int {
	half := max(len(power)-1, 0) // bins up to half the rate
	for k := meanLeast; k <= meanMost; k++ {
		apart := 2 * float64(half) / float64(k) // bins between nulls
		if apart*meanNull < meanBins/2 {
			return 0
		}
		sum, n := 0.0, 0
		for m := 1; 2*m < k; m++ {
			left := nullLeft(power, apart, float64(m))
			if left > meanDepth {
				n = 0
				break
			}
			sum, n = sum+math.Log(left), n+1
		}
		if n > 0 && sum < float64(n)*math.Log(meanDepths) {
			return k
		}
	}
	return 0
}

// nullLeft is the power at the null m over that at the lower of the lobes beside it.
// Below the first null, where the main lobe is, its skirt with no more of the signal
// stands for a lobe; above the last one, that which ends at half the rate.
func nullLeft(power []float64, apart, m float64) float64 {
	around := func(at, share float64) float64 {
		return upperMedian(power[int(apart*(at-share)):min(int(apart*(at+share))+1, len(power))])
	}
	lobe := min(around(max(m-0.5, 0.75), meanLobe), around(m+0.5, meanLobe))
	if !(lobe > 0) {
		return 1
	}
	return max(around(m, meanNull)/lobe, 1e-6)
}
