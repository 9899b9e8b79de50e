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
	parts := min(8, n)
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

func (j *job) basicFigures() {
	m, b, tr := j.m, j.basic, j.tr
	switch tr.Coupling {
	case capture.CouplingDC:
		m.DCV = figure.Known(b.mean)
	case capture.CouplingAC:
		m.DCV = figure.NotMeasured("the capture is AC-coupled; a DC-coupled capture or a meter reading is needed")
	default:
		// an AC-coupled input has no volts of offset
		if math.Abs(b.mean) > 0.5 {
			m.DCV = figure.Known(b.mean)
		} else {
			m.DCV = figure.NotMeasured("the coupling is not known; a DC-coupled capture or a meter reading is needed")
		}
	}
	m.ACRMSV = figure.Known(b.rms)
	m.PPV = figure.Known(b.max - b.min)
	if b.rms > 0 {
		m.CrestPk = figure.Known(max(b.max-b.mean, b.mean-b.min) / b.rms)
	} else {
		m.CrestPk = figure.NotMeasured("the trace is constant; nothing varies")
	}
	if j.stepV > 0 {
		m.ADCStepV = figure.Known(j.stepV)
		m.QuantNoiseVPerRtHz = figure.Known(spectrum.QuantisationDensity(j.stepV, tr.SampleRateHz))
	} else {
		m.ADCStepV = figure.NotMeasured("the samples do not lie on a converter's steps")
		m.QuantNoiseVPerRtHz = figure.NotMeasured("the converter's step is not known")
	}
	m.PPOverS = m.DurationS
}
