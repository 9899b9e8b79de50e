package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

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

The folder is written whole or not at all. One that holds files which no earlier
report wrote is left alone unless --force is given; even then those files are
kept.`,
		Example: "  stillglow report testdata/bench/bench.toml\n  stillglow report --out spring-batch testdata/bench/bench.toml",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := flags.evaluate(cmd.Context(), args[0], cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			folder := out
			if folder == "" {
				folder = defaultFolder(args[0])
			}
			if err := writeReport(cmd.Context(), r, folder, force); err != nil {
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
			fmt.Fprintf(where, "\nreport written to %s (open %s)\n", folder, filepath.Join(folder, "index.html"))
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
func writeReport(ctx context.Context, r *report.Report, folder string, force bool) error {
	files, err := report.Render(ctx, r, report.RenderOptions{})
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return writeFolder(folder, files, force)
}
