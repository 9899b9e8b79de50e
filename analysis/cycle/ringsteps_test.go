package cycle

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A ring's steps are its closed form e^(-αt)·(c·cos ωt + s·sin ωt), and its tails that
// of this wrap and the next ones added up.
func TestRingStepsAreTheRing(t *testing.T) {
	r := Ring{Hz: 7.3e6, alpha: 2e6, c: 0.01, s: -0.02}
	const startS, stepS, periodS = 0.4e-6, 3e-9, 2e-6
	one, tails := r.steps(startS, stepS), r.tails(startS, stepS, periodS, 2)
	for k := range 1000 {
		at := startS + float64(k)*stepS
		if got, want := one.next(), r.at(at); math.Abs(got-want) > 1e-14 {
			t.Fatalf("step %d: %g V, want %g", k, got, want)
		}
		if got, want := tails.next(), r.at(at)+r.at(at+periodS)+r.at(at+2*periodS); math.Abs(got-want) > 1e-14 {
			t.Fatalf("tails, step %d: %g V, want %g", k, got, want)
		}
	}
}

// The rings that a joint fit draws from step to step are the exponential's own values,
// whether both joints ring alike, each in its way, or too fast for the series.
func TestJointFitDrawsItsRings(t *testing.T) {
	const bins, periodS = 1024, 10e-6
	r := rand.New(rand.NewPCG(5, 1))
	p := foldPlaces{per: 2}
	for k := 0; k < bins; k += p.per {
		p.x, p.y, p.w = append(p.x, float64(k)+2*r.Float64()), append(p.y, 0), append(p.w, 1)
	}
	for name, rings := range map[string][2][2]float64{
		"alike":    {{2.2e6, 9e5}, {2.2e6, 9e5}},
		"each":     {{2.2e6, 9e5}, {1.7e6, 4e5}},
		"too fast": {{9e6, 9e5}, {9e6, 9e5}},
	} {
		j := jointFit{bins: bins, periodS: periodS, on: [2]float64{100, 700}, mask: 20}
		for e, ring := range rings {
			j.hz[e], j.alpha[e] = ring[0], ring[1]
		}
		var rows jointRows
		rows.pick(&j, p)
		rows.draw(&j)
		if len(rows.places) < bins/p.per/2 {
			t.Fatalf("%s: %d places", name, len(rows.places))
		}
		for i, q := range rows.places {
			for e := range 2 {
				c, s := j.ringTerms(e, p.x[q.number])
				if got := rows.rings[i]; math.Hypot(got[2*e]-c, got[2*e+1]-s) > 1e-11 {
					t.Fatalf("%s: place %d, joint %d: %g, %g, want %g, %g", name, i, e, got[2*e], got[2*e+1], c, s)
				}
			}
		}
	}
}
