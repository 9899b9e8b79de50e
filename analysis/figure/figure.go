package figure

// Figure is one measured quantity in the SI unit its field's name gives, or the
// reason why it could not be measured.
type Figure struct {
	Value      float64 // valid only when Known
	Known      bool    // whether there is a Value; else Missing says why not
	LowerBound bool    // the true value is at least Value
	UpperBound bool    // the true value is at most Value, and may be far below it
	U          float64 // expanded uncertainty (k = 2), absolute, same unit; 0: not evaluated
	Missing    string  // when !Known: why not, and what would be needed
}

// Known makes a measured figure.
func Known(v float64) Figure { return Figure{Value: v, Known: true} }

// NotMeasured makes a figure that the capture can't show. The reason is one
// sentence: why not, and what would be needed.
func NotMeasured(reason string) Figure { return Figure{Missing: reason} }
