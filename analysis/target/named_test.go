package target

import (
	"math"
	"strings"
	"testing"
)

func TestNamedTargetsAreWhole(t *testing.T) {
	for _, name := range Names() {
		tg, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range tg.Limits {
			if l.Source == "" || l.Name == "" || l.Unit == "" || !(l.Max > 0) {
				t.Errorf("%s: %+v", name, l)
			}
			if l.Criterion != HeaterDC && !(l.NeedLowHz > 0 && l.NeedHighHz > l.NeedLowHz) {
				t.Errorf("%s: %s needs no span", name, l.Criterion)
			}
		}
	}
	// The driver stage takes the yardstick of the ATX12V guide: 50 mV on 5 V rails.
	d, _ := Named("driver-stage")
	if d.Limits[1].Criterion != RipplePP || d.Limits[1].Max != 50e-3 || !strings.Contains(d.Limits[1].Source, "ATX12V") {
		t.Errorf("%+v", d.Limits[1])
	}
	if got, err := Named(""); err != nil || got.Name != "line-preamp" {
		t.Errorf("default: %q %v", got.Name, err)
	}
}

func TestUnknownNamesTellTheNearest(t *testing.T) {
	for word, want := range map[string]string{"fono-preamp": "phono-preamp", "line": "line-preamp", "mic": "mic-preamp", "drive-stage": "driver-stage"} {
		if _, err := Named(word); err == nil || !strings.Contains(err.Error(), `nearest is "`+want+`"`) {
			t.Errorf("%s: %v", word, err)
		}
	}
	// What is near nothing gets no guess.
	if _, err := Named("foo"); err == nil || strings.Contains(err.Error(), "nearest") || !strings.Contains(err.Error(), "line-preamp, phono-preamp") {
		t.Errorf("foo: %v", err)
	}
	if _, err := Custom(map[string]float64{"ripple_pp_20mhz": 1}, nil, [2]float64{}, nil); err == nil || !strings.Contains(err.Error(), "ripple_pp_20mhz_v") {
		t.Errorf("%v", err)
	}
}

func TestCustom(t *testing.T) {
	base, _ := Named("line-preamp")
	got, err := Custom(map[string]float64{"ripple_pp_20mhz_v": 5e-3, "noise_density_v_per_rthz": 0}, [][2]float64{{100, 1e-6}, {1e4, 1e-7}}, [2]float64{12, 14}, &base)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Limits) != len(base.Limits) {
		t.Errorf("%d limits, base has %d: one out, the mask in", len(got.Limits), len(base.Limits))
	}
	for _, l := range got.Limits {
		switch l.Criterion {
		case RipplePP:
			if l.Max != 5e-3 || l.Source != "given in the sheet" {
				t.Errorf("%+v", l)
			}
		case HeaterDC:
			if l.Min != 12 || l.Max != 14 {
				t.Errorf("%+v", l)
			}
		case Noise:
			t.Error("noise was left out")
		case MainsLine:
			if l.Max != 1e-3 {
				t.Errorf("%+v", l)
			}
		}
	}
	for name, bad := range map[string]func() (Target, error){
		"negative": func() (Target, error) { return Custom(map[string]float64{"spikes_per_s": -1}, nil, [2]float64{}, nil) },
		"NaN": func() (Target, error) {
			return Custom(map[string]float64{"spikes_per_s": math.NaN()}, nil, [2]float64{}, nil)
		},
		"DC single": func() (Target, error) { return Custom(map[string]float64{"heater_dc_v": 7}, nil, [2]float64{}, nil) },
		"DC turned": func() (Target, error) { return Custom(nil, nil, [2]float64{8, 7}, nil) },
		"mask back": func() (Target, error) { return Custom(nil, [][2]float64{{10, 1}, {10, 1}}, [2]float64{}, nil) },
		"mask one":  func() (Target, error) { return Custom(nil, [][2]float64{{10, 1}}, [2]float64{}, nil) },
		"mask zero": func() (Target, error) { return Custom(nil, [][2]float64{{10, 0}, {20, 1}}, [2]float64{}, nil) },
		"nothing":   func() (Target, error) { return Custom(nil, nil, [2]float64{}, nil) },
	} {
		if _, err := bad(); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The argument is left as it was.
	again, _ := Named("line-preamp")
	if base.Limits[1].Max != again.Limits[1].Max || base.Name != "line-preamp" {
		t.Error("Custom changed its base")
	}
}

// A 12.6 V rail takes twice the volts; limits written out stay as written.
func TestForRail(t *testing.T) {
	base, _ := Named("line-preamp")
	got := base.ForRail(12.6)
	if l := got.Limits[0]; math.Abs(l.Min-13.2) > 1e-9 || math.Abs(l.Max-15.2) > 1e-9 || !strings.Contains(l.Source, "12.6 V rail") {
		t.Errorf("%+v", l)
	}
	if base.Limits[0].Max != 7.6 || base.ForRail(0).Limits[0].Max != 7.6 || base.ForRail(6.3).Limits[0].Max != 7.6 {
		t.Error("the 6.3 V rail was changed")
	}
	own, err := Custom(nil, nil, [2]float64{6.4, 9}, &base)
	if err != nil {
		t.Fatal(err)
	}
	if l := own.ForRail(12.6).Limits[0]; l.Min != 6.4 || l.Max != 9 {
		t.Errorf("%+v", l)
	}
}
