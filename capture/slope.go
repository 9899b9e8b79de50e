package capture

import "math"

// Bounding the sample interval by rounded time stamps.
const (
	// coarseShare of the interval is how coarse stamps must be printed for
	// their rounding to be looked at stamp by stamp.
	coarseShare = 0.01
	// slopeBuckets is in how many pieces the stamps are taken: of each only
	// those count that bound the line most.
	slopeBuckets = 4096
	// widestSlope is how uncertain, as a ratio, an interval may be at most.
	widestSlope = 0.2
)

// resolutionAt is the printed resolution of a stamp of value v.
func (p *rowSpec) resolutionAt(v float64) float64 {
	if v == 0 {
		return pow10(p.expMin)
	}
	msd := int(math.Floor(math.Log10(math.Abs(v)) + 1e-12))
	return pow10(max(p.expMin, msd+1-p.digitsMax))
}

// stampBound is what a bucket of stamps says of the line: at row j it passes
// above low and below high, both less step0·j.
type stampBound struct{ jLow, low, jHigh, high float64 }

// slopeBounds gives the least and the greatest interval between rows for which
// one straight line passes within half a printed step of every stamp. Rounding
// that follows the rows, as of stamps with three digits, shifts a least-squares
// line; it cannot move these bounds. ok is false where no line fits.
func (p *rowSpec) slopeBounds(stamps []float64, step0 float64) (lo, hi float64, ok bool) {
	n := len(stamps)
	per := (n + slopeBuckets - 1) / slopeBuckets
	var b []stampBound
	widest := 0.0
	for at := 0; at < n; at += per {
		s := stampBound{low: math.Inf(-1), high: math.Inf(1)}
		for i := at; i < min(at+per, n); i++ {
			t := stamps[i]
			if math.IsNaN(t) {
				continue
			}
			j, half := float64(i), 0.501*p.resolutionAt(t)
			u := t - stamps[0] - step0*j
			widest = max(widest, half)
			if u-half > s.low {
				s.jLow, s.low = j, u-half
			}
			if u+half < s.high {
				s.jHigh, s.high = j, u+half
			}
		}
		if !math.IsInf(s.high, 1) {
			b = append(b, s)
		}
	}
	if n < 2 || len(b) == 0 {
		return 0, 0, false
	}
	// Over the slopes' difference d the gap between the highest lower bound and
	// the lowest upper one is convex: find its least value, then its zeros.
	gap := func(d float64) float64 {
		low, high := math.Inf(-1), math.Inf(1)
		for _, s := range b {
			low, high = max(low, s.low-d*s.jLow), min(high, s.high-d*s.jHigh)
		}
		return low - high
	}
	reach := 4 * widest / float64(n-1)
	a, z := -reach, reach
	for range 100 {
		m1, m2 := a+(z-a)/3, z-(z-a)/3
		if gap(m1) < gap(m2) {
			z = m2
		} else {
			a = m1
		}
	}
	mid := (a + z) / 2
	if gap(mid) > 0 {
		return 0, 0, false
	}
	zero := func(out float64) float64 {
		in := mid
		for range 60 {
			if m := (in + out) / 2; gap(m) <= 0 {
				in = m
			} else {
				out = m
			}
		}
		return in
	}
	lo, hi = step0+zero(mid-reach), step0+zero(mid+reach)
	if lo > hi {
		lo, hi = hi, lo
	}
	return lo, hi, true
}

// usualRate gives the rate of the 1-2-2.5-4-5 series between lo and hi, both
// above 0, that is nearest to the middle; 0 when there is none.
func usualRate(lo, hi float64) float64 {
	best, mid := 0.0, (lo+hi)/2
	for e := math.Floor(math.Log10(lo)) - 1; e <= math.Ceil(math.Log10(hi)); e++ {
		for _, m := range []float64{1, 2, 2.5, 4, 5} {
			if r := m * math.Pow(10, e); r >= lo && r <= hi && (best == 0 || math.Abs(r-mid) < math.Abs(best-mid)) {
				best = r
			}
		}
	}
	return roundRate(best)
}
