package figure

import "math"

// Expanded combines independent contributions given as standard deviations and
// the gain's expanded relative uncertainty into the expanded uncertainty of value
// with k = 2, in value's unit (JCGM 100:2008, 5.1.2 and 6.2.1).
func Expanded(value, gainFraction float64, standard ...float64) float64 {
	g := gainFraction / 2 * value
	sq := g * g
	for _, s := range standard {
		sq += s * s
	}
	return 2 * math.Sqrt(sq)
}

// Stated makes a figure whose uncertainty combines the given standard deviations
// and the gain's expanded relative uncertainty.
func Stated(value, gainFraction float64, standard ...float64) Figure {
	f := Known(value)
	f.U = Expanded(value, gainFraction, standard...)
	return f
}

// TypeB is what experience adds to a fit's own standard uncertainty (JCGM
// 100:2008, 4.3).
type TypeB struct {
	// Scale is a factor on it: neighbouring places of a folded cycle are not
	// independent, and a fit chooses its own stretch.
	Scale float64
	// Model is the relative standard uncertainty of the model.
	Model float64
}

// AsItIs adds nothing: the deviation is the whole of the type A uncertainty.
var AsItIs = TypeB{Scale: 1}

// Of makes the figure of a fitted value with the fit's own deviation, given as
// twice the standard one, and the gain's expanded relative uncertainty.
func (b TypeB) Of(value, twiceDeviation, gainFraction float64) Figure {
	return Stated(value, gainFraction, b.Scale*twiceDeviation/2, b.Model*value)
}
