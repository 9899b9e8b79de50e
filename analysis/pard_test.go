package analysis_test

import (
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// The random part of records whose noise is known by how they were made: given
// sharply where a cycle is found, at most where lines are left that no cycle
// takes off, and not at all where slow noise and a piece of the mains look alike.
func TestRandomPartSaysWhatItIsWorth(t *testing.T) {
	const n, rate, sigma = 200_000, 20e6, 1e-3
	record := func(hz ...float64) *capture.Trace {
		var tones [][3]float64
		for i, f := range hz {
			for h := 1.0; h <= 3; h++ {
				tones = append(tones, [3]float64{f * h, 4e-3 / h / h / float64(i+1), float64(i)})
			}
		}
		x := reference.Tones(n, rate, tones...)
		for i, e := range reference.WhiteNoise(n, sigma, 9) {
			x[i] += e
		}
		return &capture.Trace{Volts: x, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
	}
	if r := measured(t, record(151e3)).RandomRMSV; !r.Known || r.UpperBound || math.Abs(r.Value-sigma) > r.U || r.U > 0.08*sigma {
		t.Errorf("one converter: %+v", r)
	}
	if r := measured(t, record(151e3, 173.3e3)).RandomRMSV; !r.Known || r.Value < 0.9*sigma || !r.UpperBound && math.Abs(r.Value-sigma) > r.U {
		t.Errorf("two unlocked converters: %+v", r)
	}
	slow := record()
	for i := range slow.Volts {
		slow.Volts[i] += 5e-3 * math.Sin(2*math.Pi*80*float64(i)/rate)
	}
	if m := measured(t, slow); m.RandomRMSV.Known || m.RandomRMSV.Missing == "" || m.PeriodicRMSV.Known {
		t.Errorf("slow drift and nothing else: random %+v, periodic %+v", m.RandomRMSV, m.PeriodicRMSV)
	}
}
