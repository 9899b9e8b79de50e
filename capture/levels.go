package capture

import (
	"fmt"
	"math"
	"sync"
)

// MostLevels is where Levels stops counting.
const MostLevels = 16

// FlatEnd is the upper or lower end of a record where the samples stand still
// although the signal goes on: a saturated input, or a wave with flat tops.
// The zero value: the end is no such plateau.
type FlatEnd struct {
	LevelV  float64 // where they stand
	Samples int     // how many
	Longest int     // samples in a row, at most
}

// Levels is what the samples' own values say of what the record can show.
type Levels struct {
	// Distinct counts the different values, up to MostLevels. 1 is a flat
	// record and 2 a bit that toggles: neither shows anything but DC.
	Distinct int
	// ResolutionV is the coarsest step that is known: of the printed digits,
	// of the stated converter step, of a stated volts per division (25 codes
	// each, an 8-bit converter's; common practice, no source); 0 unknown. What
	// is smaller from peak to peak may be in the signal and not in the record.
	ResolutionV float64
	// Top and Bottom are plateaus at the record's greatest and least values,
	// whether or not these are the converter's own ends.
	Top, Bottom FlatEnd
	// OverRange counts the samples that the file marks as over the
	// instrument's range; they stand at the greatest or least value it gives,
	// which the true ones exceed.
	OverRange int
}

// codesPerDivision is that of the usual 8-bit scope (common practice, no source).
const codesPerDivision = 25

// Plateaus at the ends of a record.
const (
	plateauSteps = 1.5  // converter steps that noise may spread a plateau over
	plateauShare = 1e-3 // of the record's peak-to-peak, likewise, where no step is known
	plateauRun   = 3    // samples in a row, at least
	plateauPile  = 4    // times as many samples as in the two widths next to it
	plateauLeast = 8    // converter steps from peak to peak below which no plateau shows

	stillNear  = 5    // steps from the end within which noise shows about alike
	stillLeast = 200  // samples there, at least, that tell how often it turns
	stillTurns = 25.0 // turns that a rest would hold by the noise next to it: none by chance in a million samples
)

// countDistinct counts the different values in x up to MostLevels.
func countDistinct(x []float64) int {
	var seen [MostLevels]float64
	n := 0
next:
	for _, v := range x {
		for _, s := range seen[:n] {
			if s == v {
				continue next
			}
		}
		seen[n] = v
		if n++; n == MostLevels {
			break
		}
	}
	return n
}

// findLevels fills t.Levels but for ResolutionV, which the importer knows, and
// says what the record cannot show. reach is the extent of t.Volts.
func (t *Trace) findLevels(reach extent) {
	l := &t.Levels
	l.Distinct = countDistinct(t.Volts)
	bound := "what the instrument's resolution hides"
	if l.ResolutionV > 0 {
		bound = "less than " + SI(l.ResolutionV, "V", 3) + " peak to peak"
	}
	switch l.Distinct {
	case 1:
		t.caution(CautionFlat, fmt.Sprintf("all %d samples are %s: the record shows nothing of ripple or noise, which may be %s", len(t.Volts), SI(t.Volts[0], "V", 6), bound), "use fewer volts per division; with DC coupling, AC coupling shows more")
		return
	case 2:
		t.caution(CautionTwoLevels, fmt.Sprintf("the samples take two values only: the record shows nothing of the ripple's or noise's size, which may be %s", bound), "use fewer volts per division; with DC coupling, AC coupling shows more")
		return
	}
	lo, hi := reach.lo, reach.hi
	step := t.StepV
	if step == 0 {
		if q, ok := t.FindStep(); ok {
			step = q
		}
	}
	if l.Distinct < MostLevels || step > 0 && hi-lo < plateauLeast*step {
		return // too few levels to tell a plateau from a level
	}
	width := max(plateauSteps*step, plateauShare*(hi-lo))
	// both ends side by side, and with them what only ends without a plateau need: nearly
	// all
	look := func(e *FlatEnd, least, sign float64) {
		if *e = plateau(t.Volts, reach.blocks, least, width, sign); e.Samples == 0 {
			*e = still(t.Volts, reach.blocks, least, step, sign)
		}
	}
	var wg sync.WaitGroup
	var means *blurredMeans
	if t.SampleRateHz >= blurLeastHz {
		wg.Go(func() { means = newBlurredMeans(t.Volts, reach.blocks) })
	}
	wg.Go(func() { look(&l.Bottom, lo, 1) })
	look(&l.Top, -hi, -1)
	wg.Wait()
	if means != nil && l.Bottom.Samples == 0 {
		l.Bottom = means.plateau(1)
	}
	if means != nil && l.Top.Samples == 0 {
		l.Top = means.plateau(-1)
	}
	if n := l.Top.Samples + l.Bottom.Samples; n > 0 && !t.atFullScale(l) {
		t.caution(CautionFlatTops, fmt.Sprintf("%d samples sit at the record's highest or lowest value: the input was overloaded, unless the waveform has flat tops; peaks may be cut off", n), "use more volts per division, or move the trace to the middle of the screen")
	}
}

// plateau looks at the end of sign*x that begins at the least value lo; blocks are
// those of the extent of x.
func plateau(x []float64, blocks []blockExtent, lo, width, sign float64) FlatEnd {
	var e FlatEnd
	run, next := 0, 0
	for i, b := range blocks {
		if b.least(sign)-lo > 3*width {
			run = 0
			continue
		}
		for _, v := range x[i*extentBlock : min((i+1)*extentBlock, len(x))] {
			switch d := sign*v - lo; {
			case d <= width:
				e.Samples++
				run++
				e.Longest = max(e.Longest, run)
				continue
			case d <= 3*width:
				next++
			}
			run = 0
		}
	}
	if e.Longest < plateauRun || e.Samples <= plateauPile*next {
		return FlatEnd{}
	}
	e.LevelV = sign * lo
	return e
}

// still looks at the end of sign*x that begins at the least value lo for a
// converter step on which the samples rest for longer than noise allows: where it
// goes up and down next to the end and not at it, it was cut off with the wave. How
// full the step is doesn't count, so that a wave cut off near its middle shows, too.
// The zero value where no step is known. blocks are those of the extent of x.
func still(x []float64, blocks []blockExtent, lo, step, sign float64) FlatEnd {
	if !(step > 0) {
		return FlatEnd{}
	}
	e := FlatEnd{LevelV: sign * lo}
	var near, turns, run int
	last, way := math.Inf(1), 0.0 // of the sample before, and the last step's direction
	for i, b := range blocks {
		part := x[i*extentBlock : min((i+1)*extentBlock, len(x))]
		if (b.least(sign)-lo)/step > stillNear+0.5 { // nothing near the end
			run, way, last = 0, 0, (sign*part[len(part)-1]-lo)/step
			continue
		}
		for _, v := range part {
			d := (sign*v - lo) / step
			switch {
			case d < 0.5:
				e.Samples++
				run++
				e.Longest = max(e.Longest, run)
				way = 0
			case d > stillNear+0.5:
				run, way = 0, 0
			default:
				run = 0
				near++
				if move := d - last; math.Abs(move) >= 0.5 && last <= stillNear+0.5 && last >= 0.5 {
					if move*way < 0 {
						turns++
					}
					way = move
				}
			}
			last = d
		}
	}
	if near < stillLeast || float64(e.Longest)*float64(turns) < stillTurns*float64(near) {
		return FlatEnd{}
	}
	return e
}

// atFullScale reports whether every plateau is at the converter's known end,
// which is clipping and said as such.
func (t *Trace) atFullScale(l *Levels) bool {
	span := t.FullScaleMaxV - t.FullScaleMinV
	at := func(e FlatEnd, end float64) bool {
		return e.Samples == 0 || math.Abs(e.LevelV-end) <= 0.01*span
	}
	return span > 0 && at(l.Top, t.FullScaleMaxV) && at(l.Bottom, t.FullScaleMinV)
}
