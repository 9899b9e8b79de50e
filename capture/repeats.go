package capture

import (
	"fmt"
	"math"
)

// dropRepeats joins pieces of which each begins with the last rows of the one before, times
// and volts alike: a record that was saved or pasted in parts with a seam between. The rows
// that stand twice are left out the second time. Records whose clock starts anew repeat all
// times, and other volts.
func (o *rowsRead) dropRepeats(pieces []timeBlock, p *rowSpec, t *Trace) []timeBlock {
	if p.time < 0 || p.step == 0 || len(pieces) < 2 {
		return pieces
	}
	var out []timeBlock
	var drops [][2]int // rows
	dropped, firstLine, end := 0, 0, 0
	for _, b := range pieces {
		next := b.row0 + b.n
		k := 0
		if len(out) > 0 && b.row0 == end && b.why != breakSeg {
			k = o.repeated(&out[len(out)-1], &b, p)
		}
		if b.row0 -= dropped; k == 0 {
			out = append(out, b)
		} else {
			if dropped == 0 {
				firstLine = b.line
			}
			drops = append(drops, [2]int{end, end + k})
			dropped += k
			b.row0 -= k
			out[len(out)-1].join(&b, p.step)
		}
		end = next
	}
	if dropped == 0 {
		return pieces
	}
	o.volts = without(o.volts, drops)
	if len(o.times) > 0 {
		o.times = without(o.times, drops)
	}
	t.caution(CautionSkipped, fmt.Sprintf("%s twice, with the same time and volts, first in line %d: left out the second time", repeatedRows(dropped), firstLine), "save the record again in one piece")
	return out
}

// repeatedRows says that so many rows stand somewhere.
func repeatedRows(n int) string {
	if n == 1 {
		return "1 row stands"
	}
	return fmt.Sprintf("%d rows stand", n)
}

// repeated is with how many of a's last rows b, which follows it, begins; 0 for none.
func (o *rowsRead) repeated(a, b *timeBlock, p *rowSpec) int {
	back := (a.last-b.first)/p.step + 1
	k := int(math.Round(back))
	if !(back > 0.5) || math.Abs(back-float64(k)) > 0.1 || max(a.ulp, b.ulp) > 0.5*math.Abs(p.step) || k >= min(a.n, b.n) || a.lastJ != a.n-1 {
		return 0
	}
	for i, v := range o.volts[b.row0 : b.row0+k] {
		if v != o.volts[b.row0-k+i] {
			return 0
		}
	}
	return k
}

// without moves x together over the rows of drops, in order, from the first of each to
// ahead of the second.
func without(x []float64, drops [][2]int) []float64 {
	to := drops[0][0]
	for i, d := range drops {
		next := len(x)
		if i+1 < len(drops) {
			next = drops[i+1][0]
		}
		to += copy(x[to:], x[d[1]:next])
	}
	return x[:to]
}

// Telling volts that were sorted by themselves.
const (
	// sortedRows is how many changes, all the same way, no record of a supply shows.
	sortedRows = 64
	// sortedUneven is how much neighbouring changes differ on the mean, as a share of the
	// mean change: those of sorted noise by as much as they are (the gaps between ordered
	// samples are independent), those of a simulator's curve hardly at all.
	sortedUneven = 0.5
)

// saySortedVolts doubts volts that only rise or only fall from the first row to the last, as
// when a spreadsheet sorted them by themselves: noise and ripple do neither.
func (t *Trace) saySortedVolts() {
	x := t.Volts
	changes, sign, last, uneven := 0, 0.0, 0.0, 0.0
	for i := 1; i < len(x); i++ {
		d := x[i] - x[i-1]
		if d*sign < 0 {
			return
		}
		if d != 0 {
			changes, sign = changes+1, d
		}
		if i > 1 {
			uneven += math.Abs(d - last)
		}
		last = d
	}
	if changes < sortedRows || uneven < sortedUneven*math.Abs(x[len(x)-1]-x[0]) {
		return
	}
	way := "rise"
	if sign < 0 {
		way = "fall"
	}
	t.caution(CautionUnsorted, fmt.Sprintf("the volts only %s from the first row to the last, over %d changes: if a spreadsheet sorted them, the waveform is lost, and only DC, rms and peaks are left", way, changes), "export the capture again and don't sort it")
}
