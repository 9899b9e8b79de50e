package spectrum

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

// Clipped counts the samples of v stuck at the lowest and at the highest code of a
// record whose extremes are minV and maxV; all in volts. Fewer than clipCodes codes
// in all, or an unknown step (0), can't tell: 0, 0.
func Clipped(v []float64, minV, maxV, stepV float64) (low, high int) {
	if !(stepV > 0) || maxV-minV < clipCodes*stepV {
		return 0, 0
	}
	var lowEnd, highEnd endStop
	insideLow, insideHigh := minV+offEnds*stepV, maxV-offEnds*stepV
	for _, x := range v {
		if x > insideLow && x < insideHigh {
			lowEnd.run, highEnd.run = 0, 0
			continue
		}
		lowEnd.add((x - minV) / stepV)
		highEnd.add((maxV - x) / stepV)
	}
	return lowEnd.stuck(), highEnd.stuck()
}
