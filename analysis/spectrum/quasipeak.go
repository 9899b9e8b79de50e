package spectrum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// MeasureQuasiPeak is the reading of a noise meter after ITU-R BS.468-4:
// weighting network, full-wave rectifier and quasi-peak detector, calibrated to
// show the rms of a steady 1 kHz sine, in V. It needs half a second of record
// and a span up to 15 kHz. The first and last 10 ms are faded.
func MeasureQuasiPeak(src Source, m Multirate, span capture.Span, gainFraction float64) Band {
	b := Band{ID: "bs468_qp", Name: "ITU-R BS.468-4 quasi-peak", LowHz: 31.5, HighHz: quasiPeakTopHz}
	b.RMSNoLinesV = figure.NotMeasured("a quasi-peak reading has no part without lines")
	duration := float64(m.Samples) / m.RateHz
	switch {
	case duration < quasiPeakS:
		b.RMSV = figure.NotMeasured("the record lasts " + seconds(duration) + "; a quasi-peak reading needs 500 ms or more")
		return b
	case span.HighHz < quasiPeakHz:
		b.RMSV = figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; a quasi-peak reading needs 15 kHz", hertz(span.HighHz)))
		return b
	}
	rec, rate, _ := m.lowestRecord(src, quasiPeakTopHz)
	n := SmoothLen(min(rec.Len(), maxQuasiSamples))
	x := make([]float64, n)
	rec.Fill(x, 0)
	weighted468(x, rate)
	b.RMSV = figure.Stated(newQuasiPeakMeter(rate).read(x), gainFraction)
	return b
}

// weighted468 passes x through the weighting network of BS.468-4 in place,
// amplitude and phase: the rational form of weight468 in the complex plane.
func weighted468(x []float64, rateHz float64) {
	n := len(x)
	mean := weightedMean(x, nil)
	fade := min(int(quasiPeakFadeS*rateHz), n/quasiFadePart)
	for i := range x {
		x[i] -= mean
		if edge := min(i, n-1-i); edge < fade {
			x[i] *= 0.5 - 0.5*math.Cos(math.Pi*float64(edge)/float64(fade))
		}
	}
	fft := fourier.NewFFT(n)
	c := fft.Coefficients(nil, x)
	for k := range c {
		f := float64(k) * rateHz / float64(n)
		c[k] *= response468(f) / complex(float64(n), 0)
	}
	fft.Sequence(x, c)
}

// quasiPeakMeter is the detector: two stages in tandem, each a capacitor charged
// through a rectifier and bled all the time. The time constants are fitted to
// the recommendation's tables for tone bursts of 5 kHz (table values from
// memory), which the tests hold it to.
type quasiPeakMeter struct {
	rate, gain float64
}

const (
	quasiCharge1S, quasiBleed1S = 1.48326e-3, 0.286990
	quasiCharge2S, quasiBleed2S = 0.717963, 0.172975
)

func newQuasiPeakMeter(rateHz float64) quasiPeakMeter {
	m := quasiPeakMeter{rate: rateHz, gain: 1}
	// a second of a sine of 1 V rms at 1 kHz, which the network passes at unity
	tone := make([]float64, int(rateHz))
	for i := range tone {
		tone[i] = math.Sqrt2 * math.Sin(2*math.Pi*1000*float64(i)/rateHz)
	}
	if r := m.read(tone); r > 0 {
		m.gain = 1 / r
	}
	return m
}

// read is the highest deflection over the record.
func (m quasiPeakMeter) read(x []float64) float64 {
	dt := 1 / m.rate
	var v1, v2, most float64
	for _, u := range x {
		u = math.Abs(u)
		d1, d2 := -v1/quasiBleed1S, -v2/quasiBleed2S
		if u > v1 {
			d1 += (u - v1) / quasiCharge1S
		}
		v1 += d1 * dt
		if v1 > v2 {
			d2 += (v1 - v2) / quasiCharge2S
		}
		v2 += d2 * dt
		most = max(most, v2)
	}
	return m.gain * most
}
