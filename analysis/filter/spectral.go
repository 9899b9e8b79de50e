package filter

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// spectral predicts a measurement behind the circuit from the measurement
// alone, every figure by its rule in the register. Exact for what is linear in
// the spectrum: lines, densities, band sums and the folded cycle. Spikes and the
// peak-to-peak in 20 MHz are scaled by what the circuit makes of the typical
// spike and of the detail kept of the waveform, which is good to a few dB; where
// neither was kept, by the greatest gain it has where the spike lives. DC stays as
// it was at the supply's terminals, where its limit holds. A figure without a rule
// is not measured.
func spectral(m *analysis.Measurement, c Circuit) *analysis.Measurement {
	out := *m
	p := newPrediction(m, c)
	p.curves(&out)
	for _, row := range analysis.Register() {
		if row.Behind.Rule != figure.ReadAnew {
			row.Write(&out, p.figure(row, row.Read(m)))
		}
	}
	return &out
}

// prediction holds what the circuit makes of one measurement's curves.
type prediction struct {
	m           *analysis.Measurement
	c           Circuit
	gain        func(hz float64) float64
	spike       float64   // of the typical spike's peak
	cycle       float64   // of the ripple's peak-to-peak
	cycleBehind []float64 // the mean cycle with its spikes, nil without one

	quiet  *spectrum.Curve // what besideMains found, nil before
	detail float64         // what the circuit makes of the detail's peak-to-peak, 0: not asked yet
}

func newPrediction(m *analysis.Measurement, c Circuit) *prediction {
	p := &prediction{m: m, c: c, cycle: 1, gain: func(hz float64) float64 { return cmplx.Abs(Insertion(c, hz)) }}
	if n := len(m.Cycle.MeanV); n >= cycleSamples && m.Cycle.PeriodS > 0 {
		p.cycleBehind = throughCycle(m.Cycle.MeanV, m.Cycle.PeriodS, c)
	}
	if ripple, duty := spikeFree(m); ripple != nil {
		after := throughCycle(ripple, m.Cycle.PeriodS, c)
		p.cycle = ratio(peakToPeak(offEdges(after, duty)), peakToPeak(offEdges(ripple, duty)))
	} else if m.SwitchingHz.Known {
		p.cycle = greatest(p.gain, m.SwitchingHz.Value, 20*m.SwitchingHz.Value)
	}
	p.spike = spikeGain(m, c, p.gain)
	return p
}

// curves sends the curves and lists of a measurement through the circuit.
func (p *prediction) curves(out *analysis.Measurement) {
	m := p.m
	out.Spectrum.VPerRtHz = scaled(m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, p.gain)
	out.Spectrum.BaselineVPerRtHz = nil
	out.Lines = append([]spectrum.Line(nil), m.Lines...)
	for i := range out.Lines {
		h := Insertion(p.c, out.Lines[i].FrequencyHz)
		out.Lines[i].RMSV *= cmplx.Abs(h)
		out.Lines[i].InstrumentRMSV *= cmplx.Abs(h)
		out.Lines[i].NoiseURMSV *= cmplx.Abs(h)
		out.Lines[i].PhaseRad += cmplx.Phase(h)
	}
	out.Bands = append([]spectrum.Band(nil), m.Bands...) // the register's rows write into it
	out.Noise.ThirdOctaves = append([]spectrum.ThirdOctave(nil), m.Noise.ThirdOctaves...)
	for i, t := range out.Noise.ThirdOctaves {
		g := p.gain(t.CentreHz)
		t.DensityVPerRtHz *= g
		t.UngatedVPerRtHz *= p.octaveGain(t.CentreHz, g) // which holds lines, at one end or the other
		t.LowVPerRtHz *= g
		t.HighVPerRtHz *= g
		t.BaselineVPerRtHz = 0
		out.Noise.ThirdOctaves[i] = t
	}
	if p.cycleBehind != nil {
		out.Cycle.MeanV = p.cycleBehind
	}
	out.Spikes.List = nil
}

// octaveGain is what the circuit makes of the rms within the third octave about
// centreHz, by the spectrum; without one there, atCentre.
func (p *prediction) octaveGain(centreHz, atCentre float64) float64 {
	half := math.Pow(2, 1.0/6)
	if g, ok := spectrumGain(p.m.Spectrum, centreHz/half, centreHz*half, nil, p.gain); ok {
		return g
	}
	return atCentre
}

// bandGain is what the circuit makes of f, the rms within a band. The spectrum smears
// the mains' lines, a few of its points apart, over frequencies at which the gain and the
// weighting are others, so that they are taken by themselves.
func (p *prediction) bandGain(b figure.Behind[analysis.Measurement], f figure.Figure) float64 {
	lowHz, highHz := b.Band(p.m)
	var lines, mains, after float64 // powers in V²
	for _, l := range p.m.Lines {
		if l.FrequencyHz < lowHz || l.FrequencyHz > highHz || l.Comb == spectrum.CombInstrument {
			continue
		}
		v := l.RMSV
		if b.Weight != nil {
			v *= b.Weight(l.FrequencyHz)
		}
		lines += v * v
		if l.Comb == spectrum.CombMains {
			g := p.gain(l.FrequencyHz)
			mains += v * v
			after += v * v * g * g
		}
	}
	if b.Quiet != nil && mains > 0 {
		quiet := b.Quiet(p.m)
		rest, shown := spectrumGain(p.besideMains(), lowHz, highHz, b.Weight, p.gain)
		if inLines := f.Value*f.Value - quiet.Value*quiet.Value; shown && quiet.Known && inLines > 0 {
			share := inLines / (f.Value * f.Value) * mains / lines
			return math.Sqrt((1-share)*rest*rest + share*after/mains)
		}
	}
	return bandGain(p.m.Spectrum, lowHz, highHz, b.Weight, p.gain)
}

// besideMains is the spectrum without the places that a line of the mains reaches.
func (p *prediction) besideMains() spectrum.Curve {
	if p.quiet != nil {
		return *p.quiet
	}
	s := p.m.Spectrum
	var lines []float64
	for _, l := range p.m.Lines {
		if l.Comb == spectrum.CombMains {
			lines = append(lines, l.FrequencyHz)
		}
	}
	slices.Sort(lines)
	p.quiet = &spectrum.Curve{}
	for i, hz := range s.FrequencyHz {
		if i == 0 || i >= len(s.VPerRtHz) {
			continue
		}
		reach := lineReach * (hz - s.FrequencyHz[i-1])
		if k, _ := slices.BinarySearch(lines, hz-reach); k < len(lines) && lines[k] <= hz+reach {
			continue
		}
		p.quiet.FrequencyHz, p.quiet.VPerRtHz = append(p.quiet.FrequencyHz, hz), append(p.quiet.VPerRtHz, s.VPerRtHz[i])
	}
	return *p.quiet
}

// notForetold is why a figure has no value behind a circuit.
const notForetold = "behind a filter it can't be predicted from the measurement alone; the capture's samples are needed"

// figure is a figure behind the circuit.
func (p *prediction) figure(row figure.Row[analysis.Measurement], f figure.Figure) figure.Figure {
	if !f.Known {
		return f
	}
	miss := figure.NotMeasured(notForetold)
	switch b := row.Behind; b.Rule {
	case figure.Unchanged:
		return f
	case figure.NoneStaysNone:
		if f.Value == 0 {
			return f
		}
	case figure.AtFrequency:
		at := b.AtHz(p.m)
		if !at.Known {
			return miss
		}
		return times(f, p.gain(at.Value))
	case figure.InBand:
		return times(f, p.bandGain(b, f))
	case figure.FromCurve:
		return p.fromCurve(b.Curve, f, miss)
	}
	return miss
}

// fromCurve recomputes a figure from the curve that its row names.
func (p *prediction) fromCurve(c figure.Curve, f, miss figure.Figure) figure.Figure {
	switch c {
	case figure.CycleCurve:
		return times(f, p.cycle)
	case figure.SpikeCurve:
		return times(f, p.spike)
	case figure.DetailCurve:
		return p.behindPP(f)
	case figure.PeriodicCurve:
		if g, ok := p.periodicGain(); ok {
			return times(f, g)
		}
	case figure.FloorCurve:
		if g, ok := p.floorGain(); ok {
			return times(f, g)
		}
	}
	return miss
}

// periodicGain is what the circuit makes of the rms of all that repeats: the mean
// cycle with its spikes, the mains comb, and the lines of neither.
func (p *prediction) periodicGain() (float64, bool) {
	var before, after float64
	for i, v := range p.cycleBehind {
		n := float64(len(p.cycleBehind))
		before += p.m.Cycle.MeanV[i] * p.m.Cycle.MeanV[i] / n
		after += v * v / n
	}
	line := func(rmsV, hz float64) {
		g := p.gain(hz)
		before += rmsV * rmsV
		after += rmsV * rmsV * g * g
	}
	for _, l := range p.m.Lines {
		if l.Comb == spectrum.CombSwitching && p.cycleBehind != nil {
			continue // in the cycle
		}
		line(l.RMSV, l.FrequencyHz)
	}
	if !(before > 0) {
		return 0, false
	}
	return math.Sqrt(after / before), true
}

// floorGain is what the circuit makes of the rms of the noise floor.
func (p *prediction) floorGain() (float64, bool) {
	var before, after float64
	for _, t := range p.m.Noise.ThirdOctaves {
		power := t.DensityVPerRtHz * t.DensityVPerRtHz * t.CentreHz // a third octave is as wide as its centre is high
		g := p.gain(t.CentreHz)
		before += power
		after += power * g * g
	}
	if !(before > 0) {
		return 0, false
	}
	return math.Sqrt(after / before), true
}

// times scales a figure and its uncertainty.
func times(f figure.Figure, g float64) figure.Figure {
	f.Value *= g
	f.U *= g
	return f
}

func scaled(hz, v []float64, gain func(float64) float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] * gain(hz[i])
	}
	return out
}

// bandGain is what the circuit makes of the rms within a band of the spectrum;
// without a spectrum there, the greatest gain in the band.
func bandGain(s spectrum.Curve, lowHz, highHz float64, weight, gain func(float64) float64) float64 {
	if g, ok := spectrumGain(s, lowHz, highHz, weight, gain); ok {
		return g
	}
	if !(lowHz > 0) || math.IsInf(highHz, 0) || highHz <= lowHz {
		return 1
	}
	return greatest(gain, lowHz, highHz)
}

// spectrumGain is bandGain where the spectrum shows the band.
func spectrumGain(s spectrum.Curve, lowHz, highHz float64, weight, gain func(float64) float64) (g float64, ok bool) {
	var before, after float64
	for i := 1; i < len(s.FrequencyHz); i++ {
		f := s.FrequencyHz[i]
		if f < lowHz || f > highHz || i >= len(s.VPerRtHz) {
			continue
		}
		p := s.VPerRtHz[i] * s.VPerRtHz[i] * (f - s.FrequencyHz[i-1])
		if weight != nil {
			w := weight(f)
			p *= w * w
		}
		g := gain(f)
		before += p
		after += p * g * g
	}
	if !(before > 0) {
		return 0, false
	}
	return math.Sqrt(after / before), true
}

// greatest gain between two frequencies, on a log grid.
func greatest(gain func(float64) float64, lowHz, highHz float64) float64 {
	var g float64
	for i := 0; i <= gainPoints; i++ {
		g = math.Max(g, gain(lowHz*math.Pow(highHz/lowHz, float64(i)/gainPoints)))
	}
	return g
}

// spikeFree is one cycle of the ripple without its spikes: two straight pieces
// with the ESR's step between them, from the slopes found. Where they do not
// give the ripple measured, the mean cycle stands in, spikes and all, with duty
// 0; nil when there is none.
func spikeFree(m *analysis.Measurement) (cycle []float64, duty float64) {
	c := m.Cycle
	if c.PeriodS <= 0 || len(c.MeanV) < cycleSamples {
		return nil, 0
	}
	if c.RiseSlopeVPerS.Known && c.FallSlopeVPerS.Known && c.ApparentDuty.Known && m.RipplePPV.Known {
		const n = 2048
		v := make([]float64, n)
		rise, fall := c.RiseSlopeVPerS.Value, c.FallSlopeVPerS.Value
		duty = c.ApparentDuty.Value
		step := c.ESRStepV.Value // 0 where not known
		for i := range v {
			x := (float64(i) + 0.5) / n
			if x < duty {
				v[i] = rise * x * c.PeriodS
			} else {
				v[i] = rise*duty*c.PeriodS - step + fall*(x-duty)*c.PeriodS
			}
		}
		if math.Abs(peakToPeak(v)/m.RipplePPV.Value-1) < cycleAgrees {
			return v, duty
		}
	}
	return c.MeanV, 0
}

// offEdges leaves out a hundredth of the cycle after each edge: what an ESL
// makes of a step there counts as a spike, not as ripple.
func offEdges(cycle []float64, duty float64) []float64 {
	if duty <= 0 || duty >= 1 {
		return cycle
	}
	kept := make([]float64, 0, len(cycle))
	for i, v := range cycle {
		x := (float64(i) + 0.5) / float64(len(cycle))
		if x < afterEdge || x > 1-beforeEdge || (x > duty-beforeEdge && x < duty+afterEdge) {
			continue
		}
		kept = append(kept, v)
	}
	return kept
}

// throughCycle filters one period of a periodic waveform in the steady state.
func throughCycle(v []float64, periodS float64, c Circuit) []float64 {
	fft := fourier.NewFFT(len(v))
	spectrum := fft.Coefficients(nil, v)
	for k := range spectrum {
		spectrum[k] *= Insertion(c, float64(k)/periodS)
	}
	out := fft.Sequence(nil, spectrum)
	for i := range out {
		out[i] /= float64(len(v))
	}
	return out
}

// middle is an envelope's waveform, nil where columns hold more than a sample
// (its middle line would lose what lies between).
func middle(e analysis.Envelope) []float64 {
	if len(e.MinV) < spikeSamples || len(e.MinV) != len(e.MaxV) || e.StepS <= 0 {
		return nil
	}
	out := make([]float64, len(e.MinV))
	for i := range out {
		if e.MaxV[i] != e.MinV[i] {
			return nil
		}
		out[i] = e.MinV[i]
	}
	return out
}

// spikeGain is what the circuit makes of the typical spike's peak.
func spikeGain(m *analysis.Measurement, c Circuit, gain func(float64) float64) float64 {
	for _, e := range []analysis.Envelope{m.Spikes.Typical, m.Detail} {
		before := middle(e)
		if before == nil {
			continue
		}
		after := append([]float64(nil), before...)
		throughGain(after, 1/e.StepS, func(hz float64) complex128 { return Insertion(c, hz) })
		return ratio(peakFromMedian(after), peakFromMedian(before))
	}
	switch s := m.Spikes; {
	case s.RingHz.Known:
		return greatest(gain, s.RingHz.Value/2, s.RingHz.Value*2)
	case s.DurationMedianS.Known && s.DurationMedianS.Value > 0:
		mid := 1 / (math.Pi * s.DurationMedianS.Value)
		return greatest(gain, mid/4, mid*2)
	}
	return greatest(gain, 1e6, 30e6)
}

// behindPP predicts a peak-to-peak figure: the part that the kept detail shows
// goes with the detail, the rest (mains and wander) with the gain at the mains
// line, or at the record's lowest frequency.
func (p *prediction) behindPP(f figure.Figure) figure.Figure {
	if !f.Known {
		return f
	}
	slow := 0.0
	slowGain := 1.0
	if m := p.m; m.MainsCombPPV.Known && m.MainsLineHz.Known {
		slow, slowGain = math.Min(m.MainsCombPPV.Value, f.Value), p.gain(m.MainsLineHz.Value)
	}
	fast := f.Value - slow
	was := f.Value
	f.Value = slow*slowGain + fast*p.detailGain()
	if was > 0 {
		f.U *= f.Value / was
	}
	return f
}

// detailGain is what the circuit makes of the peak-to-peak of the detail kept.
func (p *prediction) detailGain() float64 {
	if p.detail > 0 {
		return p.detail
	}
	p.detail = math.Max(p.spike, p.cycle)
	if before := middle(p.m.Detail); before != nil {
		// both behind one pole at 20 MHz, or the noise above it would count
		pole := func(hz float64) complex128 { return 1 / complex(1, hz/20e6) }
		after, work := append([]float64(nil), before...), new(workspace)
		work.through(before, nil, 1/p.m.Detail.StepS, pole)
		work.through(after, nil, 1/p.m.Detail.StepS, func(hz float64) complex128 { return pole(hz) * Insertion(p.c, hz) })
		if pp := peakToPeak(before); pp > 0 {
			p.detail = ratio(peakToPeak(after), pp)
		}
	}
	return p.detail
}

func peakToPeak(v []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return hi - lo
}

func peakFromMedian(v []float64) float64 {
	s := append([]float64(nil), v...)
	slices.Sort(s)
	mid := s[len(s)/2]
	return math.Max(s[len(s)-1]-mid, mid-s[0])
}

func ratio(a, b float64) float64 {
	if b <= 0 {
		return 1
	}
	return a / b
}
