package cycle

import (
	"math"
	"math/bits"
)

// Phase is a place in the cycle as a fraction of it, in units of 2^-64: sums of phases
// begin anew at the cycle's end by themselves, where a number of cycles would have to be
// held against it at every sample, for as long as the sample's other sums take.
type Phase uint64

// NewPhase is the place of so many cycles.
func NewPhase(cycles float64) Phase {
	share := cycles - math.Floor(cycles)
	if share >= 1 { // a hair below a whole number
		return 0
	}
	return Phase(int64(share*(1<<63))) << 1
}

// Bin is the place's number among so many even ones.
func (p Phase) Bin(bins int) int {
	bin, _ := bits.Mul64(uint64(p), uint64(bins))
	return int(bin)
}

// inBin is Bin, and where in it the place lies in units of inBinUnit, 0 to 1.
func (p Phase) inBin(bins uint64) (bin uint64, within int64) {
	bin, low := bits.Mul64(uint64(p), bins)
	return bin, int64(low >> 1)
}

const inBinUnit = 1.0 / (1 << 63)
