package target

import (
	"testing"

	"stillglow/analysis/figure"
)

// A figure that is only a bound says so.
func TestFigureTextShowsBounds(t *testing.T) {
	limit := Limit{Criterion: BandAudioA, Unit: "V", Max: 100e-6}
	for want, f := range map[string]figure.Figure{
		"44.6 µV":   {Known: true, Value: 44.6e-6},
		"≤ 44.6 µV": {Known: true, Value: 44.6e-6, UpperBound: true},
		"≥ 44.6 µV": {Known: true, Value: 44.6e-6, LowerBound: true},
	} {
		if got := (Margin{Limit: limit, Covered: true, Figure: f}).FigureText(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
