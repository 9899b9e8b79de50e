package target

import (
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// The mask's third octave holds the unit's lines and not the instrument's share
// of them. By hand: 1 µV/√Hz over the third octave at 1 kHz (891.3 to 1122 Hz) is
// 15.2 µV rms; a line of 100 µV rms in it makes 101.1 µV.
func TestMaskLeavesTheInstrumentsLinesOut(t *testing.T) {
	m := &analysis.Measurement{Calibrated: true, Span: capture.Span{LowHz: 1, HighHz: 1e5}}
	lo, hi := 1000*math.Pow(10, -0.05), 1000*math.Pow(10, 0.05)
	const floor, width = 1e-6, 5.0
	for hz := 100.0; hz < 10e3; hz++ {
		v := floor
		if math.Abs(hz-1000) < width/2 {
			v = math.Sqrt(floor*floor + 100e-6*100e-6/width)
		}
		m.Spectrum.FrequencyHz = append(m.Spectrum.FrequencyHz, hz)
		m.Spectrum.VPerRtHz = append(m.Spectrum.VPerRtHz, v)
	}
	rms := func() float64 {
		v, ok := ungated(m, 1000, false)
		if !ok {
			t.Fatal("not covered")
		}
		return v * math.Sqrt(hi-lo)
	}
	noise := floor * math.Sqrt(hi-lo)
	near := func(what string, want float64) {
		if got := rms(); math.Abs(got/want-1) > 0.02 {
			t.Errorf("%s: %.4g V rms, want %.4g", what, got, want)
		}
	}
	near("a line of the unit", math.Hypot(noise, 100e-6))
	m.Lines = []spectrum.Line{{FrequencyHz: 1000, RMSV: 80e-6, InstrumentRMSV: 60e-6}}
	near("shared with the instrument", math.Hypot(noise, 80e-6))
	m.Lines = []spectrum.Line{{FrequencyHz: 1000, RMSV: 100e-6, InstrumentRMSV: 100e-6, Comb: "instrument"}}
	if got := rms(); math.Abs(got/noise-1) > 0.1 {
		t.Errorf("the instrument's own: %.4g V rms, want %.4g", got, noise)
	}
}

// A mains line that the baseline shows as well fails no unit by itself, and
// passes none that it lies over.
func TestHumOfTheInstrumentIsRetaken(t *testing.T) {
	c, _ := lookup(MainsLine)
	m := &analysis.Measurement{}
	if down, up := marginShift(capture.CautionInstrumentMains, c, m, figure.Known(1e-3)); down != 0 || up != unboundedDB {
		t.Errorf("the margin may fall by %g and rise by %g dB", down, up)
	}
	c, _ = lookup(SpikePeak)
	if down, up := marginShift(capture.CautionInstrumentMains, c, m, figure.Known(1e-3)); down != 0 || up != 0 {
		t.Errorf("spikes are doubted by %g and %g dB", down, up)
	}
	c, _ = lookup(BandRF1)
	if down, up := marginShift(capture.CautionBaselineUnlike, c, m, figure.Known(1e-3)); down != 0 || up <= 0 {
		t.Errorf("a band with lines that could not be compared: %g and %g dB", down, up)
	}
}
