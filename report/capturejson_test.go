package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// contractKeys are the names that scripts lean on.
var contractKeys = []string{
	"schema_version", "file", "sample_rate_hz", "samples", "coupling", "dc_v", "ac_rms_v", "pp_v", "pp_20mhz_v",
	"pp_20mhz_filter", "ripple_pp_v", "switching_hz", "switching_fundamental_rms_v", "mains_line_hz",
	"mains_line_rms_v", "spikes_per_s", "spike_peak_median_v", "spike_peak_p95_v", "ring_hz", "ring_q",
	"noise_density_v_per_rthz", "noise_density_at_hz", "adc_step_v", "cautions", "not_measured",
	"uncertainty", "lower_bounds",
}

func decode(t *testing.T, b []byte) map[string]any {
	t.Helper()
	if bytes.ContainsAny(b, "\n\r") {
		t.Fatal("more than one line")
	}
	var got map[string]any
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatalf("%v in %s", err, b)
	}
	return got
}

func TestCaptureJSONOfAnEmptyMeasurementHasEveryContractKeyAsNull(t *testing.T) {
	b, err := CaptureJSON(Capture{M: &analysis.Measurement{File: "x.csv", Calibrated: true}})
	if err != nil {
		t.Fatal(err)
	}
	got := decode(t, b)
	for _, k := range contractKeys {
		if _, ok := got[k]; !ok {
			t.Errorf("no %q", k)
		}
	}
	missing := got["not_measured"].(map[string]any)
	for _, k := range []string{"dc_v", "ripple_pp_v", "ring_q", "noise_density_at_hz", "adc_step_v"} {
		if got[k] != nil || missing[k] == "" || missing[k] == nil {
			t.Errorf("%s = %v, reason %v; want null with a reason", k, got[k], missing[k])
		}
	}
}

func TestCaptureJSONCarriesWorthOfFigures(t *testing.T) {
	m := &analysis.Measurement{File: "x.csv", Calibrated: true}
	m.RipplePPV = figure.Figure{Value: 0.0123, Known: true, U: 0.0004}
	m.Spikes.PeakP95V = figure.Figure{Value: 0.08, Known: true, LowerBound: true}
	m.DCV = figure.NotMeasured("AC-coupled; use a meter")
	m.ACRMSV = figure.Known(math.NaN())
	m.PPV = figure.Known(math.Inf(1))
	m.Bands = []spectrum.Band{{ID: "audio", Name: "audio", LowHz: 20, HighHz: 20e3,
		RMSV: figure.Figure{Value: 1e-5, Known: true, U: 1e-6}, RMSNoLinesV: figure.NotMeasured("too short")}}
	m.Spectrum = spectrum.Curve{FrequencyHz: []float64{1, 10}, VPerRtHz: []float64{math.NaN(), 1e-9}}
	b, err := CaptureJSON(Capture{M: m})
	if err != nil {
		t.Fatal(err)
	}
	got := decode(t, b)
	if got["ripple_pp_v"] != 0.0123 {
		t.Errorf("ripple_pp_v = %v", got["ripple_pp_v"])
	}
	u := got["uncertainty"].(map[string]any)
	if u["ripple_pp_v"] != 0.0004 || u["bands.audio.rms_v"] != 1e-6 {
		t.Errorf("uncertainty = %v", u)
	}
	if lb := got["lower_bounds"].([]any); len(lb) != 1 || lb[0] != "spike_peak_p95_v" {
		t.Errorf("lower_bounds = %v", lb)
	}
	missing := got["not_measured"].(map[string]any)
	if missing["dc_v"] != "AC-coupled; use a meter" || missing["bands.audio.rms_without_lines_v"] != "too short" {
		t.Errorf("not_measured = %v", missing)
	}
	for _, k := range []string{"ac_rms_v", "pp_v"} {
		if got[k] != nil || missing[k] == nil {
			t.Errorf("%s = %v, want null with a reason", k, got[k])
		}
	}
}

func TestCaptureJSONGivesNoVoltsForAnUncalibratedCapture(t *testing.T) {
	m := &analysis.Measurement{File: "x.wav", SwitchingHz: figure.Known(65e3), RipplePPV: figure.Known(0.25)}
	b, err := CaptureJSON(Capture{M: m})
	if err != nil {
		t.Fatal(err)
	}
	got := decode(t, b)
	if got["ripple_pp_v"] != nil || got["switching_hz"] != 65e3 || got["curve_unit"] != "full scale" {
		t.Errorf("ripple %v, switching %v, unit %v", got["ripple_pp_v"], got["switching_hz"], got["curve_unit"])
	}
}

func TestNumbersInJSON(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{
		{0, 12, "0"}, {math.Copysign(0, -1), 5, "0"}, {50000, 5, "50000"}, {250e6, 12, "250000000"},
		{1.0 / 3, 5, "0.33333"}, {1e-9, 5, "1e-09"}, {1.2345678e-9, 5, "1.2346e-09"}, {100, 5, "100"},
		{123456789, 5, "1.2346e+08"}, {math.NaN(), 5, "null"}, {-0.5, 12, "-0.5"},
	} {
		if got := string(appendNumber(nil, c.v, c.digits)); got != c.want {
			t.Errorf("%v with %d digits: %s, want %s", c.v, c.digits, got, c.want)
		}
		if !json.Valid(appendNumber(nil, c.v, c.digits)) {
			t.Errorf("%v: not JSON", c.v)
		}
	}
}

func TestCaptureJSONWithoutMeasurementIsAnError(t *testing.T) {
	if _, err := CaptureJSON(Capture{}); err == nil || !strings.Contains(err.Error(), "without a measurement") {
		t.Errorf("error %v", err)
	}
}
