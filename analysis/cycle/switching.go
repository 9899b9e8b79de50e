package cycle

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/internal/spare"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// searchRecord is a low-passed, thinned-out stretch of the trace in which the
// switching frequency is looked for. Its length bounds memory and time.
type searchRecord struct {
	x      []float64
	rateHz float64
	topHz  float64 // up to here the thinning's low-pass leaves the noise flat
}

// newSearchRecord thins volts by a whole factor behind a windowed sinc.
func newSearchRecord(volts []float64, meanV, rateHz float64) searchRecord {
	r := max(int(rateHz/searchRateHz), 1)
	n := len(volts) / r
	n = min(n, searchMax, max(len(volts)/8, searchMin))
	s := searchRecord{x: make([]float64, n), rateHz: rateHz / float64(r)}
	s.topHz = thinnedTop * s.rateHz
	if r == 1 {
		s.topHz = wholeTop * s.rateHz
		for i := range s.x {
			s.x[i] = volts[i] - meanV
		}
		return s
	}
	half := 4 * r
	taps := make([]float64, 2*half+1)
	sum := 0.0
	for i := range taps {
		t := float64(i-half) / float64(r)
		w := 0.5 + 0.5*math.Cos(math.Pi*float64(i-half)/float64(half+1))
		v := w
		if t != 0 {
			v *= math.Sin(math.Pi*0.9*t) / (math.Pi * 0.9 * t)
		}
		taps[i] = v
		sum += v
	}
	for i := range taps {
		taps[i] /= sum
	}
	halves(n, func(from, to int) {
		for i := from; i < to; i++ {
			mid := i*r + r/2
			acc := 0.0
			if lo := mid - half; lo >= 0 && lo+len(taps) <= len(volts) {
				acc = floats.Dot(taps, volts[lo:lo+len(taps)]) - meanV // the taps add up to 1
			} else {
				for k, w := range taps {
					acc += w * (volts[min(max(mid-half+k, 0), len(volts)-1)] - meanV)
				}
			}
			s.x[i] = acc
		}
	})
	return s
}

// peakBin is a local maximum of the search spectrum.
type peakBin struct {
	hz    float64
	ratio float64 // power over the local noise
	power float64
}

// combGuess is a candidate for the switching frequency.
type combGuess struct {
	hz        float64
	score     float64 // share of the lines' weight it explains, minus that of empty places
	explained float64
	power     float64 // share of the lines' power
	lines     int
}

// searchSpectrum is the tapered power spectrum of the stretch with its floor.
type searchSpectrum struct {
	binHz float64
	power []float64
	floor []float64
	space *searchSpace // that it was made with
}

// searchSpace is what stretches of one length share, and the work space for them.
type searchSpace struct {
	fft   *spectrum.Transform
	taper []float64
	x     []float64
	terms []complex128
}

// searchSpaces are those of two records searched at once, of two lengths.
var searchSpaces = spare.List[*searchSpace]{Most: 4}

func newSearchSpace(n int) *searchSpace {
	return &searchSpace{spectrum.NewTransform(n), hann(n), make([]float64, n), make([]complex128, n/2+1)}
}

// giveBack ends the use of the spectrum's work space.
func (s searchSpectrum) giveBack() { searchSpaces.Give(len(s.space.x), s.space) }

func (s searchRecord) spectrum() searchSpectrum {
	n := spectrum.FastLen(len(s.x)) &^ 1
	space := searchSpaces.Take(n, newSearchSpace)
	slope, base := trend(s.x[:n])
	for i, w := range space.taper {
		space.x[i] = w * (s.x[i] - base - slope*float64(i))
	}
	c := space.terms
	space.fft.Coefficients(c, space.x)
	sp := searchSpectrum{binHz: s.rateHz / float64(n), power: make([]float64, len(c)), space: space}
	for k, v := range c {
		sp.power[k] = real(v)*real(v) + imag(v)*imag(v)
	}
	sp.floor = noiseUnder(sp.power)
	// nothing 75 dB under the strongest line counts: a simulated or averaged
	// record has no noise to hide what rounding leaves there
	strongest := 0.0
	for _, p := range sp.power[min(lowestBin, len(sp.power)):] {
		strongest = max(strongest, p)
	}
	for k := range sp.floor {
		sp.floor[k] = max(sp.floor[k], weakestLine*strongest)
	}
	return sp
}

// leaveOut brings lines down to the floor, the taper's skirts with them: these
// fall with the sixth power of the distance.
func (s searchSpectrum) leaveOut(hz []float64) {
	for _, f := range hz {
		k := int(math.Round(f / s.binHz))
		if k >= len(s.power) {
			continue
		}
		reach := 4 + int(math.Pow(s.power[k]/max(s.floor[k], tiny), 1.0/6))
		for i := max(k-reach, 0); i <= k+reach && i < len(s.power); i++ {
			s.power[i] = min(s.power[i], s.floor[i])
		}
	}
}

// trend is the straight line through the end thirds of x.
func trend(x []float64) (slope, base float64) {
	n := len(x)
	if n < leastTrend {
		return 0, 0
	}
	third := n / 3
	a, b := 0.0, 0.0
	for i := range third {
		a += x[i]
		b += x[n-1-i]
	}
	a, b = a/float64(third), b/float64(third)
	slope = (b - a) / float64(n-third)
	base = a - slope*float64(third-1)/2
	return slope, base
}

// noiseUnder estimates the mean noise power under the lines: the lower quartile
// of blocks that widen with frequency, scaled for exponential statistics.
func noiseUnder(p []float64) []float64 {
	var at, level, block []float64
	for i := 1; i < len(p); {
		w := min(max(i/floorBlockPart, floorBlockMin), floorBlockMax)
		end := min(i+w, len(p))
		if len(p)-end < w/2 {
			end = len(p)
		}
		block = append(block[:0], p[i:end]...)
		q := capture.Ranked(block, len(block)/4)
		at = append(at, float64(i+end-1)/2)
		level = append(level, math.Log(max(q/0.28768, tiny))) // -ln(3/4)
		i = end
	}
	return spectrum.JoinLevels(at, level, len(p))
}

// peaks lists the local maxima that stand out between two frequencies, at most
// limit of them, the strongest, by rising frequency.
func (s searchSpectrum) peaks(lowHz, highHz, over float64, limit int) []peakBin {
	var list []peakBin
	for k := max(lowestBin, int(lowHz/s.binHz)); k+2 < len(s.power) && float64(k)*s.binHz <= highHz; k++ {
		p := s.power[k]
		// in the lowest bins wander and 1/f noise stand above the floor as well
		if p < over*(1+lowBinsOver/float64(k))*s.floor[k] || p <= s.power[k-1] || p < s.power[k+1] || p < s.power[k-2] || p < s.power[k+2] {
			continue
		}
		a, b, c := math.Log(s.power[k-1]+tiny), math.Log(p), math.Log(s.power[k+1]+tiny)
		d := 0.0
		if den := a - 2*b + c; den < 0 {
			d = min(max(0.5*(a-c)/den, -0.5), 0.5)
		}
		list = append(list, peakBin{hz: (float64(k) + d) * s.binHz, ratio: p / max(s.floor[k], tiny), power: p})
	}
	if len(list) > limit {
		slices.SortStableFunc(list, func(a, b peakBin) int { return cmp.Compare(b.ratio, a.ratio) })
		list = list[:limit]
		slices.SortStableFunc(list, func(a, b peakBin) int { return cmp.Compare(a.hz, b.hz) })
	}
	return list
}

// bestComb finds the frequency whose multiples explain most of the lines with
// the fewest empty places. Lines weigh by the logarithm of their height over
// the noise, so that a fundamental buried under ringing or a faint odd harmonic
// between strong even ones still has its say, and by their power.
func bestComb(peaks []peakBin, binHz, lowHz, highHz float64) combGuess {
	var best combGuess
	if len(peaks) == 0 {
		return best
	}
	total, power := 0.0, 0.0
	weights := make([]float64, len(peaks))
	for i, p := range peaks {
		weights[i] = math.Log(max(p.ratio, lineLeast))
		total += weights[i]
		power += p.power
	}
	top := peaks[len(peaks)-1].hz
	try := func(hz float64) {
		if hz < lowHz || hz > highHz || hz < combBins*binHz {
			return
		}
		g := scoreComb(peaks, weights, total, power, top, binHz, hz)
		if g.score > best.score*combBetter {
			best = g
		}
	}
	strong := append([]peakBin(nil), peaks...)
	slices.SortStableFunc(strong, func(a, b peakBin) int { return cmp.Compare(b.power, a.power) })
	if len(strong) > combStrong {
		strong = strong[:combStrong]
	}
	for _, p := range strong {
		for k := 1; k <= combOrder; k++ {
			try(p.hz / float64(k))
		}
	}
	for i := range strong {
		for j := range i {
			try(math.Abs(strong[i].hz - strong[j].hz))
		}
	}
	return best
}

// scoreComb rates one candidate, refining it on its harmonics from below.
func scoreComb(peaks []peakBin, weights []float64, total, power, top, binHz, hz float64) combGuess {
	f := hz
	var sw, shh, shf float64
	g := combGuess{}
	seen := map[int]bool{}
	low := 0
	for i, p := range peaks {
		h := math.Round(p.hz / f)
		if h < 1 {
			continue
		}
		tol := combOffBins*binHz + combOff*p.hz
		if shh == 0 {
			tol += combOffOrder * h * binHz
		}
		if math.Abs(p.hz-h*f) > min(tol, combOffMost*f) {
			continue
		}
		sw += weights[i]
		g.lines++
		g.power += p.power
		w := weights[i]
		shh += w * h * h
		shf += w * h * p.hz
		f = shf / shh
		if !seen[int(h)] {
			seen[int(h)] = true
			if h <= combPlaces {
				low++
			}
		}
	}
	places := min(max(int(top/f+wholeSlack), 1), combPlaces)
	g.hz = f
	g.explained = sw / total
	g.power /= power
	// where spikes alias, most lines lie off the comb, but little of the power
	g.score = g.explained * math.Sqrt(g.power) * (0.5 + 0.5*float64(low)/float64(places))
	return g
}

// periodByCorrelation looks for the first strong repetition of the stretch in
// its autocorrelation, noise taken off: the way that a dithered or bursting
// supply, whose lines are smeared, still shows its cycle. strength is the
// correlation there over that at no lag.
func (s searchSpectrum) periodByCorrelation(rateHz, lowHz, highHz float64) (hz, strength float64) {
	n := (len(s.power) - 1) * 2
	c := s.space.terms
	clear(c)
	chance := 0.0 // variance that noise alone gives the correlation at any lag
	for k := range c {
		f := float64(k) * s.binHz
		if f < repeatLow*lowHz {
			continue
		}
		g := 1.0
		if f < lowHz {
			g = (f/lowHz - repeatLow) / (1 - repeatLow)
		}
		chance += 2 * g * g * s.floor[k] * s.floor[k]
		if p := s.power[k] - s.floor[k]; p > 0 {
			c[k] = complex(g*p, 0)
		}
	}
	chance = math.Sqrt(chance) / float64(n)
	r := s.space.x
	s.space.fft.Sequence(r, c)
	if !(r[0] > 0) {
		return 0, 0
	}
	last := min(int(rateHz/lowHz)+1, n/3)
	i := 1
	for i < last && r[i] > repeatFalls*r[0] {
		i++
	}
	first := max(i, int(rateHz/highHz))
	top := 0.0
	for i := first; i < last; i++ {
		if r[i] >= r[i-1] && r[i] >= r[i+1] {
			top = max(top, r[i])
		}
	}
	if top <= repeatChance*chance {
		return 0, 0
	}
	for i := first; i < last; i++ {
		if r[i] >= r[i-1] && r[i] >= r[i+1] && r[i] >= repeatFirst*top {
			// the crown of this repetition, not a ring's ripple on its flank
			at := i
			for j := i; j < min(i+i/repeatCrown+1, last); j++ {
				if r[j] > r[at] {
					at = j
				}
			}
			a, b, d := r[at-1], r[at], r[at+1]
			off := 0.0
			if den := a - 2*b + d; den < 0 {
				off = min(max(0.5*(a-d)/den, -0.5), 0.5)
			}
			return rateHz / (float64(at) + off), b / r[0]
		}
	}
	return 0, 0
}

// coarseSwitching is what the search found before any refinement.
type coarseSwitching struct {
	hz       float64
	coherent bool // a comb of narrow lines
	strength float64
	secondHz float64
}

// searchSwitching finds the switching frequency to about a thousandth. notHz are
// frequencies not to look at.
func searchSwitching(volts []float64, meanV, rateHz float64, notHz []float64) coarseSwitching {
	rec := newSearchRecord(volts, meanV, rateHz)
	if len(rec.x) < leastStretch {
		return coarseSwitching{}
	}
	sp := rec.spectrum()
	defer sp.giveBack()
	sp.leaveOut(notHz)
	low := max(SearchLowHz, minCycles*sp.binHz)
	high := min(SearchHighHz, searchTopShare*rec.rateHz)
	if low >= high {
		return coarseSwitching{}
	}
	peaks := sp.peaks(low, rec.topHz, lineOverFloor, mostPeaks)
	var comb combGuess
	var corrHz, corr float64
	both(func() { corrHz, corr = sp.periodByCorrelation(rec.rateHz, low, high) },
		func() { comb = bestComb(peaks, sp.binHz, low, high) })
	if comb.hz > 0 && comb.hz < packetsBelowHz {
		inside, strength := sp.periodByCorrelation(rec.rateHz, max(insideTimes*comb.hz, insideLowHz), high)
		if try := (coarseSwitching{hz: inside, strength: strength}); insidePackets(volts, meanV, rateHz, try, comb.hz) {
			return try
		}
	}
	first := combOrCorrelation(volts, meanV, rateHz, comb, coarseSwitching{hz: corrHz, strength: corr})
	if first.hz == 0 {
		return first
	}
	others := append(strongest(peaks, weighLines), coarseSwitching{hz: comb.hz, coherent: true, strength: comb.explained}, coarseSwitching{hz: corrHz, strength: corr})
	w := weighing{x: rec.x[:min(len(rec.x), weighMax)], rateHz: rec.rateHz, lowHz: low, highHz: high}
	found := w.choose(first, others)
	if comb.hz > 0 && found.coherent {
		comb.hz = found.hz
		found.secondHz = secondComb(peaks, comb, sp.binHz, low, high)
	}
	return found
}

// combOrCorrelation is the first candidate: the comb where it explains most of the
// lines, else the repetition by correlation.
func combOrCorrelation(volts []float64, meanV, rateHz float64, comb combGuess, corr coarseSwitching) coarseSwitching {
	if comb.hz > 0 && repeatsOffComb(volts, meanV, rateHz, comb, corr.hz, corr.strength) {
		return corr
	}
	byComb := coarseSwitching{hz: comb.hz, coherent: true, strength: comb.explained}
	switch {
	case comb.hz > 0 && max(comb.explained, combPowerCounts*comb.power) >= combExplains && (comb.lines >= 2 || comb.hz < candidateTopHz):
		return byComb
	case corr.hz > 0 && corr.strength > repeatCounts:
		if comb.hz > 0 && math.Abs(comb.hz/corr.hz-1) < sameFrequency {
			// one line only, above what the trade switches at: a far better place
			return coarseSwitching{hz: comb.hz, coherent: true, strength: corr.strength}
		}
		return corr
	case comb.hz > 0 && comb.lines >= 2:
		return byComb
	}
	return coarseSwitching{}
}

// insidePackets reports whether try is switching inside packets whose rate,
// below the search, leaves the comb at combHz as multiples of its own.
func insidePackets(volts []float64, meanV, rateHz float64, try coarseSwitching, combHz float64) bool {
	if !(try.strength > insideLeast) || try.hz >= candidateTopHz { // beyond, it is a ring after every edge
		return false
	}
	demodulated := newDemodulator(volts, meanV, try.hz/rateHz)
	blocks := demodulated.blocks(trackCycles, trackHop, true)
	if len(blocks) < leastBlocks {
		return false
	}
	s := strengthOf(blocks)
	if !s.rests {
		return false
	}
	t := trackBursts(demodulated, rateHz)
	if t == nil || t.BurstHz <= 0 || t.BurstHz >= SearchLowHz {
		return false
	}
	k := combHz / t.BurstHz
	return math.Abs(k-math.Round(k)) < packetsOff*math.Max(1, k/packetsOffFrom) && try.hz > packetCycles*t.BurstHz &&
		t.explains(volts, s.packetGain(), trackFixed(volts, rateHz, try.hz))
}

// repeatsOffComb reports whether the repetition by correlation is the cycle and
// not the comb: one that repeats so well and yet fits no comb is dithered, its many
// sidebands hit by chance; one that repeats several times within the comb's
// period is the cycle, harmonics folded back lie between its own; above what
// the trade switches at it is a ring that lasts through the cycle.
func repeatsOffComb(volts []float64, meanV, rateHz float64, comb combGuess, corrHz, corr float64) bool {
	if !(corr > ditheredLeast) {
		return false
	}
	power := func(c coarseSwitching) float64 {
		t := trackSwitching(volts, meanV, rateHz, c)
		if t == nil || len(t.Pieces) == 0 {
			return 0
		}
		return foldOnly(volts, t, newSlowPart(volts, t)).Power()
	}
	q := corrHz / comb.hz
	if comb.explained < combExplains && math.Abs(q-1) > offComb {
		var byCorr, byComb float64
		both(func() { byCorr = power(coarseSwitching{hz: corrHz}) },
			func() { byComb = power(coarseSwitching{hz: comb.hz, coherent: true}) })
		if byCorr > dithersMore*byComb {
			return true
		}
	}
	return corr > foldedLeast && q > foldedTimes && corrHz < candidateTopHz && math.Abs(q-math.Round(q)) < offComb*q
}

// secondComb is the frequency of a second converter in the lines that the comb
// leaves, 0 where there is none.
func secondComb(peaks []peakBin, comb combGuess, binHz, lowHz, highHz float64) float64 {
	rest := peaks[:0:0]
	for _, p := range peaks {
		h := math.Round(p.hz / comb.hz)
		if math.Abs(p.hz-h*comb.hz) > secondOffBins*binHz+secondOff*comb.hz {
			rest = append(rest, p)
		}
	}
	if second := bestComb(rest, binHz, lowHz, highHz); second.lines >= 2 && second.explained > secondExplains {
		return second.hz
	}
	return 0
}
