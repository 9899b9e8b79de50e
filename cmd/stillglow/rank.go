package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// rankFlags are what rank and report have in common.
type rankFlags struct {
	cache      cacheFlags
	sheet      sheetFlags
	date       string
	workers    int
	skipFilter bool
	asJSON     bool
	explain    bool // rank only
}

func (f *rankFlags) add(cmd *cobra.Command) {
	f.cache.add(cmd)
	f.sheet.add(cmd)
	cmd.Flags().Func("date", "date to print instead of the sheet's: 2026-03-14", day(&f.date))
	cmd.Flags().IntVar(&f.workers, "workers", 0, "captures measured in parallel (default: one per core)")
	cmd.Flags().BoolVar(&f.skipFilter, "no-filter", false, "don't look for a post-filter for near misses")
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print the results as JSON instead of the table")
}

// day takes a date as a sheet may have it.
func day(into *string) func(string) error {
	return func(given string) error {
		if !sheet.ValidDate(given) {
			return fmt.Errorf("found %q, expected a valid date, like 2026-03-14", given)
		}
		*into = given
		return nil
	}
}

// countResults has the collector run less often the more captures there are: it would
// walk the results of all those measured with every few megabytes that the next one
// needs, a fifteenth of the time of a bench of 60 units. A quarter of this is what it
// costs in memory.
func countResults(s *sheet.Sheet) (end func()) {
	captures := 0
	for _, u := range s.Units {
		captures += len(u.Captures)
	}
	return countInUse(captures << 20)
}

// evaluate runs the evaluation that the flags ask for, with the cache that they name.
func (f *rankFlags) evaluate(ctx context.Context, s *sheet.Sheet, c *pipeline.Cache, stderr io.Writer) (*report.Report, error) {
	return pipeline.EvaluateSheet(ctx, s, pipeline.Options{Version: version,
		Workers: f.workers, Cache: c, Date: f.date, SkipFilter: f.skipFilter,
		Progress: measuringProgress(stderr),
	})
}

// print writes the ranking to the terminal or as JSON.
func (f *rankFlags) print(cmd *cobra.Command, r *report.Report) error {
	if f.asJSON {
		data, err := r.JSON()
		if err != nil {
			return err
		}
		_, err = cmd.OutOrStdout().Write(data)
		return err
	}
	if err := report.WriteTable(cmd.OutOrStdout(), r, tableOptions(cmd.OutOrStdout())); err != nil || !f.explain {
		return err
	}
	_, err := io.WriteString(cmd.OutOrStdout(), "\n"+rules())
	return err
}

// rules are how margins are computed and how units and brands are ordered.
func rules() string {
	var b strings.Builder
	for _, rule := range []string{target.MarginRule, target.RankRule, target.BrandRule} {
		b.WriteString(wrapText("- ", "  ", rule, 100))
	}
	return b.String()
}

// verdictError tells by the exit code whether any unit passes.
func verdictError(r *report.Report) error {
	for _, u := range r.Units {
		if u.Eval.Verdict == target.Pass {
			return nil
		}
	}
	return errNonePass
}

func newRankCmd() *cobra.Command {
	var flags rankFlags
	cmd := &cobra.Command{
		Use:   "rank SHEET",
		Short: "Rank the units of a bench sheet against its target",
		Long: `Rank measures the captures of every unit in a bench sheet and prints the units in
order, each with its verdict, its worst margin and why. Files beside the sheet
that fit its pattern count as if the sheet named them. It writes nothing but the
cache.

` + rules(),
		Example: "  stillglow rank testdata/bench/bench.toml\n  stillglow rank --explain testdata/bench/bench.toml\n  stillglow rank --json testdata/bench/bench.toml",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := flags.sheet.readTelling(args[0], cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			c, err := flags.cache.open()
			if err != nil {
				return err
			}
			defer countResults(s)()
			r, err := flags.evaluate(cmd.Context(), s, c, cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			if err := flags.print(cmd, r); err != nil {
				return err
			}
			return verdictError(r)
		},
	}
	flags.add(cmd)
	cmd.Flags().BoolVar(&flags.explain, "explain", false, "explain below the table how margins are computed and units ordered")
	return cmd
}
