package spectrum

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/internal/spare"
)

// segmentSpace is what averages over segments of one length share: taper,
// transform and work space. Not for use by two goroutines at once.
type segmentSpace struct {
	taper   taper
	squares []float64 // the squared taper
	square  float64   // its sum
	powers  powers
	work    []float64
}

// segmentSpaces are those of the two spectra of two records, of three lengths each as a
// rule.
var segmentSpaces = spare.List[*segmentSpace]{Most: 12}

func newSegmentSpace(n int) *segmentSpace {
	s := &segmentSpace{
		taper:   newTaper(windowHann, n),
		squares: make([]float64, n),
		powers:  newPowers(n),
		work:    make([]float64, n),
	}
	floats.MulTo(s.squares, s.taper.W, s.taper.W)
	s.square = floats.Sum(s.squares)
	return s
}

// welch averages the one-sided periodograms of Hann-weighted segments of a
// stream (Welch 1967), overlapping by half or less, or with gaps between them. Each
// segment's mean is removed.
type welch struct {
	*segmentSpace
	n      int // samples in a segment, even
	hop    int // from segment to segment: n/2 or more, as a mean where more than n
	gated  bool
	seg, w []float64 // the segment being filled, and its weights when gated
	fill   int
	skip   int // samples to pass over before the next segment

	power    []float64 // sum over segments of |X|^2, n/2+1 bins
	weight   float64   // sum over segments of the squared taper under the gate
	full     float64   // the same without the gate
	segments int
}

func newWelch(space *segmentSpace, hop int, gated bool) *welch {
	n := len(space.work)
	k := &welch{
		segmentSpace: space,
		n:            n, hop: hop, gated: gated,
		seg:   make([]float64, n),
		power: make([]float64, n/2+1),
	}
	if gated {
		k.w = make([]float64, n)
	}
	return k
}

// push takes the next samples; w is as long as x when gated, else nil. Excised
// samples must be zero in x.
func (k *welch) push(x, w []float64) {
	for len(x) > 0 {
		if k.skip > 0 {
			m := min(k.skip, len(x))
			k.skip -= m
			x = x[m:]
			if k.gated {
				w = w[m:]
			}
			continue
		}
		if k.fill == 0 && k.hop >= k.n && len(x) >= k.n {
			var under []float64
			if k.gated {
				under = w[:k.n]
				w = w[k.n:]
			}
			k.transform(x[:k.n], under)
			x = x[k.n:]
			k.skip = k.gap()
			continue
		}
		m := copy(k.seg[k.fill:], x)
		if k.gated {
			copy(k.w[k.fill:], w[:m])
			w = w[m:]
		}
		x = x[m:]
		k.fill += m
		if k.fill < k.n {
			return
		}
		k.transform(k.seg, k.w)
		keep := min(k.hop, k.n)
		k.skip = k.gap()
		k.fill = copy(k.seg, k.seg[keep:])
		if k.gated {
			copy(k.w, k.w[keep:])
		}
	}
}

// gap is how many samples to pass over behind the segment just taken. Gaps differ in
// length, evenly from none to twice the mean: what comes back in step with the
// segments would else be in all of them or in none.
func (k *welch) gap() int {
	mean := k.hop - k.n
	if mean <= 0 {
		return 0
	}
	_, share := math.Modf(float64(k.segments) / math.Phi) // multiples of the golden ratio lie evenly (Weyl)
	return int(2 * share * float64(mean))
}

// transform adds the periodogram of a segment, w its weights when gated.
func (k *welch) transform(seg, w []float64) {
	sum, mean := floats.Sum(seg), 0.0
	if !k.gated {
		mean = sum / float64(k.n)
		k.weight += k.square
	} else {
		if share := floats.Sum(w); share > 0 {
			mean = sum / share
		}
		seg, mean = floats.AddScaledTo(k.work, seg, -mean, w), 0
		k.weight += floats.Dot(k.squares, w)
	}
	k.full += k.square
	k.segments++
	k.powers.add(k.power, seg, mean, k.taper.W)
}

// density is the one-sided power spectral density in V²/Hz for bins 0 to n/2,
// spaced rateHz/n. Noise is estimated from the samples under the gate alone:
// the excised share is made up for in power. Nil when no segment was filled.
func (k *welch) density(rateHz float64) []float64 {
	if k.segments == 0 || k.weight <= 0 {
		return nil
	}
	scale := 2 / (rateHz * k.weight)
	psd := make([]float64, len(k.power))
	for i, p := range k.power {
		psd[i] = p * scale
	}
	psd[0] /= 2
	if k.n%2 == 0 {
		psd[k.n/2] /= 2
	}
	return psd
}

// degreesOfFreedom is the equivalent number of degrees of freedom of each bin's
// chi-squared distribution: two for each independent segment. Neighbouring ones that
// overlap correlate in amplitude by what their tapers share, 1/6 of half-overlapping
// Hann segments (Welch 1967).
func (k *welch) degreesOfFreedom() float64 {
	n := float64(k.segments)
	if n == 0 {
		return 0
	}
	share := 1.0
	if k.full > 0 {
		share = k.weight / k.full
	}
	tie := 0.0
	if k.hop < k.n {
		w := k.taper.W
		tie = 2 * sq(floats.Dot(w[k.hop:], w[:k.n-k.hop])/k.square) * (n - 1) / n
	}
	dof := 2 * n / (1 + tie) * share
	return max(dof, 2)
}
