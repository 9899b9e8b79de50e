package spectrum

import (
	"fmt"
	"math"
	"slices"
)

// spacingReach is how far from the switching frequency, as a share of it, lines
// count as its sidebands.
const spacingReach = 0.3

// lineSpacing finds the even spacing of the lines around the switching
// frequency: the rate at which the cycle is modulated. It is the widest spacing
// at which at least five lines stand that hold most of the power there besides
// the strongest one; 0 when there is none.
func lineSpacing(lines []Line, switchingHz float64) float64 {
	var near []Line
	for _, l := range lines { // by falling amplitude
		if math.Abs(l.FrequencyHz-switchingHz) < spacingReach*switchingHz && len(near) < 60 {
			near = append(near, l)
		}
	}
	if len(near) < 5 {
		return 0
	}
	centre := near[0]
	total := 0.0
	var candidates []float64
	for _, l := range near[1:] {
		total += l.RMSV * l.RMSV
		if len(candidates) < 24 {
			candidates = append(candidates, math.Abs(l.FrequencyHz-centre.FrequencyHz))
		}
	}
	for i := range near[:min(len(near), 12)] {
		for j := range i {
			candidates = append(candidates, math.Abs(near[i].FrequencyHz-near[j].FrequencyHz))
		}
	}
	slices.SortFunc(candidates, func(a, b float64) int {
		if a > b {
			return -1
		} else if a < b {
			return 1
		}
		return 0
	})
	for _, hz := range candidates {
		if hz < 2*centre.BinHz {
			break
		}
		power, count := 0.0, 0
		var sumKK, sumKD float64
		for _, l := range near[1:] {
			d := l.FrequencyHz - centre.FrequencyHz
			k := math.Round(d / hz)
			if k != 0 && math.Abs(d-k*hz) < 0.1*math.Abs(k)*centre.BinHz+0.3*centre.BinHz {
				power += l.RMSV * l.RMSV
				count++
				sumKK += k * k
				sumKD += k * d
			}
		}
		if count >= 4 && power > 0.8*total {
			return sumKD / sumKK
		}
	}
	return 0
}

// nameModulation names the lines of a cycle modulated at spacingHz: sidebands
// around every switching harmonic and, where the modulation shows by itself at
// low frequencies, its own comb. The latter tells a bursting supply, whose
// packets load the output, from a dithered one; it is reported as bursting.
func nameModulation(lines []Line, spacingHz, switchingHz float64) (bursting bool) {
	strongest, base := 0.0, 0.0
	for _, l := range lines {
		if math.Abs(l.FrequencyHz-switchingHz) < spacingReach*switchingHz {
			strongest = max(strongest, l.RMSV)
		}
		if k := math.Round(l.FrequencyHz / spacingHz); k >= 1 && k <= 3 && math.Abs(l.FrequencyHz-k*spacingHz) < 0.5*l.BinHz {
			base = max(base, l.RMSV)
		}
	}
	bursting = base > 0.05*strongest
	// each cluster has its own centre: the strongest line near the harmonic, as
	// packets need not start in phase
	centres := map[int]float64{}
	for _, l := range lines {
		n := int(math.Round(l.FrequencyHz / switchingHz))
		if n < 1 {
			continue
		}
		if _, ok := centres[n]; !ok {
			centres[n] = l.FrequencyHz
		}
	}
	for i := range lines {
		l := &lines[i]
		n := int(math.Round(l.FrequencyHz / switchingHz))
		if n < 1 || l.FrequencyHz < (1-spacingReach)*switchingHz {
			k := math.Round(l.FrequencyHz / spacingHz)
			if bursting && k >= 1 && math.Abs(l.FrequencyHz-k*spacingHz) < 0.5*l.BinHz+1e-4*l.FrequencyHz {
				l.Comb, l.Harmonic, l.Name = CombBurst, int(k), harmonicName("packet rate", int(k))
			}
			continue
		}
		d := l.FrequencyHz - centres[n]
		k := math.Round(d / spacingHz)
		if l.Comb == CombSwitching || math.Abs(d-k*spacingHz) > 0.5*l.BinHz+0.02*spacingHz {
			continue
		}
		if k == 0 {
			l.Comb, l.Harmonic, l.Name = CombSwitching, n, harmonicName("switching", n)+", spread"
			continue
		}
		l.Comb, l.Harmonic = CombSideband, n
		l.Name = fmt.Sprintf("%s, sideband at %d x %s", harmonicName("switching", n), int(math.Abs(k)), hertz(spacingHz))
	}
	return bursting
}

// nameMainsSidebands names the lines beside the switching lines at multiples of
// the mains frequency.
func nameMainsSidebands(lines []Line, mainsHz, switchingHz float64) {
	for i := range lines {
		l := &lines[i]
		n := math.Round(l.FrequencyHz / switchingHz)
		d := math.Abs(l.FrequencyHz - n*switchingHz)
		m := math.Round(d / mainsHz)
		if l.Comb != "" || n < 1 || m < 1 || m > 20 {
			continue
		}
		if math.Abs(d-m*mainsHz) < min(l.BinHz, 0.1*mainsHz)+1e-5*l.FrequencyHz {
			l.Comb, l.Harmonic = CombSideband, int(n)
			l.Name = fmt.Sprintf("%s, sideband at %d x mains", harmonicName("switching", int(n)), int(m))
		}
	}
}
