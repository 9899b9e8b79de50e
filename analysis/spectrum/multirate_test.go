package spectrum

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"testing"

	"github.com/mjibson/go-dsp/spectral"

	"stillglow/analysis/internal/reference"
	"stillglow/capture/synth/testrun"
)

func dB(ratio float64) float64 { return 10 * math.Log10(ratio) }

// White noise of standard deviation s has the one-sided density 2 s²/fs (closed
// form) in every octave, and the whole spectrum sums to s² (Parseval).
func TestSpectrumOfWhiteNoise(t *testing.T) {
	const rate, sigma = 1e6, 1e-3
	x := reference.WhiteNoise(1_000_000, sigma, 11)
	for i := range x {
		x[i] += 6.3
	}
	m, err := Of(context.Background(), Samples(x), rate, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := 2 * sigma * sigma / rate
	for f := 40.0; f < rate/2; f *= 2 {
		hi := min(2*f, rate/2)
		got := m.power(f, hi) / (hi - f)
		// relative standard deviation 1/sqrt(B T), T = 1 s
		if tol := 4 / math.Sqrt(hi-f); math.Abs(got/want-1) > tol+0.01 {
			t.Errorf("%g Hz up: density %.4g, want %.4g within %.1f %%", f, got, want, 100*tol)
		}
	}
	if got := m.power(0, rate); math.Abs(got/(sigma*sigma)-1) > 0.01 {
		t.Errorf("total %.5g, want %.5g", got, sigma*sigma)
	}
	for i := 1; i < len(m.FreqHz); i++ {
		if !(m.FreqHz[i] > m.FreqHz[i-1]) {
			t.Fatalf("bin %d: %g Hz after %g Hz", i, m.FreqHz[i], m.FreqHz[i-1])
		}
	}
}

// power is the mean square in V² between two frequencies; cells at the ends
// count by their share.
func (m *Multirate) power(lowHz, highHz float64) float64 {
	p := 0.0
	for i, f := range m.FreqHz {
		lo := f - m.WidthHz[i]/2
		share := (min(highHz, lo+m.WidthHz[i]) - max(lowHz, lo)) / m.WidthHz[i]
		if share > 0 {
			p += m.PSD[i] * m.WidthHz[i] * min(share, 1)
		}
	}
	return p
}

type testGate struct {
	Samples
	w []float64
}

func (g testGate) Fill(dst []float64, start int) {
	for i := range dst {
		dst[i] = g.Samples[start+i] * g.w[start+i]
	}
}
func (g testGate) weights(w []float64, start int) { copy(w, g.w[start:start+len(w)]) }

// Excising samples must not change the density of white noise.
func TestSpectrumGated(t *testing.T) {
	const rate, sigma = 1e6, 1e-3
	x := reference.WhiteNoise(500_000, sigma, 12)
	w := make([]float64, len(x))
	for i := range w {
		w[i] = 1
		if i%17 < 4 {
			w[i] = 0
			x[i] = 5
		}
	}
	m, err := Of(context.Background(), testGate{Samples(x), w}, rate, Options{Weights: testGate{w: w}.weights})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.Excised-4.0/17) > 1e-4 {
		t.Errorf("excised %.4f, want %.4f", m.Excised, 4.0/17)
	}
	want := 2 * sigma * sigma / rate
	for f := 4000.0; f < rate/2; f *= 2 {
		hi := min(2*f, rate/2)
		if got := m.power(f, hi) / (hi - f); math.Abs(dB(got/want)) > 0.5 {
			t.Errorf("%g Hz up: density off by %.2f dB", f, dB(got/want))
		}
	}
}

// go-dsp's Pwelch is the independent second opinion on one stage.
func TestWelchAgainstGoDSP(t *testing.T) {
	const rate, n = 1000.0, 256
	x := reference.WhiteNoise(8192, 1, 13)
	for i := range x {
		x[i] += 3 * math.Sin(2*math.Pi*123.4*float64(i)/rate)
	}
	k := newWelch(newSegmentSpace(n), n/2, false)
	k.push(x, nil)
	got := k.density(rate)
	want, _ := spectral.Pwelch(x, rate, &spectral.PwelchOptions{NFFT: n, Noverlap: n / 2, Window: func(l int) []float64 { return newTaper(windowHann, l).W }})
	for i := 2; i < n/2; i++ { // it does not remove the mean
		if math.Abs(dB(got[i]/want[i])) > 0.2 {
			t.Errorf("bin %d: %.4g, go-dsp %.4g", i, got[i], want[i])
		}
	}
}

// The half-band low-pass must leave its pass band alone and stop aliases by
// 110 dB, everywhere.
func TestHalfBand(t *testing.T) {
	check := func(f, minDB, maxDB float64) {
		gain := 0.5
		for i, tap := range halfBandTaps {
			gain += 2 * tap * math.Cos(2*math.Pi*f*float64(2*i+1))
		}
		if g := dB(gain * gain); g < minDB || g > maxDB {
			t.Errorf("at %g of the rate: %.4f dB, want %g to %g", f, g, minDB, maxDB)
		}
	}
	check(0, -1e-9, 1e-9)
	for i := range 1001 {
		f := halfBandEdge / 2 * float64(i) / 1000
		check(f, -1e-4, 1e-4)
		check(0.5-f, -math.MaxFloat64, -110)
	}
}

// A stream halved in pieces of any length is the stream halved at once, and each output
// the sum over its taps.
func TestHalverInPieces(t *testing.T) {
	x := reference.WhiteNoise(3000, 1, 11)
	whole := newHalver().push(nil, x)
	if len(whole) != halvedLen(len(x)) {
		t.Fatalf("%d outputs, want %d", len(whole), halvedLen(len(x)))
	}
	for k, got := range whole {
		want := x[2*k+halfBandReach] / 2
		for i, w := range halfBandTaps {
			want += w * (x[2*k+halfBandReach-1-2*i] + x[2*k+halfBandReach+1+2*i])
		}
		if math.Abs(got-want) > 1e-14 {
			t.Fatalf("output %d is %g, want %g", k, got, want)
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		h, most := newHalver(), 1+r.IntN(200)
		var got []float64
		for rest := x; len(rest) > 0; {
			n := min(r.IntN(most+1), len(rest))
			got = h.push(got, rest[:n])
			rest = rest[n:]
		}
		if len(got) != len(whole) {
			t.Fatalf("pieces of up to %d: %d outputs, want %d", most, len(got), len(whole))
		}
		for k := range got {
			if math.Abs(got[k]-whole[k]) > 1e-14 {
				t.Fatalf("pieces of up to %d: output %d is %g, want %g", most, k, got[k], whole[k])
			}
		}
	}
}

// A long record's segments are a fair sample of it: where the signal is on for a part of
// every hop, they hold that part of its power, whatever part of the hop it is.
func TestGapsMissNothingThatRepeats(t *testing.T) {
	const n, hop = 256, 1024
	for _, on := range []int{0, 256, 512, 768} {
		k := newWelch(newSegmentSpace(n), hop, false)
		x := reference.WhiteNoise(hop*400, 1, 3)
		for i := range x {
			if i%hop < on || i%hop >= on+hop/4 {
				x[i] = 0
			}
		}
		for from := 0; from < len(x); from += 1000 {
			k.push(x[from:min(from+1000, len(x))], nil)
		}
		if k.segments < 390 || k.segments > 410 {
			t.Errorf("%d segments, want about 400", k.segments)
		}
		power := 0.0
		for _, d := range k.density(1) {
			power += d / n
		}
		if math.Abs(power-0.25) > 0.025 {
			t.Errorf("on from %d: a mean square of %.3f, want 0.25", on, power)
		}
	}
}

func TestSpectrumTinyLengths(t *testing.T) {
	for n := 0; n <= 200; n++ {
		x := reference.WhiteNoise(n, 1, uint64(n))
		m, err := Of(context.Background(), Samples(x), 1000, Options{Keep: true})
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range m.PSD {
			if math.IsNaN(p) || p < 0 || m.WidthHz[i] <= 0 {
				t.Fatalf("length %d bin %d: %g", n, i, p)
			}
		}
	}
}

// countedSource makes noise on the fly, so that a record's own memory does not
// hide the chain's.
type countedSource int

func (s countedSource) Len() int { return int(s) }
func (s countedSource) Fill(dst []float64, start int) {
	for i := range dst {
		z := uint64(start+i) * 0x9E3779B97F4A7C15
		z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
		dst[i] = float64(int32(z>>20)) * 1e-10
	}
}

// The whole chain, records kept for the search for lines included, allocates at
// most a byte and a half per sample and 8 MB in all.
func TestSpectrumMemory(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: 20 million samples")
	}
	const n = 20_000_000
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := Of(context.Background(), countedSource(n), 1e8, Options{Keep: true}); err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; float64(got) > 1.5*n+8e6 {
		t.Errorf("%d bytes allocated for %d samples", got, n)
	} else {
		t.Logf("%.2f bytes per sample", float64(got)/n)
	}
}

// BenchmarkSpectrum over three decades: the time per sample must stay level.
func BenchmarkSpectrum(b *testing.B) {
	for _, n := range []int{1 << 14, 1 << 17, 1 << 20, 1 << 23} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			x := make(Samples, n)
			countedSource(n).Fill(x, 0)
			b.SetBytes(int64(8 * n))
			for b.Loop() {
				if _, err := Of(context.Background(), x, 1e6, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Weights halved in pieces of any length beside their samples are those of the whole, of
// each output the three about its centre.
func TestHalveWeightsInPieces(t *testing.T) {
	w := reference.WhiteNoise(3000, 1, 12)
	r := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		o, most := &octave{halver: newHalver()}, 1+r.IntN(200)
		var got []float64
		for rest := w; len(rest) > 0; {
			n := min(r.IntN(most+1), len(rest))
			o.x = o.halver.push(o.x[:0], rest[:n])
			got = append(got, o.halveWeights(rest[:n])...)
			rest = rest[n:]
		}
		if len(got) != halvedLen(len(w)) {
			t.Fatalf("pieces of up to %d: %d weights, want %d", most, len(got), halvedLen(len(w)))
		}
		for k, g := range got {
			c := 2*k + halfBandReach
			if want := 0.25*(w[c-1]+w[c+1]) + 0.5*w[c]; g != want {
				t.Fatalf("pieces of up to %d: weight %d is %g, want %g", most, k, g, want)
			}
		}
	}
}

// A bin's density scatters as its degrees of freedom say, however far apart the segments
// begin: the relative variance of a mean of so many exponentials is two over them (Welch
// 1967).
func TestDegreesOfFreedomByHop(t *testing.T) {
	const n, segments, records = 256, 40, 60
	for _, hop := range []int{n / 2, 5 * n / 8, 3 * n / 4, n, 2 * n} {
		var sum, squares, count, dof float64
		for r := range records {
			k := newWelch(newSegmentSpace(n), hop, false)
			k.push(reference.WhiteNoise(hop*segments+n, 1, uint64(1000*hop+r)), nil)
			dof = k.degreesOfFreedom()
			for _, p := range k.density(2)[2 : n/2-1] {
				sum, squares, count = sum+p, squares+p*p, count+1
			}
		}
		mean := sum / count
		got := (squares/count - mean*mean) / (mean * mean)
		if want := 2 / dof; math.Abs(got/want-1) > 0.06 {
			t.Errorf("hop %d: relative variance %g, want %g", hop, got, want)
		} else {
			t.Logf("hop %d: relative variance %g, want %g", hop, got, want)
		}
	}
}
