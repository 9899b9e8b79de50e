package target_test

import (
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// Sums over the spectrum, its lines and densities are foretold behind a filter as well as
// the samples tell them, peaks and counts never: a search would take an estimate for the
// samples' answer.
func TestWhatRestsOnPeaks(t *testing.T) {
	peaks := map[target.Criterion]bool{target.RipplePP: true, target.FoldedRipple: true, target.SpikePeak: true, target.SpikeRate: true, target.CommonPP: true}
	for _, id := range target.Criteria() {
		if got := target.RestsOnPeaks(id); got != peaks[id] {
			t.Errorf("%s: rests on peaks %v, want %v", id, got, peaks[id])
		}
		if !target.RestsOnPeaks(id) && !target.Foretold(id) {
			t.Errorf("%s rests on no peaks and is not foretold", id)
		}
	}
}

// A capture that covers a peak's span shows it, and so does one whose part of the span
// gives a figure; one that does neither is not asked for its samples.
func TestWhichCaptureShowsAPeak(t *testing.T) {
	goal, err := target.Custom(map[string]float64{string(target.SpikePeak): 30e-3, string(target.BandAudio): 1e-3}, nil, [2]float64{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	fast := &analysis.Measurement{Calibrated: true, Span: capture.Span{LowHz: 100, HighHz: 40e6}}
	slow := &analysis.Measurement{Calibrated: true, Span: capture.Span{LowHz: 5, HighHz: 400e3}}
	part := *slow
	part.Spikes.PeakP95V = figure.Known(1)
	common := *fast
	common.Mode = capture.Common
	for _, l := range goal.Limits {
		peak := l.Criterion == target.SpikePeak
		for _, c := range []struct {
			name string
			m    *analysis.Measurement
			want bool
		}{{"fast", fast, peak}, {"slow", slow, false}, {"a part of the span", &part, peak}, {"common mode", &common, false}} {
			if got := target.ShowsPeak(c.m, l); got != c.want {
				t.Errorf("%s, %s: %v, want %v", l.Name, c.name, got, c.want)
			}
		}
	}
}
