package cycle

// Kind is how the converter keeps time.
type Kind string

// Kinds of switching.
const (
	Unknown  Kind = ""         // none found
	Fixed    Kind = "fixed"    // one frequency
	Dithered Kind = "dithered" // spread-spectrum
	Bursting Kind = "bursting" // pulse-skipping packets
)
