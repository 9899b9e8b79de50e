package spectrum

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture/synth/testrun"
)

// wandering is 2 x mains of so many volts rms whose frequency walks about 50 Hz by
// some hundredths of a hertz, as grids do (common practice, no source), in noise.
func wandering(seconds, rate, rmsV, stepHz float64) Samples {
	r := rand.New(rand.NewPCG(7, 11))
	x := make(Samples, int(seconds*rate))
	phase, hz := 0.3, 50.0
	for i := range x {
		if i%int(rate) == 0 { // pulled back towards 50 Hz
			hz += stepHz*r.NormFloat64() - 0.02*(hz-50)
		}
		phase += 2 * math.Pi * 2 * hz / rate
		x[i] = math.Sqrt2*rmsV*math.Cos(phase) + 2e-4*r.NormFloat64()
	}
	return x
}

// One sine over a long record sums to a fraction of a line whose phase runs away
// from it: by hand, 485 µV rms stay 485 µV however the frequency walked.
func TestMainsThatWander(t *testing.T) {
	const rate, rms = 2e3, 485e-6
	for _, c := range []struct {
		seconds, stepHz float64
		wanders         bool
	}{{482, 0.005, true}, {240, 0.008, true}, {120, 0, false}, {8, 0.005, false}} {
		x := wandering(c.seconds, rate, rms, c.stepHz)
		m, lines := linesOf(t, x, rate)
		r := MeasureMains(x, m, lines, 0, 0)
		if !r.Decided || math.Abs(r.MainsHz.Value-50) > 0.2 {
			t.Errorf("%g s: mains %+v, decided %t", c.seconds, r.MainsHz, r.Decided)
		}
		if e := r.LineRMS.Value/rms - 1; math.Abs(e) > 0.04 || math.Abs(r.LineRMS.Value-rms) > 2*r.LineRMS.U+0.02*rms {
			t.Errorf("%g s: %.4g ± %.2g V, want %.4g (%.1f %%)", c.seconds, r.LineRMS.Value, r.LineRMS.U, rms, 100*e)
		}
		if r.LineRMS.U > 0.1*rms {
			t.Errorf("%g s: ± %.2g V of %.4g is vague", c.seconds, r.LineRMS.U, rms)
		}
		if r.Wanders != c.wanders {
			t.Errorf("%g s: wanders %t, want %t", c.seconds, r.Wanders, c.wanders)
		}
	}
}

// Tones near some high harmonic of 50 or 60 Hz, alone or with harmonics of their
// own, are no mains; 2 x mains under them still is.
func TestATestToneIsNoMains(t *testing.T) {
	const rate, n = 48e3, 1 << 18
	for _, hz := range []float64{1011, 1000, 400, 997, 840}[:testrun.Short(5, 2)] {
		for _, mains := range []float64{0, 60} {
			tones := [][3]float64{{hz, 0.766, 0}, {2 * hz, 1e-3, 1}, {3 * hz, 2e-3, 2}}
			if mains > 0 {
				tones = append(tones, [3]float64{2 * mains, 3e-4, 1})
			}
			x := Samples(reference.Tones(n, rate, tones...))
			for i, e := range reference.WhiteNoise(n, 1e-5, 5) {
				x[i] += e
			}
			m, lines := linesOf(t, x, rate)
			r := MeasureMains(x, m, lines, 0, 0)
			switch {
			case mains == 0 && r.Decided:
				t.Errorf("%g Hz: mains of %g Hz, line %+v", hz, r.MainsHz.Value, r.LineRMS)
			case mains > 0 && (!r.Decided || math.Abs(r.MainsHz.Value-mains) > 0.1 || math.Abs(r.LineRMS.Value/3e-4-1) > 0.03):
				t.Errorf("%g Hz over mains: %+v, line %+v, decided %t", hz, r.MainsHz, r.LineRMS, r.Decided)
			}
		}
	}
}

// TestFrameTonesAreNoMains: the frames of a sound card make tones at 1 kHz and its
// multiples (USB 2.0, 5.12.4: a frame a millisecond), which lie on the 20th and 40th
// harmonic of 50 Hz. The mains' own line tells its frequency, not they.
func TestFrameTonesAreNoMains(t *testing.T) {
	const rate, seconds, mainsHz, rmsV = 48e3, 2.0, 50.1, 1e-4
	r := rand.New(rand.NewPCG(3, 9))
	x := make(Samples, int(seconds*rate))
	for i := range x {
		at := 2 * math.Pi * float64(i) / rate
		x[i] = math.Sqrt2*rmsV*math.Cos(2*mainsHz*at) + 1e-6*r.NormFloat64()
		for k := 1; k < 20; k++ {
			x[i] += 2e-5 / float64(k) * math.Cos(1000.02*float64(k)*at+float64(k))
		}
	}
	m, err := Of(t.Context(), x, rate, Options{})
	if err != nil {
		t.Fatal(err)
	}
	lines, err := FindLines(t.Context(), x, rate, m, LineOptions{})
	if err != nil {
		t.Fatal(err)
	}
	mains := MeasureMains(x, m, lines, 0, 0)
	if f := mains.LineRMS; !f.Known || math.Abs(f.Value/rmsV-1) > 0.02 {
		t.Errorf("the line is %+v, want %g", f, rmsV)
	}
	if f := mains.MainsHz; !f.Known || math.Abs(f.Value-mainsHz) > f.U {
		t.Errorf("the mains is %+v, want %g Hz", f, mainsHz)
	}
}

// Projections against the sums as they are written, for any number of lines and blocks
// that don't fit the work space.
func TestTaperedProjections(t *testing.T) {
	x := reference.WhiteNoise(5000, 1, 5)
	for i := range x {
		x[i] += 3
	}
	const from, length = 17, 4321
	cycles := []float64{0.01, 0.0123, 0.2, 0.49, 1.0 / length, 3.0 / length, 0.3}
	got := tapered(Samples(x), make([]float64, 1000), from, length, cycles)
	one, mean := 0.0, 0.0
	taper := func(i int) float64 { return 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/length) }
	for i, v := range x[from : from+length] {
		one += taper(i)
		mean += taper(i) * v
	}
	mean /= one
	for k, a := range cycles {
		var want complex128
		for i, v := range x[from : from+length] {
			want += cmplx.Rect(taper(i)*(v-mean)*math.Sqrt2/one, -2*math.Pi*a*float64(i))
		}
		if cmplx.Abs(got[k]-want) > 1e-11 {
			t.Errorf("%g cycles a sample: %v, want %v", a, got[k], want)
		}
	}
}

// The noise beside a line is told by six places alone, which may be quiet by chance:
// twice of it would hold the line in 94 of 100 records.
func TestMainsLineInNoise(t *testing.T) {
	const rate, n, rms, draws = 2e3, 2000, 100e-6, 400
	r := rand.New(rand.NewPCG(3, 5))
	held, wide := 0, 0.0
	for range draws {
		x := make(Samples, n)
		phase := 2 * math.Pi * r.Float64()
		for i := range x {
			x[i] = math.Sqrt2*rms*math.Cos(2*math.Pi*100*float64(i)/rate+phase) + 0.4e-3*r.NormFloat64()
		}
		m, lines := linesOf(t, x, rate)
		f := MeasureMains(x, m, lines, 50, 0).LineRMS
		if math.Abs(f.Value-rms) <= f.U {
			held++
		}
		wide += f.U / rms / draws
	}
	if held < draws*96/100 || wide > 0.4 {
		t.Errorf("held %d of %d, ± %.0f %% on the mean", held, draws, 100*wide)
	}
}
