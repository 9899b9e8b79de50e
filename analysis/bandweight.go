package analysis

import (
	"math"

	"stillglow/analysis/spectrum"
)

// doubtWindows widens the ± of band sums of a record that holds few periods of the
// band's lower end: there the tapers of a few segments weigh the record's middle more
// than its ends, and a sum over them is the record's own only where its power lies
// evenly. The record's fast changes, weighed both ways, tell by how much it does not.
func doubtWindows(rec *record, bands []spectrum.Band) {
	tr := rec.tr
	for i := range bands {
		b := &bands[i]
		if !b.RMSV.Known || b.LowHz*tr.DurationS() > fewPeriods || b.Weight() != nil && b.ID != "audio_a" {
			continue
		}
		lag := max(int(tr.SampleRateHz/(2*math.Sqrt(b.LowHz*b.HighHz))), 1)
		plain := b.RMSV.Value / math.Sqrt(max(windowShare(tr.Volts, lag), leastShare))
		b.RMSV.U = math.Hypot(b.RMSV.U, windowDoubt*math.Abs(plain-b.RMSV.Value))
	}
}

// windowShare is the mean square of the record's changes over lag samples, weighed as
// three Hann tapers that overlap by half weigh them, as a share of their plain one.
func windowShare(volts []float64, lag int) float64 {
	n := len(volts) - lag
	if n < windowParts {
		return 1
	}
	step := max(n/windowSamples, 1)
	var plain, weighed, weights float64
	for p := range windowParts {
		from, to := p*n/windowParts, (p+1)*n/windowParts
		sum, count := 0.0, 0.0
		for i := from; i < to; i += step {
			d := volts[i+lag] - volts[i]
			sum += d * d
			count++
		}
		at := (float64(p) + 0.5) / windowParts
		w := 0.0
		for k := range 3 {
			if x := 2*(at-windowFrom)/(windowTo-windowFrom) - float64(k)/2; x > 0 && x < 1 {
				s := math.Sin(math.Pi * x)
				w += s * s * s * s
			}
		}
		plain += sum / count / windowParts
		weighed += w * sum / count
		weights += w
	}
	if !(plain > 0) {
		return 1
	}
	return weighed / weights / plain
}
