package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
)

// Messages to the user follow four rules: they go to standard error with the
// program's name before them; lower case, no full stop; what was found before
// what to do; one line for one trouble.

// version is set by the release script through -ldflags.
var version = "dev"

// Exit codes, documented in the README and in the root command's help.
const (
	exitDone     = 0 // done; where a ranking was made, at least one unit passes, if only by the output alone
	exitError    = 1 // bad input, an unreadable file, a full disk, interrupted
	exitUsage    = 2 // wrong command, argument or flag
	exitNonePass = 3 // done, and no unit passes
)

// usageError marks an error in how the command was called.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// errNonePass ends a ranking command that did its work and found no unit good
// enough. It prints nothing more.
var errNonePass = errors.New("no unit passes")

// run is the whole program but for the process: it never exits, and it maps
// errors to exit codes.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	out, errs := newPrintableWriter(stdout), newPrintableWriter(stderr)
	code := execute(ctx, args, stdin, out, errs)
	if err := out.finish(); err != nil && code != exitUsage {
		_, cause := pipeline.PathAndCause(err)
		fmt.Fprintf(errs, "stillglow: standard output: cannot be written: %v\n", cause)
		code = exitError
	}
	_ = errs.finish()
	return code
}

// execute runs one command and says on stderr what went wrong.
func execute(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRootCmd()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	ran, err := root.ExecuteContextC(ctx)
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNonePass):
		return exitNonePass
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "stillglow: %s; see '%s --help'\n", errorLine(err), ran.CommandPath())
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		fmt.Fprintln(stderr, "stillglow: interrupted, nothing was changed")
		return exitError
	case isWriteError(stdout, err):
		return exitError // told by run
	default:
		each := eachError(err)
		for _, e := range each[:min(mostErrors, len(each))] {
			fmt.Fprintf(stderr, "stillglow: %s\n", errorLine(e))
		}
		if more := len(each) - mostErrors; more > 0 {
			fmt.Fprintf(stderr, "stillglow: and %d more errors; mend these first\n", more)
		}
		return exitError
	}
}

// mostErrors is how many errors are told, each on its line: nobody reads thousands.
const mostErrors = 100

// eachError gives the errors that are to be told on lines of their own.
func eachError(err error) []error {
	var many pipeline.ErrorList
	if errors.As(err, &many) {
		return many
	}
	return []error{err}
}

// errorLine keeps a message to one printable line of bearable length whatever a
// file name, an argument or a library put into it.
func errorLine(err error) string {
	const most, tail = 1500, 300
	r := []rune(capture.OneLine(err.Error()))
	if len(r) > most {
		return string(r[:most-tail]) + " … " + string(r[len(r)-tail:])
	}
	return string(r)
}

func newRootCmd() *cobra.Command {
	var showVersion, showLicences bool
	root := &cobra.Command{
		Use:   "stillglow",
		Short: "Find which heater supply is quiet enough, and what to fit",
		Long: `Stillglow reads oscilloscope and sound-card captures of small DC supplies, measures
ripple, spikes and noise floor, ranks units and brands against a target for
low-noise valve heaters, and works out the dropper resistor and, for a near
miss, the post-filter.

Exit codes: 0 done (and where units are ranked, at least one passes, even if its common
mode is still open), 1 error, 2 wrong usage, 3 done but no unit passes.`,
		Example: `  stillglow bench
  stillglow report testdata/bench/bench.toml
  stillglow measure testdata/bench/baseline.csv.gz
  stillglow dropper --supply 7 --valves 2x12AU7,1x6N2P`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if showVersion || showLicences {
				return printVersion(cmd.OutOrStdout(), showLicences)
			}
			if len(args) == 0 {
				return cmd.Help()
			}
			return unknownCommand(cmd, args[0])
		},
	}
	root.Flags().BoolVarP(&showVersion, "version", "v", false, "print the version")
	root.Flags().BoolVar(&showLicences, "licences", false, "print the licences of everything the program is built from")
	root.SuggestionsMinimumDistance = 2
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return usageError{flagError(cmd, err)} })
	root.AddCommand(
		newBenchCmd(),
		newInspectCmd(),
		newCalibrateCmd(),
		newMeasureCmd(),
		newRankCmd(),
		newReportCmd(),
		newDropperCmd(),
		newValvesCmd(),
		newDemoCmd(),
		newCacheCmd(),
		newManCmd(),
		newTargetCmd(),
		newFilterCmd(),
		newNewCmd(),
		newCheckCmd(),
		newWatchCmd(),
		newGuideCmd(),
		newCompareCmd(),
		newCompletionCmd(),
	)
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetHelpCommand(newHelpCmd())
	giveHelpFlags(root)
	giveCompletions(root)
	return root
}
