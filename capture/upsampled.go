package capture

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Finding records that the exporter upsampled.
const (
	// upWindow is how many samples are looked at.
	upWindow = 1 << 14
	// upMost is the greatest factor looked for.
	upMost = 64
	// minBand is how many spectral lines must stand below such an edge.
	minBand = 32
	// upDrop is how far the spectrum must fall, as a power ratio, at the edge
	// of a band-limited interpolation: 40 dB, within a tenth of its frequency.
	// An analogue limit falls by 20 or 40 dB per decade, and what the
	// converter adds behind it is flat.
	upDrop = 1e-4
)

// findUpsampling looks for points that the exporter made up between the
// converter's: repeated, on straight lines, or band-limited. It sets the true
// rate and the span, and says so. Where it finds none, power is the spectrum looked
// at, else nil.
func (t *Trace) findUpsampling() (power []float64) {
	if t.TrueRateHz < t.SampleRateHz {
		return nil // the file said so itself
	}
	x := middle(t.Volts)
	k, how := heldFactor(x), "each point is repeated"
	if k < 2 {
		k, how = linearFactor(x), "the points between lie on straight lines"
	}
	step := leastStep(x)
	if k < 2 {
		k, how = roundedLinearFactor(x, step), "the points between lie on straight lines, rounded to the steps"
	}
	if k < 2 {
		power = powerSpectrum(x)
		k, how = bandFactor(power, step), "nothing is left above a sharp edge of the spectrum"
	}
	if k < 2 {
		return power
	}
	t.TrueRateHz = t.SampleRateHz / float64(k)
	t.Span.HighHz = min(t.Span.HighHz, 0.4*t.TrueRateHz)
	t.caution(CautionInterpolated, fmt.Sprintf("the exporter seems to have put %d points where the ADC took one (%s): the true rate is %s", k, how, SI(t.TrueRateHz, "S/s", 6)), "export without interpolation")
	return nil
}

// minKnots is how many true points must show before a factor is believed.
const minKnots = 32

// onOneGrid gives the greatest k such that all marked places agree modulo k;
// stray places in 64 are forgiven.
func onOneGrid(at []int) int {
	if len(at) < minKnots {
		return 1
	}
	for k := upMost; k >= 2; k-- {
		// The first few tell nearly always.
		if agree(at[:minKnots], k)*2 > minKnots && agree(at, k)*64 >= len(at)*63 {
			return k
		}
	}
	return 1
}

// agree counts the places in the most usual class modulo k.
func agree(at []int, k int) int {
	var count [upMost]int
	best := 0
	for _, i := range at {
		count[i%k]++
		best = max(best, count[i%k])
	}
	return best
}

// A periodic wave of straight lines bends, or jumps, by the same few amounts
// over and over; a sampled record does not.
const (
	heldSizes   = 3
	linearSizes = 8
)

// distinct counts the sizes in x that differ by more than a hundredth of the
// greatest, up to 16 of them.
func distinct(x []float64) int {
	top := 0.0
	for _, v := range x {
		top = max(top, v)
	}
	var seen []float64
next:
	for _, v := range x {
		for _, s := range seen {
			if math.Abs(v-s) <= 0.01*top {
				continue next
			}
		}
		if seen = append(seen, v); len(seen) == 16 {
			break
		}
	}
	return len(seen)
}

// heldFactor finds records in which each sample is repeated k times.
func heldFactor(x []float64) int {
	var at []int
	var jumps []float64
	for i := 1; i < len(x); i++ {
		if x[i] != x[i-1] {
			at = append(at, i)
			jumps = append(jumps, math.Abs(x[i]-x[i-1]))
		}
	}
	if distinct(jumps) < heldSizes {
		return 1 // a square wave
	}
	k := onOneGrid(at)
	// A quiet, coarse record changes rarely; a held one changes often.
	if k < 2 || len(at)*k*3 < len(x) {
		return 1
	}
	return k
}

// Bends between the converter's points, against those at them.
const (
	// linearRest is the mean bend between as a share of the mean at them: what
	// rounding the points between leaves.
	linearRest = 0.03
	// linearBent is the share of the converter's points at which the line must bend.
	linearBent = 1.0 / 3
)

// linearFactor finds records with straight lines between every k-th sample: their
// second difference vanishes in between, but for the rounding. The greatest k
// counts: every other one of the true points fits half of it, too.
func linearFactor(x []float64) int {
	if len(x) < 4*minKnots {
		return 1
	}
	d2 := make([]float64, len(x))
	total := 0.0
	for i := 1; i+1 < len(x); i++ {
		d2[i] = math.Abs(x[i-1] - 2*x[i] + x[i+1])
		total += d2[i]
	}
	for k := min(upMost, len(x)/minKnots); k >= 2; k-- {
		if at, ok := bendsOnly(d2, total, k); ok && bendsOften(d2, at, k) {
			return k
		}
	}
	return 1
}

// bendsOnly reports whether all bends but rounding's, which come to total, are at every
// k-th place, and the first of these.
func bendsOnly(d2 []float64, total float64, k int) (at int, ok bool) {
	var sum [upMost]float64
	for from := 0; from < len(d2); from += k {
		for r, d := range d2[from:min(from+k, len(d2))] {
			sum[r] += d
		}
	}
	for r, s := range sum[:k] {
		if s > sum[at] {
			at = r
		}
	}
	return at, total > 0 && (total-sum[at])/float64(k-1) < linearRest*sum[at]
}

// bendsOften reports whether the line bends at enough of every k-th place, and by
// more sizes than a triangle's or a trapezium's do.
func bendsOften(d2 []float64, at, k int) bool {
	mean := 0.0
	for i := at; i < len(d2); i += k {
		mean += d2[i] * float64(k) / float64(len(d2))
	}
	var bends []float64
	for i := at; i < len(d2); i += k {
		if d2[i] > linearRest*mean {
			bends = append(bends, d2[i])
		}
	}
	return float64(len(bends)*k) > linearBent*float64(len(d2)) && distinct(bends) >= linearSizes
}

// Points between the converter's that were rounded to its steps once more.
const (
	// roundedWindow is how many samples are looked at, and roundedMost the greatest factor.
	roundedWindow = 1 << 11
	roundedMost   = 20
	// roundedOff is how far, in steps, rounding alone moves a point off the line between
	// two of the converter's own; the rest is for the file's digits.
	roundedOff = 0.5 + 0.02
	// roundedStray is the share of the points between that may lie further off, and
	// roundedElse the least share that does where the lines are drawn between other
	// points: those of a sampled signal fit no better at one place than at another.
	roundedStray, roundedElse = 0.003, 0.08
)

// leastStep is the smallest difference between neighbouring samples but rounding's; 0 for
// none. Of samples on a converter's steps that is one of them.
func leastStep(x []float64) float64 {
	least, most := math.Inf(1), 0.0
	for i := 1; i < len(x); i++ {
		most = max(most, math.Abs(x[i]-x[i-1]))
	}
	for i := 1; i < len(x); i++ {
		if d := math.Abs(x[i] - x[i-1]); d > roundingShare*most && d < least {
			least = d
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// roundingShare of the greatest difference is the printed digits' rounding.
const roundingShare = 1e-6

// roundedLinearFactor finds records with straight lines between every k-th sample whose
// points were rounded to the steps again: none lies further off its line than that.
func roundedLinearFactor(x []float64, step float64) int {
	if step == 0 || len(x) < roundedWindow {
		return 1
	}
	a := (len(x) - roundedWindow) / 2
	x = x[a : a+roundedWindow]
	for k := roundedMost; k >= 2; k-- {
		for from := range k {
			if offLines(x[from:], k, step, roundedStray) > roundedStray {
				continue
			}
			// the lines half-way between must not fit
			if offLines(x[(from+k/2)%k:], k, step, 1) > roundedElse && distinct(bendsAt(x[from:], k)) >= linearSizes {
				return k
			}
		}
	}
	return 1
}

// offLines is the share of the points that lie off the straight lines between every
// k-th of x by more than rounding; it stops counting beyond most.
func offLines(x []float64, k int, step, most float64) float64 {
	between := (len(x) - 1) / k * (k - 1)
	off := 0
	for i := 0; i+k < len(x); i += k {
		slope := (x[i+k] - x[i]) / float64(k)
		for j := 1; j < k; j++ {
			if d := x[i+j] - x[i] - slope*float64(j); d > roundedOff*step || d < -roundedOff*step {
				off++
			}
		}
		if float64(off) > most*float64(between) {
			break
		}
	}
	return float64(off) / float64(between)
}

// bendsAt is by how much the lines between every k-th sample bend.
func bendsAt(x []float64, k int) []float64 {
	var out []float64
	for i := k; i+k < len(x); i += k {
		if d := math.Abs(x[i-k] - 2*x[i] + x[i+k]); d > 0 {
			out = append(out, d)
		}
	}
	return out
}

// middle is the stretch of a record that is looked at.
func middle(x []float64) []float64 {
	n := min(len(x), upWindow)
	a := (len(x) - n) / 2
	return x[a : a+n]
}

// powerSpectrum is the power up to half the rate, bin by bin, of as much of x as a
// power of two holds; nil under 1024 samples.
func powerSpectrum(x []float64) []float64 {
	n := 1
	for n*2 <= len(x) {
		n *= 2
	}
	if n < 1024 {
		return nil
	}
	// Four-term Blackman-Harris: side lobes 92 dB down (Harris 1978).
	y := make([]float64, n)
	mean := 0.0
	for _, v := range x[:n] {
		mean += v
	}
	mean /= float64(n)
	for i := range y {
		p := 2 * math.Pi * float64(i) / float64(n)
		y[i] = (x[i] - mean) * (0.35875 - 0.48829*math.Cos(p) + 0.14128*math.Cos(2*p) - 0.01168*math.Cos(3*p))
	}
	c := fourier.NewFFT(n).Coefficients(nil, y)
	power := make([]float64, len(c))
	for i, z := range c {
		power[i] = real(z * cmplx.Conj(z))
	}
	return power
}

// bandFactor finds records whose spectrum ends at 1/k of the half rate like
// no analogue input does: at nothing, or at what rounding to the step leaves.
func bandFactor(power []float64, step float64) int {
	n := 2 * (len(power) - 1)
	if n < 1024 {
		return 1
	}
	for _, k := range []int{2, 3, 4, 5, 6, 8, 10, 12, 16, 20} {
		edge := float64(n) / 2 / float64(k)
		if edge*(edgeTo-edgeFrom) < minBand {
			break
		}
		if endsAt(power, step, edge) {
			return k
		}
	}
	return 1
}

// The bins below an edge of the spectrum that are looked at, as shares of its frequency.
const edgeFrom, edgeTo = 0.78, 0.95

// endsAt reports whether a spectrum ends at a bin as bandFactor says.
func endsAt(power []float64, step, edge float64) bool {
	n := 2 * (len(power) - 1)
	lo, hi := int(edge*edgeFrom), int(edge*edgeTo)
	from, to := int(edge*1.1), min(int(edge*1.5), n/2)
	if hi-lo < minBand-1 || to-from < minBand/2 {
		return false
	}
	below := upperMedian(power[lo:hi])
	above := upperMedian(power[from:to])
	if !(above < upDrop*below) && !(below > roundedDrop*above) {
		return false // as at nearly every edge that is asked
	}
	beyond := upperMedian(power[from : n/2])
	// Below the edge there must be a noise floor, about level: the skirts
	// of a few strong lines are none.
	lower := upperMedian(power[int(edge*0.3):int(edge*0.6)])
	if below*100 < lower || below > 100*lower || upperMedian(power[lo:(lo+hi)/2]) > 10*upperMedian(power[(lo+hi)/2:hi]) {
		return false
	}
	if below > 0 && above < upDrop*below && beyond < upDrop*below {
		return true
	}
	rounding := roundingPower(n, step) * (1 - edge/(float64(n)/2))
	return below > roundedDrop*above && lower < roundedEven*below && below < roundedRise*lower &&
		max(above, beyond) < roundedFloor*rounding && min(above, beyond) > rounding/roundedFloor
}

// An edge above which the rounding of the points between is left.
const (
	// roundedDrop is the least fall at the edge, as a power ratio, to a floor within
	// roundedFloor of the rounding's, which the converter's own points, on its steps
	// already, have no part in. Ahead of the edge the noise falls by less than
	// roundedEven and rises by less than roundedRise, as it does towards a ring.
	roundedDrop, roundedFloor = 20, 2
	roundedEven, roundedRise  = 4, 1.5
	// blackmanHarris is the mean square of the window's weights (Harris 1978).
	blackmanHarris = 0.2580
)

// roundingPower is the median power in a bin of powerSpectrum over n samples that
// rounding to the step makes: step²/12 in all; ln 2 of the mean of exponential values.
func roundingPower(n int, step float64) float64 {
	return math.Ln2 * blackmanHarris * float64(n) * step * step / 12
}

// upperMedian gives the middle value of x, of an even number the upper one, 0 for
// none; x stays as it is.
func upperMedian(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	y := append([]float64(nil), x...)
	return Ranked(y, len(y)/2)
}
