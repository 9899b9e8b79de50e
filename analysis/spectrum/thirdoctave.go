package spectrum

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// ThirdOctave is the floor's density in one third-octave band (base ten,
// IEC 61260-1). Densities are one-sided, in V/√Hz.
type ThirdOctave struct {
	CentreHz         float64 // exact, base ten, Hz
	DensityVPerRtHz  float64 // gated, without lines, freed of bias, converter step and baseline
	UngatedVPerRtHz  float64 // from the plain spectrum, nothing taken off but lines
	BaselineVPerRtHz float64 // the instrument's own, 0 none
	LowVPerRtHz      float64 // 95 % interval of DensityVPerRtHz
	HighVPerRtHz     float64 // upper end of the interval, V/√Hz
}

// octaveLevel is the noise power of one third octave with its standard deviation.
type octaveLevel struct {
	power    float64 // V²/Hz, bias corrected; floors taken off where it says so
	seen     float64 // V²/Hz before floors were taken off
	relative float64 // standard deviation over power
}

// octavePair is a third octave in the gated and in the plain spectrum.
type octavePair struct {
	centreHz     float64
	gated, plain octaveLevel
}

// octavesOf reads the third octaves (base ten, IEC 61260-1) that both spectra
// hold up to highHz, without the lines.
func octavesOf(gated, plain *Multirate, lines []Line, highHz float64) []octavePair {
	maskG, maskP := lineMask(*gated, lines), lineMask(*plain, lines)
	var out []octavePair
	for n := firstOctave; n <= lastOctave; n++ {
		centre := math.Pow(10, float64(n)/10)
		lo, hi := centre*math.Pow(10, -0.05), centre*math.Pow(10, 0.05)
		if hi > highHz || len(gated.FreqHz) == 0 || lo < gated.FreqHz[0] {
			continue
		}
		g, gatedOK := gated.level(maskG, lo, hi)
		p, plainOK := plain.level(maskP, lo, hi)
		if gatedOK && plainOK {
			out = append(out, octavePair{centre, g, p})
		}
	}
	return out
}

// ungate is the level without what the gate did to it. plateau is the gated
// spectrum's in V²/Hz, excised the share of the record taken out.
func (o octavePair) ungate(plateau, excised float64, opt NoiseOptions) octaveLevel {
	g := o.gated
	g.power /= 1 - opt.GateHeld
	if o.centreHz < opt.GateFromHz || o.centreHz > opt.HeldLowHz && o.centreHz < opt.HeldHighHz {
		g = o.plain
	} else if g.power > plateau && excised < maxExcised {
		g.power = plateau + (g.power-plateau)/(1-excised)
	}
	// gating takes away; where it seems to add, ripple left in it leaks through
	// the gate and the plain spectrum is nearer the truth
	if o.plain.power < leakRatio*g.power {
		g = o.plain
	}
	return g
}

// level is the noise density between two frequencies: the median of the bins
// not masked. Where lines leave too few, the lower quartile of all bins stands
// in. ok is false when there are none.
func (m *Multirate) level(mask []bool, lowHz, highHz float64) (l octaveLevel, ok bool) {
	first := m.index(lowHz)
	if first < 0 {
		return octaveLevel{}, false
	}
	last := first
	for last < len(m.FreqHz) && m.FreqHz[last] < highHz {
		last++
	}
	for first < last && m.FreqHz[first] < lowHz {
		first++
	}
	quantile := 0.5
	free := m.sample(first, last, quantile, mask)
	if n := last - first; len(free.power) < minFreeBins && len(free.power) < n || len(free.power)*freeBinShare < n {
		quantile = 0.25
		free = m.sample(first, last, quantile, nil)
	}
	if len(free.power) == 0 {
		return octaveLevel{}, false
	}
	slices.Sort(free.power)
	at := quantile * float64(len(free.power)-1)
	i := int(at)
	power := free.power[i]
	if i+1 < len(free.power) {
		power += (at - float64(i)) * (free.power[i+1] - free.power[i])
	}
	if !(power > 0) {
		return octaveLevel{}, false
	}
	// standard deviation of a sample quantile: sqrt(q(1-q)/n) over the density there
	dof := math.Inf(1)
	for _, s := range m.Stage[first:last] {
		dof = min(dof, m.Stages[s].DOF)
	}
	d := distuv.Gamma{Alpha: dof / 2, Beta: dof / 2}
	x := d.Quantile(quantile)
	rel := math.Sqrt(quantile*(1-quantile)/max(free.independent, 1)) / (d.Prob(x) * x)
	return octaveLevel{power: power, relative: rel}, true
}

// binSample is a sample of bins for one of its quantiles.
type binSample struct {
	power       []float64 // V²/Hz, freed of that quantile's bias
	independent float64   // how many independent bins they are worth
}

// sample takes the bins first to last-1 that are not masked (nil: all) for their
// q quantile.
func (m *Multirate) sample(first, last int, q float64, mask []bool) binSample {
	var s binSample
	bias, stage := 0.0, -1
	for i := first; i < last; i++ {
		if mask != nil && mask[i] {
			continue
		}
		st := m.Stages[m.Stage[i]]
		if m.Stage[i] != stage {
			stage, bias = m.Stage[i], gammaQuantile(q, st.DOF/2)
		}
		s.power = append(s.power, m.PSD[i]/bias)
		s.independent += st.BinHz / st.ENBWHz
	}
	return s
}
