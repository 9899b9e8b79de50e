package analysis

import (
	"stillglow/analysis/cycle"
	"stillglow/analysis/spike"
)

// switching is the switching cycle of the record and the spikes that stand out of
// what its ripple leaves.
type switching struct {
	cycle.Finding
	spikes spike.Finding
	shown  bool // a cycle was found, and the span holds it
}

// findSwitching finds, tracks and folds the switching cycle and looks for spikes
// in what the ripple leaves; notHz are frequencies not to look at.
func findSwitching(rec *record, notHz []float64) switching {
	tr := rec.tr
	sw := switching{Finding: cycle.Find(cycle.Input{Volts: tr.Volts, MeanV: rec.basic.mean, RateHz: tr.SampleRateHz,
		HighHz: tr.Span.HighHz, StepV: rec.stepV, NotHz: notHz})}
	sw.shown = sw.Track != nil && !rec.aliasPossible() && sw.Track.Hz <= tr.Span.HighHz
	if len(tr.Volts) >= leastSamples && !rec.constant() {
		sw.spikes = spike.Find(sw.Residue, sw.Fold, tr.SampleRateHz, rec.stepV)
	}
	return sw
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

// bursting reports whether the supply switches in packets.
func (s switching) bursting() bool { return s.Track != nil && s.Track.Kind == cycle.Bursting }
