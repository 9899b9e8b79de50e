package analysis

import "stillglow/capture"

// hertz and seconds print a limit in a reason, to three digits.
func hertz(v float64) string   { return capture.SI(v, "Hz", 3) }
func seconds(v float64) string { return capture.SI(v, "s", 3) }
