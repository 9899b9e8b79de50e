package capture

import (
	"errors"
	"fmt"
	"math"
)

// Judging a calibration.
const (
	calRefused  = 0.05 // of the sine, rms: above it there is no sine to calibrate by
	calResidual = 0.01 // of the sine, rms: above it the sine is not clean
	calHot      = 0.98 // of full scale: the input may clip
	calFaint    = 0.01 // of full scale: the input's noise weighs
)

// Calibration is what a recorded sine of known volts tells of a sound input.
type Calibration struct {
	VoltsPerFullScale float64  `json:"volts_per_full_scale"` // volts peak at digital full scale, > 0
	FrequencyHz       float64  `json:"frequency_hz"`         // of the sine
	PeakOfFullScale   float64  `json:"peak_of_full_scale"`   // its peak, 0 to 1
	OffsetOfFullScale float64  `json:"offset_of_full_scale"` // its mean
	Residual          float64  `json:"residual_rms_of_sine"` // rms over the sine's rms
	Cautions          []string `json:"cautions"`             // never nil
}

// Calibrate finds the volts at full scale of the input that recorded a sine of
// voltsRMS volts rms, > 0; hz is where to look for it, 0 the strongest line. It
// fails on a trace that is in volts already, and where the residual of the sine fit
// (IEEE Std 1057, see FitSine) tells that there is no clean sine.
func Calibrate(t *Trace, voltsRMS, hz float64) (Calibration, error) {
	if t.Calibrated {
		return Calibration{}, errors.New("a capture in volts, expected a WAV; only a sound input needs calibrating")
	}
	fit, err := FitSine(t.Volts, t.SampleRateHz, hz)
	if err != nil {
		return Calibration{}, fmt.Errorf("%w; expected a clean sine of many cycles", err)
	}
	c := Calibration{
		VoltsPerFullScale: voltsRMS * math.Sqrt2 / fit.Amplitude, FrequencyHz: fit.FrequencyHz,
		PeakOfFullScale: fit.Amplitude, OffsetOfFullScale: fit.Offset, Residual: fit.ResidualRMS / (fit.Amplitude / math.Sqrt2),
		Cautions: []string{},
	}
	if c.Residual > calRefused {
		found := fmt.Sprintf("%.2g %% of the sine", 100*c.Residual)
		if c.Residual >= 1 {
			found = "more than the sine itself"
		}
		return Calibration{}, fmt.Errorf("the residual (noise, distortion, hum) is %s, expected at most %g %%; record a clean sine and try again", found, 100*calRefused)
	}
	peak := 0.0
	for _, v := range t.Volts {
		peak = max(peak, math.Abs(v))
	}
	if peak >= calHot {
		c.Cautions = append(c.Cautions, fmt.Sprintf("the peaks reach %.4g of full scale: the input may clip; lower the level and record again", peak))
	}
	if fit.Amplitude < calFaint {
		c.Cautions = append(c.Cautions, fmt.Sprintf("the sine fills only %.2g of full scale; raise the level and record again", fit.Amplitude))
	}
	if c.Residual > calResidual {
		c.Cautions = append(c.Cautions, fmt.Sprintf("the residual (noise, distortion, hum) is %.2g %% of the sine; look for the cause before trusting the figure", 100*c.Residual))
	}
	for _, x := range t.Cautions {
		if x.Code != CautionUncalibrated {
			c.Cautions = append(c.Cautions, x.Text)
		}
	}
	return c, nil
}

// noResidual is the share of the sine under which a residual says nothing: a sine out
// of a formula leaves less than any generator and any input do.
const noResidual = 1e-5

// ResidualText is the residual as a share of the sine in percent, to the given
// significant digits.
func (c Calibration) ResidualText(digits int) string {
	if c.Residual < noResidual {
		return fmt.Sprintf("under %g %%", 100*noResidual)
	}
	return fmt.Sprintf("%.*g %%", digits, 100*c.Residual)
}
