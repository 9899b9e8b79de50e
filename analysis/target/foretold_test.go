package target_test

import (
	"testing"

	"stillglow/analysis/target"
)

// Sums over the spectrum and its lines are foretold exactly behind a filter, peaks and
// counts never: a search would take an estimate for the samples' answer.
func TestWhatIsForetoldExactly(t *testing.T) {
	exact := map[target.Criterion]bool{target.MainsLine: true, target.BandAudio: true, target.BandAudioA: true, target.BandRF1: true, target.BandRF2: true,
		target.CommonMains: true, target.CommonAudio: true}
	for _, id := range target.Criteria() {
		if want, stated := exact[id]; stated && target.ForetoldExactly(id) != want {
			t.Errorf("%s: exactly %v, want %v", id, target.ForetoldExactly(id), want)
		}
		if target.ForetoldExactly(id) && !target.Foretold(id) {
			t.Errorf("%s is foretold exactly and not at all", id)
		}
	}
	for _, id := range []target.Criterion{target.RipplePP, target.FoldedRipple, target.SpikePeak, target.SpikeRate, target.HeaterDC, target.Mask} {
		if target.ForetoldExactly(id) {
			t.Errorf("%s is foretold exactly", id)
		}
	}
}
