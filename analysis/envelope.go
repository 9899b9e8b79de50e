package analysis

import "math"

// The most columns that the whole record and a few switching cycles are drawn
// with; the cycles mostly come to single samples.
const (
	waveformColumns = 4800
	detailColumns   = 4800
)

// envelopeOf draws samples from..to in at most columns columns.
func envelopeOf(volts []float64, from, to, columns int, rateHz float64) Envelope {
	from, to = max(from, 0), min(to, len(volts))
	n := to - from
	if n <= 0 {
		return Envelope{}
	}
	columns = min(columns, n)
	e := Envelope{
		StartS: float64(from) / rateHz,
		StepS:  float64(n) / float64(columns) / rateHz,
		MinV:   make([]float64, columns),
		MaxV:   make([]float64, columns),
	}
	for c := range columns {
		a, b := from+c*n/columns, from+(c+1)*n/columns
		e.MinV[c], e.MaxV[c] = extremes(volts[a:b])
	}
	return e
}

// typicalSpike picks the listed event whose peak is nearest the median's and
// that lies well inside the record.
func typicalSpike(events []Spike, median, marginS, durationS float64) (Spike, bool) {
	best := -1
	for i, s := range events {
		if s.TimeS < marginS || s.TimeS > durationS-marginS {
			continue
		}
		if best < 0 || math.Abs(math.Abs(s.PeakV)-median) < math.Abs(math.Abs(events[best].PeakV)-median) {
			best = i
		}
	}
	if best < 0 {
		return Spike{}, false
	}
	return events[best], true
}
