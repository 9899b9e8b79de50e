package spectrum

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// NoiseFloor is the random part between and under the lines.
type NoiseFloor struct {
	DensityVPerRtHz figure.Figure // gated, median over the span's plateau, V/sqrt(Hz)
	AtHz            figure.Figure // where: the geometric middle of the third octaves taken
	UngatedVPerRtHz figure.Figure // the same place, from the plain spectrum
	CornerHz        figure.Figure // where the 1/f part equals the white part
	At1kHzVPerRtHz  figure.Figure // density at 1 kHz
	ExcisedShare    float64       // share of the record gated out
	AtInstrument    bool          // within 3 dB of the baseline: DensityVRHz is an upper figure
	// AtQuantisation: the converter's own noise dominates, DensityVRHz is an
	// upper figure.
	AtQuantisation bool
	ThirdOctaves   []ThirdOctave
}

// ThirdOctave is the floor's density in one third-octave band.
type ThirdOctave struct {
	CentreHz         float64
	DensityVPerRtHz  float64 // gated, lines excluded, bias corrected, baseline subtracted
	UngatedVPerRtHz  float64
	BaselineVPerRtHz float64 // 0: none
	LowVPerRtHz      float64 // 95 % interval
	HighVPerRtHz     float64
}

// NoiseOptions tunes MeasureNoiseFloor.
type NoiseOptions struct {
	Plain    *Multirate   // spectrum of the plain source when already at hand
	Lines    []Line       // to leave out
	Span     capture.Span // of the trace
	StepV    float64      // the converter's step, 0 unknown
	Baseline *NoiseFloor  // the instrument's own floor, nil when none
	// GateFromHz is where the gated spectrum begins to hold all of the noise; below
	// it, and from HeldLowHz to HeldHighHz, the plain one counts.
	GateFromHz            float64
	HeldLowHz, HeldHighHz float64
	GateHeld              float64 // share of the noise's power that the gate took along
}

// MeasureNoiseFloor gives the density of the random part between and under the
// lines: per third octave (base ten, IEC 61260-1) the median over the bins that
// no line reaches, freed of the bias that the median of averaged chi-squared
// values has against their mean, the converter's own noise and the instrument's
// baseline taken off in power.
//
// gated is the residue after ripple and spikes are taken out, nil when they
// could not be; plain is the trace as captured. The error is the context's.
func MeasureNoiseFloor(ctx context.Context, gated GatedSource, plain Source, rateHz float64, opt NoiseOptions) (NoiseFloor, error) {
	p := opt.Plain
	if p == nil {
		m, err := Of(ctx, plain, rateHz, Options{})
		if err != nil {
			return NoiseFloor{}, err
		}
		p = &m
	}
	g := p
	if gated != nil {
		m, err := Of(ctx, gated, rateHz, Options{})
		if err != nil {
			return NoiseFloor{}, err
		}
		g = &m
	}
	return noiseFloorOf(g, p, opt), nil
}

// octaveLevel is one third octave's raw density with its standard deviation.
type octaveLevel struct {
	power    float64 // V²/Hz, bias corrected, floors taken off
	seen     float64 // the same before
	relative float64 // standard deviation over power
	ok       bool
}

func noiseFloorOf(gated, plain *Multirate, opt NoiseOptions) NoiseFloor {
	nf := NoiseFloor{ExcisedShare: gated.Excised}
	quant := QuantisationDensity(opt.StepV, plain.RateHz)
	quant *= quant
	high := min(opt.Span.HighHz, plain.RateHz/2)
	maskG, maskP := lineMask(*gated, opt.Lines), lineMask(*plain, opt.Lines)

	type seen struct {
		centre float64
		g, p   octaveLevel
	}
	var all []seen
	for n := firstOctave; n <= lastOctave; n++ {
		centre := math.Pow(10, float64(n)/10)
		lo, hi := centre*math.Pow(10, -0.05), centre*math.Pow(10, 0.05)
		if hi > high || len(gated.FreqHz) == 0 || lo < gated.FreqHz[0] {
			continue
		}
		g := gated.level(maskG, lo, hi)
		p := plain.level(maskP, lo, hi)
		if g.ok && p.ok {
			all = append(all, seen{centre, g, p})
		}
	}
	// Gating multiplies slow noise by the gate's mean share in amplitude, not in
	// power, and spreads the fast noise evenly under it: what stands above the
	// plateau was made small twice.
	half := all[len(all)/2:]
	plateau := weightedMedian(len(half), func(i int) (float64, float64) { return half[i].g.power, 1 })
	var raw []octaveLevel
	for _, o := range all {
		g := o.g
		g.power /= 1 - opt.GateHeld
		if o.centre < opt.GateFromHz || o.centre > opt.HeldLowHz && o.centre < opt.HeldHighHz {
			g = o.p
		} else if g.power > plateau && gated.Excised < maxExcised {
			g.power = plateau + (g.power-plateau)/(1-gated.Excised)
		}
		// gating takes away; where it seems to add, ripple left in it leaks through
		// the gate and the plain spectrum is nearer the truth
		if o.p.power < leakRatio*g.power {
			g = o.p
		}
		t := ThirdOctave{CentreHz: o.centre, UngatedVPerRtHz: math.Sqrt(o.p.power)}
		power := subtractFloor(g.power, quant)
		if b, ok := opt.Baseline.at(o.centre); ok {
			t.BaselineVPerRtHz = b
			power = subtractFloor(power, b*b)
		}
		t.DensityVPerRtHz = math.Sqrt(power)
		// the interval keeps the absolute spread of what was seen
		spread := 2 * g.relative * g.power
		t.HighVPerRtHz = math.Sqrt(power + spread)
		t.LowVPerRtHz = math.Sqrt(max(power-spread, 0))
		nf.ThirdOctaves = append(nf.ThirdOctaves, t)
		raw = append(raw, octaveLevel{power: power, seen: g.power, relative: max(g.relative*g.power/power, 1e-6), ok: true})
	}
	nf.summarise(raw, quant, high)
	return nf
}

// subtractFloor takes a known floor off in power. Within 3 dB of the floor
// what is left would be guesswork: the seen power stands, as an upper figure.
func subtractFloor(power, floor float64) float64 {
	if power < floorRatio*floor {
		return power
	}
	return power - floor
}

// at is the density of the third octave at centreHz.
func (n *NoiseFloor) at(centreHz float64) (float64, bool) {
	if n == nil {
		return 0, false
	}
	for _, t := range n.ThirdOctaves {
		if math.Abs(t.CentreHz/centreHz-1) < 0.01 {
			return t.DensityVPerRtHz, true
		}
	}
	return 0, false
}

// level is the noise density between two frequencies: the median of the bins
// not masked. Where lines leave too few, the lower quartile of all bins stands
// in.
func (m *Multirate) level(mask []bool, lowHz, highHz float64) octaveLevel {
	var free, all []float64
	independent, dof := 0.0, math.Inf(1)
	first := m.index(lowHz)
	if first < 0 {
		return octaveLevel{}
	}
	quantile := 0.5
	pick := func(q float64, unmaskedOnly bool) []float64 {
		var out []float64
		independent = 0
		bias, stage := 0.0, -1
		for i := first; i < len(m.FreqHz) && m.FreqHz[i] < highHz; i++ {
			if m.FreqHz[i] < lowHz || (unmaskedOnly && mask[i]) {
				continue
			}
			st := m.Stages[m.Stage[i]]
			if m.Stage[i] != stage {
				stage, bias = m.Stage[i], gammaQuantile(q, st.DOF/2)
			}
			dof = min(dof, st.DOF)
			out = append(out, m.PSD[i]/bias)
			independent += st.BinHz / st.ENBWHz
		}
		return out
	}
	all = pick(0.25, false)
	if len(all) == 0 {
		return octaveLevel{}
	}
	free = pick(0.5, true)
	if len(free) < minFreeBins && len(free) < len(all) || len(free)*freeBinShare < len(all) {
		quantile = 0.25
		free = pick(0.25, false)
	}
	slices.Sort(free)
	at := quantile * float64(len(free)-1)
	i := int(at)
	power := free[i]
	if i+1 < len(free) {
		power += (at - float64(i)) * (free[i+1] - free[i])
	}
	if !(power > 0) {
		return octaveLevel{}
	}
	// standard deviation of a sample quantile: sqrt(q(1-q)/n) over the density there
	d := distuv.Gamma{Alpha: dof / 2, Beta: dof / 2}
	x := d.Quantile(quantile)
	rel := math.Sqrt(quantile*(1-quantile)/max(independent, 1)) / (d.Prob(x) * x)
	return octaveLevel{power: power, relative: rel, ok: true}
}

// summarise turns the third octaves into the figures for the whole. An
// instrument's own low-pass tilts the top of its span, so the plateau is looked
// for below a quarter of it.
func (nf *NoiseFloor) summarise(raw []octaveLevel, quant, highHz float64) {
	oct := nf.ThirdOctaves
	last := len(oct)
	for last > 0 && oct[last-1].CentreHz > plateauTopShare*highHz {
		last--
	}
	if last == 0 {
		miss := figure.NotMeasured("the record is too short to hold a third octave of noise; a longer one is needed")
		nf.DensityVPerRtHz, nf.AtHz, nf.UngatedVPerRtHz, nf.CornerHz, nf.At1kHzVPerRtHz = miss, miss, miss, miss, miss
		return
	}
	p := findPlateau(oct[:last], raw[:last])
	median := func(power func(i int) float64) float64 {
		return weightedMedian(len(p.members), func(k int) (float64, float64) {
			i := p.members[k]
			return power(i), 1 / math.Max(raw[i].relative, leastRelative)
		})
	}
	seen := median(func(i int) float64 { return raw[i].seen })
	inverse := 0.0
	for _, i := range p.members {
		inverse += 1 / (raw[i].relative * raw[i].relative)
	}
	nf.DensityVPerRtHz = figure.Known(math.Sqrt(p.power))
	// half the relative spread in power is the one in volts; k = 2
	nf.DensityVPerRtHz.U = nf.DensityVPerRtHz.Value * math.Sqrt(1/inverse)
	nf.AtHz = figure.Known(math.Sqrt(oct[p.members[0]].CentreHz * oct[p.members[len(p.members)-1]].CentreHz))
	nf.UngatedVPerRtHz = figure.Known(math.Sqrt(median(func(i int) float64 { return oct[i].UngatedVPerRtHz * oct[i].UngatedVPerRtHz })))
	if nf.AtQuantisation = quant > 0 && seen < floorRatio*quant; nf.AtQuantisation {
		// noise that does not spread over the steps may show too large or too small
		nf.DensityVPerRtHz.U = math.Hypot(nf.DensityVPerRtHz.U, math.Sqrt(quant))
	}
	if b := median(func(i int) float64 { return oct[i].BaselineVPerRtHz * oct[i].BaselineVPerRtHz }); b > 0 {
		nf.AtInstrument = seen < floorRatio*b
	}
	switch {
	case p.cornerHz > 0:
		nf.CornerHz = figure.Known(p.cornerHz)
	case p.rises:
		nf.CornerHz = figure.NotMeasured("what rises towards low frequencies does not rise as 1/f")
	default:
		nf.CornerHz = figure.NotMeasured("the noise is white down to " + hertz(oct[0].CentreHz) + ", the lowest third octave of the record")
	}
	nf.At1kHzVPerRtHz = figure.NotMeasured("the capture does not hold 1 kHz with enough periods")
	if d, ok := nf.at(1000); ok {
		nf.At1kHzVPerRtHz = figure.Known(d)
	}
}

// weightedMedian is the value at which half the weight lies on each side.
func weightedMedian(n int, at func(i int) (value, weight float64)) float64 {
	type item struct{ v, w float64 }
	items := make([]item, n)
	total := 0.0
	for i := range items {
		items[i].v, items[i].w = at(i)
		total += items[i].w
	}
	slices.SortFunc(items, func(a, b item) int { return cmp.Compare(a.v, b.v) })
	sum := 0.0
	for i, it := range items {
		sum += it.w
		if sum >= total/2 {
			if sum == total/2 && i+1 < n {
				return (it.v + items[i+1].v) / 2
			}
			return it.v
		}
	}
	return 0
}
