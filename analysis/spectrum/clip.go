package spectrum

import "iter"

// endStop counts the samples at one end of a record, by their distance from it
// in converter steps.
type endStop struct {
	at, next     int // on the last code and on the last but one
	run, longest int // of samples in a row on the last code
}

func (e *endStop) add(steps float64) {
	switch {
	case steps < onLastCode:
		e.at++
		e.run++
		e.longest = max(e.longest, e.run)
	case steps < onNextCode:
		e.next++
		e.run = 0
	default:
		e.run = 0
	}
}

// stuck is how many samples were cut off there. A signal that ends by itself
// thins out towards its extremes (a sine's last code is at most 2.5 times as
// full as the last but one); one that is cut off piles up.
func (e *endStop) stuck() int {
	if e.longest >= clipRun && e.at > clipPile*e.next {
		return e.at
	}
	return 0
}

// Clipped counts the samples of a record stuck at its lowest and at its highest code.
// minV and maxV are its extremes; all in volts. reaching gives the stretches of it that
// hold all samples down to low and up to high; what lies between two of them reaches
// neither. Fewer than clipCodes codes in all, or an unknown step (0), can't tell: 0, 0.
func Clipped(reaching func(low, high float64) iter.Seq[[]float64], minV, maxV, stepV float64) (lows, highs int) {
	if !(stepV > 0) || maxV-minV < clipCodes*stepV {
		return 0, 0
	}
	var lowEnd, highEnd endStop
	insideLow, insideHigh := minV+offEnds*stepV, maxV-offEnds*stepV
	for v := range reaching(insideLow, insideHigh) {
		lowEnd.run, highEnd.run = 0, 0
		for _, x := range v {
			if x > insideLow && x < insideHigh {
				lowEnd.run, highEnd.run = 0, 0
				continue
			}
			lowEnd.add((x - minV) / stepV)
			highEnd.add((maxV - x) / stepV)
		}
	}
	return lowEnd.stuck(), highEnd.stuck()
}
