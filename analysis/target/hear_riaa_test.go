package target

import (
	"math"
	"testing"
)

// A phono stage's replay curve lifts the bass by 13.09 dB at 100 Hz and lowers
// the treble by 13.73 dB at 10 kHz against 1 kHz (IEC 60098 time constants from
// memory, values computed), so the same volts on the heater weigh that much more
// and less. Noise of one narrow band shows it.
func TestHearWeighsByTheReplayCurve(t *testing.T) {
	for hz, wantDB := range map[float64]float64{100: 13.09, 10e3: -13.73} {
		band := shaped(func(f float64) float64 {
			if math.Abs(math.Log(f/hz)) < 0.03 {
				return 1e-6
			}
			return 0
		})
		line := Hear(Stage{CathodeOhm: 1e3}, band).InputAVRMS
		phono := Hear(Stage{CathodeOhm: 1e3, RIAA: true}, band).InputAVRMS
		if got := 20 * math.Log10(phono/line); math.Abs(got-wantDB) > 0.1 {
			t.Errorf("%g Hz: the curve weighs %.2f dB, want %.2f", hz, got, wantDB)
		}
	}
}
