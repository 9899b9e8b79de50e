package capture

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

func TestSI(t *testing.T) {
	for _, c := range []struct {
		v      float64
		unit   string
		digits int
		want   string
	}{
		{0.0123456, "V", 3, "12.3 mV"},
		{0.0123456, "V", 5, "12.346 mV"},
		{0.0123456, "V", 6, "12.3456 mV"},
		{-0.0042, "V", 3, "-4.2 mV"},
		{250e6, "S/s", 3, "250 MS/s"},
		{1e10, "Hz", 3, "10 GHz"},
		{0.99995, "V", 3, "1 V"},
		{0.99995, "V", 5, "999.95 mV"},
		{0.999995, "V", 6, "999.995 mV"},
		{0.9999996, "V", 6, "1 V"},
		{999.96e-6, "s", 3, "1 ms"},
		{999.4e-9, "s", 3, "999 ns"},
		{0.9995, "s", 3, "1 s"},
		{18.2e-12, "V/√Hz", 3, "18.2 pV/√Hz"},
		{0.5e-12, "F", 3, "0.5 pF"},
		{5e-16, "V", 3, "0.5 fV"},
		{5e-19, "V", 3, "0.0005 fV"},
		{0, "V", 3, "0 V"},
		{4700, "", 3, "4.7 k"},
		{47, "", 3, "47"},
		{120, "V", 1, "120 V"}, // never "1e+02"
		{math.Inf(1), "V", 3, "+Inf V"},
		{math.NaN(), "V", 3, "NaN V"},
	} {
		if got := SI(c.v, c.unit, c.digits); got != c.want {
			t.Errorf("SI(%v, %q, %d) = %q, want %q", c.v, c.unit, c.digits, got, c.want)
		}
	}
}

// At every prefix's edge and a step of the last bit either side, what is printed
// lies from 1 to below 1000 and reads back as the value.
func TestSIAtThePrefixes(t *testing.T) {
	factor := map[string]float64{"f": 1e-15, "p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1, "k": 1e3, "M": 1e6, "G": 1e9}
	for digits := 3; digits <= 6; digits++ {
		for e := -15; e <= 10; e++ {
			for _, m := range []float64{1, 1 - 0.5*math.Pow10(-digits), 9.995, 2.5} {
				for _, v := range []float64{m * math.Pow10(e), math.Nextafter(m*math.Pow10(e), 0), math.Nextafter(m*math.Pow10(e), 1e12)} {
					if v < 0.9995e-15 {
						continue
					}
					text := SI(v, "V", digits)
					number, tail, _ := strings.Cut(text, " ")
					got, err := strconv.ParseFloat(number, 64)
					if err != nil || got >= 1000 || got < 1 && v >= 1e-15 {
						t.Fatalf("SI(%v, V, %d) = %q", v, digits, text)
					}
					if f := factor[strings.TrimSuffix(tail, "V")]; math.Abs(got*f/v-1) > 0.51*math.Pow10(1-digits) {
						t.Errorf("SI(%v, V, %d) = %q", v, digits, text)
					}
				}
			}
		}
	}
}
