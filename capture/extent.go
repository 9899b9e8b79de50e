package capture

import (
	"math"
	"runtime"
	"sync"
)

// extent is the least and the greatest sample of a record and of each of its
// blocks, so that a look at its ends need not go through all of it.
type extent struct {
	lo, hi float64
	blocks []blockExtent
}

// blockExtent is that of extentBlock samples, or fewer at the end.
type blockExtent struct{ lo, hi float64 }

const (
	extentBlock = 256
	// extentApart is the length from which parts of a record are looked at side by
	// side, as many as there are processors, up to maxWorkers.
	extentApart = 1 << 18
)

// extentOf is the extent of x: a NaN in it shows as one at either end. Without
// samples it is from +Inf to -Inf.
func extentOf(x []float64) extent {
	e := extent{lo: math.Inf(1), hi: math.Inf(-1), blocks: make([]blockExtent, (len(x)+extentBlock-1)/extentBlock)}
	parts := 1
	if len(x) >= extentApart {
		parts = min(runtime.GOMAXPROCS(0), maxWorkers)
	}
	var wg sync.WaitGroup
	for p := range parts {
		from, to := p*len(e.blocks)/parts, (p+1)*len(e.blocks)/parts
		look := func() {
			for b := from; b < to; b++ {
				e.blocks[b] = blockExtentOf(x[b*extentBlock : min((b+1)*extentBlock, len(x))])
			}
		}
		if parts == 1 {
			look()
			break
		}
		wg.Go(look)
	}
	wg.Wait()
	for _, b := range e.blocks {
		e.lo, e.hi = min(e.lo, b.lo), max(e.hi, b.hi)
	}
	return e
}

// blockExtentOf is the extent of x, by whole numbers in the order of the floating
// ones they stand for: these compare without a branch. NaN comes before -Inf or
// after +Inf there.
func blockExtentOf(x []float64) blockExtent {
	lo, hi := int64(math.MaxInt64), int64(math.MinInt64)
	for _, v := range x {
		k := ordered(int64(math.Float64bits(v)))
		lo, hi = min(lo, k), max(hi, k)
	}
	return blockExtent{math.Float64frombits(uint64(ordered(lo))), math.Float64frombits(uint64(ordered(hi)))}
}

// ordered turns the bits of a floating-point number into a whole number that
// compares as it does, and back.
func ordered(bits int64) int64 { return bits ^ int64(uint64(bits>>63)>>1) }

// least is the least of the block's samples times sign, 1 or -1.
func (b blockExtent) least(sign float64) float64 {
	if sign < 0 {
		return -b.hi
	}
	return b.lo
}
