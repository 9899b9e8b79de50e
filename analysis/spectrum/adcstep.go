package spectrum

import (
	"math"
	"slices"

	"stillglow/capture"
)

// ADCStep finds the converter's step in volts from the samples themselves. The
// samples may have been printed with few digits, so that neighbouring codes
// differ by one digit more or less. ok is false when the samples do not lie on a
// grid of at least three codes (an averaged, interpolated or simulated record).
func ADCStep(v []float64) (stepV float64, ok bool) {
	levels := distinctLevels(v)
	if len(levels) < minLevels {
		return 0, false
	}
	gaps := make([]float64, len(levels)-1)
	least := math.Inf(1)
	for i := range gaps {
		gaps[i] = levels[i+1] - levels[i]
		least = min(least, gaps[i])
	}
	// single steps first, then ever wider gaps, whose number of steps the better
	// estimate tells
	step := meanBelow(gaps, singleStep*least)
	for _, reach := range stepReaches {
		volts, codes := 0.0, 0.0
		for _, g := range gaps {
			if g <= reach*step {
				volts += g
				codes += math.Round(g / step)
			}
		}
		if codes > 0 {
			step = volts / codes
		}
	}
	// off a true grid by no more than printing explains
	sq, code, origin := 0.0, 0.0, levels[0]
	for i, g := range gaps {
		code += math.Round(g / step)
		e := (levels[i+1] - origin - code*step) / step
		e -= math.Round(e)
		sq += e * e
	}
	if math.Sqrt(sq/float64(len(gaps))) > offGrid {
		return 0, false
	}
	return step, true
}

// distinctLevels are the different values among up to 2^17 samples spread over
// the record, ascending; values that differ by rounding alone count once. Nil
// when nearly all samples differ.
func distinctLevels(v []float64) []float64 {
	const chunks, chunk = levelChunks, levelChunkLen
	pick := [][]float64{v}
	looked := len(v)
	if len(v) > chunks*chunk {
		pick, looked = nil, chunks*chunk
		for c := range chunks {
			at := c * (len(v) - chunk) / (chunks - 1)
			pick = append(pick, v[at:at+chunk])
		}
	}
	values := ascending(pick)
	if len(values) == 0 {
		return nil
	}
	first, last := values[0], values[len(values)-1]
	same := sameLevel * max(last-first, sameOffset*max(math.Abs(first), math.Abs(last)))
	levels := values[:1]
	for _, x := range values[1:] {
		if x-levels[len(levels)-1] > same {
			levels = append(levels, x)
		}
	}
	if len(levels) > fewLevels && float64(len(levels)) > maxLevelShare*float64(looked) {
		return nil
	}
	return levels
}

// ascending are the values of stretches in ascending order, each once where they are so
// few as a converter's codes are; else all.
func ascending(stretches [][]float64) []float64 {
	if few, ok := differing(stretches); ok {
		slices.Sort(few)
		return few
	}
	all := slices.Concat(stretches...)
	capture.Ascending(all)
	return all
}

// differing are the values of stretches, each once, in any order. ok is false where there
// are more than fill half of the table that they are looked up in.
func differing(stretches [][]float64) (values []float64, ok bool) {
	const places = 1 << levelTableBits
	var table [places]int32 // number of the value that has the place, 0: none
	for _, stretch := range stretches {
		for _, x := range stretch {
			at := math.Float64bits(x) * 0x9e3779b97f4a7c15 >> (64 - levelTableBits) // Knuth's multiplicative hash: 2^64 over the golden ratio
			for table[at] != 0 && values[table[at]-1] != x {
				at = (at + 1) % places
			}
			if table[at] != 0 {
				continue
			}
			if len(values) == places/2 {
				return nil, false
			}
			values = append(values, x)
			table[at] = int32(len(values))
		}
	}
	return values, true
}

// meanBelow is the mean of the values not above limit; limit must not be below
// the least of them.
func meanBelow(x []float64, limit float64) float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if v <= limit {
			sum += v
			n++
		}
	}
	return sum / float64(n)
}

// QuantisationDensity is the noise density in V/√Hz that a converter of the
// given step adds when the signal is busy: step/√12 spread evenly up to half
// the sample rate (Bennett 1948; IEEE Std 1241).
func QuantisationDensity(stepV, rateHz float64) float64 {
	if !(stepV > 0) || !(rateHz > 0) {
		return 0
	}
	return stepV / math.Sqrt(12) / math.Sqrt(rateHz/2)
}
