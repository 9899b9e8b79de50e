package capture

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// checkNumber compares scanNumber with strconv.ParseFloat, to the last bit.
func checkNumber(t *testing.T, s string) {
	t.Helper()
	plain := numberPrefix(s, '.') == len(s) && s != ""
	want, err := strconv.ParseFloat(s, 64)
	got, n := scanNumber([]byte(s), '.')
	if !plain || err != nil {
		if n == len(s) && s != "" {
			t.Fatalf("%q: scanned as %v, strconv says %v", s, got.v, err)
		}
		return
	}
	if n != len(s) || math.Float64bits(got.v) != math.Float64bits(want) {
		t.Fatalf("%q: got %v (%d of %d bytes), strconv %v", s, got.v, n, len(s), want)
	}
	comma, n2 := scanNumber([]byte(strings.Replace(s, ".", ",", 1)), ',')
	if n2 != n || math.Float64bits(comma.v) != math.Float64bits(want) {
		t.Fatalf("%q with a decimal comma: got %v", s, comma.v)
	}
}

var numberSeeds = []string{
	"0", "-0", "1", "+1", "1.", ".5", "-.5e3", "1e5", "1E+05", "1.5e-07", "-1.23456789e-05", "1.2345e+00",
	"9007199254740993", "9007199254740992.5", "0.000000000000000000000000000001", "123456789012345678901234567890",
	"1.7976931348623157e308", "1.8e308", "5e-324", "2.2250738585072011e-308", "1e23", "8.5e22", "00000000000000000001.5",
	"1.000000000000000000e-09", "3.141592653589793116e+00", "12345678.12345678", "0.12345678", "0.1234567a", "1e", "1e+", "--1", "1.2.3",
	"4.5035996273704965e15", "9.9e37", "-9.91E+37", "100000000000000016777215", "100000000000000016777216", "6.0e-1000", "0e999999999",
}

func TestNumberIsStrconv(t *testing.T) {
	for _, s := range numberSeeds {
		checkNumber(t, s)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range testrun.Short(200000, 40000) {
		v := math.Float64frombits(r.Uint64())
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		checkNumber(t, strconv.FormatFloat(v, 'e', r.IntN(20), 64))
		w := (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(30)-20))
		checkNumber(t, strconv.FormatFloat(w, "efg"[r.IntN(3)], r.IntN(21)-1, 64))
	}
}

func TestNumberResolution(t *testing.T) {
	for _, c := range []struct {
		s           string
		exp, digits int
	}{{"1.230e-05", -8, 4}, {"0.00123", -5, 3}, {"1200", 0, 4}, {"0.000", -3, 1}, {"12.50", -2, 4}, {"0", 0, 1}} {
		n, _ := scanNumber([]byte(c.s), '.')
		if n.exp10 != c.exp || n.digits != c.digits {
			t.Errorf("%s: resolution 1e%d with %d digits, want 1e%d with %d", c.s, n.exp10, n.digits, c.exp, c.digits)
		}
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range numberSeeds {
		f.Add(s)
	}
	f.Fuzz(checkNumber)
}
