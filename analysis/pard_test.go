package analysis_test

import (
	"math"
	"slices"
	"testing"

	"stillglow/analysis"
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

// What repeats beside the mean cycle is not random, however well two sums over it
// agree: cycles that alternate under wide noise, and slow noise that the drift takes
// off. White noise alone is given as sharply as ever.
func TestRandomPartOfWhatRepeats(t *testing.T) {
	const n, rate, hz, sigma = 20_000, 250e6, 350e3, 1e-4
	record := func(add func(i int, cycles float64) float64) *capture.Trace {
		x := reference.WhiteNoise(n, sigma, 9)
		for i := range x {
			cycles := float64(i) * hz / rate
			x[i] += 5e-3*math.Cos(2*math.Pi*cycles) + add(i, cycles)
		}
		return &capture.Trace{Volts: x, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
	}
	plain := measured(t, record(func(int, float64) float64 { return 0 }))
	if r := plain.RandomRMSV; !r.Known || r.UpperBound || math.Abs(r.Value-sigma) > r.U || r.U > 0.08*sigma {
		t.Errorf("white noise: %+v", r)
	}
	// a shape of many lines too near each other for the floor to show between them
	shape := reference.WhiteNoise(256, 0.7*sigma, 11)
	pulse := func(_ int, cycles float64) float64 {
		whole := math.Floor(cycles)
		return (1 - 2*math.Mod(whole, 2)) * shape[int((cycles-whole)*256)]
	}
	alternate := measured(t, record(pulse))
	if r := alternate.RandomRMSV; !r.Known || r.Value > sigma+r.U && !r.UpperBound {
		t.Errorf("cycles that alternate: %+v", r)
	}
	differ := func(m *analysis.Measurement) bool {
		return slices.ContainsFunc(m.Cautions, func(c capture.Caution) bool { return c.Code == capture.CautionCyclesDiffer })
	}
	if !alternate.Spikes.PerS.Known || !differ(alternate) {
		t.Errorf("cycles that alternate: spikes %+v, want a number with its caution", alternate.Spikes.PerS)
	}
	if differ(plain) {
		t.Error("equal cycles in white noise are said to differ")
	}
	hump, state := reference.WhiteNoise(n, sigma, 10), 0.0
	walk := make([]float64, n)
	for i, e := range hump { // noise under 12 kHz
		state += 3e-4 * (30*e - state)
		walk[i] = state
	}
	slow := record(func(i int, _ float64) float64 { return 4 * walk[i] })
	power := 0.0
	for _, v := range walk {
		power += 16 * v * v / n
	}
	if r := measured(t, slow).RandomRMSV; !r.Known || r.Value+r.U < 0.9*math.Sqrt(sigma*sigma+power) && !r.LowerBound {
		t.Errorf("slow noise: %+v, in truth %.3g V", r, math.Sqrt(sigma*sigma+power))
	}
}
