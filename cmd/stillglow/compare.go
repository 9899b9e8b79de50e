package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// compareFlags are the flags of the compare command.
type compareFlags struct {
	plot    string
	force   bool
	asJSON  bool
	mainsHz float64
}

func newCompareCmd() *cobra.Command {
	f := &compareFlags{}
	cmd := &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "Compare before and after, in dB",
		Long: `Compare takes two captures, or two results (results.json of a report, or lines of
measure --json), and prints each figure before and after with its change in dB;
below 0 dB is quieter, and what changed most comes first. Two results are matched
unit by unit, several lines of measure --json by file and channel. A change within
the uncertainty of the two figures is in brackets.

With --plot it draws one picture: the two spectra, or for several units their
worst margins.`,
		Example: `  stillglow compare testdata/bench/tindlewick-b1-fast.csv testdata/bench/tindlewick-b2-fast.csv.gz
  stillglow compare --plot change.png before-report/results.json after-report/results.json`,
		Args: wantArgs(cobra.ExactArgs(2)),
	}
	opt := addImportFlags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.plot, "plot", "", "write the picture to this .png or .svg file")
	fl.BoolVar(&f.force, "force", false, "let --plot replace an existing file")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
	fl.Float64Var(&f.mainsHz, "mains", 0, "mains frequency in Hz, 50 or 60 (default: find it)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return f.run(cmd, args, *opt) }
	return cmd
}

func (f *compareFlags) run(cmd *cobra.Command, args []string, opt capture.Options) error {
	if f.mainsHz != 0 && f.mainsHz != 50 && f.mainsHz != 60 {
		return usageError{fmt.Errorf("--mains: found %g, expected 50 or 60", f.mainsHz)}
	}
	format := strings.ToLower(strings.TrimPrefix(filepath.Ext(f.plot), "."))
	if f.plot != "" && format != "png" && format != "svg" {
		return usageError{fmt.Errorf("--plot: found %s, expected a name ending in .png or .svg", strconv.Quote(f.plot))}
	}
	var sides [2]*report.Side
	for i, path := range args {
		own := opt
		own.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(path))
		side, err := readSide(cmd.Context(), path, own, analysis.Setup{MainsHz: f.mainsHz})
		if err != nil {
			return err
		}
		sides[i] = side
	}
	c, err := report.Compare(sides[0], sides[1])
	if err != nil {
		return err
	}
	if f.plot != "" {
		picture, err := c.Plot(format)
		if err != nil {
			return err
		}
		if err := writePicture(f.plot, picture, f.force); err != nil {
			return err
		}
	}
	if f.asJSON {
		b, err := c.JSON()
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s\n", b)
		return err
	}
	return report.WriteComparison(cmd.OutOrStdout(), c, tableOptions(cmd.OutOrStdout()))
}

// readSide reads results or a capture's JSON, or measures a capture.
func readSide(ctx context.Context, path string, opt capture.Options, setup analysis.Setup) (*report.Side, error) {
	if strings.EqualFold(filepath.Ext(path), ".json") {
		b, err := os.ReadFile(path)
		if err != nil {
			var pe *fs.PathError
			if errors.As(err, &pe) {
				return nil, fmt.Errorf("%s: %w", path, pe.Err)
			}
			return nil, err
		}
		return report.ReadSide(path, bytes.TrimSpace(b))
	}
	got, err := pipeline.MeasureFile(ctx, path, path, opt, setup, nil)
	if err != nil {
		return nil, err
	}
	return report.SideOf(got)
}
