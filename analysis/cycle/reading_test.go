package cycle

import (
	"math"
	"slices"
	"testing"
)

// bentCycle is a cycle of two parabolas of 1 V peak-to-peak, as a capacitor's
// ripple is, with a pulse of three volts over a hundredth of it, and its exact
// smooth part.
func bentCycle(bins int) (mean, smooth []float64) {
	mean, smooth = make([]float64, bins), make([]float64, bins)
	for i := range mean {
		p := (float64(i) + 0.5) / float64(bins)
		x := math.Mod(2*p, 1)
		smooth[i] = 2 * x * (1 - x)
		if p > 0.5 {
			smooth[i] = -smooth[i]
		}
		mean[i] = smooth[i]
		if p < 0.01 {
			mean[i] += 3
		}
	}
	return mean, smooth
}

// TestFitHeldAgainstMedians: a fit that has drawn its parts on too far gives way
// to the reading by medians, with a ± that holds both; one that is right stays as
// it is, and as sharp.
func TestFitHeldAgainstMedians(t *testing.T) {
	mean, smooth := bentCycle(1024)
	f := &Fold{Bins: 1024, Mean: mean}
	for _, c := range []struct {
		fitV         float64
		lowV, highV  float64 // what may be given
		leastU, most float64 // of the ±, volts
	}{
		{fitV: 1.3, lowV: 0.96, highV: 1.01, leastU: 0.25, most: 0.40},
		{fitV: 1.0, lowV: 1.0, highV: 1.0, leastU: 0, most: 0.02},
		{fitV: 0.7, lowV: 0.7, highV: 0.7, leastU: 0.3, most: 0.46}, // medians cut the corners: the truth may lie over them
	} {
		m := &Model{Bins: 1024, PeriodS: 1e-5, Smooth: smooth, PPV: c.fitV, RMSV: 0.37}
		m.readAgain(f)
		u := 2 * m.PPDoubtV
		if m.PPV < c.lowV || m.PPV > c.highV {
			t.Errorf("a fit of %g V to a ripple of 1 V: given %.3f V", c.fitV, m.PPV)
		}
		if u < c.leastU || u > c.most {
			t.Errorf("a fit of %g V to a ripple of 1 V: ± %.3f V, want %g to %g", c.fitV, u, c.leastU, c.most)
		}
		if 2*m.RMSDoubtV > 0.3*u+1e-12 {
			t.Errorf("a fit of %g V: the rms is doubted by %.3f V", c.fitV, 2*m.RMSDoubtV)
		}
	}
}

// Parts drawn on across a transient can hold more than the whole cycle does: the rms is
// the cycle's then, and the difference is in its doubt.
func TestRippleRMSWithinTheCycle(t *testing.T) {
	mean, smooth := bentCycle(1024)
	whole := centred(slices.Clone(mean))
	m := &Model{Bins: 1024, PeriodS: 1e-5, Smooth: smooth, PPV: 1, RMSV: 1.4 * whole}
	m.readAgain(&Fold{Bins: 1024, Mean: mean})
	if m.RMSV > whole || 2*m.RMSDoubtV < 0.39*whole {
		t.Errorf("%.3f ± %.3f V of a cycle of %.3f V rms", m.RMSV, 2*m.RMSDoubtV, whole)
	}
}

// Medians are no witness of what lies under a transient that outlasts them: all that
// fit and fold differ by is in the doubt then, in the rms too.
func TestTransientsThatOutlastTheMedians(t *testing.T) {
	mean, smooth := bentCycle(1024)
	for i := range 1024 / 8 { // a ring that takes an eighth of the cycle
		mean[i] += 1.5 * math.Cos(2*math.Pi*float64(i)/50) * math.Exp(-float64(i)/60)
	}
	tall := slices.Clone(smooth)
	for i := range tall {
		tall[i] *= 1.5
	}
	curves := map[float64][]float64{1: smooth, 1.2: tall}
	doubt := func(gate int, fitV float64) (pp, rms float64) {
		m := &Model{Bins: 1024, PeriodS: 1e-5, Smooth: curves[fitV], PPV: fitV, RMSV: 0.3, Edges: []Edge{{gate: gate}, {gate: 5}}}
		m.readAgain(&Fold{Bins: 1024, Mean: mean})
		return m.PPDoubtV, m.RMSDoubtV
	}
	for fitV := range curves {
		shortPP, shortRMS := doubt(10, fitV)
		longPP, longRMS := doubt(128, fitV)
		if longPP <= shortPP || longRMS <= 1.5*shortRMS {
			t.Errorf("a fit of %g V: ± %.3f V and rms %.4f V where the ring outlasts the medians, %.3f and %.4f V where not", fitV, longPP, longRMS, shortPP, shortRMS)
		}
	}
}
