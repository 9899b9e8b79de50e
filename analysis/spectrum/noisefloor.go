package spectrum

import (
	"cmp"
	"math"
	"slices"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// NoiseFloor is the random part between and under the lines: one-sided densities
// in V/√Hz. A record too short for it has no third octaves and all figures say so.
type NoiseFloor struct {
	// DensityVPerRtHz is the gated median over 2 to 20 kHz, where the criterion lies;
	// of a record too short for that, the level at AtHz.
	DensityVPerRtHz figure.Figure
	AtHz            figure.Figure // where: the geometric middle of that band, or of what the record holds, Hz
	InBand          bool          // the record holds the middle of the criterion's band
	UngatedVPerRtHz figure.Figure // the same place, from the plain spectrum
	CornerHz        figure.Figure // where the 1/f part equals the white part, Hz
	At1kHzVPerRtHz  figure.Figure // density of the third octave around 1 kHz
	ExcisedShare    float64       // share of the record gated out, 0 to 1
	AtInstrument    bool          // within 3 dB of the baseline: DensityVPerRtHz is an upper figure
	// AtQuantisation: the converter's own noise dominates, DensityVPerRtHz is an
	// upper figure.
	AtQuantisation bool
	ThirdOctaves   []ThirdOctave // rising
}

// NoiseOptions is what MeasureNoiseFloor is told of the record. The zero value
// of all but Span assumes nothing.
type NoiseOptions struct {
	Lines    []Line       // to leave out
	Span     capture.Span // of the trace; the floor is read up to its HighHz
	StepV    float64      // the converter's step, V; 0 unknown
	Baseline *NoiseFloor  // the instrument's own noise, nil when none
	// InputHz is where the instrument's own low-pass may lie; 0: no lower than the span's
	// top.
	InputHz float64
	// GateFromHz is where the gated spectrum begins to hold all of the noise; below
	// it, and from HeldLowHz to HeldHighHz, the plain one counts.
	GateFromHz            float64
	HeldLowHz, HeldHighHz float64 // Hz; 0, 0: no such band
	GateHeld              float64 // share of the noise's power that the gate took along, 0 to below 1
	// GainFraction is the instrument's relative gain uncertainty, and ModelShare what
	// else may be in the density between the lines, as a share of it; both k = 2.
	GainFraction, ModelShare float64
}

// MeasureNoiseFloor gives the density of the random part between and under the
// lines: per third octave (base ten, IEC 61260-1) the median over the bins that
// no line reaches, freed of the bias that the median of averaged chi-squared
// values has against their mean, the converter's own noise and the instrument's
// baseline taken off in power.
//
// gated is the spectrum of the residue after ripple and spikes are taken out, plain
// that of the trace as captured; they are one and the same where nothing was gated.
func MeasureNoiseFloor(gated, plain *Multirate, opt NoiseOptions) NoiseFloor {
	nf := NoiseFloor{ExcisedShare: gated.Excised}
	quant := QuantisationDensity(opt.StepV, plain.RateHz)
	quant *= quant
	high := min(opt.Span.HighHz, plain.RateHz/2)
	bands := octavesOf(gated, plain, opt.Lines, high)
	// Gating multiplies slow noise by the gate's mean share in amplitude, not in
	// power, and spreads the fast noise evenly under it: what stands above the
	// plateau was made small twice.
	half := bands[len(bands)/2:]
	plateau := weightedMedian(len(half), func(i int) (float64, float64) { return half[i].gated.power, 1 })
	var levels []octaveLevel
	for _, b := range bands {
		seen := b.ungate(plateau, gated.Excised, opt)
		t := ThirdOctave{CentreHz: b.centreHz, UngatedVPerRtHz: math.Sqrt(b.plain.power)}
		power := subtractFloor(seen.power, quant)
		if v, ok := opt.Baseline.at(b.centreHz); ok {
			t.BaselineVPerRtHz = v
			power = subtractFloor(power, v*v)
		}
		t.DensityVPerRtHz = math.Sqrt(power)
		// the interval keeps the absolute spread of what was seen
		spread := 2 * seen.relative * seen.power
		t.HighVPerRtHz = math.Sqrt(power + spread)
		t.LowVPerRtHz = math.Sqrt(max(power-spread, 0))
		nf.ThirdOctaves = append(nf.ThirdOctaves, t)
		levels = append(levels, octaveLevel{power: power, seen: seen.power, relative: max(seen.relative*seen.power/power, leastSpread)})
	}
	nf.summarise(levels, quant, high, opt)
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

// Densities are the floor's figures in V/√Hz: gated, with spikes, and at 1 kHz.
func (nf *NoiseFloor) Densities() [3]*figure.Figure {
	return [...]*figure.Figure{&nf.DensityVPerRtHz, &nf.UngatedVPerRtHz, &nf.At1kHzVPerRtHz}
}

// at is the density of the third octave at centreHz.
func (n *NoiseFloor) at(centreHz float64) (float64, bool) {
	t, ok := n.At(centreHz)
	return t.DensityVPerRtHz, ok
}

// At is the third octave at centreHz; ok is false where there is none.
func (n *NoiseFloor) At(centreHz float64) (t ThirdOctave, ok bool) {
	if n == nil {
		return t, false
	}
	for _, t := range n.ThirdOctaves {
		if math.Abs(t.CentreHz/centreHz-1) < centreOff {
			return t, true
		}
	}
	return t, false
}

// summarise turns the third octaves into the figures for the whole: the density in
// the criterion's band, the corner by the plateau. An instrument's own low-pass
// tilts the top of its span, up to highHz, so the plateau is looked for below a quarter of it.
func (nf *NoiseFloor) summarise(levels []octaveLevel, quant, highHz float64, opt NoiseOptions) {
	oct := nf.ThirdOctaves
	below := func(hz float64) (n int) {
		for n = len(oct); n > 0 && oct[n-1].CentreHz > hz; {
			n--
		}
		return n
	}
	last := below(plateauTopShare * highHz)
	if n := below(plateauTopShare * opt.InputHz); opt.InputHz > 0 && n >= plateauWidth {
		last = min(last, n)
	}
	if last == 0 {
		miss := figure.NotMeasured("the record is too short to hold a third octave of noise; a longer one is needed")
		nf.DensityVPerRtHz, nf.AtHz, nf.UngatedVPerRtHz, nf.CornerHz, nf.At1kHzVPerRtHz = miss, miss, miss, miss, miss
		return
	}
	p := findPlateau(oct[:last], levels[:last])
	d, ok := densityInBand(oct, levels)
	nf.InBand = ok && !d.partial
	if local := localLevel(oct, levels, p); !ok || d.partial && opt.Span.LowHz > DensityLowHz && local.relative < d.relative {
		// no criterion takes its figure from here: what is best known does
		d = local
	}
	median := func(power func(i int) float64) float64 {
		return weightedMedian(len(d.members), func(k int) (float64, float64) { return power(d.members[k]), 1 })
	}
	seen := median(func(i int) float64 { return levels[i].seen })
	density := math.Sqrt(d.power)
	u := density * d.relative // half the relative spread in power is the one in volts; k = 2
	nf.AtHz = figure.Known(d.atHz)
	ungated := math.Sqrt(median(func(i int) float64 { return oct[i].UngatedVPerRtHz * oct[i].UngatedVPerRtHz }))
	nf.UngatedVPerRtHz = densityModel.Of(ungated, 0, opt.GainFraction)
	if nf.AtQuantisation = quant > 0 && seen < floorRatio*quant; nf.AtQuantisation {
		// noise that does not spread over the steps may show too large or too small
		u = math.Hypot(u, math.Sqrt(quant))
	}
	nf.DensityVPerRtHz = densityModel.Of(density, math.Hypot(u, opt.ModelShare*density), opt.GainFraction)
	if b := median(func(i int) float64 { return oct[i].BaselineVPerRtHz * oct[i].BaselineVPerRtHz }); b > 0 {
		nf.AtInstrument = seen < floorRatio*b
	}
	nf.CornerHz = p.corner(oct[0].CentreHz)
	nf.At1kHzVPerRtHz = figure.NotMeasured("the record holds too few periods of 1 kHz")
	if d, ok := nf.at(1000); ok {
		nf.At1kHzVPerRtHz = densityModel.Of(d, 0, opt.GainFraction)
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
