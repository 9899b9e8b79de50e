package target

import (
	"math"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// unboundedDB stands for a shift that nobody can bound, in dB.
const unboundedDB = 2 * MarginCapDB

// shift is how far, in dB, a fault may have moved a figure's margin.
type shift func(criterion, *analysis.Measurement, figure.Figure) float64

// by is a shift that is the same for every figure.
func by(db float64) shift {
	return func(criterion, *analysis.Measurement, figure.Figure) float64 { return db }
}

var (
	none      = by(0)
	unbounded = by(unboundedDB)
)

// anyGroup is every figure.
const anyGroup = ^figure.Group(0)

// doubtRow is what a caution makes of the margins on figures of some groups: the
// true margin may lie lower by down and higher by up.
type doubtRow struct {
	code     string
	of       figure.Group // figures of any of these groups; anyGroup: all
	down, up shift
}

// doubtTable says how far the true margin may lie below and above the shown one
// when a capture carries a caution. Of a caution's rows the first that fits
// counts; a figure that none fits is not doubted by it. The numbers are
// judgement: what the fault can do to that figure (common practice, no source).
var doubtTable = []doubtRow{
	// What was cut off is unknown, and nothing of it makes the figure smaller.
	{capture.CautionClipped, figure.Mean | figure.Density, by(6), by(6)},
	{capture.CautionClipped, anyGroup, unbounded, none},

	{capture.CautionProbeFactor, anyGroup, by(20.1), by(20.1)},
	{CautionVoltsImpossible, anyGroup, unbounded, unbounded},
	{CautionVoltsUnlike, anyGroup, unbounded, unbounded}, // of another supply, perhaps
	{CautionACAsDC, anyGroup, none, none},                // its DC is not used
	{capture.CautionDCAsAC, anyGroup, none, none},        // its volts are judged as any DC-coupled capture's
	// A cycle folded at a wrong period shows a part of the ripple, or more than all.
	{CautionSwitchingUnlike, figure.Folded, upToPP, by(wrongPeriodDB)},
	{CautionSwitchingUnlike, anyGroup, none, none},
	{CautionDisagree, anyGroup, none, none}, // the figure's own uncertainty holds the spread
	{CautionSameTwice, anyGroup, none, none},
	{CautionSameVolts, anyGroup, none, none},
	{CautionNamedAfter, anyGroup, none, none}, // by its name alone
	{CautionReadings, anyGroup, none, none},   // see doubtedReadings
	{CautionLoadUnsaid, anyGroup, none, none},
	{CautionOverloaded, anyGroup, none, none}, // of the label, not of a figure
	{CautionBrandScale, anyGroup, none, none}, // of the unit, see suspectProbes

	{capture.CautionFewSteps, figure.Mean, none, none},
	{capture.CautionFewSteps, figure.Count, unseenSpikes, none},
	{capture.CautionFewSteps, figure.Density, by(3), stepNoiseUp},
	{capture.CautionFewSteps, anyGroup, stepDown, stepUp},

	// Single peaks are lower bounds. What a 20 MHz low-pass leaves of them lasts longer.
	{capture.CautionUndersampled, figure.Count, uncounted(unboundedDB), none},
	{capture.CautionUndersampled, figure.ShortPeak, undersampledDown, none},

	// A fold adds, mostly. That a line falls on the mains comb by chance is unlikely.
	{capture.CautionAlias, figure.BandSum, none, aliasShare},
	{capture.CautionAlias, figure.Folded | figure.MaskRatio, by(1), unbounded},
	{capture.CautionAlias, figure.MainsLine | figure.Mean, none, none},
	{capture.CautionAlias, anyGroup, by(1), by(1)},
	// Nothing kept what lies above half the rate out, harmonics and noise alike;
	// only 2 x mains is sure to be the unit's.
	{capture.CautionAliasShown, figure.BandSum, none, mainsShare},
	{capture.CautionAliasShown, figure.Folded | figure.MaskRatio, by(1), unbounded},
	{capture.CautionAliasShown, figure.MainsLine | figure.Mean, none, none},
	{capture.CautionAliasShown, anyGroup, by(1), by(1)},

	{capture.CautionBaselineNear, figure.BandSum, none, baselineShare},
	{capture.CautionBaselineNear, figure.Density | figure.Audio, none, unbounded},
	{capture.CautionBaselineNear, anyGroup, none, by(6)},
	// A line of the instrument may still be in it.
	{capture.CautionBaselineUnlike, figure.BandSum | figure.MainsLine | figure.MaskRatio, none, by(6)},
	// What was taken off may be the unit's own.
	{capture.CautionBaselineOfUnit, figure.BandSum | figure.MaskRatio, takenOff, none},
	{capture.CautionBaselineOfUnit, figure.Density, by(3), none}, // more than that is not taken off, see AtInstrument
	{capture.CautionBaselineOfUnit, anyGroup, none, none},
	{capture.CautionInstrumentMains, figure.MainsLine, none, unbounded},

	{capture.CautionLoadUnlike, figure.Mean, by(1), by(1)},
	{capture.CautionLoadUnlike, anyGroup, by(6), by(6)},

	{capture.CautionMains, figure.MainsLine, by(3), by(3)},

	{capture.CautionShortRecord, figure.Audio | figure.Density, by(3), by(3)},
	{capture.CautionShortRecord, figure.InCycle, by(1), by(1)}, // few cycles hold few of the peaks

	// Part of the figure is the ring, and a ring fitted off takes ripple with it.
	{capture.CautionRingFills, figure.Folded, by(6), unbounded},

	// Spikes are missed, and what they are counts as ripple.
	{capture.CautionSpikesInRipple, figure.ShortPeak, missedSpikes, none},
	{capture.CautionSpikesInRipple, figure.Folded, none, unbounded},

	// What differs from cycle to cycle is averaged away.
	{capture.CautionCycleExplains, figure.Folded, unbounded, none},
	// Of 30 such counts in the fast records of testdata/reference/truth with odd seeds
	// from 401 on, 7 were off, by up to eight times; of 110 others one.
	{capture.CautionCyclesDiffer, figure.Count, uncounted(miscountedDB), by(miscountedDB)},

	{capture.CautionGaps, figure.InCycle | figure.Audio | figure.Density, by(3), by(3)},
	{capture.CautionUneven, anyGroup, by(0.5), by(0.5)},
	{capture.CautionBridged, anyGroup, by(0.5), by(0.5)},
	{capture.CautionTruncated, anyGroup, by(0.5), by(0.5)},
	{capture.CautionSkipped, anyGroup, by(0.5), by(0.5)},
	{capture.CautionInterpolated, figure.InCycle | figure.Density, by(2), by(2)},
	{capture.CautionUngated, figure.Density, none, unbounded},
	{capture.CautionUncalibrated, anyGroup, unbounded, unbounded},

	// All samples alike, or two values only: nothing of the size of what varies.
	{capture.CautionFlat, figure.Mean, none, none},
	{capture.CautionFlat, anyGroup, unbounded, none},
	{capture.CautionTwoLevels, figure.Mean, none, none},
	{capture.CautionTwoLevels, anyGroup, unbounded, unbounded},
	// As clipped: a saturated input hides how far the wave went.
	{capture.CautionFlatTops, figure.Mean | figure.Density, by(6), by(6)},
	{capture.CautionFlatTops, anyGroup, unbounded, none},
	// What is locked to the trigger stays, noise and all else is averaged away.
	{capture.CautionAveraged, figure.Mean | figure.Folded, none, none},
	{capture.CautionAveraged, anyGroup, unbounded, none},
	{capture.CautionSmoothed, figure.Mean | figure.Folded, none, none},
	{capture.CautionSmoothed, anyGroup, unbounded, none},
	// Peaks hold; of everything else only the extremes were kept, so it reads high.
	{capture.CautionExtremes, figure.Mean, by(1), by(1)},
	{capture.CautionExtremes, figure.BandSum | figure.Density | figure.Audio | figure.Folded, by(3), unbounded},
	{capture.CautionExtremes, anyGroup, none, none},

	// Its figures are bounds, which say it all.
	{capture.CautionMovingMean, anyGroup, none, none},
	{capture.CautionLimitSeen, anyGroup, none, none}, // the figures that it concerns are lower bounds
	{capture.CautionUnfiltered, anyGroup, none, none},
	{capture.CautionPartlyFiltered, anyGroup, none, none},

	// These tell how the capture was read or how the supply works; where they make
	// a figure unsure its own uncertainty says so.
	{capture.CautionSegments, anyGroup, none, none},
	{capture.CautionRateConflict, anyGroup, none, none},
	{capture.CautionTimeUnit, anyGroup, none, none},
	{capture.CautionUnsorted, anyGroup, none, none},
	{capture.CautionTimeRounded, anyGroup, none, none},
	{capture.CautionDithered, anyGroup, none, none},
	{capture.CautionBursting, anyGroup, none, none},
	{capture.CautionStepHides, anyGroup, none, none},
	{capture.CautionSwitchingLost, anyGroup, none, none},
}

// marginShift is how far the true margin may lie below and above the shown one, in
// dB, when a capture carries the caution.
func marginShift(code string, c criterion, m *analysis.Measurement, f figure.Figure) (down, up float64) {
	for _, r := range doubtTable {
		if r.code == code && (r.of == anyGroup || c.group.Has(r.of)) {
			return r.down(c, m, f), r.up(c, m, f)
		}
	}
	return 0, 0
}

// undersampledPP is how far below the truth a peak-to-peak in 20 MHz lies at most
// where the spikes are undersampled, as a share (none of 80 such records drawn
// from switching circuits was further off), in dB.
var undersampledPP = -20 * math.Log10(1-0.1)

// undersampledDown is how far a figure would grow if no peak fell between samples.
func undersampledDown(c criterion, m *analysis.Measurement, _ figure.Figure) float64 {
	switch {
	case c.id == RipplePP || c.id == CommonPP || c.group.Has(figure.BandSum):
		return undersampledPP
	case c.id == SpikePeak && metOften(m):
		return undersampledP95DB
	}
	return unboundedDB
}

// metOften reports whether coarsely sampled spikes were met so often, at other places
// from one to the next, that the upper percentile of their readings is near that of
// their peaks; a cut-off or missed spike is another matter.
func metOften(m *analysis.Measurement) bool {
	if !m.HasCaution(capture.CautionUndersampled) || m.Spikes.Count < leastMet {
		return false
	}
	for _, code := range []string{capture.CautionClipped, capture.CautionFlatTops, capture.CautionSpikesInRipple, capture.CautionAveraged, capture.CautionSmoothed, capture.CautionExtremes} {
		if m.HasCaution(code) {
			return false
		}
	}
	return m.SwitchingHz.Known && (m.Kind != cycle.Fixed || manyPlaces(m.SampleRateHz/m.SwitchingHz.Value, m.DurationS*m.SwitchingHz.Value))
}

// manyPlaces reports whether cycles of so many samples each meet the sampling at more
// than fewPlaces places over a record of so many cycles: not where a few cycles take a
// whole number of samples.
func manyPlaces(samples, cycles float64) bool {
	if !(samples > 0) || math.IsInf(samples, 0) {
		return false
	}
	for k := 1.0; k <= fewPlaces; k++ {
		if off := math.Abs(math.Remainder(k*samples, 1)); off*cycles/k < 1/k {
			return false
		}
	}
	return true
}

// uncounted is how far a count of spikes would grow by those missed: by db, but by none
// where both edges of every cycle were found and hardly any spike beside them.
func uncounted(db float64) shift {
	return func(_ criterion, m *analysis.Measurement, _ figure.Figure) float64 {
		if countedAtEdges(m) {
			return 0
		}
		return db
	}
}

// countedAtEdges reports whether the spikes were counted as those of both edges of every
// cycle, hardly any beside them.
func countedAtEdges(m *analysis.Measurement) bool {
	s := m.Spikes
	return s.PerCycle.Known && !s.PerCycle.LowerBound && s.PerCycle.Value > bothEdges &&
		float64(s.Random+s.MainsTied) <= strayShare*float64(s.Count)
}

// missedSpikes is how far a figure would grow by spikes that the fold took for
// ripple: those of single spikes only, since a peak-to-peak holds both.
func missedSpikes(c criterion, _ *analysis.Measurement, _ figure.Figure) float64 {
	if c.id == RipplePP || c.id == CommonPP || c.group.Has(figure.BandSum) {
		return 0
	}
	return unboundedDB
}

// unseenSpikes is how far a count may grow: without bound where there are none over
// a threshold that half of the whole record stays under.
func unseenSpikes(_ criterion, m *analysis.Measurement, _ figure.Figure) float64 {
	if noSpikes(m) && m.PPV.Known && m.Spikes.ThresholdV > m.PPV.Value/2 {
		return unboundedDB
	}
	return 0
}

// upToPP is how far a folded ripple would grow if all of the record's peak-to-peak in
// 20 MHz were ripple: what a wrong period may hide, in dB.
func upToPP(_ criterion, m *analysis.Measurement, f figure.Figure) float64 {
	pp := m.PP20MHzV
	if !pp.Known || pp.LowerBound {
		pp = m.PPV
	}
	switch {
	case !pp.Known || pp.LowerBound || !(f.Value > 0):
		return unboundedDB
	case pp.Value <= f.Value:
		return wrongPeriodDB
	}
	return math.Max(wrongPeriodDB, 20*math.Log10(pp.Value/f.Value))
}

// stepV is what may hide within one step of the converter, in the figure's own
// volts; ok is false where no step is known.
func stepV(c criterion, m *analysis.Measurement, f figure.Figure) (v float64, ok bool) {
	if !(f.Value > 0) || !m.ADCStepV.Known {
		return 0, false
	}
	if c.domain == power {
		return m.ADCStepV.Value / (2 * math.Sqrt2), true // a line's rms
	}
	return m.ADCStepV.Value, true
}

// stepDown is how far a figure would grow by one step of the converter, in dB.
func stepDown(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	step, ok := stepV(c, m, f)
	if !ok {
		return stepUnknownDB
	}
	return 20 * math.Log10(1+step/f.Value)
}

// stepUp is how far it would fall by one step, in dB.
func stepUp(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	step, ok := stepV(c, m, f)
	switch {
	case !ok:
		return stepUnknownDB
	case step < f.Value:
		return -20 * math.Log10(1-step/f.Value)
	}
	return unboundedDB
}

// stepNoiseUp is how far a density may fall: without bound where it is the
// converter's own noise and not the supply's.
func stepNoiseUp(_ criterion, m *analysis.Measurement, f figure.Figure) float64 {
	if m.QuantNoiseVPerRtHz.Known && m.QuantNoiseVPerRtHz.Value > f.Value/twicePower {
		return unboundedDB
	}
	return stepUnknownDB
}

// weighted is what volts at a frequency count in the criterion's sum.
func (c criterion) weighted(v, hz float64) float64 {
	if c.weight != nil {
		return v * c.weight(hz)
	}
	return v
}

// aliasShare is how far a band sum would fall, in dB, without the lines in it
// that may be aliases: all but the mains comb's.
func aliasShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	var lines float64
	for _, l := range m.Lines {
		if l.Comb == spectrum.CombMains || l.Comb == spectrum.CombInstrument || l.FrequencyHz < c.lowHz || l.FrequencyHz > c.highHz {
			continue
		}
		v := c.weighted(l.RMSV, l.FrequencyHz)
		lines += v * v
	}
	rest := f.Value*f.Value - lines
	if rest <= 0 {
		return unboundedDB
	}
	return 20 * math.Log10(f.Value/math.Sqrt(rest))
}

// mainsShare is how far a band sum would fall, in dB, if 2 x mains were all of it.
func mainsShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	line, at := m.MainsLineRMS, m.MainsLineHz
	if !line.Known || !at.Known || at.Value < c.lowHz || at.Value > c.highHz {
		return unboundedDB
	}
	v := c.weighted(line.Value, at.Value)
	if v <= 0 {
		return unboundedDB
	}
	return math.Max(0, 20*math.Log10(f.Value/v))
}

// takenOff is how far a band sum would grow, in dB, with what was taken off its
// lines as the instrument's put back.
func takenOff(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	var off float64
	for _, l := range m.Lines {
		if l.FrequencyHz < cycle.SearchLowHz || c.highHz > 0 && (l.FrequencyHz < c.lowHz || l.FrequencyHz > c.highHz) {
			continue
		}
		v := c.weighted(l.InstrumentRMSV, l.FrequencyHz)
		off += v * v
	}
	switch {
	case off == 0:
		return 0
	case !(f.Value > 0) || c.unit != "V":
		return unboundedDB
	}
	return 10 * math.Log10(1+off/(f.Value*f.Value))
}

// baselineShare is how far a band sum would fall, in dB, if all that the
// baseline shows in the band were the instrument's. Of its lines those that the
// capture shows too are off the sum already.
func baselineShare(c criterion, m *analysis.Measurement, f figure.Figure) float64 {
	s := m.Spectrum
	if len(s.BaselineVPerRtHz) != len(s.FrequencyHz) || len(s.FrequencyHz) < 2 {
		return unboundedDB
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
		return unboundedDB
	}
	return 20 * math.Log10(f.Value/math.Sqrt(rest))
}
