package capture

import (
	"math"
)

// breakKind says why a piece of the record begins where it does.
type breakKind uint8

const (
	breakNone breakKind = iota
	breakTime           // the time jumps
	breakText           // lines of text stand before it
	breakSeg            // the segment column changes
)

// timeBlock is a run of rows whose times fit one line, with the sums for a
// least-squares fit. j counts rows within the block; u is the time minus the
// first time minus j expected steps, which keeps the sums small and exact.
type timeBlock struct {
	row0, n int
	line    int // of its first row, 1-based
	why     breakKind
	first   float64
	last    float64
	lastJ   int // row of the last stamp
	m       float64
	sj, sjj float64
	su, sju float64
	suu     float64
	ulp     float64 // coarsest printed resolution among first and last
}

// join adds the sums of b, which begins k rows after a and whose first time
// is du off a's line.
func (a *timeBlock) join(b *timeBlock, step float64) {
	if b.m == 0 {
		a.n += b.n
		return
	}
	if a.m == 0 {
		k := a.n
		n, row0, line, why := a.n, a.row0, a.line, a.why
		*a = *b
		a.row0, a.line, a.why = row0, line, why
		a.n = n + b.n
		a.lastJ += k
		fk := float64(k)
		// first stays the first stamp; j moves by k, u keeps its reference
		// row, so first is moved back by k steps.
		a.first -= fk * step
		a.sjj += 2*fk*a.sj + fk*fk*a.m
		a.sju += fk * a.su
		a.sj += fk * a.m
		return
	}
	k := float64(b.row0 - a.row0)
	d := b.first - a.first - step*k
	a.m += b.m
	a.sjj += b.sjj + 2*k*b.sj + k*k*b.m
	a.sju += b.sju + d*b.sj + k*b.su + k*d*b.m
	a.suu += b.suu + 2*d*b.su + d*d*b.m
	a.sj += b.sj + k*b.m
	a.su += b.su + d*b.m
	a.last = b.last
	a.lastJ = b.row0 - a.row0 + b.lastJ
	a.n = b.row0 - a.row0 + b.n
	a.ulp = max(a.ulp, b.ulp)
}

// pow10 gives powers of ten for printed resolutions.
func pow10(e int) float64 {
	if e >= -22 && e <= 22 {
		if e < 0 {
			return 1 / pow10tab[-e]
		}
		return pow10tab[e]
	}
	return math.Pow(10, float64(e))
}

// resolution is the step between neighbouring stamps as printed: trailing
// zeros that were left out don't count against it.
func (p *rowSpec) resolution(n number) float64 {
	if n.v == 0 && n.exp10 >= 0 {
		return pow10(p.expMin) // a bare 0 shows no digits of its own
	}
	msd := n.exp10 + n.digits - 1
	e := min(n.exp10, max(p.expMin, msd+1-p.digitsMax))
	return pow10(e)
}

// blockBuilder makes the blocks of one chunk from its rows.
type blockBuilder struct {
	spec     *rowSpec
	half     float64 // of the expected step, as a magnitude
	blk      timeBlock
	open     bool
	prev     number // last stamp of the open block
	prevRow  int
	havePrev bool
}

// stamped takes row i with its time; why is a break known from elsewhere.
func (w *blockBuilder) stamped(c *rowChunk, i int, stamp number, why breakKind) {
	t, step, b := stamp.v, w.spec.step, &w.blk
	if w.havePrev && why == breakNone {
		dev := t - w.prev.v - step*float64(i-w.prevRow)
		if (dev > w.half || dev < -w.half) && !c.tooManyJumps {
			tol := w.half + 1.01*max(w.spec.resolution(stamp), w.spec.resolution(w.prev))
			if dev > tol || dev < -tol {
				if c.tooManyJumps = len(c.blocks) >= maxBlocks; !c.tooManyJumps {
					why = breakTime
				}
			}
		}
	}
	if !w.open || why != breakNone {
		w.close(c)
		*b, w.open = timeBlock{row0: i, line: c.lines, why: why, first: t, ulp: w.spec.resolution(stamp)}, true
	} else if b.m == 0 {
		// The block began with rows without stamps.
		b.first = t - step*float64(i-b.row0)
		b.ulp = w.spec.resolution(stamp)
	}
	j := float64(i - b.row0)
	u := t - b.first - step*j
	b.m++
	b.su += u
	b.sju += j * u
	b.suu += u * u
	b.last, b.lastJ = t, i-b.row0
	b.n = i - b.row0 + 1
	w.prev, w.prevRow, w.havePrev = stamp, i, true
}

// run takes the times of the chunk's last rows, one after the other, as stamped
// does; why is a break before the first. The lines are counted here.
func (w *blockBuilder) run(c *rowChunk, stamps *stampRun, why breakKind) {
	i := len(c.volts) - stamps.n
	c.lines++
	w.stamped(c, i, stamps.number(0), why)
	if w.evenRun(c, stamps, i) {
		return
	}
	step, half := w.spec.step, w.half
	for k := 1; k < stamps.n; {
		b := &w.blk
		row, prev := float64(i+k-b.row0), stamps.value(k-1)
		m, su, sju, suu, from := b.m, b.su, b.sju, b.suu, k
		for ; k < stamps.n; k++ {
			t := stamps.value(k)
			if dev := t - prev - step; dev > half || dev < -half {
				break // perhaps a jump
			}
			u := t - b.first - step*row
			m++
			su += u
			sju += row * u
			suu += u * u
			row++
			prev = t
		}
		if k > from {
			b.m, b.su, b.sju, b.suu = m, su, sju, suu
			w.taken(c, i, k-from, k-1, stamps)
		}
		if k < stamps.n {
			c.lines++
			w.stamped(c, i+k, stamps.number(k), breakNone)
			k++
		}
	}
}

// taken notes that the times of n rows were taken up to stamp k, stamp 0 being row
// i's.
func (w *blockBuilder) taken(c *rowChunk, i, n, k int, stamps *stampRun) {
	w.prev, w.prevRow = stamps.number(k), i+k
	b := &w.blk
	b.last, b.lastJ, b.n = w.prev.v, i+k-b.row0, i+k-b.row0+1
	c.lines += n
}

// evenRun takes the times of a run behind its first, which is row i's and is taken, in
// one go where all are equally far apart: then u grows by the same amount from row to
// row, and its sums have a closed form. It reports whether it did.
func (w *blockBuilder) evenRun(c *rowChunk, stamps *stampRun, i int) bool {
	step, even := stamps.even()
	grows := step - w.spec.step
	if !even || !(math.Abs(grows) <= w.half) {
		return false
	}
	b := &w.blk
	n := float64(stamps.n - 1)
	row := float64(i + 1 - b.row0)
	u := stamps.value(1) - b.first - w.spec.step*row
	k, kk := n*(n-1)/2, (n-1)*n*(2*n-1)/6 // sums of 0 to n-1 and of their squares
	b.m += n
	b.su += n*u + k*grows
	b.sju += row*(n*u+k*grows) + k*u + kk*grows
	b.suu += n*u*u + 2*k*u*grows + kk*grows*grows
	w.taken(c, i, stamps.n-1, stamps.n-1, stamps)
	return true
}

// unstamped takes row i, which has no time.
func (w *blockBuilder) unstamped(c *rowChunk, i int, why breakKind) {
	if w.open && why == breakNone {
		j := float64(i - w.blk.row0)
		w.blk.sj += j
		w.blk.sjj += j * j
		w.blk.n++
		return
	}
	w.close(c)
	w.blk, w.open = timeBlock{row0: i, n: 1, line: c.lines, why: why}, true
	w.havePrev = false
}

// finish closes the last block.
func (w *blockBuilder) finish(c *rowChunk) {
	if w.open && w.havePrev {
		w.blk.ulp = max(w.blk.ulp, w.spec.resolution(w.prev))
	}
	w.close(c)
}

// close hands the open block to the chunk. Every row has its j, so their sums
// have a closed form; meanwhile sj and sjj counted the rows without a stamp.
func (w *blockBuilder) close(c *rowChunk) {
	if !w.open {
		return
	}
	b, n := &w.blk, float64(w.blk.n)
	b.sj = n*(n-1)/2 - b.sj
	b.sjj = (n-1)*n*(2*n-1)/6 - b.sjj
	if b.m == 0 {
		b.sj, b.sjj = 0, 0
	}
	c.blocks = append(c.blocks, *b)
}
