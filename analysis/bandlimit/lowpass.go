package bandlimit

import (
	"fmt"
	"math"
)

// LowPass names the shape of the low-pass that stands in for an instrument's
// bandwidth limit.
type LowPass string

// The low-pass shapes on offer.
const (
	Default      LowPass = ""             // the default, see DEVELOPERS.md
	FirstOrder   LowPass = "first-order"  // one pole, analogue prototype
	Butterworth4 LowPass = "butterworth4" // fourth-order Butterworth
	Gaussian     LowPass = "gaussian"     // Gaussian, -3 dB at the limit
	Ideal        LowPass = "ideal"        // brick wall
	None         LowPass = "none"
)

// LowPasses lists the shapes in the order they are offered.
var LowPasses = [...]LowPass{FirstOrder, Butterworth4, Gaussian, Ideal, None}

// DefaultLowPass is one pole. A scope's bandwidth-limit switch puts a capacitor
// (or two) across a node of the vertical amplifier: its published rise time is
// 0.35/B and its skirt falls at 20 to 40 dB per decade, never like a brick wall.
// Of the offered shapes one pole passes most of what lies above the limit, so
// where the true instrument was steeper the figure errs against the supply,
// never in its favour.
const DefaultLowPass = FirstOrder

// Parse reads the name of a shape; the empty name is the default.
func Parse(s string) (LowPass, error) {
	if s == "" {
		return Default, nil
	}
	for _, l := range LowPasses {
		if string(l) == s {
			return l, nil
		}
	}
	return "", fmt.Errorf("low-pass %q is unknown: expected first-order, butterworth4, gaussian, ideal or none", s)
}

// Response is the complex response of the analogue prototype at fHz,
// -3 dB at cutHz (the ideal edge passes cutHz itself). The fourth-order
// Butterworth is the product of its two pole pairs, damping 2·cos(π/8) and
// 2·cos(3π/8).
func (shape LowPass) Response(fHz, cutHz float64) complex128 {
	x := fHz / cutHz
	s := complex(0, x)
	switch shape {
	case FirstOrder, Default:
		return 1 / (1 + s)
	case Butterworth4:
		a := complex(2*math.Cos(math.Pi/8), 0)
		b := complex(2*math.Cos(3*math.Pi/8), 0)
		return 1 / ((s*s + a*s + 1) * (s*s + b*s + 1))
	case Gaussian:
		return complex(math.Exp(-math.Ln2/2*x*x), 0)
	case Ideal:
		if x <= 1 {
			return 1
		}
		return 0
	default:
		return 1
	}
}

// words names the low-pass for the reader of a figure.
func (shape LowPass) Words(cutHz float64) string {
	at := fmt.Sprintf(" low-pass at %g MHz", cutHz/1e6)
	switch shape {
	case FirstOrder, Default:
		return "first-order" + at
	case Butterworth4:
		return "fourth-order Butterworth" + at
	case Gaussian:
		return "Gaussian" + at
	case Ideal:
		return "ideal" + at
	default:
		return "none"
	}
}
