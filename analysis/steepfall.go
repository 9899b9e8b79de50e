package analysis

import (
	"fmt"
	"math"

	"stillglow/capture"
)

// steepFall is where the noise of a record falls towards its top faster than any input
// makes it.
type steepFall struct {
	cornerHz     float64 // 3 dB down, by a Gaussian's shape
	fromHz, toHz float64 // where it is steepest
	db           float64 // by how much it falls there
}

// steepest finds a fall of the noise, in a record of a mode that nobody states, which
// the poles of an input do not make: they take 6 dB an octave each, three of them at
// most where scopes and their bandwidth switches end (common practice, no source). A
// mean over neighbouring samples, weighted or not, and the curve that an exporter draws
// between the converter's points fall ever faster, down to what rounding leaves.
// A ring's line falls fastest beside its top, and what differs from cycle to cycle has
// lines at low frequencies, which the supply's own parts shape. Where spikes are more of
// the spectrum than noise, it tells nothing.
func (f *findings) steepest() (out steepFall, found bool) {
	tr, hz := f.rec.tr, 0.0
	if f.sw.Track != nil {
		hz = f.sw.Track.Hz
	}
	if m := tr.Acquisition.Mode; m != capture.AcquisitionUnknown && m != capture.AcquisitionSample {
		return out, false
	}
	oct := f.floor.figures.ThirdOctaves
	noise := func(i int) bool { return oct[i].UngatedVPerRtHz < steepSpikes*oct[i].DensityVPerRtHz }
	fall := func(i int) float64 { // dB, from one third octave to the next
		return 20 * math.Log10(max(oct[i].UngatedVPerRtHz, tiny)/max(oct[i+1].UngatedVPerRtHz, tiny))
	}
	for i := 2; i+2 < len(oct); i++ {
		before, first, second := fall(i-1), fall(i), fall(i+1)
		if oct[i].CentreHz < max(steepFromHz, steepCycles*hz) || oct[i].UngatedVPerRtHz < inputVPerRtHz || first+second < steepDB ||
			before < -steepScatterDB || first < before-steepScatterDB || second < first-steepScatterDB || fall(i-2) > first || !noise(i) || !noise(i+1) {
			continue
		}
		if first+second <= out.db {
			continue
		}
		// A Gaussian's level in dB goes by the square of the frequency, 3 dB at the corner.
		ratio := oct[i+2].CentreHz / oct[i].CentreHz
		corner := oct[i].CentreHz * math.Sqrt(10*math.Log10(2)*(ratio*ratio-1)/(first+second))
		out, found = steepFall{cornerHz: corner, fromHz: oct[i].CentreHz, toHz: oct[i+2].CentreHz, db: first + second}, true
	}
	return out, found && out.cornerHz < steepMattersHz
}

// steepCaution says what a steep fall of the noise makes of the figures.
func (s steepFall) caution() capture.Caution {
	return capture.Caution{Code: capture.CautionSmoothed,
		Text: fmt.Sprintf("from %s to %s the noise falls by %.0f dB, faster than an instrument's input makes it: the samples were smoothed or interpolated, and the file doesn't say so; peaks, and sums that reach above %s, are lower bounds", hertz(s.fromHz), hertz(s.toHz), s.db, hertz(s.cornerHz)),
		Fix:  "capture in normal (sample) mode without averaging, smoothing or a bandwidth limit, and export the channel itself without interpolation"}
}
