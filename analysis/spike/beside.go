package spike

import (
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/capture"
)

// Beside is what stands out of the record's own level beside it, medians over 1 µs,
// with no cycle known: a second reading of the spikes that shares no model of the
// ripple with the first. The ripple's corners raise its threshold, so that it may see
// fewer spikes, and a step at an edge counts in their peaks.
type Beside struct {
	Count      int       // events
	DurationS  float64   // of the stretch that was read
	SigmaV     float64   // noise about the level
	ThresholdV float64   // 0: nothing was read
	P95V, MaxV float64   // absolute peaks, the noise that lifts them in them
	PeaksV     []float64 // of all of them, V, ascending
}

// Tells reports whether enough peaks stand clear enough of the threshold that they
// are spikes and not the noise's own.
func (b Beside) Tells() bool {
	return b.clear(besideClear)
}

// Hints reports whether peaks top the threshold by more than the noise would, if not by
// enough to size them.
func (b Beside) Hints() bool {
	return b.clear(besideHints)
}

func (b Beside) clear(times float64) bool { return b.Several() && b.P95V > times*b.ThresholdV }

// Several reports whether so many were seen that they are no chance peaks of noise.
func (b Beside) Several() bool { return b.Count >= besideLeast }

// readBeside reads the record, or of a very long one a stretch from its middle.
func readBeside(volts []float64, rateHz, stepV float64) Beside {
	if rateHz < leastBesideHz {
		return Beside{}
	}
	if n := len(volts); n > mostBeside {
		volts = volts[(n-mostBeside)/2 : (n+mostBeside)/2]
	}
	r := cycle.Residue{Volts: volts, RateHz: rateHz, Slow: localLevels(volts, rateHz)}
	found := findIn(&r, nil, rateHz, stepV, cornerV(r.Slow))
	out := Beside{Count: found.Count, DurationS: float64(len(volts)) / rateHz, SigmaV: found.SigmaV, ThresholdV: found.ThresholdV, PeaksV: found.PeaksV}
	if out.Count > 0 {
		slices.Sort(out.PeaksV)
		out.P95V, out.MaxV = capture.Quantile(out.PeaksV, 0.95), out.PeaksV[out.Count-1]
	}
	return out
}
