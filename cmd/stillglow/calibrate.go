package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"github.com/spf13/cobra"

	"stillglow/capture"
)

// Judging a calibration.
const (
	calRefused  = 0.05 // of the sine, rms: above it there is no sine to calibrate by
	calResidual = 0.01 // of the sine, rms: above it the sine is not clean
	calHot      = 0.98 // of full scale: the input may clip
	calFaint    = 0.01 // of full scale: the input's noise weighs
)

func newCalibrateCmd() *cobra.Command {
	var (
		rms    float64
		freq   float64
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "calibrate FILE.wav",
		Short: "Find a sound input's volts per full scale from a known sine",
		Long: `Calibrate reads a WAV of a sine whose volts are known, fits the sine by least
squares (the four-parameter fit of IEEE Std 1057), and prints the volts (peak)
at digital full scale: the number for --volts-per-full-scale and for the bench
sheet's volts_per_full_scale.

Take the sine from a generator, some hundred hertz to 1 kHz, at a level that
fills a good part of the input's range; read its volts rms on a meter across
the input while recording; and leave every gain control where it is for the
captures that follow. Never connect mains to a sound input.`,
		Example: `  stillglow calibrate --volts-rms 0.5 testdata/captures/sine-1khz-0v5rms.wav`,
		Args:    wantArgs(cobra.ExactArgs(1)),
	}
	f := cmd.Flags()
	f.Func("volts-rms", "volts rms of the sine, as the meter shows them (required)", positive(&rms))
	f.Func("frequency", "frequency of the sine in hertz (default: the strongest line)", hertz(&freq))
	f.BoolVar(&asJSON, "json", false, "print one JSON object")
	var opt capture.Options
	f.StringVar(&opt.Channel, "channel", "", "channel to read, by name or by number from 1")
	f.Func("rate", "sample rate in hertz; overrides the file's", hertz(&opt.RateHz))
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if rms == 0 {
			return usageError{errors.New("no --volts-rms given, expected the sine's volts rms as the meter shows them")}
		}
		file := args[0]
		opt.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(file))
		t, err := capture.Open(cmd.Context(), file, opt)
		if err != nil {
			return err
		}
		if t.Calibrated {
			return fmt.Errorf("%s: a capture in volts, expected a WAV; only a sound input needs calibrating", file)
		}
		fit, err := capture.FitSine(t.Volts, t.SampleRateHz, freq)
		if err != nil {
			return fmt.Errorf("%s: %w; expected a clean sine of many cycles", file, err)
		}
		c := calibration{
			File: file, VoltsPerFullScale: rms * math.Sqrt2 / fit.Amplitude, FrequencyHz: fit.FrequencyHz,
			PeakOfFullScale: fit.Amplitude, OffsetOfFullScale: fit.Offset, Residual: fit.ResidualRMS / (fit.Amplitude / math.Sqrt2),
			Cautions: []string{},
		}
		if c.Residual > calRefused {
			return fmt.Errorf("%s: the residual (noise, distortion, hum) is %.2g %% of the sine, expected at most %g %%; record a clean sine and try again", file, 100*c.Residual, 100*calRefused)
		}
		lo, hi, _ := spreadOf(t.Volts)
		if max(-lo, hi) >= calHot {
			c.Cautions = append(c.Cautions, fmt.Sprintf("the peaks reach %.4g of full scale: the input may clip; lower the level and record again", max(-lo, hi)))
		}
		if fit.Amplitude < calFaint {
			c.Cautions = append(c.Cautions, fmt.Sprintf("the sine fills only %.2g of full scale; raise the level and record again", fit.Amplitude))
		}
		if c.Residual > calResidual {
			c.Cautions = append(c.Cautions, fmt.Sprintf("the residual (noise, distortion, hum) is %.2g %% of the sine; look for the cause before trusting the figure", 100*c.Residual))
		}
		for _, x := range t.Cautions {
			if x.Code != capture.CautionUncalibrated {
				c.Cautions = append(c.Cautions, x.Text)
			}
		}
		out := cmd.OutOrStdout()
		if asJSON {
			b, err := json.Marshal(c)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(out, "%s\n", b)
			return err
		}
		fmt.Fprintf(out, "volts_per_full_scale = %.6g\n", c.VoltsPerFullScale)
		fmt.Fprintf(out, "  sine of %.7g Hz, peak %.5g of full scale for %.5g V rms\n", c.FrequencyHz, c.PeakOfFullScale, rms)
		fmt.Fprintf(out, "  residual (noise, distortion): %.3g %% of the sine, rms\n", 100*c.Residual)
		for _, x := range c.Cautions {
			fmt.Fprintf(out, "  caution: %s\n", x)
		}
		return nil
	}
	return cmd
}

// calibration is the result, as printed with --json.
type calibration struct {
	File              string   `json:"file"`
	VoltsPerFullScale float64  `json:"volts_per_full_scale"` // peak
	FrequencyHz       float64  `json:"frequency_hz"`
	PeakOfFullScale   float64  `json:"peak_of_full_scale"`
	OffsetOfFullScale float64  `json:"offset_of_full_scale"`
	Residual          float64  `json:"residual_rms_of_sine"` // rms over the sine's rms
	Cautions          []string `json:"cautions"`
}
