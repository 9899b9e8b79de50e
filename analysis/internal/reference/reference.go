// Package reference holds what the tests of the analysis compare with: figures from
// outside the project (testdata/reference) and series of known content.
package reference

import (
	"bufio"
	"compress/gzip"
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
type Values struct {
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

// Read reads the reference values; it fails the test where they can't be read.
func Read(t testing.TB) Values {
	t.Helper()
	var r Values
	b, err := os.ReadFile(filepath.Join(folder(t), "reference.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// folder is testdata/reference, from wherever a package's tests run.
func folder(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for ; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "testdata", "reference")
		}
		if dir == filepath.Dir(dir) {
			t.Fatal("no go.mod above the test")
		}
	}
}

// Volts reads a simulated capture of that folder.
func Volts(t testing.TB, name string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(folder(t), name+".csv.gz"))
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

// PortableNoise is the script's noise of unit variance: the sum of four
// uniforms of the splitmix64 counter generator.
func PortableNoise(n int, seed uint64) []float64 {
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
