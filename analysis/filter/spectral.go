package filter

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// spectral predicts a measurement behind the circuit from the measurement
// alone. Exact for what is linear in the spectrum: lines, densities, band sums
// and the folded cycle. Spikes and the peak-to-peak in 20 MHz are scaled by what
// the circuit makes of the typical spike and of the detail kept of the
// waveform, which is good to a few dB; where neither was kept, by the greatest
// gain it has where the spike lives. DC stays as it was at the supply's terminals, where its limit holds.
func spectral(m *analysis.Measurement, c Circuit) *analysis.Measurement {
	out := *m
	gain := func(hz float64) float64 { return cmplx.Abs(Insertion(c, hz)) }
	scale := func(f figure.Figure, g float64) figure.Figure {
		if f.Known {
			f.Value *= g
			f.U *= g
		}
		return f
	}

	out.Spectrum.VPerRtHz = scaled(m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, gain)
	out.Spectrum.BaselineVPerRtHz = nil
	if m.MainsLineHz.Known {
		out.MainsLineRMS = scale(m.MainsLineRMS, gain(m.MainsLineHz.Value))
		out.MainsCombRMS = scale(m.MainsCombRMS, gain(m.MainsLineHz.Value))
		out.MainsCombPPV = scale(m.MainsCombPPV, gain(m.MainsLineHz.Value))
	}
	out.Lines = append([]spectrum.Line(nil), m.Lines...)
	for i := range out.Lines {
		h := Insertion(c, out.Lines[i].FrequencyHz)
		out.Lines[i].RMSV *= cmplx.Abs(h)
		out.Lines[i].InstrumentRMSV *= cmplx.Abs(h)
		out.Lines[i].NoiseURMSV *= cmplx.Abs(h)
		out.Lines[i].PhaseRad += cmplx.Phase(h)
	}
	out.Bands = append([]spectrum.Band(nil), m.Bands...)
	for i, b := range out.Bands {
		var weight func(float64) float64
		if b.ID == "audio_a" {
			weight = spectrum.AWeight
		}
		g := bandGain(m.Spectrum, b.LowHz, b.HighHz, weight, gain)
		out.Bands[i].RMSV = scale(b.RMSV, g)
		out.Bands[i].RMSNoLinesV = scale(b.RMSNoLinesV, g)
	}
	out.Noise.ThirdOctaves = append([]spectrum.ThirdOctave(nil), m.Noise.ThirdOctaves...)
	for i, t := range out.Noise.ThirdOctaves {
		g := gain(t.CentreHz)
		t.DensityVPerRtHz *= g
		t.UngatedVPerRtHz *= g
		t.LowVPerRtHz *= g
		t.HighVPerRtHz *= g
		t.BaselineVPerRtHz = 0
		out.Noise.ThirdOctaves[i] = t
	}
	if m.Noise.AtHz.Known {
		out.Noise.DensityVPerRtHz = scale(m.Noise.DensityVPerRtHz, gain(m.Noise.AtHz.Value))
		out.Noise.UngatedVPerRtHz = scale(m.Noise.UngatedVPerRtHz, gain(m.Noise.AtHz.Value))
	}
	out.Noise.At1kHzVPerRtHz = scale(m.Noise.At1kHzVPerRtHz, gain(1000))

	if m.SwitchingHz.Known {
		out.SwitchingFundamentalRMSV = scale(m.SwitchingFundamentalRMSV, gain(m.SwitchingHz.Value))
	}
	if n := len(m.Cycle.MeanV); n >= 8 && m.Cycle.PeriodS > 0 {
		out.Cycle.MeanV = throughCycle(m.Cycle.MeanV, m.Cycle.PeriodS, c)
	}
	cycleGain := 1.0
	if ripple, duty := spikeFree(m); ripple != nil {
		after := throughCycle(ripple, m.Cycle.PeriodS, c)
		cycleGain = ratio(peakToPeak(offEdges(after, duty)), peakToPeak(offEdges(ripple, duty)))
	} else if m.SwitchingHz.Known {
		cycleGain = greatest(gain, m.SwitchingHz.Value, 20*m.SwitchingHz.Value)
	}
	out.RipplePPV = scale(m.RipplePPV, cycleGain)
	out.RippleRMSV = scale(m.RippleRMSV, cycleGain)

	g := spikeGain(m, c, gain)
	s := &out.Spikes
	s.PeakMedianV, s.PeakP95V, s.PeakMaxV = scale(s.PeakMedianV, g), scale(s.PeakP95V, g), scale(s.PeakMaxV, g)
	s.RisingPeakMedianV, s.FallingPeakMedianV = scale(s.RisingPeakMedianV, g), scale(s.FallingPeakMedianV, g)
	s.ThresholdV *= g
	s.List = nil

	out.PP20MHzV = behindPP(m, m.PP20MHzV, c, gain, g, cycleGain)
	out.PP20MHz999V = behindPP(m, m.PP20MHz999V, c, gain, g, cycleGain)
	out.PPV = behindPP(m, m.PPV, c, gain, g, cycleGain)
	out.ACRMSV = scale(m.ACRMSV, bandGain(m.Spectrum, 0, math.Inf(1), nil, gain))
	return &out
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
	if before > 0 {
		return math.Sqrt(after / before)
	}
	if !(lowHz > 0) || math.IsInf(highHz, 0) || highHz <= lowHz {
		return 1
	}
	return greatest(gain, lowHz, highHz)
}

// greatest gain between two frequencies, on a log grid.
func greatest(gain func(float64) float64, lowHz, highHz float64) float64 {
	var g float64
	for i := 0; i <= 60; i++ {
		g = math.Max(g, gain(lowHz*math.Pow(highHz/lowHz, float64(i)/60)))
	}
	return g
}

// spikeFree is one cycle of the ripple without its spikes: two straight pieces
// with the ESR's step between them, from the slopes found. Where they do not
// give the ripple measured, the mean cycle stands in, spikes and all, with duty
// 0; nil when there is none.
func spikeFree(m *analysis.Measurement) (cycle []float64, duty float64) {
	c := m.Cycle
	if c.PeriodS <= 0 || len(c.MeanV) < 8 {
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
		if math.Abs(peakToPeak(v)/m.RipplePPV.Value-1) < 0.2 {
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
		if x < 0.01 || x > 0.997 || (x > duty-0.003 && x < duty+0.01) {
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
	if len(e.MinV) < 16 || len(e.MinV) != len(e.MaxV) || e.StepS <= 0 {
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
func behindPP(m *analysis.Measurement, f figure.Figure, c Circuit, gain func(float64) float64, spike, cycle float64) figure.Figure {
	if !f.Known {
		return f
	}
	slow := 0.0
	slowGain := 1.0
	if m.MainsCombPPV.Known && m.MainsLineHz.Known {
		slow, slowGain = math.Min(m.MainsCombPPV.Value, f.Value), gain(m.MainsLineHz.Value)
	}
	fast := f.Value - slow
	g := math.Max(spike, cycle)
	if before := middle(m.Detail); before != nil {
		// both behind one pole at 20 MHz, or the noise above it would count
		pole := func(hz float64) complex128 { return 1 / complex(1, hz/20e6) }
		after := append([]float64(nil), before...)
		throughGain(before, 1/m.Detail.StepS, pole)
		throughGain(after, 1/m.Detail.StepS, func(hz float64) complex128 { return pole(hz) * Insertion(c, hz) })
		if pp := peakToPeak(before); pp > 0 {
			g = ratio(peakToPeak(after), pp)
		}
	}
	was := f.Value
	f.Value = slow*slowGain + fast*g
	if was > 0 {
		f.U *= f.Value / was
	}
	return f
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
	sort.Float64s(s)
	mid := s[len(s)/2]
	return math.Max(s[len(s)-1]-mid, mid-s[0])
}

func ratio(a, b float64) float64 {
	if b <= 0 {
		return 1
	}
	return a / b
}
