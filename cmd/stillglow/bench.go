package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/benchpage"
	"stillglow/cmd/stillglow/pipeline"
)

func newBenchCmd() *cobra.Command {
	var (
		cache  cacheFlags
		opt    benchpage.Options
		noOpen bool
	)
	cmd := &cobra.Command{
		Use:   "bench [SHEET]",
		Short: "Do the whole job in the browser: drop captures, see the verdict, write the report",
		Long: `Bench opens a page on this machine that does the whole job: captures are dropped on
it, how each was read is checked and corrected, each is assigned to its unit, and the
ranking, the dropper, a post-filter and the report follow. It needs no network and
no other machine can reach it.

Everything done on the page is written into the bench sheet (bench.toml in this
folder when no name is given; the first change creates it). Comments, order and
what was written by hand stay, so that page, editor and the other commands can be
mixed freely. Dropped files are kept in captures/ beside the sheet and never
overwritten. Ctrl-C ends it; closing the page loses nothing.`,
		Example: "  stillglow bench\n  stillglow bench --no-open --port 8173 testdata/bench/bench.toml\n  stillglow bench --folder /media/scope spring.toml",
		Args:    wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.Sheet = "bench.toml"
			if len(args) == 1 {
				opt.Sheet = args[0]
			}
			if opt.Port < 0 || opt.Port > 65535 {
				return usageError{fmt.Errorf("--port %d, expected 0 to 65535", opt.Port)}
			}
			c, done, err := benchCache(&cache)
			if err != nil {
				return err
			}
			defer done()
			opt.Pipeline = pipeline.Options{Cache: c, Version: version, Workers: max(1, runtime.GOMAXPROCS(0)-1)}
			opt.Take, opt.Guide = capturesToTake, guideOf
			opt.Ready = func(address string) {
				fmt.Fprintf(cmd.OutOrStdout(), "bench %s is open at\n  %s\nCtrl-C ends it; every change on the page is saved in the sheet at once\n", opt.Sheet, address)
				if !noOpen {
					openBrowser(cmd.ErrOrStderr(), address)
				}
			}
			return benchpage.Serve(cmd.Context(), opt)
		},
	}
	cache.add(cmd)
	fl := cmd.Flags()
	fl.IntVar(&opt.Port, "port", 0, "port to use on this machine (default: a free one)")
	fl.BoolVar(&noOpen, "no-open", false, "print the address and open no browser")
	fl.StringVar(&opt.Folder, "folder", "", "folder where the scope's files arrive: each is copied once it is complete")
	return cmd
}

// benchCache is the cache of a page, which decides anew with every change: where
// nothing is to be kept for later runs it lasts as long as the page.
func benchCache(f *cacheFlags) (c *pipeline.Cache, done func(), err error) {
	done = func() {}
	if c, err = f.open(); c != nil || err != nil {
		return c, done, err
	}
	dir, err := os.MkdirTemp("", "stillglow-bench-")
	if err != nil {
		return nil, done, nil // then everything is measured anew, which takes longer
	}
	c, err = pipeline.OpenCache(dir)
	return c, func() { _ = os.RemoveAll(dir) }, err
}

// capturesToTake plans what would settle the criteria with the sheet's scope.
func capturesToTake(limits []target.Limit, in sheet.Instrument) []benchpage.Take {
	var out []benchpage.Take
	for _, s := range planSettings(limits, scopeLimits{Memory: in.MemorySamples, MaxRate: in.MaxRateHz}) {
		out = append(out, benchpage.Take{Criteria: s.names(), Settings: s.across() + s.settings()})
	}
	return out
}

// guideOf is what the guide command prints for a sheet.
func guideOf(s *sheet.Sheet) (string, error) {
	var out strings.Builder
	f := guideFlags{supplyV: usualSupplyV}
	err := f.write(&out, s)
	return out.String(), err
}

// openBrowser asks the system to show an address; where it can't, the user has
// the address printed.
func openBrowser(stderr io.Writer, address string) {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		cmd = exec.Command("rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		cmd = exec.Command("open", address)
	default:
		cmd = exec.Command("xdg-open", address)
	}
	if err := cmd.Start(); err != nil {
		if !errors.Is(err, exec.ErrNotFound) {
			fmt.Fprintf(stderr, "stillglow: no browser was opened: %v\n", err)
		}
		return
	}
	go func() { _ = cmd.Wait() }()
}
