package sheet

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// A number in a sheet reads as a builder writes it, and back as the same value.
func TestNumber(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{
		{0, "0"}, {1e8, "100000000"}, {20e6, "20000000"}, {0.02, "0.02"}, {0.001, "0.001"}, {1.5, "1.5"}, {-0.25, "-0.25"},
		{30e-6, "30e-6"}, {300e-9, "300e-9"}, {100e-6, "100e-6"}, {9.416e-5, "94.16e-6"}, {0.5e-12, "500e-15"}, {0.00052, "520e-6"},
	} {
		if got := Number(c.v); got != c.want {
			t.Errorf("Number(%g) is %s, want %s", c.v, got, c.want)
		}
	}
	r := rand.New(rand.NewPCG(5, 7))
	for range 2000 {
		v := math.Ldexp(r.Float64()-0.5, r.IntN(120)-80)
		if back, err := strconv.ParseFloat(Number(v), 64); err != nil || back != v {
			t.Fatalf("Number(%g) is %s, which reads as %g (%v)", v, Number(v), back, err)
		}
	}
}
