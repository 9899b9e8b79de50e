package analysis

import (
	"fmt"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// switching is the switching cycle of the record and the spikes that stand out of
// what its ripple leaves.
type switching struct {
	cycle.Finding
	spikes spike.Finding
	shown  bool // a cycle was found, and the span holds it
}

// findSwitching finds, tracks and folds the switching cycle and looks for spikes
// in what the ripple leaves; notHz are frequencies not to look at, and known is the
// clock where it is known.
func findSwitching(rec *record, notHz []float64, known cycle.Clock) switching {
	tr := rec.tr
	sw := switching{Finding: cycle.Find(cycle.Input{Volts: tr.Volts, MeanV: rec.basic.mean, RateHz: tr.SampleRateHz,
		HighHz: tr.Span.HighHz, StepV: rec.stepV, NotHz: notHz, Known: known})}
	sw.shown = sw.Track != nil && !rec.aliasPossible() && sw.Track.Hz <= tr.Span.HighHz
	if len(tr.Volts) >= leastSamples && !rec.constant() {
		sw.spikes = spike.Find(sw.Residue, sw.Fold, tr.SampleRateHz, rec.stepV)
	}
	return sw
}

// clock is the switching as its lines show it.
func (s switching) clock(rec *record) spectrum.Clock {
	c := spectrum.Clock{DurationS: rec.tr.DurationS(), Folded: rec.unfiltered()}
	if s.Track == nil {
		return c
	}
	c.Hz = s.Track.Hz
	switch s.Track.Kind {
	case cycle.Dithered:
		c.SpreadHz = s.Track.SpreadHz
	case cycle.Bursting:
		c.BurstHz = s.Track.BurstHz
	}
	return c
}

// hz is the switching frequency, 0 where none was found.
func (s switching) hz() float64 {
	if s.Track == nil {
		return 0
	}
	return s.Track.Hz
}

// periodS is the switching period in seconds, 0 where none was found.
func (s switching) periodS() float64 {
	if s.Track == nil {
		return 0
	}
	return 1 / s.Track.Hz
}

// explainsLittle reports whether most of what varies in the ripple's band does not
// repeat at the cycle found: the fold averages it away, and its figures are lower
// bounds.
func (s switching) explainsLittle() bool { return s.Track != nil && s.Explained < leastExplained }

// explainsLittleCaution says so.
func (s switching) explainsLittleCaution() capture.Caution {
	return capture.Caution{
		Code: capture.CautionCycleExplains,
		Text: fmt.Sprintf("the cycle at %s accounts for only %.0f %% of what varies from %s to %s: cycles differ or are skipped, or another frequency is at work; the true ripple is higher",
			hertz(s.hz()), 100*s.Explained, hertz(cycle.ExplainLowHz), hertz(cycle.ExplainHighHz)),
		Fix: "load the supply as the heaters will, and show a few hundred cycles; until then judge by the 20 MHz peak-to-peak",
	}
}

// bursting reports whether the supply switches in packets.
func (s switching) bursting() bool { return s.Track != nil && s.Track.Kind == cycle.Bursting }
