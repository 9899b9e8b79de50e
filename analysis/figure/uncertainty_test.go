package figure

import (
	"math"
	"testing"
)

// Contributions add in quadrature, times two (JCGM 100:2008, 5.1.2 and 6.2.1).
func TestExpandedUncertainty(t *testing.T) {
	if got := Expanded(2, 0.03, 0.04, 0); got != 0.1 { // 2·hypot(0.03, 0.04)
		t.Errorf("U = %g, want 0.1", got)
	}
	if got, want := Expanded(2, 0.03, 0.04, 0.05), 2*math.Sqrt(0.03*0.03+0.04*0.04+0.05*0.05); math.Abs(got-want) > 1e-12 {
		t.Errorf("U = %g, want %g", got, want)
	}
	// twice 0.02 scaled by 1.5 is a standard deviation of 0.03, and 2 % of 2 is 0.04
	if f := (TypeB{Scale: 1.5, Model: 0.02}).Of(2, 0.04, 0); !f.Known || f.Value != 2 || math.Abs(f.U-0.1) > 1e-12 {
		t.Errorf("%+v, want 2 ± 0.1", f)
	}
}
