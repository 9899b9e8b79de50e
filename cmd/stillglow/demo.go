package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"stillglow/capture/synth/demobench"
)

func newDemoCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Write the invented demo bench to a new folder",
		Long: `Write the demo bench: an invented workshop, twelve invented supplies of four
invented brands and their captures, each showing one thing that goes wrong, or
nothing. Nothing in it was measured. The same files are in testdata/bench.

DIR must be new or empty; no file is ever overwritten.`,
		Example: `  stillglow demo /tmp/demo-bench
  stillglow report /tmp/demo-bench/bench.toml`,
		Args: wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := filepath.Clean(args[0])
			files, bytes := 0, int64(0)
			err := demobench.Write(cmd.Context(), dir, func(_ string, n int64) {
				files++
				bytes += n
			})
			if err != nil {
				return err
			}
			sheet := filepath.Join(dir, demobench.Sheet)
			fmt.Fprintf(cmd.OutOrStdout(), "wrote %d files, %.1f MB of invented data, to %s\n", files, float64(bytes)/1e6, dir)
			fmt.Fprintf(cmd.OutOrStdout(), "next: stillglow report %s\n", sheet)
			return nil
		},
	}
}
