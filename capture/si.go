package capture

import (
	"math"
	"strconv"
	"strings"
)

// prefixes are the SI prefixes of engineering notation.
var prefixes = []struct {
	scale float64
	name  string
}{{1e9, "G"}, {1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}, {1e-12, "p"}, {1e-15, "f"}}

// Prefixed rounds v to the given significant digits, at least 3, and gives it by the
// SI prefix, femto to giga, that brings it to 1 to 1000: v is about mantissa times
// scale. The prefix is that of the rounded value: 999.95 mV in three digits is 1 V
// and never 1000 mV. Zero and values that are not finite take none.
func Prefixed(v float64, digits int) (mantissa, scale float64, prefix string) {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return v, 1, ""
	}
	// Rounding first leaves no tie for the division to tip over.
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'e', max(digits, 3)-1, 64), 64)
	for _, p := range prefixes {
		scale, prefix = p.scale, p.name
		if math.Abs(v) >= p.scale {
			break
		}
	}
	return v / scale, scale, prefix
}

// SI prints v with an SI prefix and up to the given significant digits, at least 3,
// trailing zeros left out: SI(0.0123, "V", 3) is "12.3 mV". Capacitances go no
// further down than picofarads, as nobody says femtofarads.
func SI(v float64, unit string, digits int) string {
	m, _, prefix := Prefixed(v, digits)
	if unit == "F" && prefix == "f" {
		m, prefix = m/1000, "p"
	}
	return strings.TrimSpace(strconv.FormatFloat(m, 'g', max(digits, 3), 64) + " " + prefix + unit)
}
