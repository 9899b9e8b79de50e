package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"stillglow/capture"
)

func newCalibrateCmd() *cobra.Command {
	var (
		rms    float64
		freq   float64
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "calibrate FILE.wav",
		Short: "Find a sound input's volts at full scale from a known sine",
		Long: `Calibrate reads a WAV of a sine whose volts are known, fits the sine by least
squares (the four-parameter fit of IEEE Std 1057), and prints the volts (peak)
at digital full scale: the value for --volts-per-full-scale and for the bench
sheet's volts_per_full_scale.

Take the sine from a generator, a few hundred hertz to 1 kHz, at a level that
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
		if rms > mostSoundV {
			return usageError{fmt.Errorf("--volts-rms: found %g, expected volts, %g at most; for %g mV write %g", rms, mostSoundV, rms, rms/1e3)}
		}
		file := args[0]
		opt.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(file))
		t, err := capture.Open(cmd.Context(), file, opt)
		if err != nil {
			return err
		}
		c, err := capture.Calibrate(t, rms, freq)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		out := cmd.OutOrStdout()
		if asJSON {
			b, err := json.Marshal(calibration{file, c})
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(out, "%s\n", b)
			return err
		}
		fmt.Fprintf(out, "volts_per_full_scale = %.6g\n", c.VoltsPerFullScale)
		fmt.Fprintf(out, "  sine of %.7g Hz, peak %.5g of full scale for %.5g V rms\n", c.FrequencyHz, c.PeakOfFullScale, rms)
		fmt.Fprintf(out, "  residual (noise, distortion): %s of the sine, rms\n", c.ResidualText(3))
		for _, x := range c.Cautions {
			fmt.Fprintf(out, "  caution: %s\n", x)
		}
		return nil
	}
	return cmd
}

// calibration is the result, as printed with --json.
type calibration struct {
	File string `json:"file"`
	capture.Calibration
}

// mostSoundV is more than any sound input takes, V rms.
const mostSoundV = 100.0
