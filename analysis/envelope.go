package analysis

import (
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spike"
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
		e.MinV[c], e.MaxV[c] = cycle.Extremes(volts[a:b])
	}
	return e
}

// envelope draws the whole record.
func (r *record) envelope() Envelope {
	columns := r.basic.columns
	e := Envelope{
		StepS: float64(len(r.tr.Volts)) / float64(len(columns)) / r.tr.SampleRateHz,
		MinV:  make([]float64, len(columns)),
		MaxV:  make([]float64, len(columns)),
	}
	for c, x := range columns {
		e.MinV[c], e.MaxV[c] = x.min, x.max
	}
	return e
}

// typicalSpike picks the listed event whose peak is nearest the median's and
// that lies well inside the record.
func typicalSpike(events []spike.Event, median, marginS, durationS float64) (spike.Event, bool) {
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
		return spike.Event{}, false
	}
	return events[best], true
}

// detail are the enlarged drawings.
type detail struct {
	cycles Envelope // a few switching cycles around a typical spike
	spike  Envelope // the median spike; empty where none stands out
}

// drawDetail draws a few cycles, around the median spike where there is one.
func drawDetail(rec *record, sw switching, s SpikeSummary) detail {
	var out detail
	volts, rate, duration := rec.tr.Volts, rec.tr.SampleRateHz, rec.tr.DurationS()
	centre := float64(len(volts)) / 2 / rate
	cycleS := sw.periodS()
	if cycleS == 0 {
		cycleS = duration / 40
	}
	if s.PeakMedianV.Known {
		if e, ok := typicalSpike(s.List, s.PeakMedianV.Value, 2*cycleS, duration); ok {
			centre = e.TimeS
			width := 6 * max(e.DurationS, 1/rate)
			if e.RingHz > 0 {
				width = max(width, ringShown*e.RingQ/e.RingHz)
			}
			width = min(width, cycleS)
			a := int((e.TimeS - width/4) * rate)
			b := int((e.TimeS+width)*rate) + 2
			out.spike = envelopeOf(volts, a, b, spikeColumns, rate)
		}
	}
	a := int((centre - 2*cycleS) * rate)
	b := int((centre+2*cycleS)*rate) + 2
	out.cycles = envelopeOf(volts, a, b, detailColumns, rate)
	return out
}
