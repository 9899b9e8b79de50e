package analysis

import (
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// basics are the figures of one pass.
type basics struct {
	mean, rms, min, max float64
	parts               []float64 // means of 8 equal parts
	partRMS             []float64 // rms about the whole's mean
	finite              bool
	bad                 int
}

func basicsOf(volts []float64) basics {
	b := basics{min: math.Inf(1), max: math.Inf(-1), finite: true}
	n := len(volts)
	ref := volts[0]
	parts := min(basicParts, n)
	sums := make([]float64, parts)
	squares := make([]float64, parts)
	total := 0.0
	for p := range parts {
		lo, hi := p*n/parts, (p+1)*n/parts
		var s, q float64
		for _, v := range volts[lo:hi] {
			if v < b.min {
				b.min = v
			}
			if v > b.max {
				b.max = v
			}
			d := v - ref
			s += d
			q += d * d
		}
		sums[p], squares[p] = s, q
		total += s
	}
	if math.IsNaN(total) || math.IsInf(total, 0) || math.IsInf(b.min, 0) || math.IsInf(b.max, 0) {
		b.finite = false
		for i, v := range volts {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				b.bad = i
				break
			}
		}
		return b
	}
	mean := total / float64(n)
	b.mean = ref + mean
	sq := 0.0
	for p := range parts {
		lo, hi := p*n/parts, (p+1)*n/parts
		k := float64(hi - lo)
		b.parts = append(b.parts, ref+sums[p]/k)
		// mean square about the whole's mean
		ms := max(squares[p]-2*mean*sums[p]+k*mean*mean, 0)
		b.partRMS = append(b.partRMS, math.Sqrt(ms/k))
		sq += ms
	}
	b.rms = math.Sqrt(sq / float64(n))
	return b
}

// levels are the figures of one pass and of the converter's step.
type levels struct {
	dcV, acRMSV, ppV, adcStepV, quantNoise figure.Figure
}

// levelFigures states mean, rms and extremes; the uncertainties are those of the
// record's parts, the converter's step and the gain. clipped is how many samples
// lie at the converter's end stops.
func levelFigures(rec *record, clipped int) levels {
	var out levels
	b, tr, gain, step := rec.basic, rec.tr, rec.setup.GainFraction, rec.stepSigma()
	switch {
	case tr.Mode == capture.Common:
		out.dcV = figure.NotMeasured("a common-mode capture shows no DC of the output; a meter reading is needed")
	case tr.Coupling == capture.CouplingAC:
		out.dcV = figure.NotMeasured("the capture is AC-coupled; a DC-coupled capture or a meter reading is needed")
	case tr.Coupling != capture.CouplingDC && math.Abs(b.mean) <= lowestPlainDCV:
		out.dcV = figure.NotMeasured("the coupling is not known; a DC-coupled capture or a meter reading is needed")
	default: // an AC-coupled input has no volts of offset
		out.dcV = figure.Stated(b.mean, gain, meanDeviation(b.parts), step)
		if rec.flat() { // rounded to a step
			out.dcV.U = math.Hypot(out.dcV.U, rec.flatStepV()/math.Sqrt(3))
		}
	}
	out.acRMSV = figure.Stated(b.rms, gain, meanDeviation(b.partRMS))
	out.acRMSV.U = math.Hypot(out.acRMSV.U, knotsDoubt*rec.knots)
	out.ppV = figure.Stated(b.max-b.min, gain, math.Sqrt2*step)
	out.ppV.LowerBound = clipped > 0
	if rec.stepV > 0 {
		out.adcStepV = figure.Known(rec.stepV)
		out.quantNoise = figure.Known(spectrum.QuantisationDensity(rec.stepV, tr.SampleRateHz))
	} else {
		out.adcStepV = figure.NotMeasured("the samples do not lie on ADC steps")
		out.quantNoise = figure.NotMeasured("the ADC step is not known")
	}
	return out
}
