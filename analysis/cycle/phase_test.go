package cycle

import (
	"math"
	"math/big"
	"testing"
)

// Sums of phases stay within 1e-12 cycles of the exact ones over a million samples, and
// a place's bin is the one that holds it.
func TestPhase(t *testing.T) {
	for _, c := range []struct{ start, step float64 }{{0, 0.1}, {-0.3, 1 / 36.7}, {12345.678, 0.49999}, {1e6 + 0.5, 5e-4}, {-1e-18, 1.25e-3}} {
		at, step := NewPhase(c.start), NewPhase(c.step)
		for range 1000000 {
			at += step
		}
		exact := new(big.Float).SetPrec(200).SetFloat64(c.step)
		exact.Mul(exact, big.NewFloat(1e6)).Add(exact, new(big.Float).SetFloat64(c.start))
		whole, _ := exact.Int(nil)
		want, _ := exact.Sub(exact, new(big.Float).SetInt(whole)).Float64()
		want = fraction(want)
		if got := float64(at) / (1 << 63) / 2; math.Abs(offWhole(got-want)) > 1e-12 {
			t.Errorf("%+v: %.15g after a million samples, want %.15g", c, got, want)
		}
	}
	for _, bins := range []int{1, 6, 256, 768, 4096} {
		for _, share := range []float64{0, 1e-9, 0.25, 0.3, 0.5, 0.999999, 1 - 1e-16, 7.75, -0.25} {
			p := NewPhase(share)
			want := min(int(fraction(share)*float64(bins)), bins-1)
			if got := p.Bin(bins); got != want {
				t.Errorf("%g of %d bins: bin %d, want %d", share, bins, got, want)
			}
			bin, within := p.inBin(uint64(bins))
			if place := (float64(bin) + float64(within)*inBinUnit) / float64(bins); math.Abs(place-fraction(share)) > 1e-15 {
				t.Errorf("%g of %d bins: at %.16g", share, bins, place)
			}
		}
	}
	if p := NewPhase(-1e-18); p != 0 {
		t.Errorf("a hair below a whole number is %d", p)
	}
}
