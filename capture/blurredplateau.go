package capture

import "math"

// Plateaus that noise has spread: a wave cut off ahead of the converter, by a probe's
// or an amplifier's end stop, carries the noise added after it.
const (
	// blurLeastHz: waves of the mains have flat crests of their own, which records at
	// lower rates are made of.
	blurLeastHz = 2e6

	blurBlock = 4           // samples in the shortest mean, and by how much each is longer than the last
	blurMost  = extentBlock // in the longest: those of a block of the record's extent
	blurLeast = 16          // means on the plateau, at least
	blurRun   = 2           // of them in a row, at least
	blurShare = 0.01        // of all means, at least
	// blurFinest are the bins that the means are counted in, as parts of their
	// peak-to-peak, and a half, a quarter and an eighth as many; a plateau fills
	// blurBins of them.
	blurFinest, blurBins = 800, 4
	// blurOutside is the share of a plateau's means that may lie beyond it.
	blurOutside = 0.02
	// blurTail is how far beyond the plateau single samples may lie, in standard
	// deviations of those on it: noise goes no further, spikes and the wave itself do.
	blurTail = 6.0
	// blurWhite is the least share of their variance that the samples on a plateau owe to
	// noise, which differs from one to the next; that of a wave's crest is the wave's.
	blurWhite = 0.6
)

// blurLevels is how many lengths of means there are, and blurKinds of bins.
const (
	blurLevels = 4
	blurKinds  = 4
	blurReach  = 6 * blurBins // bins counted from either end
)

// blurredMeans are a record's means over blurBlock samples, over blurBlock of those,
// and so on: their extent, and how many lie in each bin from either end. The means
// themselves would take a third of the record's memory and are not kept.
type blurredMeans struct {
	x      []float64
	levels [blurLevels]meansOver
}

type meansOver struct {
	samples int // in each; 0: too few of them
	number  int
	lo, hi  float64
	// from the least upwards and from the greatest down, in the finest bins; the last
	// place is for all that lie further
	count [2][blurReach<<(blurKinds-1) + 1]int
}

// newBlurredMeans takes them of x, whose extent is in blocks.
func newBlurredMeans(x []float64, blocks []blockExtent) *blurredMeans {
	b := &blurredMeans{x: x}
	for i, k := 0, blurBlock; i < blurLevels && len(x)/k >= 4*blurLeast; i, k = i+1, k*blurBlock {
		b.levels[i] = meansOver{samples: k, number: len(x) / k, lo: math.Inf(1), hi: math.Inf(-1)}
	}
	b.each(func(int) bool { return true }, func(m *meansOver, means []float64) {
		for _, v := range means {
			if v < m.lo {
				m.lo = v
			}
			if v > m.hi {
				m.hi = v
			}
		}
	})
	near := func(block int) bool { // whether any of its means can lie in a bin
		for i := range b.levels {
			m := &b.levels[i]
			if far := m.far(); m.samples > 0 && (blocks[block].lo <= m.lo+far || blocks[block].hi >= m.hi-far) {
				return true
			}
		}
		return false
	}
	b.each(near, func(m *meansOver, means []float64) { m.add(means) })
	return b
}

// each visits the means of every length, block by block of those wanted.
func (b *blurredMeans) each(wanted func(block int) bool, visit func(m *meansOver, means []float64)) {
	var buf [blurMost / blurBlock]float64
	for from := 0; from < len(b.x); from += blurMost {
		if !wanted(from / blurMost) {
			continue
		}
		last := b.x[from:min(from+blurMost, len(b.x))]
		for i := range b.levels {
			m := &b.levels[i]
			if m.samples == 0 {
				break
			}
			last = meansOfBlocks(buf[:len(last)/blurBlock], last)
			visit(m, last)
		}
	}
}

// meansOfBlocks fills dst, which may lie at the start of src, with the means over
// blurBlock neighbours.
func meansOfBlocks(dst, src []float64) []float64 {
	for i := range dst {
		v := (*[blurBlock]float64)(src[i*blurBlock:])
		dst[i] = ((v[0] + v[1]) + (v[2] + v[3])) / blurBlock
	}
	return dst
}

// bin is the width of a kind's bins.
func (m *meansOver) bin(kind int) float64 { return (m.hi - m.lo) / float64(int(blurFinest)>>kind) }

// far is how far from the ends means may lie in a bin of any kind, and a bin more.
func (m *meansOver) far() float64 { return (blurReach + 1) * m.bin(blurKinds-1) }

// add counts means.
func (m *meansOver) add(means []float64) {
	if !(m.hi > m.lo) {
		return
	}
	perVolt := 1 / m.bin(0)
	low, high := &m.count[0], &m.count[1]
	for _, v := range means {
		low[min(uint((v-m.lo)*perVolt), uint(len(low)-1))]++
		high[min(uint((m.hi-v)*perVolt), uint(len(high)-1))]++
	}
}

// inBins are the counts at an end in bins of a kind.
func (m *meansOver) inBins(end, kind int) (count [blurReach]int) {
	for i := range count {
		for _, n := range m.count[end][i<<kind : (i+1)<<kind] {
			count[i] += n
		}
	}
	return count
}

// plateau looks at the end of sign*x that begins at its least value for a
// level that means over neighbours come back to, and beyond which nothing but noise
// lies: there they pile up, whereas of a wave that turns by itself no more than
// twice as many lie within a width of its end as within the width next to it. The
// zero value where there is none.
func (b *blurredMeans) plateau(sign float64) FlatEnd {
	end := 0
	if sign < 0 {
		end = 1
	}
	for i := range b.levels {
		m := &b.levels[i]
		lo := m.lo
		if sign < 0 {
			lo = -m.hi
		}
		for kind := 0; kind < blurKinds && m.hi > m.lo; kind++ {
			count := m.inBins(end, kind)
			j, ok := pileAtEnd(&count, m.number)
			if !ok {
				continue
			}
			if e, ok := b.end(m, lo+float64(j)*m.bin(kind), lo+float64(j+blurBins)*m.bin(kind), sign); ok {
				return e
			}
		}
	}
	return FlatEnd{}
}

// pileAtEnd gives the first of blurBins bins that hold far more of all means than the
// next ones and have next to nothing beyond them.
func pileAtEnd(count *[blurReach]int, all int) (first int, ok bool) {
	outside := 0
	for j := 0; j+2*blurBins <= blurReach; j++ {
		pile, next := 0, 0
		for i := range blurBins {
			pile += count[j+i]
			next += count[j+blurBins+i]
		}
		if pile >= max(blurLeast, int(blurShare*float64(all))) && pile > plateauPile*next && float64(outside) <= blurOutside*float64(pile) {
			return j, true
		}
		outside += count[j]
	}
	return 0, false
}

// end is the plateau of the samples whose means of one length, times sign, lie between
// two levels; ok is false where single samples lie further beyond it than their noise
// goes.
func (b *blurredMeans) end(of *meansOver, from, to, sign float64) (e FlatEnd, ok bool) {
	var sum, square, steps float64 // steps: half the squares of differences from one to the next
	least, run, k := math.Inf(1), 0, of.samples
	at := 0 // sample
	b.each(func(int) bool { return true }, func(m *meansOver, means []float64) {
		if m != of {
			return
		}
		for _, mean := range means {
			in := sign*mean >= from && sign*mean <= to
			if run++; !in {
				run = 0
			}
			e.Longest = max(e.Longest, run*k)
			for j, v := range b.x[at : at+k] {
				least = min(least, sign*v)
				if in {
					if d := v - b.x[at+max(j-1, 0)]; j > 0 {
						steps += d * d / 2 * float64(k) / float64(k-1)
					}
					e.Samples++
					sum += sign*v - from
					square += (sign*v - from) * (sign*v - from)
				}
			}
			at += k
		}
	})
	n := float64(e.Samples)
	mean := sum / n
	variance := square/n - mean*mean
	e.LevelV = sign * (from + mean)
	return e, e.Longest >= blurRun*k && steps > blurWhite*n*variance && from+mean-least <= blurTail*math.Sqrt(max(variance, 0))
}
