package main

import (
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"stillglow/analysis"
	"stillglow/analysis/bandlimit"
	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

func newMeasureCmd() *cobra.Command {
	var (
		asJSON   bool
		mainsHz  float64
		lowPass  string
		baseline string
		ratedV   float64
		loadA    float64
		gain     float64
		quasi    bool
	)
	cmd := &cobra.Command{
		Use:   "measure FILE...",
		Short: "Measure ripple, spikes and noise floor of captures",
		Long: `Measure opens each capture (CSV, WAV, either gzipped), and prints what it shows:
DC, ripple, spikes, noise floor, lines and band sums, each with its uncertainty,
and a reason where the capture can't show a figure. In a file with several
channels every voltage channel is measured, unless --channel picks one.

With --json it prints one object per channel measured, one per line. Keys carry
their SI unit; a figure that can't be shown is null, with the reason in
not_measured.`,
		Example: `  stillglow measure testdata/bench/baseline.csv.gz
  stillglow measure --json --mains 50 testdata/bench/baseline.csv.gz`,
		Args: wantArgs(cobra.MinimumNArgs(1)),
	}
	opt := addImportFlags(cmd)
	flags := cmd.Flags()
	flags.BoolVar(&asJSON, "json", false, "print one JSON object per capture, one per line")
	flags.Float64Var(&mainsHz, "mains", 0, "mains frequency in Hz, 50 or 60 (default: find it)")
	flags.StringVar(&lowPass, "low-pass", "", "shape of the 20 MHz low-pass: first-order, butterworth4, gaussian, ideal, none")
	flags.StringVar(&baseline, "baseline", "", "capture of the instrument's own floor, made with the same set-up")
	flags.Float64Var(&ratedV, "rated-v", 0, "the unit's rated volts, to catch a wrong probe factor")
	flags.Float64Var(&loadA, "load-a", 0, "load current during the capture, in A")
	flags.Float64Var(&gain, "gain-percent", 0, "gain uncertainty of the instrument in percent (default 3)")
	flags.BoolVar(&quasi, "quasi-peak", false, "also give the ITU-R BS.468-4 quasi-peak")

	cmd.RunE = func(cmd *cobra.Command, files []string) error {
		if mainsHz != 0 && mainsHz != 50 && mainsHz != 60 {
			return usageError{fmt.Errorf("--mains is %g, expected 50 or 60", mainsHz)}
		}
		shape, err := bandlimit.Parse(lowPass)
		if err != nil {
			return usageError{err}
		}
		for _, f := range []struct {
			name  string
			value float64
		}{{"rated-v", ratedV}, {"load-a", loadA}, {"gain-percent", gain}} {
			if !(f.value >= 0 && f.value <= 1e6) {
				return usageError{fmt.Errorf("--%s is %g, expected a number from 0 up", f.name, f.value)}
			}
		}
		setup := analysis.Setup{
			MainsHz: mainsHz, LowPass: shape, GainFraction: gain / 100,
			RatedV: ratedV, LoadA: loadA, Quasi468: quasi,
		}
		ctx := cmd.Context()
		opt := *opt
		if baseline != "" {
			base, err := pipeline.MeasureFile(ctx, baseline, baseline, opt, setup, nil)
			if err != nil {
				return err
			}
			setup.Baseline = base.M
		}
		// Every file gets its figures or its line of trouble: one bad capture
		// doesn't hide the others.
		var bad pipeline.ErrorList
		shown := false
		for _, file := range files {
			own := opt
			own.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(file))
			err := eachChannel(own, func(own capture.Options) error {
				got, err := pipeline.MeasureFile(ctx, file, file, own, setup, nil)
				if err != nil {
					return err
				}
				if asJSON {
					line, err := report.CaptureJSON(got)
					if err == nil {
						_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s\n", line)
					}
					return outputError{err}.orNil()
				}
				if shown {
					fmt.Fprintln(cmd.OutOrStdout())
				}
				shown = true
				return outputError{report.WriteCapture(cmd.OutOrStdout(), got)}.orNil()
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
	return cmd
}

// eachChannel runs do with the options as they are, and where the file holds
// several channels and none is chosen, once for each. Its error is the first.
func eachChannel(opt capture.Options, do func(capture.Options) error) error {
	err := do(opt)
	var many *capture.ChannelError
	if !errors.As(err, &many) || many.Asked != "" {
		return err
	}
	var first error
	for i := range many.Channels {
		opt.Nth = i + 1
		if err := do(opt); err != nil && first == nil {
			first = err
		}
	}
	return first
}

// outputError is trouble with the output, which ends the command, unlike
// trouble with a capture.
type outputError struct{ error }

func (e outputError) orNil() error {
	if e.error == nil {
		return nil
	}
	return e
}
