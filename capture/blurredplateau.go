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

// blurredPlateau looks at the end of sign*x that begins at its least value for a
// level that means over neighbours come back to, and beyond which nothing but noise
// lies: there they pile up, whereas of a wave that turns by itself no more than
// twice as many lie within a width of its end as within the width next to it. The
// zero value where there is none.
func blurredPlateau(x []float64, sign float64) FlatEnd {
	var means []float64
	for k := blurBlock; k <= blurMost && len(x)/k >= 4*blurLeast; k *= blurBlock {
		means = means[:0]
		lo, hi := math.Inf(1), math.Inf(-1)
		for a := 0; a+k <= len(x); a += k {
			m := 0.0
			for _, v := range x[a : a+k] {
				m += sign * v
			}
			m /= float64(k)
			means = append(means, m)
			lo, hi = min(lo, m), max(hi, m)
		}
		for parts := blurFinest; parts >= blurCoarsest && hi > lo; parts /= 2 {
			from, to, ok := pileAtEnd(means, lo, (hi-lo)/float64(parts))
			if !ok {
				continue
			}
			if e, ok := blurredEnd(x, means, k, from, to, sign); ok {
				return e
			}
		}
	}
	return FlatEnd{}
}

// pileAtEnd counts means from lo upwards in bins and gives the first blurBins of
// them, from and to, that hold far more than the next ones and have next to nothing
// beyond them.
func pileAtEnd(means []float64, lo, bin float64) (from, to float64, ok bool) {
	const reach = 6 * blurBins
	var count [reach]int
	for _, m := range means {
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

// blurredEnd is the plateau of the samples whose means of k lie between two levels;
// ok is false where single samples lie further beyond it than their noise goes.
func blurredEnd(x, means []float64, k int, from, to, sign float64) (e FlatEnd, ok bool) {
	var sum, square, steps float64 // steps: half the squares of differences from one to the next
	least, run := math.Inf(1), 0
	for i, m := range means {
		in := m >= from && m <= to
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
