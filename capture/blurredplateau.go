package capture

import "math"

// Plateaus that noise has spread: a wave cut off ahead of the converter, by a probe's
// or an amplifier's end stop, carries the noise added after it.
const (
	// blurLeastHz: waves of the mains have flat crests of their own, which records at
	// lower rates are made of.
	blurLeastHz = 2e6

	blurBlock = 4    // samples in the shortest mean, and by how much each is longer than the last
	blurMost  = 256  // in the longest
	blurLeast = 16   // means on the plateau, at least
	blurRun   = 2    // of them in a row, at least
	blurShare = 0.01 // of all means, at least
	// blurFinest and blurCoarsest are the bins that the means are counted in, as parts
	// of their peak-to-peak; a plateau fills blurBins of them.
	blurFinest, blurCoarsest, blurBins = 800, 100, 4
	// blurOutside is the share of a plateau's means that may lie beyond it.
	blurOutside = 0.02
	// blurTail is how far beyond the plateau single samples may lie, in standard
	// deviations of those on it: noise goes no further, spikes and the wave itself do.
	blurTail = 6.0
	// blurWhite is the least share of their variance that the samples on a plateau owe to
	// noise, which differs from one to the next; that of a wave's crest is the wave's.
	blurWhite = 0.6
)

// blurredMeans are a record's means over blurBlock samples, over blurBlock of those,
// and so on, each kind with its extent.
type blurredMeans []meansOver

type meansOver struct {
	samples int // in each
	means   []float64
	lo, hi  float64
}

// newBlurredMeans takes them of x.
func newBlurredMeans(x []float64) blurredMeans {
	var all blurredMeans
	last := x
	for k := blurBlock; k <= blurMost && len(x)/k >= 4*blurLeast; k *= blurBlock {
		b := meansOver{samples: k, means: make([]float64, len(x)/k), lo: math.Inf(1), hi: math.Inf(-1)}
		for i := range b.means {
			v := (*[blurBlock]float64)(last[i*blurBlock:])
			m := ((v[0] + v[1]) + (v[2] + v[3])) / blurBlock
			b.means[i] = m
			if m < b.lo {
				b.lo = m
			}
			if m > b.hi {
				b.hi = m
			}
		}
		all, last = append(all, b), b.means
	}
	return all
}

// blurredPlateau looks at the end of sign*x that begins at its least value for a
// level that means over neighbours come back to, and beyond which nothing but noise
// lies: there they pile up, whereas of a wave that turns by itself no more than
// twice as many lie within a width of its end as within the width next to it. The
// zero value where there is none. all are the means of x.
func blurredPlateau(x []float64, all blurredMeans, sign float64) FlatEnd {
	for _, b := range all {
		lo := b.lo
		if sign < 0 {
			lo = -b.hi
		}
		for parts := blurFinest; parts >= blurCoarsest && b.hi > b.lo; parts /= 2 {
			from, to, ok := pileAtEnd(b.means, sign, lo, (b.hi-b.lo)/float64(parts))
			if !ok {
				continue
			}
			if e, ok := blurredEnd(x, b.means, b.samples, from, to, sign); ok {
				return e
			}
		}
	}
	return FlatEnd{}
}

// pileAtEnd counts means times sign from lo upwards in bins and gives the first blurBins of
// them, from and to, that hold far more than the next ones and have next to nothing
// beyond them.
func pileAtEnd(means []float64, sign, lo, bin float64) (from, to float64, ok bool) {
	const reach = 6 * blurBins
	var count [reach]int
	beyond := lo + (reach+1)*bin
	for _, m := range means {
		if m *= sign; m > beyond {
			continue // nearly all
		}
		if i := int((m - lo) / bin); i < reach {
			count[i]++
		}
	}
	outside := 0
	for j := 0; j+2*blurBins <= reach; j++ {
		pile, next := 0, 0
		for i := range blurBins {
			pile += count[j+i]
			next += count[j+blurBins+i]
		}
		if pile >= max(blurLeast, int(blurShare*float64(len(means)))) && pile > plateauPile*next && float64(outside) <= blurOutside*float64(pile) {
			return lo + float64(j)*bin, lo + float64(j+blurBins)*bin, true
		}
		outside += count[j]
	}
	return 0, 0, false
}

// blurredEnd is the plateau of the samples whose means of k, times sign, lie between two levels;
// ok is false where single samples lie further beyond it than their noise goes.
func blurredEnd(x, means []float64, k int, from, to, sign float64) (e FlatEnd, ok bool) {
	var sum, square, steps float64 // steps: half the squares of differences from one to the next
	least, run := math.Inf(1), 0
	for i, m := range means {
		in := sign*m >= from && sign*m <= to
		if run++; !in {
			run = 0
		}
		e.Longest = max(e.Longest, run*k)
		for j, v := range x[i*k : (i+1)*k] {
			least = min(least, sign*v)
			if in {
				if d := v - x[i*k+max(j-1, 0)]; j > 0 {
					steps += d * d / 2 * float64(k) / float64(k-1)
				}
				e.Samples++
				sum += sign*v - from
				square += (sign*v - from) * (sign*v - from)
			}
		}
	}
	n := float64(e.Samples)
	mean := sum / n
	variance := square/n - mean*mean
	e.LevelV = sign * (from + mean)
	return e, e.Longest >= blurRun*k && steps > blurWhite*n*variance && from+mean-least <= blurTail*math.Sqrt(max(variance, 0))
}
