package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

func newReportCmd() *cobra.Command {
	var (
		flags rankFlags
		out   string
		force bool
	)
	cmd := &cobra.Command{
		Use:   "report SHEET",
		Short: "Rank a bench sheet and write the report folder",
		Long: `Report does what rank does and writes a folder: index.html (one page that needs no
network), plots as PNG and SVG, buildlog.md to paste into a build log,
results.csv, results.json with its schema, and labels.html to print.

The folder is written whole or not at all. A folder with files that no earlier
report wrote, or that were changed since, is left alone unless --force is given;
even then those files are kept, under their own name or with ".kept" after it.
` + pipeline.ListFile + ` in it lists what the tool wrote; sha256sum -c checks it.`,
		Example: "  stillglow report testdata/bench/bench.toml\n  stillglow report --out spring-batch testdata/bench/bench.toml",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := out
			if folder == "" {
				folder = defaultFolder(args[0])
			}
			s, err := flags.sheet.readTelling(args[0], cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			c, err := flags.cache.open()
			if err != nil {
				return err
			}
			opt := pipeline.FolderOptions{Force: force, Inputs: pipeline.Inputs(s), Cache: c}
			if err := pipeline.CheckFolder(folder, opt); err != nil {
				return err // before the measuring, not after it
			}
			defer countResults(s)()
			r, err := flags.evaluate(cmd.Context(), s, c, cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			if err := writeReport(cmd.Context(), r, folder, opt, cmd.ErrOrStderr()); err != nil {
				return err
			}
			if err := flags.print(cmd, r); err != nil {
				return err
			}
			// The place goes to standard error under --json, so that standard
			// output stays one JSON value.
			where := cmd.OutOrStdout()
			if flags.asJSON {
				where = cmd.ErrOrStderr()
			}
			fmt.Fprintf(where, "\nreport written to %s (open %s)\n", capture.OneLine(folder), capture.OneLine(filepath.Join(folder, "index.html")))
			return verdictError(r)
		},
	}
	flags.add(cmd)
	cmd.Flags().StringVarP(&out, "out", "o", "", "folder to write (default: the sheet's name with -report, in the current folder)")
	cmd.Flags().BoolVar(&force, "force", false, "write into a folder that holds other files too; they are kept")
	return cmd
}

// defaultFolder names the report folder after the sheet.
func defaultFolder(sheetPath string) string {
	base := filepath.Base(sheetPath)
	return strings.TrimSuffix(base, filepath.Ext(base)) + "-report"
}

// writeReport renders a report and puts it into a folder, whole or not at all.
// What is left to know of a report in place goes to notes.
func writeReport(ctx context.Context, r *report.Report, folder string, opt pipeline.FolderOptions, notes io.Writer) error {
	told, err := pipeline.WriteReport(ctx, r, folder, opt)
	for _, n := range told {
		fmt.Fprintf(notes, "stillglow: note: %s\n", n)
	}
	return err
}
