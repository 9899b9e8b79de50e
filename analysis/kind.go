package analysis

// SwitchingKind is how the converter keeps time.
type SwitchingKind string

// Kinds of switching.
const (
	SwitchingUnknown  SwitchingKind = ""         // none found
	SwitchingFixed    SwitchingKind = "fixed"    // one frequency
	SwitchingDithered SwitchingKind = "dithered" // spread-spectrum
	SwitchingBursting SwitchingKind = "bursting" // pulse-skipping packets
)
