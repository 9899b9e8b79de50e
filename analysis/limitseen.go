package analysis

import (
	"math"

	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// limitSeen reports whether a fast record whose bandwidth nobody states shows a 20 MHz
// limit of the instrument's by its own noise. From 25 MHz on there is hardly any of a
// supply's, and an input's is even up to its bandwidth: behind one pole at 20 MHz it
// falls by 6.3 dB to 63 MHz, behind one at 50 MHz by 3.2 dB. What is left of the
// supply's over the input's own falls less and less.
func (f *findings) limitSeen() bool {
	tr := f.rec.tr
	if m := tr.Acquisition.Mode; m != capture.AcquisitionUnknown && m != capture.AcquisitionSample || tr.BandwidthHz > 0 || tr.BandLimited || tr.TrueRateHz > 0 && tr.TrueRateHz < tr.SampleRateHz {
		return false
	}
	steps := spectrum.QuantisationDensity(f.rec.stepV, tr.SampleRateHz)
	var power [3]float64 // V²/Hz at the three places, the converter's steps taken off
	for i, hz := range [...]float64{limitFromHz, limitMiddleHz, limitToHz} {
		o, ok := f.floor.figures.At(hz)
		if !ok || o.UngatedVPerRtHz < limitOverSteps*steps || o.UngatedVPerRtHz > steepSpikes*o.DensityVPerRtHz {
			return false
		}
		power[i] = o.UngatedVPerRtHz*o.UngatedVPerRtHz - steps*steps
	}
	lower, upper := 10*math.Log10(power[0]/power[1]), 10*math.Log10(power[1]/power[2])
	return power[0] < limitMostVPerRtHz*limitMostVPerRtHz && lower+upper > limitFallDB && upper > limitUpperDB
}

// limitCaution says what such a limit makes of the 20 MHz figures.
func limitCaution() capture.Caution {
	return capture.Caution{
		Code: capture.CautionLimitSeen,
		Text: "the noise falls above 20 MHz as behind a 20 MHz limit of the instrument's own, which the file does not state: the 20 MHz figures are then limited twice, and the true ones are higher",
		Fix:  "if the limit was on, say so (band_limited = true in the sheet, or --band-limited); if it was off, state the instrument's bandwidth",
	}
}
