package synth

import (
	"bytes"
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, rel)
	}
}

func span(v []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return hi - lo
}

// tone is the rms of the part of v at f, by direct correlation over whole
// periods.
func tone(v []float64, rate, f float64) float64 {
	n := int(math.Floor(float64(len(v))*f/rate) * rate / f)
	var re, im float64
	for i, x := range v[:n] {
		s, c := math.Sincos(2 * math.Pi * f * float64(i) / rate)
		re += x * c
		im += x * s
	}
	return math.Hypot(re, im) * math.Sqrt2 / float64(n)
}

// A triangle's rms is pp/(2*sqrt(3)), its fundamental's amplitude 4/pi^2 of its
// peak-to-peak at a duty of one half (elementary Fourier series).
func TestTriangleClosedForm(t *testing.T) {
	s := Supply{Seed: 1, RateHz: 50e6, Samples: 500000, SwitchingHz: 100e3, RipplePPV: 0.02, Duty: 0.5}
	v, truth := s.Render()
	near(t, "truth rms", truth.RippleRMSV, 0.02/(2*math.Sqrt(3)), 1e-4)
	near(t, "truth fundamental", truth.SwitchingFundamentalRMSV, 0.02*4/(math.Pi*math.Pi)/math.Sqrt2, 1e-4)
	near(t, "rendered rms", stat.PopStdDev(v, nil), 0.02/(2*math.Sqrt(3)), 1e-3)
	near(t, "rendered pp", span(v), 0.02, 5e-3)
	near(t, "rendered line", tone(v, s.RateHz, 100e3), truth.SwitchingFundamentalRMSV, 1e-3)
	near(t, "periodic", truth.PeriodicRMSV, truth.RippleRMSV, 1e-3)
}

// With an ESR step the cycle's peak-to-peak stays the one asked for.
func TestESRStepKeepsPeakToPeak(t *testing.T) {
	s := Supply{Seed: 2, RateHz: 250e6, Samples: 250000, SwitchingHz: 123456.7, RipplePPV: 0.03, ESRStepV: 0.012, Duty: 0.3}
	v, truth := s.Render()
	near(t, "truth", truth.RipplePPV, 0.03, 1e-3)
	near(t, "rendered", span(v), 0.03, 5e-3)
	near(t, "line", tone(v, s.RateHz, s.SwitchingHz), truth.SwitchingFundamentalRMSV, 2e-3)
	if want := int(s.durationS()*s.SwitchingHz) - 1; truth.Cycles != want && truth.Cycles != want+1 {
		t.Errorf("cycles %d, want about %d", truth.Cycles, want)
	}
}

// The one-pole attenuates the fundamental by 1/sqrt(1+(f/B)^2).
func TestOnePole(t *testing.T) {
	s := Supply{Seed: 3, RateHz: 20e6, Samples: 200000, SwitchingHz: 100e3, RipplePPV: 0.02, Duty: 0.37, ESRStepV: 0.004}
	_, wide := s.Render()
	s.BandwidthHz = 150e3
	v, narrow := s.Render()
	near(t, "truth", narrow.SwitchingFundamentalRMSV, wide.SwitchingFundamentalRMSV/math.Sqrt(1+100.*100/150/150), 1e-3)
	near(t, "rendered", tone(v, s.RateHz, 100e3), narrow.SwitchingFundamentalRMSV, 2e-3)
}

// A one-pole's step takes ln 9 time constants from 10 to 90 % (elementary).
func TestOnePoleTransition(t *testing.T) {
	o := &onePole{tau: 1e-6, begun: true}
	g := segment{durS: 1, from: 1}
	cross := func(level float64) float64 { return -1e-6 * math.Log(1-level) }
	near(t, "10 %", o.at(g, cross(0.1)), 0.1, 1e-9)
	near(t, "90 %", o.at(g, cross(0.9)), 0.9, 1e-9)
	near(t, "transition", cross(0.9)-cross(0.1), 2.197225e-6, 1e-6)
}

// White noise of density e has rms e*sqrt(bandwidth); with a corner fc the
// density at fc is sqrt(2) of the white one.
func TestNoiseDensity(t *testing.T) {
	s := Supply{Seed: 4, RateHz: 1e6, Samples: 1 << 18, NoiseVPerRtHz: 2e-6}
	v, truth := s.Render()
	near(t, "rms", stat.StdDev(v, nil), 2e-6*math.Sqrt(0.5e6), 5e-3)
	near(t, "truth rms", truth.RandomRMSV, 2e-6*math.Sqrt(0.5e6), 1e-4)

	s.CornerHz, s.BandwidthHz = 5e3, 200e3
	v, truth = s.Render()
	near(t, "shaped rms", stat.StdDev(v, nil), truth.RandomRMSV, 0.02) // the lowest bins of the 1/f part scatter
	for f, want := range map[float64]float64{5e3: 2e-6 * math.Sqrt2, 40e3: 2e-6 * math.Sqrt((1+0.125)/(1+0.04)), 200e3: 2e-6 * math.Sqrt((1+0.025)/2)} {
		near(t, "density", density(v, s.RateHz, f, 0.1*f), want, 0.04)
	}
}

// density is the mean one-sided density within f +- df/2 of the whole record's
// periodogram.
func density(v []float64, rate, f, df float64) float64 {
	c := fourier.NewFFT(len(v)).Coefficients(nil, v)
	var sum float64
	var k0, k1 = int((f - df/2) / rate * float64(len(v))), int((f + df/2) / rate * float64(len(v)))
	for _, x := range c[k0:k1] {
		sum += 2 * (real(x)*real(x) + imag(x)*imag(x)) / rate / float64(len(v))
	}
	return math.Sqrt(sum / float64(k1-k0))
}

func TestMainsLine(t *testing.T) {
	s := Supply{Seed: 5, RateHz: 20e3, Samples: 20000, MainsHz: 60, MainsPPV: 0.01}
	v, truth := s.Render()
	if truth.MainsLineHz != 120 {
		t.Errorf("line at %g Hz", truth.MainsLineHz)
	}
	near(t, "pp", span(v), 0.01, 2e-3)
	near(t, "line", tone(v, s.RateHz, 120), truth.MainsLineRMSV, 1e-4)
}

// Each transient stands where the truth says, with the peak it says.
func TestSpikes(t *testing.T) {
	s := Supply{Seed: 6, RateHz: 500e6, Samples: 500000, SwitchingHz: 65e3, SpikeRiseV: 0.05, SpikeFallV: -0.03,
		SpikeWidthS: 20e-9, RingRiseHz: 12e6, RingFallHz: 9e6, RingQ: 6, BandwidthHz: 100e6, SpikeJitterFrac: 0.05}
	v, truth := s.Render()
	if want := 2 * 65e3 * 1e-3; math.Abs(float64(truth.SpikeCount)-want) > 2 {
		t.Fatalf("%d spikes, want about %g", truth.SpikeCount, want)
	}
	for _, k := range truth.Spikes {
		i := int(k.TimeS * s.RateHz)
		best := 0.0
		for _, x := range v[i:min(i+40, len(v))] {
			if math.Abs(x) > math.Abs(best) {
				best = x
			}
		}
		if i+40 < len(v) {
			near(t, k.Class, best, k.PeakV, 0.01)
		}
	}
	// free ring: successive peaks fall by exp(-pi/Q) a period
	tr := newTransient(20e-9, 12e6, 6, 0.7, 0)
	near(t, "decrement", tr.at(60e-9+1/12e6)/tr.at(60e-9), math.Exp(-math.Pi/6), 1e-3)
	near(t, "raised cosine duration", func() float64 { p := newTransient(20e-9, 0, 1, 0, 0); return p.durationS() }(), 20e-9, 1e-3)
	near(t, "raised cosine area", func() float64 { p := newTransient(20e-9, 0, 1, 0, 0); return p.area() }(), 20e-9, 1e-3)
}

// Behind the steep low-pass the switching frequency's alias is gone and the
// mains line is untouched.
func TestSlowRecord(t *testing.T) {
	s := Supply{Seed: 7, SwitchingHz: 67e3, RipplePPV: 0.05, ESRStepV: 0.02, SpikeRiseV: 0.1, SpikeFallV: -0.1,
		MainsHz: 50, MainsPPV: 0.005}
	v, truth := s.Slow(96e3, 48000).Render()
	near(t, "mains", tone(v, 96e3, 100), truth.MainsLineRMSV, 1e-3)
	if truth.RipplePPV != 0 || truth.SpikeCount != 0 {
		t.Error("a record that can't hold the ripple claims to know it")
	}
	// the line itself, and harmonics next to the internal rates
	for _, f := range []float64{96e3 - 67e3, 11*67e3 - 8*96e3 + 1e3, 31e3} {
		if a := tone(v, 96e3, f); a > 1e-6 {
			t.Errorf("alias of %g V rms at %g Hz", a, f)
		}
	}
	var worst float64
	seen := map[float64]bool{}
	for k := 1; k < 2000; k++ {
		f := math.Mod(float64(k)*67e3, 96e3)
		if f = math.Min(f, 96e3-f); f > 5e3 && f < 40e3 && !seen[f] {
			seen[f] = true // many harmonics fold to one place
			worst = math.Max(worst, tone(v, 96e3, f))
		}
	}
	if worst > 1e-6 {
		t.Errorf("an alias of %g V rms behind the steep low-pass", worst)
	}
	v, truth = s.Slow(1e6, 200000).Render()
	near(t, "line", tone(v, 1e6, 67e3), truth.SwitchingLineRMSV, 5e-3)
}

func TestDitherAndBurst(t *testing.T) {
	s := Supply{Seed: 8, RateHz: 10e6, Samples: 500000, SwitchingHz: 100e3, RipplePPV: 0.02, DitherFrac: 0.05, DitherRateHz: 500}
	_, truth := s.Render()
	near(t, "dithered cycles", float64(truth.Cycles), 5000, 2e-3)
	if a, b := s.periodAt(0.5e-3), s.periodAt(1.5e-3); math.Abs(a-b) < 0.02*a {
		t.Error("the period does not sweep")
	}
	b := Supply{Seed: 9, RateHz: 10e6, Samples: 500000, SwitchingHz: 100e3, RipplePPV: 0.02, BurstHz: 2e3, BurstDuty: 0.3, BurstPPV: 0.05}
	v, truth := b.Render()
	near(t, "burst cycles", float64(truth.Cycles), 1500, 0.02)
	near(t, "burst pp", span(v), 0.06, 0.15) // packet triangle and half a cycle at its top
	near(t, "packet line", tone(v, b.RateHz, 2e3), 0.05*0.42/math.Sqrt2, 0.15)
}

func TestConverter(t *testing.T) {
	s := Supply{Seed: 10, RateHz: 1e6, Samples: 10000, DCV: 7, SwitchingHz: 20e3, RipplePPV: 0.1, ADCBits: 8, ADCFullScaleV: 0.08, ADCOffsetV: 7, ProbeFactorWrong: 10}
	v, truth := s.Render()
	if truth.Clipped == 0 {
		t.Error("0.1 V in a span of 0.08 V does not clip")
	}
	near(t, "step", truth.ADCStepV, 10*0.08/256, 1e-12)
	near(t, "span", span(v), 10*0.08*255/256, 1e-9)
	for _, x := range v {
		if k := (x - 70) / truth.ADCStepV; math.Abs(k-math.Round(k)) > 1e-6 {
			t.Fatalf("%g V is not on a step", x)
		}
	}
}

func TestDeterministic(t *testing.T) {
	for seed := range uint64(6) {
		s := Draw(seed)
		s.Samples = 20000
		a, ta := s.Render()
		b, tb := s.Render()
		for i := range a {
			if a[i] != b[i] || math.IsNaN(a[i]) {
				t.Fatalf("seed %d sample %d: %g and %g", seed, i, a[i], b[i])
			}
		}
		if ta.SpikePeakMedianV != tb.SpikePeakMedianV || ta.RipplePPV <= 0 || ta.SpikeCount == 0 {
			t.Errorf("seed %d: truth %+v", seed, ta.SpikeCount)
		}
	}
}

// Every draw stays inside the ranges it claims.
func TestDrawRanges(t *testing.T) {
	for seed := range uint64(500) {
		s := Draw(seed)
		in := func(what string, v, lo, hi float64) {
			if v < lo*0.999 || v > hi*1.001 {
				t.Errorf("seed %d: %s %g outside %g to %g", seed, what, v, lo, hi)
			}
		}
		in("switching", s.SwitchingHz, 20e3, 500e3)
		in("ripple", s.RipplePPV, 0.5e-3, 0.2)
		in("spike", s.SpikeRiseV, 1e-3, 0.5)
		in("width", s.SpikeWidthS, 5e-9, 200e-9)
		in("ring", s.RingRiseHz, 1e6, 60e6)
		in("ring", s.RingFallHz, 1e6, 60e6)
		in("samples in the pulse", s.SpikeWidthS*s.RateHz, 5, 1e6)
		in("samples in a ring period", s.RateHz/s.RingRiseHz, 8, 1e6)
		in("cycles", s.durationS()*s.SwitchingHz, 20, 1e9)
	}
}

func TestWriters(t *testing.T) {
	v := []float64{0.5, -0.25, 2, -2}
	var b bytes.Buffer
	if err := WriteWAV(&b, 24, 96000, 1, v); err != nil {
		t.Fatal(err)
	}
	if got := b.Len(); got != 44+12 {
		t.Errorf("%d bytes", got)
	}
	if want := []byte{0, 0, 0x40, 0, 0, 0xe0, 0xff, 0xff, 0x7f, 0, 0, 0x80}; !bytes.Equal(b.Bytes()[44:], want) {
		t.Errorf("data % x", b.Bytes()[44:])
	}
	if WriteWAV(&b, 8, 1, 1, v) == nil || WriteWAV(&b, 16, 1, 0, v) == nil {
		t.Error("bad WAV settings are accepted")
	}
	b.Reset()
	if err := WriteCSV(&b, DecimalComma, 1000, v[:2], 4, ""); err != nil {
		t.Fatal(err)
	}
	if want := "Zeit;Kanal A\r\n(ms);(mV)\r\n\r\n-1,000;500\r\n0,000;-250\r\n"; b.String() != want {
		t.Errorf("%q", b.String())
	}
	b.Reset()
	if err := WriteCSV(&b, Preamble, 1e6, v[:2], 4, "AC"); err != nil {
		t.Fatal(err)
	}
	if want := "Record Length,2\nSample Interval,1.000000000e-06,s\nVertical Unit,V\nCoupling,AC\nProbe,1\nData,\n0.5\n-0.25\n"; b.String() != want {
		t.Errorf("%q", b.String())
	}
}
