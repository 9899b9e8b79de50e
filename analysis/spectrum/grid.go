package spectrum

import (
	"math"
)

// gridComb is a comb of mains harmonics among the lines found.
type gridComb struct {
	baseHz, uHz float64 // the mains frequency with its expanded uncertainty
	power       float64 // V² in lines that only a grid of this nominal frequency holds
}

// findMains tells 50 from 60 Hz by the power in lines that only one of the two
// combs holds; ok is false when neither is there or they are too much alike.
func findMains(lines []Line) (hz float64, ok bool) {
	a, isA := combOf(lines, 50)
	b, isB := combOf(lines, 60)
	switch {
	case isA && a.power > gridRatio*b.power:
		return 50, true
	case isB && b.power > gridRatio*a.power:
		return 60, true
	}
	return 0, false
}

// combOf finds the comb of a nominal mains frequency. The mains shows at once or
// twice its frequency; without a line there three are needed that no higher
// fundamental explains, since any tone lies near some harmonic of 50 or 60 Hz.
func combOf(lines []Line, nominal float64) (gridComb, bool) {
	var best gridComb
	found := false
	for i, l := range lines {
		n := math.Round(l.FrequencyHz / nominal)
		if n < 1 || n > gridHarmonics || math.Abs(l.FrequencyHz/(n*nominal)-1) > mainsDrift+mainsBinDrift*l.BinHz/l.FrequencyHz {
			continue
		}
		if c, ok := combFrom(lines, i, nominal); ok && (!found || c.power > best.power) {
			best, found = c, true
		}
	}
	return best, found
}

// combFrom gathers the lines that agree with one of them on the mains frequency,
// and refines it on the one that tells it best.
func combFrom(lines []Line, from int, nominal float64) (gridComb, bool) {
	seed := lines[from]
	n := math.Round(seed.FrequencyHz / nominal)
	base, u := seed.FrequencyHz/n, (mainsBinDrift*seed.BinHz+mainsTolerance*seed.FrequencyHz)/n
	c := gridComb{baseHz: nominal, uHz: mainsDrift * nominal}
	low, members, common := false, 0, 0
	var lowest Line // the strongest at once or twice the mains that tells a frequency
	for _, l := range lines {
		k := math.Round(l.FrequencyHz / base)
		reach := k*u + mainsBinDrift*l.BinHz
		if k < 1 || k > mainsHarmonics || math.Abs(l.FrequencyHz-k*base) > reach || k > 2 && reach > gridReach*base {
			continue
		}
		low = low || k <= 2
		if k <= 2 && l.RMSV > lowest.RMSV && l.BinHz/l.FrequencyHz < maxBinShare {
			lowest = l
		}
		members++
		common = gcd(common, int(k))
		if r := math.Mod(k*nominal, bothGridsHz); k <= gridHarmonics && r > 1 && r < bothGridsHz-1 {
			c.power += l.RMSV * l.RMSV
		}
		if own := l.mainsUHz() / k; own < c.uHz && l.BinHz/l.FrequencyHz < maxBinShare {
			c.baseHz, c.uHz = l.FrequencyHz/k, own
		}
	}
	// a tone near a high harmonic, as the 1 kHz of a sound card's frames, is no part of
	// a comb that the mains' own line contradicts
	if k := math.Round(lowest.FrequencyHz / base); k > 0 && math.Abs(lowest.FrequencyHz-k*c.baseHz) > mainsLowAgree*lowest.BinHz+k*c.uHz {
		c.baseHz, c.uHz = lowest.FrequencyHz/k, lowest.mainsUHz()/k
	}
	return c, low || members >= leastMembers && common <= 2
}

// mainsUHz is how far a harmonic's frequency may be off, Hz: by its bin, and by the
// noise beside it.
func (l Line) mainsUHz() float64 {
	return math.Hypot(mainsBinDrift*l.BinHz, l.BinHz*l.NoiseURMSV/l.RMSV)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
