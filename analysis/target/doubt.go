package target

import (
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// doubt is a caution that could carry a margin over to the other side of its
// limit, or (deepens) from inside or a near miss to a fail with no bound.
type doubt struct {
	margin         int // index into Evaluation.Margins
	flips, deepens bool
	text, fix      string
}

// doubtDB is how far a margin's interval may reach to the other side of the
// limit, in dB, before the verdict waits for a better capture.
const doubtDB = 1.0

// far stands for a shift that nobody can bound.
const far = 2 * MarginCapDB

// swing is how far the true margin may lie below and above the shown one, in
// dB, when a capture carries the caution. The numbers are judgement: what the
// fault can do to that figure (common practice, no source).
func swing(code string, c criterion, m *analysis.Measurement, f figure.Figure) (down, up float64) {
	inCycle := c.id == RipplePP || c.id == FoldedRipple || c.id == SpikePeak || c.id == BandRF1 || c.id == BandRF2
	noise := isDensity(c)
	audio := c.id == BandAudio || c.id == BandAudioA || c.id == MainsLine
	sum := c.id == BandAudio || c.id == BandAudioA || c.id == BandRF1 || c.id == BandRF2
	switch code {
	case capture.CautionClipped:
		// What was cut off is unknown, and nothing of it makes the figure smaller.
		if c.id == HeaterDC || noise {
			return 6, 6
		}
		return far, 0
	case capture.CautionProbeFactor:
		return 20.1, 20.1
	case capture.CautionFewSteps:
		if c.id == HeaterDC || c.id == SpikeRate {
			return 0, 0
		}
		down, up = 3, 3
		if f.Value > 0 && m.ADCStepV.Known && !noise {
			step := m.ADCStepV.Value
			if c.domain == power {
				step /= 2 * math.Sqrt2 // what a line can hide within one step, rms
			}
			down = 20 * math.Log10(1+step/f.Value)
			up = far
			if step < f.Value {
				up = -20 * math.Log10(1-step/f.Value)
			}
		}
		if noise && m.QuantNoiseVPerRtHz.Known && m.QuantNoiseVPerRtHz.Value > f.Value/1.41 {
			up = far // the converter's own noise, not the supply's
		}
		return down, up
	case capture.CautionUndersampled:
		if c.id == SpikePeak || c.id == RipplePP || c.id == SpikeRate || c.id == BandRF2 {
			return far, 0
		}
	case capture.CautionAlias, capture.CautionAliasShown:
		switch {
		case sum && code == capture.CautionAliasShown:
			// nothing kept what lies above half the rate out, harmonics and noise
			// alike; only 2 x mains is sure to be the unit's
			return 0, mainsShare(c, m, f)
		case sum:
			return 0, aliasShare(c, m, f)
		case c.id == FoldedRipple, c.id == Mask:
			return 1, far // alias adds, mostly
		case c.id == MainsLine || c.id == HeaterDC:
			return 0, 0 // that a line falls on the mains comb by chance is unlikely
		}
		return 1, 1
	case capture.CautionBaselineNear:
		if sum {
			return 0, baselineShare(c, m, f)
		}
		if noise || audio {
			return 0, far
		}
		return 0, 6
	case capture.CautionBaselineUnlike:
		if sum || c.id == MainsLine || c.id == Mask {
			return 0, 6 // a line of the instrument may still be in it
		}
	case capture.CautionInstrumentMains:
		if c.id == MainsLine {
			return 0, far
		}
	case capture.CautionLoadUnlike:
		if c.id == HeaterDC {
			return 1, 1
		}
		return 6, 6
	case capture.CautionMains:
		if c.id == MainsLine {
			return 3, 3
		}
	case capture.CautionShortRecord:
		switch {
		case audio || noise:
			return 3, 3
		case inCycle:
			return 1, 1 // few cycles hold few of the peaks
		}
	case capture.CautionRingFills:
		if c.id == FoldedRipple {
			return 6, far // part of the figure is the ring, and a ring fitted off takes ripple with it
		}
	case capture.CautionGaps:
		if inCycle || audio || noise {
			return 3, 3
		}
	case capture.CautionUneven, capture.CautionBridged, capture.CautionTruncated:
		return 0.5, 0.5
	case capture.CautionInterpolated:
		if inCycle || noise {
			return 2, 2
		}
	case capture.CautionUngated:
		if noise {
			return 0, far
		}
	case capture.CautionUncalibrated:
		return far, far
	}
	return 0, 0
}

// doubtsOf lists the cautions of the captures behind a margin that could flip
// it, and captures that contradict it.
func doubtsOf(u Unit, index int, mg Margin, p picked) []doubt {
	c, ok := lookup(mg.Limit.Criterion)
	if !ok {
		return nil
	}
	var out []doubt
	seen := map[string]bool{}
	for _, m := range p.from {
		for _, k := range cautionsOf(u, m) {
			down, up := swing(k.Code, c, m, mg.Figure)
			flips := (mg.DB >= 0 && mg.DB < down) || (mg.DB < 0 && -mg.DB <= up)
			deepens := mg.DB >= -NearMissDB && down >= 20
			if (flips || deepens) && !seen[k.Code] {
				seen[k.Code] = true
				out = append(out, doubt{margin: index, flips: flips, deepens: deepens, text: k.Text, fix: k.Fix})
			}
		}
	}
	if mg.DB >= 0 && mg.LowDB < -doubtDB || mg.DB < 0 && mg.HighDB > doubtDB {
		out = append(out, doubt{margin: index, flips: true,
			text: fmt.Sprintf("the uncertainty reaches over the limit, from %.1f to %.1f dB", mg.LowDB, mg.HighDB),
			fix:  "take it again with fewer volts per division, or several times"})
	}
	if c.figure == nil || len(p.from) == 0 || mg.Figure.LowerBound {
		return out
	}
	if m := p.from[0]; mg.DB < 0 && atQuantisation(c, m, mg.Figure) {
		out = append(out, doubt{margin: index, flips: true,
			text: "the noise is that of the converter's own steps",
			fix:  "use fewer volts per division, AC coupling, or a recorder with more bits"})
	}
	// A capture just as fit that puts the figure on the limit's other side.
	used := map[*analysis.Measurement]bool{}
	for _, m := range p.from {
		used[m] = true
	}
	for _, m := range u.Captures {
		f := c.of(m)
		if used[m] || !f.Known || f.LowerBound || !m.Calibrated || quality(u, c, m) > quality(u, c, p.from[0]) ||
			!roughlyCovers(m.Span, mg.Limit.NeedLowHz, mg.Limit.NeedHighHz) {
			continue
		}
		other := MarginDB(mg.Limit.Max, f.Value)
		if (other < 0) != (mg.DB < 0) && math.Abs(other-mg.DB) > 2 {
			out = append(out, doubt{margin: index, flips: true,
				text: fmt.Sprintf("%s gives %s, %s gives %s", p.from[0].File, mg.Limit.text(mg.Figure.Value), m.File, mg.Limit.text(f.Value)),
				fix:  "repeat both with the same set-up"})
		}
	}
	return out
}

func isDensity(c criterion) bool {
	return c.id == Noise || c.id == Density1k || c.id == Density10k || c.id == Density100k || c.id == Mask
}

// atQuantisation tells whether a density is within 3 dB of the converter's own.
func atQuantisation(c criterion, m *analysis.Measurement, f figure.Figure) bool {
	if c.id == Noise && m.Noise.AtQuantisation {
		return true
	}
	return isDensity(c) && c.id != Mask && m.QuantNoiseVPerRtHz.Known && f.Value < 1.41*m.QuantNoiseVPerRtHz.Value
}

// cautionsOf gives a capture's cautions. A wrong probe factor shows only where
// DC does, so an AC-coupled capture shares the suspicion of its neighbours.
func cautionsOf(u Unit, m *analysis.Measurement) []capture.Caution {
	if m.DCV.Known {
		return m.Cautions
	}
	for _, other := range u.Captures {
		for _, k := range other.Cautions {
			if other != m && k.Code == capture.CautionProbeFactor {
				return append(append([]capture.Caution(nil), m.Cautions...), k)
			}
		}
	}
	return m.Cautions
}

// weighted is what so many volts at a frequency count in the criterion's sum.
func (c criterion) weighted(v, hz float64) float64 {
	if c.id == BandAudioA {
		return v * spectrum.AWeight(hz)
	}
	return v
}

// aliasShare is how far a band sum would fall, in dB, without the lines in it
// that may be aliases: all but the mains comb's.
func aliasShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	var lines float64
	for _, l := range m.Lines {
		if l.Comb == "mains" || l.Comb == "instrument" || l.FrequencyHz < c.lowHz || l.FrequencyHz > c.highHz {
			continue
		}
		v := c.weighted(l.RMSV, l.FrequencyHz)
		lines += v * v
	}
	rest := f.Value*f.Value - lines
	if rest <= 0 {
		return far
	}
	return 20 * math.Log10(f.Value/math.Sqrt(rest))
}

// mainsShare is how far a band sum would fall, in dB, if 2 x mains were all of it.
func mainsShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	line, at := m.MainsLineRMS, m.MainsLineHz
	if !line.Known || !at.Known || at.Value < c.lowHz || at.Value > c.highHz {
		return far
	}
	v := c.weighted(line.Value, at.Value)
	if v <= 0 {
		return far
	}
	return math.Max(0, 20*math.Log10(f.Value/v))
}

// baselineShare is how far a band sum would fall, in dB, if all that the
// baseline shows in the band were the instrument's. Of its lines those that the
// capture shows too are off the sum already.
func baselineShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	s := m.Spectrum
	if len(s.BaselineVPerRtHz) != len(s.FrequencyHz) || len(s.FrequencyHz) < 2 {
		return far
	}
	var floor float64
	for i := 1; i < len(s.FrequencyHz); i++ {
		hz := (s.FrequencyHz[i] + s.FrequencyHz[i-1]) / 2
		if hz < c.lowHz || hz > c.highHz {
			continue
		}
		v := c.weighted((s.BaselineVPerRtHz[i]+s.BaselineVPerRtHz[i-1])/2, hz)
		floor += v * v * (s.FrequencyHz[i] - s.FrequencyHz[i-1])
	}
	for _, l := range m.Lines {
		if l.InstrumentRMSV > 0 && l.FrequencyHz >= c.lowHz && l.FrequencyHz <= c.highHz {
			v := c.weighted(l.InstrumentRMSV, l.FrequencyHz)
			floor = math.Max(0, floor-v*v)
		}
	}
	rest := f.Value*f.Value - floor
	if rest <= 0 {
		return far
	}
	return 20 * math.Log10(f.Value/math.Sqrt(rest))
}
