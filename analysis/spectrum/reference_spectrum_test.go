package spectrum

import (
	"context"
	"math"
	"strconv"
	"testing"

	"stillglow/analysis/internal/reference"
)

// referenceRecord is the script's test_record.
func referenceRecord(n int, rate float64) []float64 {
	red, slow := reference.PortableNoise(n, 1), reference.PortableNoise(n, 2)
	x := make([]float64, n)
	a, b := 0.0, 0.0
	for i := range x {
		a = 0.9*a + red[i]
		b = 0.99999*b + slow[i]
		t := float64(i) / rate
		x[i] = 6.3 + a*1e-4 + b*3e-6 + 0.01*math.Sin(2*math.Pi*100e3*t+1) + 0.002*math.Sin(2*math.Pi*1234.5*t)
	}
	return x
}

// One multirate spectrum against scipy.signal.welch at three segment lengths,
// each over its own range: within 0.2 dB in the root of the summed squares where
// both average enough, in every sixth octave away from lines.
func TestSpectrumAgainstScipyWelch(t *testing.T) {
	ref := reference.Read(t).Spectra
	x := referenceRecord(ref.Samples, ref.RateHz)
	for i, v := range ref.FirstV {
		if math.Abs(x[i]-v) > 1e-12 {
			t.Fatalf("sample %d: %.15g, the script's %.15g", i, x[i], v)
		}
	}
	m, err := Of(context.Background(), Samples(x), ref.RateHz, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, rows := range map[string][][3]float64{"512": ref.Welch512, "8192": ref.Welch8k, "65536": ref.Welch64k} {
		worst, n := 0.0, 0
		for _, r := range rows {
			lo, hi, want := r[0], r[1], r[2]
			// both estimate the same record, yet with other segments: what is left
			// is their statistical difference, 0.2 dB from 4000 independent values on
			tol := 0.2 + 4.34*1.2/math.Sqrt((hi-lo)*float64(ref.Samples)/ref.RateHz)
			d := dB(m.power(lo, hi) / (hi - lo) / want)
			if math.Abs(d) > tol {
				t.Errorf("segments of %s, %.0f to %.0f Hz: %.2f dB from scipy, allowed %.2f", name, lo, hi, d, tol)
			}
			if (hi-lo)*float64(ref.Samples)/ref.RateHz > 4000 {
				worst, n = max(worst, math.Abs(d)), n+1
				if math.Abs(d) > 0.2 {
					t.Errorf("segments of %s, %.0f to %.0f Hz: %.3f dB from scipy", name, lo, hi, d)
				}
			}
		}
		t.Logf("segments of %s: %d sixth octaves of over 4000 values, at most %.3f dB apart", name, n, worst)
	}
}

// Our one stage is scipy's welch itself: same segments, same taper, same
// detrending.
func TestWelchStageAgainstScipy(t *testing.T) {
	ref := reference.Read(t).Spectra
	x := referenceRecord(ref.Samples, ref.RateHz)
	for seg, rows := range map[int][][3]float64{512: ref.Welch512, 8192: ref.Welch8k, 65536: ref.Welch64k} {
		k := newWelch(newSegmentSpace(seg), seg/2, false)
		k.push(x, nil)
		psd := k.density(ref.RateHz)
		for _, r := range rows {
			sum, n := 0.0, 0
			for i, p := range psd {
				if f := float64(i) * ref.RateHz / float64(seg); f >= r[0] && f < r[1] {
					sum += p
					n++
				}
			}
			if math.Abs(sum/float64(n)/r[2]-1) > 1e-6 {
				t.Errorf("segments of %d, %.0f Hz: %.9g, scipy %.9g", seg, r[0], sum/float64(n), r[2])
			}
		}
	}
}

func TestWindowsAgainstScipy(t *testing.T) {
	ref := reference.Read(t).Windows
	for name, kind := range map[string]windowKind{"hann": windowHann, "blackmanharris": windowBlackmanHarris} {
		for _, n := range []int{16, 1000, 4096} {
			want := ref[name+"_"+strconv.Itoa(n)]
			got := newTaper(kind, n)
			if math.Abs(got.CG-want.CG) > 1e-9 || math.Abs(got.NENBW-want.NENBW) > 1e-9 {
				t.Errorf("%s of %d: %.9f, %.9f; scipy %.9f, %.9f", name, n, got.CG, got.NENBW, want.CG, want.NENBW)
			}
		}
	}
}
