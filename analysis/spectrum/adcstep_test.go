package spectrum

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"stillglow/analysis/internal/reference"
)

func quantise(x []float64, step float64) []float64 {
	q := make([]float64, len(x))
	for i, v := range x {
		q[i] = math.Round(v/step) * step
	}
	return q
}

// rounded is what comes back from a file that prints so many digits.
func rounded(x []float64, digits int) []float64 {
	r := make([]float64, len(x))
	for i, v := range x {
		r[i], _ = strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	}
	return r
}

func TestADCStep(t *testing.T) {
	const n = 20000
	sine := make([]float64, n)
	for i := range sine {
		sine[i] = 7 + 0.03*math.Sin(2*math.Pi*float64(i)/777.7)
	}
	noise := reference.WhiteNoise(n, 0.002, 4)
	for i := range sine {
		noise[i] += sine[i]
	}
	const step = 0.08 / 256
	for _, c := range []struct {
		name string
		v    []float64
		want float64
		tol  float64
	}{
		{"full precision", quantise(noise, step), step, 1e-6},
		{"six digits", rounded(quantise(noise, step), 6), step, 1e-3},
		{"five digits of 7 V", rounded(quantise(noise, step), 5), step, 0.01},
		{"12 bit", quantise(noise, 0.08/4096), 0.08 / 4096, 1e-3},
		{"printing coarser than the converter", rounded(quantise(noise, 0.00003), 5), 0.0001, 1e-3},
		{"nearly quiet", quantise(reference.WhiteNoise(n, 0.4*step, 3), step), step, 1e-6},
	} {
		got, ok := ADCStep(c.v)
		if !ok || math.Abs(got/c.want-1) > c.tol {
			t.Errorf("%s: step %g, %v; want %g", c.name, got, ok, c.want)
		}
	}
	if got, ok := ADCStep(noise); ok {
		t.Errorf("unquantised samples: step %g", got)
	}
	for n := range 200 {
		ADCStep(sine[:n])
		clippedEnds(sine[:n], step)
	}
}

// The noise of an ideal converter is step/sqrt(12), evenly up to half the rate,
// so a full-scale sine of N bits stands 6.02 N + 1.76 dB above it (IEEE Std
// 1241, from memory; exactly 20 log(2^N sqrt 1.5)).
func TestQuantisationDensity(t *testing.T) {
	for bits, want := range map[int]float64{8: 49.9257, 10: 61.9669, 12: 74.0081, 14: 86.0493, 16: 98.0905} {
		step := 2 / math.Exp2(float64(bits))
		noise := QuantisationDensity(step, 48000) * math.Sqrt(24000)
		got := 20 * math.Log10(1/math.Sqrt2/noise)
		if math.Abs(got-want) > 1e-3 {
			t.Errorf("%d bit: %.4f dB, want %.4f", bits, got, want)
		}
	}
	// step/sqrt12 of 1 V in 8 bit: 1.127637 mV
	if got := QuantisationDensity(1.0/256, 2); math.Abs(got-1.127637e-3) > 1e-9 {
		t.Errorf("1 V in 8 bit: %.7g V", got)
	}
}

// Whether values are few enough for the table or not, they come out as sorting and
// dropping equal ones gives them.
func TestAscendingIsWhatSortingGives(t *testing.T) {
	x := reference.WhiteNoise(40000, 1, 7)
	few := quantise(x, 0.01)
	few[3], few[5] = 0, math.Copysign(0, -1)
	codes := make([]float64, 40000)
	for i := range codes { // half the table and one more
		codes[i] = float64(i * 7919 % (1<<levelTableBits/2 + 1))
	}
	for name, v := range map[string][]float64{"few": few, "half the table": codes[:1<<levelTableBits/2], "one more": codes, "none alike": x, "none": nil} {
		want := slices.Clone(v)
		slices.Sort(want)
		got := slices.Compact(ascending([][]float64{v[:len(v)/3], v[len(v)/3:]}))
		if want = slices.Compact(want); !slices.Equal(got, want) {
			t.Errorf("%s: %d values, want %d", name, len(got), len(want))
		}
		if _, ok := differing([][]float64{v}); ok != (len(want) <= 1<<levelTableBits/2) {
			t.Errorf("%s: %d values in the table: %v", name, len(want), ok)
		}
	}
}
