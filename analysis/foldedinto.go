package analysis

// FoldedInto is the most power, in V², that a record at a slower rate folds into the
// frequencies from lowHz to highHz of what m, a faster capture of the same unit, shows
// above half that rate: the noise's even share, and every line that may fall there.
func (m *Measurement) FoldedInto(rateHz, lowHz, highHz float64) float64 {
	return aboveHalf(m, rateHz).between(lowHz, highHz)
}
