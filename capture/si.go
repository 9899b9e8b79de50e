package capture

import (
	"math"
	"strconv"
	"strings"
)

// SI prints v with an SI prefix (pico to giga) and up to so many significant
// digits, at least 3, trailing zeros left out: SI(0.0123, "V", 3) is "12.3 mV".
// The prefix is that of the rounded value, so that 999.95 mV in three digits is
// "1 V" and never "1000 mV". Zero and values that are not finite take none.
func SI(v float64, unit string, digits int) string {
	digits = max(digits, 3)
	scale, prefix := 1.0, ""
	if v != 0 && !math.IsInf(v, 0) && !math.IsNaN(v) {
		// Rounding first leaves no tie for the division to tip over.
		v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
		for _, p := range []struct {
			scale  float64
			prefix string
		}{{1e9, "G"}, {1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}, {1e-12, "p"}} {
			scale, prefix = p.scale, p.prefix
			if math.Abs(v) >= p.scale {
				break
			}
		}
	}
	return strings.TrimSpace(strconv.FormatFloat(v/scale, 'g', digits, 64) + " " + prefix + unit)
}
