package analysis

import (
	"context"
	"math"
	"testing"
)

// Of noise behind one pole at 40 kHz a record of 5 µs shows a slope and a bend. That
// slope is no periodic part, and all that varies is random: a random part of next to
// nothing is wrong, and so is a periodic one of all there is.
func TestSlowNoiseOfAShortRecord(t *testing.T) {
	const n, rate, pole = 5000, 1e9, 40e3
	for seed := range 12 {
		level, k := 0.0, 1-math.Exp(-2*math.Pi*pole/rate)
		tr := tracedBy(n*(seed+1), rate, 1, func(float64) float64 { return 0 }) // white, of which each seed takes its own stretch
		white := tr.Volts[n*seed:]
		v := make([]float64, n)
		for i := range v {
			level += k * (white[i] - level)
			v[i] = level + 1e-7*white[n-1-i]
		}
		tr.Volts, tr.Span.LowHz = v, 4*rate/n
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		rms := m.ACRMSV.Value
		if p := m.PeriodicRMSV; p.Known && p.Value-p.U > 0.9*rms {
			t.Errorf("stretch %d: a periodic part of %.3g ± %.2g V rms in noise of %.3g", seed, p.Value, p.U, rms)
		}
		if r := m.RandomRMSV; r.Known && !r.LowerBound && r.Value+r.U < 0.1*rms {
			t.Errorf("stretch %d: a random part of %.3g ± %.2g V rms, of noise of %.3g", seed, r.Value, r.U, rms)
		}
	}
}
