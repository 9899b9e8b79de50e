package spike

// What decides in this room that is not a part of a formula.
const (
	// beginSigmas: a spike begins where the residue passes this many robust
	// standard deviations. Gaussian noise does so 2 in 10^9 samples at 6.
	beginSigmas = 6.0
	// endSigmas: it has ended when the residue stays under this many.
	endSigmas = 3.0
	// MaxListed is the most events kept in a list.
	MaxListed = 2000
)
