package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"stillglow/analysis"
	"stillglow/analysis/bandlimit"
	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// measureFlags is what the command line asks of measure.
type measureFlags struct {
	asJSON   bool
	mainsHz  float64 // 50 or 60, 0: find it
	lowPass  string  // as bandlimit.Parse reads it
	baseline string  // path, or empty
	ratedV   float64 // 0: not stated
	loadA    float64 // 0: not stated
	gain     float64 // percent, 0: the default
	quasi    bool
}

func newMeasureCmd() *cobra.Command {
	var f measureFlags
	cmd := &cobra.Command{
		Use:   "measure FILE...",
		Short: "Measure ripple, spikes and noise floor of captures",
		Long: `Measure opens each capture (CSV or WAV, gzipped or not) and prints what it shows:
DC, ripple, spikes, noise floor, spectral lines and band sums, each with its
uncertainty, and a reason where the capture can't show a figure. A figure behind ≤
is at most that, behind ≥ at least. In a file with several channels every voltage
channel is measured, unless --channel picks one.

With --json it prints one object per channel measured, one per line. Keys carry
their SI unit; a figure that can't be shown is null, with the reason in
not_measured.`,
		Example: `  stillglow measure testdata/bench/baseline.csv.gz
  stillglow measure --json --mains 50 testdata/bench/baseline.csv.gz`,
		Args: wantArgs(cobra.MinimumNArgs(1)),
	}
	opt := addImportFlags(cmd)
	flags := cmd.Flags()
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object per capture, one per line")
	flags.Float64Var(&f.mainsHz, "mains", 0, "mains frequency in Hz, 50 or 60 (default: find it)")
	flags.StringVar(&f.lowPass, "low-pass", "", "shape of the 20 MHz low-pass: first-order, butterworth4, gaussian, ideal, none")
	flags.StringVar(&f.baseline, "baseline", "", "capture of the instrument's own noise, made with the same set-up")
	flags.Float64Var(&f.ratedV, "rated-v", 0, "the unit's rated volts, to catch a wrong probe factor")
	flags.Float64Var(&f.loadA, "load-a", 0, "load current during the capture, in A")
	flags.Float64Var(&f.gain, "gain-percent", 0, "gain uncertainty of the instrument in percent (default 3)")
	flags.BoolVar(&f.quasi, "quasi-peak", false, "also give the ITU-R BS.468-4 quasi-peak")
	cmd.RunE = func(cmd *cobra.Command, files []string) error {
		setup, err := f.setup()
		if err != nil {
			return err
		}
		if f.baseline != "" {
			base, err := pipeline.MeasureFile(cmd.Context(), f.baseline, f.baseline, *opt, setup, nil)
			if err != nil {
				return err
			}
			setup.Baseline = base.M
		}
		return measureFiles(cmd, files, *opt, setup, f.asJSON)
	}
	return cmd
}

// setup checks the flags' values and gives what they say of the set-up, but for
// the baseline.
func (f *measureFlags) setup() (analysis.Setup, error) {
	var none analysis.Setup
	if f.mainsHz != 0 && f.mainsHz != 50 && f.mainsHz != 60 {
		return none, usageError{fmt.Errorf("--mains: found %g, expected 50 or 60", f.mainsHz)}
	}
	shape, err := bandlimit.Parse(f.lowPass)
	if err != nil {
		return none, usageError{err}
	}
	if err := unitSlips([]unitBound{
		{"rated-v", f.ratedV, 0, mostVolts, "volts", "mV", 1e-3},
		{"load-a", f.loadA, 0, mostAmps, "amps", "mA", 1e-3},
	}); err != nil {
		return none, usageError{err}
	}
	if err := (percentBound{"gain-percent", f.gain, leastTolPercent, 100, true}).slip(); err != nil {
		return none, usageError{err}
	}
	return analysis.Setup{
		MainsHz: f.mainsHz, LowPass: shape, GainFraction: f.gain / 100,
		RatedV: f.ratedV, LoadA: f.loadA, Quasi468: f.quasi,
	}, nil
}

// measureFiles measures and prints the files in turn. Every file gets its figures
// or its line in the error: one bad capture doesn't hide the others. Output that
// can't be written and a cancelled context end it.
func measureFiles(cmd *cobra.Command, files []string, opt capture.Options, setup analysis.Setup, asJSON bool) error {
	ctx := cmd.Context()
	write := captureWriter(cmd.OutOrStdout(), asJSON)
	var bad pipeline.ErrorList
	for _, file := range files {
		own := opt
		own.NoSHA256 = !asJSON && setup.Baseline == nil // a baseline is told from its own capture by it
		own.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(file))
		err := eachChannel(own, func(own capture.Options) error {
			got, err := pipeline.MeasureFile(ctx, file, file, own, setup, nil)
			if err != nil {
				return err
			}
			return outputError{write(got)}.orNil()
		})
		var out outputError
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.As(err, &out):
			return out.error
		default:
			bad = append(bad, err)
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// captureWriter gives what prints a measured capture: a line of JSON, or text with
// an empty line between two.
func captureWriter(w io.Writer, asJSON bool) func(report.Capture) error {
	if asJSON {
		return func(c report.Capture) error {
			line, err := report.CaptureJSON(c)
			if err == nil {
				_, err = fmt.Fprintf(w, "%s\n", line)
			}
			return err
		}
	}
	shown := false
	return func(c report.Capture) error {
		if shown {
			fmt.Fprintln(w)
		}
		shown = true
		return report.WriteCapture(w, c)
	}
}

// eachChannel runs do with the options as they are, and where the file holds
// several channels and none is chosen, once for each. Its error is the first.
func eachChannel(opt capture.Options, do func(capture.Options) error) error {
	err := do(opt)
	var many *capture.ChannelError
	if !errors.As(err, &many) || many.Asked != "" || len(many.Channels) > mostChannels {
		return err
	}
	var first error
	for i := range many.Channels {
		opt.Nth = i + 1
		err := do(opt)
		if err != nil && first == nil {
			first = err
		}
		if out := (outputError{}); errors.As(err, &out) {
			return err
		}
	}
	return first
}

// mostChannels is how many channels of a file are measured where none is named: each is
// read by itself.
const mostChannels = 64

// outputError is trouble with the output, which ends the command, unlike
// trouble with a capture.
type outputError struct{ error }

func (e outputError) orNil() error {
	if e.error == nil {
		return nil
	}
	return e
}
