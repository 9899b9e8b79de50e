package report

import (
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/target"
)

// Where a figure is a bound its margin is one the other way round.
func TestMarginTextShowsBounds(t *testing.T) {
	for want, f := range map[string]figure.Figure{
		"+7.0 dB":   {Known: true, Value: 44.6e-6},
		"≥ +7.0 dB": {Known: true, Value: 44.6e-6, UpperBound: true},
		"≤ +7.0 dB": {Known: true, Value: 44.6e-6, LowerBound: true},
	} {
		if got := MarginText(target.Margin{Limit: target.Limit{Criterion: target.BandAudioA}, Covered: true, Figure: f, DB: 7}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
