package spectrum

import (
	"fmt"
	"math"
	"slices"
)

// lineSpacing finds the even spacing in Hz of the lines around the switching
// frequency: the rate at which the cycle is modulated. It is the widest spacing
// at which minSidebands lines or more stand that hold most of the power there
// besides the strongest one; 0 when there is none.
func lineSpacing(lines []Line, switchingHz float64) float64 {
	var near []Line
	for _, l := range lines { // by falling amplitude
		if math.Abs(l.FrequencyHz-switchingHz) < spacingReach*switchingHz && len(near) < maxSidebandLines {
			near = append(near, l)
		}
	}
	if len(near) < 1+minSidebands {
		return 0
	}
	centre, beside := near[0], near[1:]
	total := 0.0
	for _, l := range beside {
		total += l.RMSV * l.RMSV
	}
	for _, hz := range spacings(near) {
		if hz < spacingBins*centre.BinHz {
			break
		}
		power, count := 0.0, 0
		var sumKK, sumKD float64 // of the least squares for the spacing
		for _, l := range beside {
			d := l.FrequencyHz - centre.FrequencyHz
			k := math.Round(d / hz)
			if k != 0 && math.Abs(d-k*hz) < spacingOffOrder*math.Abs(k)*centre.BinHz+spacingOffBins*centre.BinHz {
				power += l.RMSV * l.RMSV
				count++
				sumKK += k * k
				sumKD += k * d
			}
		}
		if count >= minSidebands && power > sidebandPower*total {
			return sumKD / sumKK
		}
	}
	return 0
}

// spacings are the distances in Hz, falling, between the strongest of the lines
// and others, and among the strongest ones: those that lineSpacing tries.
func spacings(near []Line) []float64 {
	var hz []float64
	for _, l := range near[1:min(len(near), 1+centreSpacings)] {
		hz = append(hz, math.Abs(l.FrequencyHz-near[0].FrequencyHz))
	}
	for i := range near[:min(len(near), mutualSpacings)] {
		for j := range i {
			hz = append(hz, math.Abs(near[i].FrequencyHz-near[j].FrequencyHz))
		}
	}
	slices.Sort(hz)
	slices.Reverse(hz)
	return hz
}

// nameModulation names the lines of a cycle modulated at spacingHz: sidebands
// around every switching harmonic and, where the modulation shows by itself at
// low frequencies, its own comb. The latter tells a bursting supply, whose
// packets load the output, from a dithered one; it is reported as bursting.
func nameModulation(lines []Line, spacingHz, switchingHz float64) (bursting bool) {
	bursting = showsPackets(lines, spacingHz, switchingHz)
	// each cluster has its own centre: the strongest line near the harmonic, as
	// packets need not start in phase
	centres := map[int]float64{}
	for _, l := range lines { // by falling amplitude
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
		if n >= 1 && l.FrequencyHz >= (1-spacingReach)*switchingHz {
			l.nameSideband(n, centres[n], spacingHz)
		} else if k := math.Round(l.FrequencyHz / spacingHz); bursting && k >= 1 && math.Abs(l.FrequencyHz-k*spacingHz) < withinBin*l.BinHz+switchingTolerance*l.FrequencyHz {
			l.Comb, l.Harmonic, l.Name = CombBurst, int(k), harmonicName("burst rate", int(k))
		}
	}
	return bursting
}

// showsPackets reports whether the modulation at spacingHz stands at low
// frequencies by itself.
func showsPackets(lines []Line, spacingHz, switchingHz float64) bool {
	strongest, base := 0.0, 0.0
	for _, l := range lines {
		if math.Abs(l.FrequencyHz-switchingHz) < spacingReach*switchingHz {
			strongest = max(strongest, l.RMSV)
		}
		if k := math.Round(l.FrequencyHz / spacingHz); k >= 1 && k <= packetOrder && math.Abs(l.FrequencyHz-k*spacingHz) < withinBin*l.BinHz {
			base = max(base, l.RMSV)
		}
	}
	return base > packetShare*strongest
}

// nameSideband names the line where it stands a multiple of spacingHz from the
// centre of the n-th switching harmonic.
func (l *Line) nameSideband(n int, centreHz, spacingHz float64) {
	d := l.FrequencyHz - centreHz
	k := math.Round(d / spacingHz)
	if l.Comb == CombSwitching || math.Abs(d-k*spacingHz) > withinBin*l.BinHz+sidebandOff*spacingHz {
		return
	}
	if k == 0 {
		l.Comb, l.Harmonic, l.Name = CombSwitching, n, harmonicName("switching", n)+" (spread)"
		return
	}
	l.Comb, l.Harmonic = CombSideband, n
	l.Name = fmt.Sprintf("%s sideband at %d x %s", harmonicName("switching", n), int(math.Abs(k)), hertz(spacingHz))
}

// nameMainsSidebands names the lines beside the switching lines at multiples of
// the mains frequency.
func nameMainsSidebands(lines []Line, mainsHz, switchingHz float64) {
	for i := range lines {
		l := &lines[i]
		n := math.Round(l.FrequencyHz / switchingHz)
		d := math.Abs(l.FrequencyHz - n*switchingHz)
		m := math.Round(d / mainsHz)
		if l.Comb != "" || n < 1 || m < 1 || m > mainsSidebandMax {
			continue
		}
		if math.Abs(d-m*mainsHz) < min(l.BinHz, mainsSidebandOff*mainsHz)+mixTolerance*l.FrequencyHz {
			l.Comb, l.Harmonic = CombSideband, int(n)
			l.Name = fmt.Sprintf("%s sideband at %d x mains", harmonicName("switching", int(n)), int(m))
		}
	}
}
