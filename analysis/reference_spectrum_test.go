package analysis

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// reference holds figures from outside the project: numpy and scipy on
// simulations by ngspice and on series that Go can make bit for bit alike. The
// script that makes them lies beside the file.
type reference struct {
	Captures map[string]struct {
		LoadOhm        float64 `json:"load_ohm"`
		RateHz         float64 `json:"sample_rate_hz"`
		Samples        int     `json:"samples"`
		NetlistHz      float64 `json:"netlist_switching_hz"`
		DCV            float64 `json:"dc_v"`
		ACRMSV         float64 `json:"ac_rms_v"`
		PPV            float64 `json:"pp_v"`
		SwitchingHz    float64 `json:"switching_hz"`
		FundamentalRMS float64 `json:"switching_fundamental_rms_v"`
		CyclePPV       float64 `json:"cycle_pp_v"`
		CycleRMSV      float64 `json:"cycle_rms_v"`
		ClosedFormPPV  float64 `json:"closed_form_pp_v"`
		ClosedFormRMSV float64 `json:"closed_form_rms_v"`
		NetlistRingHz  float64 `json:"netlist_ring_hz"`
		NetlistRingQ   float64 `json:"netlist_ring_q"`
		RingHz         float64 `json:"ring_hz"`
		RingQ          float64 `json:"ring_q"`
		SpikeCount     int     `json:"spike_count"`
		SpikePeakV     float64 `json:"spike_peak_median_v"`
	} `json:"captures"`
	Spectra struct {
		Samples  int          `json:"samples"`
		RateHz   float64      `json:"sample_rate_hz"`
		FirstV   []float64    `json:"first_v"`
		Welch512 [][3]float64 `json:"welch_512"`
		Welch8k  [][3]float64 `json:"welch_8192"`
		Welch64k [][3]float64 `json:"welch_65536"`
		Medfilt  [][2]float64 `json:"medfilt_floor"`
		Decim    [][3]float64 `json:"welch_decimated"`
	} `json:"spectra"`
	Functions struct {
		Medfilt7        []float64 `json:"medfilt_7"`
		HilbertEnvelope []float64 `json:"hilbert_envelope"`
		DecimateMiddle  []float64 `json:"decimate_2_middle"`
	} `json:"functions"`
	Windows map[string]struct {
		CG    float64 `json:"coherent_gain"`
		NENBW float64 `json:"nenbw_bins"`
	} `json:"windows"`
}

const referenceDir = "../testdata/reference"

func readReference(t testing.TB) reference {
	t.Helper()
	var r reference
	b, err := os.ReadFile(filepath.Join(referenceDir, "reference.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// referenceVolts reads a simulated capture of that folder.
func referenceVolts(t testing.TB, name string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(referenceDir, name+".csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var v []float64
	for s := bufio.NewScanner(z); s.Scan(); {
		_, cell, _ := strings.Cut(s.Text(), ",")
		if x, err := strconv.ParseFloat(cell, 64); err == nil {
			v = append(v, x)
		}
	}
	return v
}

// portableNoise is the script's noise of unit variance: the sum of four
// uniforms of the splitmix64 counter generator.
func portableNoise(n int, seed uint64) []float64 {
	out := make([]float64, n)
	i := uint64(0)
	for k := range out {
		sum := 0.0
		for range 4 {
			i++
			z := seed + i*0x9E3779B97F4A7C15
			z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
			z = (z ^ z>>27) * 0x94D049BB133111EB
			z ^= z >> 31
			sum += float64(z>>11) / (1 << 53)
		}
		out[k] = (sum - 2) * math.Sqrt(3)
	}
	return out
}

// referenceRecord is the script's test_record.
func referenceRecord(n int, rate float64) []float64 {
	red, slow := portableNoise(n, 1), portableNoise(n, 2)
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
	ref := readReference(t).Spectra
	x := referenceRecord(ref.Samples, ref.RateHz)
	for i, v := range ref.FirstV {
		if math.Abs(x[i]-v) > 1e-12 {
			t.Fatalf("sample %d: %.15g, the script's %.15g", i, x[i], v)
		}
	}
	m, err := spectrumOf(context.Background(), sliceSource(x), ref.RateHz, spectrumOptions{})
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
	ref := readReference(t).Spectra
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
	ref := readReference(t).Windows
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

// ngspice converters: the switching frequency is the netlist's within 0.1 %, the
// fundamental's rms numpy's within 0.5 %.
func TestConvertersSwitchingLine(t *testing.T) {
	for name, c := range readReference(t).Captures {
		v := referenceVolts(t, name)
		if len(v) != c.Samples {
			t.Fatalf("%s: %d samples, want %d", name, len(v), c.Samples)
		}
		m, err := spectrumOf(context.Background(), sliceSource(v), c.RateHz, spectrumOptions{Keep: true})
		if err != nil {
			t.Fatal(err)
		}
		lines, err := findLines(context.Background(), sliceSource(v), c.RateHz, m, lineOptions{})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, l := range lines {
			if math.Abs(l.FrequencyHz/c.NetlistHz-1) < 1e-3 && math.Abs(l.RMSV/c.FundamentalRMS-1) < 0.005 {
				found = true
				t.Logf("%s: %.1f ppm from the netlist, numpy's fit %.1f ppm", name, 1e6*(l.FrequencyHz/c.NetlistHz-1), 1e6*(c.SwitchingHz/c.NetlistHz-1))
			}
		}
		if !found {
			t.Errorf("%s: the switching line is not among the %d lines: %+v", name, len(lines), lines[:min(len(lines), 4)])
		}
	}
}
