package filter

import (
	"math"
	"math/cmplx"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// extent is how much of a measurement is predicted.
type extent int

const (
	// sums leaves out what needs a waveform: peaks, the cycle, what is periodic. These
	// stay as they are ahead.
	sums extent = iota
	everything
)

// behind predicts the measurement behind a circuit from the one ahead of it
// alone, every figure by its rule in the register. Exact for what is linear in
// the spectrum: lines, densities, band sums and the folded cycle. Spikes and the
// peak-to-peak in 20 MHz are scaled by what the circuit makes of the typical
// spike and of the detail kept of the waveform: good to a few dB of spikes, while
// the peak-to-peak behind a coil, where what is slow remains, was seen 40 dB off either
// way (search.go trusts it with nothing). Where neither was kept, by the greatest gain
// it has where the spike lives. DC stays as
// it was at the supply's terminals, where its limit holds. A figure without a rule
// is not measured.
func (a *ahead) behind(c Circuit, far extent) *analysis.Measurement {
	out := *a.m
	p := newPrediction(a, c)
	p.curves(&out)
	if far == everything {
		out.Spikes.List = nil
		if v := p.cycleBehind(); v != nil {
			out.Cycle.MeanV = slices.Clone(v)
		}
	}
	for _, row := range analysis.Register() {
		if row.Behind.Rule != figure.ReadAnew && (far == everything || !row.Behind.FromWaveform()) {
			row.Write(&out, p.figure(row, row.Read(a.m)))
		}
	}
	return &out
}

// prediction holds what the circuit makes of one measurement's curves.
type prediction struct {
	*ahead
	c         Circuit
	gains     []float64    // at the spectrum's points
	lineGains []complex128 // at the lines
	octaves   []float64    // gains at the centres of the noise floor's third octaves

	// What the circuit makes of the typical spike's peak, of the ripple's peak-to-peak
	// and of the detail's; 0: not asked yet.
	spike, cycle, detail float64
	cycleV               []float64 // the mean cycle with its spikes, behind
}

func newPrediction(a *ahead, c Circuit) *prediction {
	p := &prediction{ahead: a, c: c}
	p.gains = make([]float64, len(a.m.Spectrum.FrequencyHz))
	for i, hz := range a.m.Spectrum.FrequencyHz {
		p.gains[i] = p.gain(hz)
	}
	p.lineGains = make([]complex128, len(a.m.Lines))
	for i, l := range a.m.Lines {
		p.lineGains[i] = Insertion(c, l.FrequencyHz)
	}
	p.octaves = make([]float64, len(a.m.Noise.ThirdOctaves))
	for i, t := range a.m.Noise.ThirdOctaves {
		p.octaves[i] = p.gain(t.CentreHz)
	}
	return p
}

// gain is the circuit's insertion gain at hz, without its phase.
func (p *prediction) gain(hz float64) float64 { return cmplx.Abs(Insertion(p.c, hz)) }

// curves sends the curves and lists of a measurement through the circuit.
func (p *prediction) curves(out *analysis.Measurement) {
	m := p.m
	out.Spectrum.VPerRtHz = make([]float64, len(m.Spectrum.VPerRtHz))
	for i, v := range m.Spectrum.VPerRtHz {
		out.Spectrum.VPerRtHz[i] = v * p.gains[i]
	}
	out.Spectrum.BaselineVPerRtHz = nil
	out.Lines = slices.Clone(m.Lines)
	for i := range out.Lines {
		h := p.lineGains[i]
		out.Lines[i].RMSV *= cmplx.Abs(h)
		out.Lines[i].InstrumentRMSV *= cmplx.Abs(h)
		out.Lines[i].NoiseURMSV *= cmplx.Abs(h)
		out.Lines[i].PhaseRad += cmplx.Phase(h)
	}
	out.Bands = slices.Clone(m.Bands) // the register's rows write into it
	out.Noise.ThirdOctaves = slices.Clone(m.Noise.ThirdOctaves)
	for i, t := range out.Noise.ThirdOctaves {
		g := p.octaves[i]
		ungated := g
		if lines, ok := p.ahead.octaves[i].gain(p.gains); ok { // it holds lines, at one end or the other
			ungated = lines
		}
		t.DensityVPerRtHz *= g
		t.UngatedVPerRtHz *= ungated
		t.LowVPerRtHz *= g
		t.HighVPerRtHz *= g
		t.BaselineVPerRtHz = 0
		out.Noise.ThirdOctaves[i] = t
	}
}

// bandSum is a figure of rms within a band, ahead of any circuit. The spectrum smears
// the mains' lines, a few of its points apart, over frequencies at which the gain and the
// weighting are others, so that they are taken by themselves.
type bandSum struct {
	lowHz, highHz float64
	weight        func(hz float64) float64
	whole         weighed

	mainsApart bool
	rest       weighed   // beside the mains
	mains      []int     // its lines within the band, by their place
	power      []float64 // of these, V²
	mainsPower float64   // their sum
	share      float64   // of the mains in the figure's power
}

// bandSum is the band of a register's row with figure f.
func (a *ahead) bandSum(row figure.Row[analysis.Measurement], f figure.Figure) *bandSum {
	if s := a.bands[row.Key]; s != nil {
		return s
	}
	b := row.Behind
	s := &bandSum{weight: b.Weight}
	s.lowHz, s.highHz = b.Band(a.m)
	s.whole = weigh(a.m.Spectrum, nil, s.lowHz, s.highHz, b.Weight)
	a.bands[row.Key] = s
	var lines float64 // power in V²
	for i, l := range a.m.Lines {
		if l.FrequencyHz < s.lowHz || l.FrequencyHz > s.highHz || l.Comb == spectrum.CombInstrument {
			continue
		}
		v := l.RMSV
		if b.Weight != nil {
			v *= b.Weight(l.FrequencyHz)
		}
		lines += v * v
		if l.Comb == spectrum.CombMains {
			s.mains, s.power = append(s.mains, i), append(s.power, v*v)
			s.mainsPower += v * v
		}
	}
	if b.Quiet == nil || !(s.mainsPower > 0) {
		return s
	}
	quiet := b.Quiet(a.m)
	beside, from := a.besideMains()
	s.rest = weigh(beside, from, s.lowHz, s.highHz, b.Weight)
	if inLines := f.Value*f.Value - quiet.Value*quiet.Value; s.rest.before > 0 && quiet.Known && inLines > 0 {
		s.mainsApart = true
		s.share = inLines / (f.Value * f.Value) * s.mainsPower / lines
	}
	return s
}

// bandGain is what the circuit makes of a figure of rms within a band; without a
// spectrum there, the greatest gain in the band.
func (p *prediction) bandGain(s *bandSum) float64 {
	if s.mainsApart {
		var after float64
		for k, i := range s.mains {
			g := cmplx.Abs(p.lineGains[i])
			after += s.power[k] * g * g
		}
		rest, _ := s.rest.gain(p.gains)
		return math.Sqrt((1-s.share)*rest*rest + s.share*after/s.mainsPower)
	}
	if g, ok := s.whole.gain(p.gains); ok {
		return g
	}
	if !(s.lowHz > 0) || math.IsInf(s.highHz, 0) || s.highHz <= s.lowHz {
		return 1
	}
	return greatest(p.gain, s.lowHz, s.highHz)
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
		return times(f, p.bandGain(p.bandSum(row, f)))
	case figure.FromCurve:
		return p.fromCurve(b.Curve, f, miss)
	}
	return miss
}

// fromCurve recomputes a figure from the curve that its row names.
func (p *prediction) fromCurve(c figure.Curve, f, miss figure.Figure) figure.Figure {
	switch c {
	case figure.CycleCurve:
		return times(f, p.cycleGain())
	case figure.SpikeCurve:
		return times(f, p.spikeGain())
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
	behind := p.cycleBehind()
	for i, v := range behind {
		n := float64(len(behind))
		before += p.m.Cycle.MeanV[i] * p.m.Cycle.MeanV[i] / n
		after += v * v / n
	}
	for i, l := range p.m.Lines {
		if l.Comb == spectrum.CombSwitching && behind != nil {
			continue // in the cycle
		}
		g := cmplx.Abs(p.lineGains[i])
		before += l.RMSV * l.RMSV
		after += l.RMSV * l.RMSV * g * g
	}
	if !(before > 0) {
		return 0, false
	}
	return math.Sqrt(after / before), true
}

// floorGain is what the circuit makes of the rms of the noise floor.
func (p *prediction) floorGain() (float64, bool) {
	var before, after float64
	for i, t := range p.m.Noise.ThirdOctaves {
		power := t.DensityVPerRtHz * t.DensityVPerRtHz * t.CentreHz // a third octave is as wide as its centre is high
		g := p.octaves[i]
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

// cycleBehind is the mean cycle behind the circuit, nil without one.
func (p *prediction) cycleBehind() []float64 {
	m := p.m.Cycle
	if p.cycleV != nil || len(m.MeanV) < cycleSamples || m.PeriodS <= 0 {
		return p.cycleV
	}
	if p.ahead.cycle == nil {
		p.ahead.cycle = transformCycle(m.MeanV, m.PeriodS)
	}
	p.cycleV = p.ahead.cycle.period(p.c)
	return p.cycleV
}

// cycleGain is what the circuit makes of the ripple's peak-to-peak.
func (p *prediction) cycleGain() float64 {
	if p.cycle > 0 {
		return p.cycle
	}
	p.cycle = 1
	a := p.ahead
	if a.ripple == nil {
		var v []float64
		if v, a.rippleDuty = spikeFree(a.m); v != nil {
			a.ripple, a.ripplePPV = transformCycle(v, a.m.Cycle.PeriodS), peakToPeak(offEdges(v, a.rippleDuty))
		}
	}
	if a.ripple != nil {
		p.cycle = ratio(peakToPeak(offEdges(a.ripple.period(p.c), a.rippleDuty)), a.ripplePPV)
	} else if hz := p.m.SwitchingHz; hz.Known {
		p.cycle = greatest(p.gain, hz.Value, 20*hz.Value)
	}
	return p.cycle
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

// waveforms are the short waveforms that the measurement keeps.
func (a *ahead) waveforms() *shortTerms {
	if a.shortTerms != nil {
		return a.shortTerms
	}
	s := &shortTerms{}
	a.shortTerms = s
	detail, typical := middle(a.m.Detail), middle(a.m.Spikes.Typical)
	if detail != nil {
		s.detail = transformRecord(detail, 1/a.m.Detail.StepS)
		s.detailPPV = peakToPeak(s.detail.record(pole20MHz))
		s.spike, s.spikeFromMidV = s.detail, peakFromMedian(detail)
	}
	if typical != nil {
		s.spike, s.spikeFromMidV = transformRecord(typical, 1/a.m.Spikes.Typical.StepS), peakFromMedian(typical)
	}
	return s
}

// pole20MHz is one pole at 20 MHz, as what shows the peak-to-peak there has it.
func pole20MHz(hz float64) complex128 { return 1 / complex(1, hz/20e6) }

// spikeGain is what the circuit makes of the typical spike's peak.
func (p *prediction) spikeGain() float64 {
	if p.spike == 0 {
		p.spike = p.spikeBehind()
	}
	return p.spike
}

func (p *prediction) spikeBehind() float64 {
	if w := p.waveforms(); w.spike != nil {
		return ratio(peakFromMedian(w.spike.record(func(hz float64) complex128 { return Insertion(p.c, hz) })), w.spikeFromMidV)
	}
	switch s := p.m.Spikes; {
	case s.RingHz.Known:
		return greatest(p.gain, s.RingHz.Value/2, s.RingHz.Value*2)
	case s.DurationMedianS.Known && s.DurationMedianS.Value > 0:
		mid := 1 / (math.Pi * s.DurationMedianS.Value)
		return greatest(p.gain, mid/4, mid*2)
	}
	return greatest(p.gain, 1e6, 30e6)
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
	if w := p.waveforms(); w.detail != nil && w.detailPPV > 0 {
		// both behind one pole at 20 MHz, or the noise above it would count
		after := w.detail.record(func(hz float64) complex128 { return pole20MHz(hz) * Insertion(p.c, hz) })
		p.detail = ratio(peakToPeak(after), w.detailPPV)
	} else {
		p.detail = math.Max(p.spikeGain(), p.cycleGain())
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
