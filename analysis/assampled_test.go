package analysis_test

import (
	"strings"
	"testing"

	"stillglow/capture"
)

// A clock of 657 kHz gives 1 MS/s the very samples of one of 343 kHz run backwards, so
// that nothing in the record tells them apart: the caution on what no filter kept
// out names the other one, and at a rate that no supply switches above half of does not.
func TestFrequencyAsSampled(t *testing.T) {
	for _, c := range []struct {
		rateHz float64
		other  string
	}{{1e6, "657 kHz"}, {25e6, ""}} {
		m := measured(t, sampledClock(343e3, c.rateHz, 0, 0, 60_000))
		text := ""
		for _, k := range m.Cautions {
			if k.Code == capture.CautionUnfiltered {
				text = k.Text
			}
		}
		if !m.SwitchingHz.Known || text == "" || strings.Contains(text, "as sampled") != (c.other != "") || !strings.Contains(text, c.other) {
			t.Errorf("at %g S/s: %+v, %q", c.rateHz, m.SwitchingHz, text)
		}
	}
}
