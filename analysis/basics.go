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
	columns             []extent  // of even stretches of the record, as it is drawn
	finite              bool
	bad                 int
}

// extent are the least and the greatest value of a stretch.
type extent struct{ min, max float64 }

// sums are running sums of what samples lie off a reference, and of its squares.
type sums struct{ s, q float64 }

// basicsOf goes through the record once, two parts at a time: the sums of one need not
// wait for those of the other. Parts end where columns do.
func basicsOf(volts []float64) basics {
	b := basics{min: math.Inf(1), max: math.Inf(-1), finite: true}
	n := len(volts)
	ref := volts[0]
	b.columns = make([]extent, min(waveformColumns, n))
	parts := min(basicParts, n)
	of := make([]sums, parts)
	column := func(c int) []float64 { return volts[c*n/len(b.columns) : (c+1)*n/len(b.columns)] }
	if len(b.columns)%basicParts == 0 {
		inPart := len(b.columns) / basicParts
		for p := 0; p < basicParts; p += 2 {
			for c := p * inPart; c < (p+1)*inPart; c++ {
				b.columns[c], b.columns[c+inPart] = addTwo(&of[p], &of[p+1], column(c), column(c+inPart), ref)
			}
		}
	} else { // a few samples, each a column
		for p := range parts {
			for c := p * n / parts; c < (p+1)*n/parts; c++ {
				b.columns[c] = of[p].add(column(c), ref)
			}
		}
	}
	for _, e := range b.columns {
		b.min, b.max = min(b.min, e.min), max(b.max, e.max)
	}
	total := 0.0
	for _, p := range of {
		total += p.s
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
		b.parts = append(b.parts, ref+of[p].s/k)
		// mean square about the whole's mean
		ms := max(of[p].q-2*mean*of[p].s+k*mean*mean, 0)
		b.partRMS = append(b.partRMS, math.Sqrt(ms/k))
		sq += ms
	}
	b.rms = math.Sqrt(sq / float64(n))
	return b
}

// add adds a stretch of samples and gives its extent.
func (a *sums) add(v []float64, ref float64) extent {
	e := extent{math.Inf(1), math.Inf(-1)}
	s, q := a.s, a.q
	for _, x := range v {
		if x < e.min {
			e.min = x
		}
		if x > e.max {
			e.max = x
		}
		d := x - ref
		s += d
		q += d * d
	}
	a.s, a.q = s, q
	return e
}

// addTwo is add for two sums and two stretches, whose lengths differ by one sample at
// most.
func addTwo(a, b *sums, v, w []float64, ref float64) (ev, ew extent) {
	n := min(len(v), len(w))
	ev, ew = extent{math.Inf(1), math.Inf(-1)}, extent{math.Inf(1), math.Inf(-1)}
	sa, qa, sb, qb := a.s, a.q, b.s, b.q
	w = w[:len(w):len(w)]
	for i, x := range v[:n] {
		y := w[i]
		if x < ev.min {
			ev.min = x
		}
		if x > ev.max {
			ev.max = x
		}
		if y < ew.min {
			ew.min = y
		}
		if y > ew.max {
			ew.max = y
		}
		d, e := x-ref, y-ref
		sa += d
		sb += e
		qa += d * d
		qb += e * e
	}
	*a, *b = sums{sa, qa}, sums{sb, qb}
	if len(v) > n {
		ev = ev.with(a.add(v[n:], ref))
	}
	if len(w) > n {
		ew = ew.with(b.add(w[n:], ref))
	}
	return ev, ew
}

// with is the extent of both stretches.
func (e extent) with(other extent) extent {
	return extent{min(e.min, other.min), max(e.max, other.max)}
}

// coupling is the instrument's as stated, but DC where AC is stated and the mean lies
// so far from zero, in volts and beside what varies, that the input passed DC.
func (rec *record) coupling() capture.Coupling {
	b := rec.basic
	if rec.tr.Coupling == capture.CouplingAC && rec.tr.Calibrated && rec.tr.Mode == capture.Differential &&
		math.Abs(b.mean) > max(lowestPlainDCV, dcOverPP*(b.max-b.min)) {
		return capture.CouplingDC
	}
	return rec.tr.Coupling
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
	case rec.coupling() == capture.CouplingAC:
		out.dcV = figure.NotMeasured("the capture is AC-coupled; a DC-coupled capture or a meter reading is needed")
	case rec.coupling() != capture.CouplingDC && math.Abs(b.mean) <= lowestPlainDCV:
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
