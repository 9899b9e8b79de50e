package target

import (
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Where a capture is shown to fold what lies above half its rate down, of a band
// sum only 2 x mains is sure: 10 mV of which 1 mV is that line may lie 20 dB lower.
func TestShownAliasDoubtsWhatIsNotMains(t *testing.T) {
	m := &analysis.Measurement{MainsLineHz: figure.Known(100), MainsLineRMS: figure.Known(1e-3)}
	c, _ := lookup(BandAudio)
	if _, up := marginShift(capture.CautionAliasShown, c, m, figure.Known(10e-3)); math.Abs(up-20) > 1e-9 {
		t.Errorf("may lie %g dB lower, want 20", up)
	}
	if _, up := marginShift(capture.CautionAliasShown, c, m, figure.Known(1e-3)); up != 0 {
		t.Errorf("hum alone: %g dB, want 0", up)
	}
	c, _ = lookup(BandRF1)
	if _, up := marginShift(capture.CautionAliasShown, c, m, figure.Known(10e-3)); up != unboundedDB {
		t.Errorf("above the mains: %g dB, want no bound", up)
	}
}
