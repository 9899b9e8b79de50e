package main

import (
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// pagesDated is when the pages were last revised.
var pagesDated = time.Date(2026, time.November, 25, 0, 0, 0, 0, time.UTC)

func newManCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "man DIR",
		Short: "Write the manual pages into a new folder",
		Long: `Man writes one manual page per command into DIR, which must not exist yet. For
shell completion see "stillglow completion --help".`,
		Example: "  stillglow man /tmp/stillglow-man\n  man /tmp/stillglow-man/stillglow-report.1",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := args[0]
			if err := os.Mkdir(dir, 0o755); err != nil {
				if os.IsExist(err) {
					return fmt.Errorf("%s: exists already; name a new folder", dir)
				}
				return cannotWrite(args[0], err)
			}
			// A date of the source keeps the pages the same from the same program.
			day := pagesDated
			root := cmd.Root()
			root.DisableAutoGenTag = true
			return doc.GenManTree(root, &doc.GenManHeader{Section: "1", Source: "stillglow " + version, Manual: "stillglow", Date: &day}, dir)
		},
	}
}
