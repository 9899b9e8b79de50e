package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture/sheet"
)

// shells are those that a completion script can be written for.
var shells = []struct {
	name  string
	write func(*cobra.Command, io.Writer) error
}{
	{"bash", func(c *cobra.Command, w io.Writer) error { return c.GenBashCompletionV2(w, true) }},
	{"zsh", func(c *cobra.Command, w io.Writer) error { return c.GenZshCompletion(w) }},
	{"fish", func(c *cobra.Command, w io.Writer) error { return c.GenFishCompletion(w, true) }},
	{"powershell", func(c *cobra.Command, w io.Writer) error { return c.GenPowerShellCompletionWithDesc(w) }},
}

func newCompletionCmd() *cobra.Command {
	var names []string
	for _, s := range shells {
		names = append(names, s.name)
	}
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Print the script that completes commands and values in a shell",
		Long: `Completion prints a script for ` + strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1] + `. Once the shell has
read it, the tab key completes commands, flags, targets, valves, bench sheets and
captures.

bash:        source <(stillglow completion bash)
             (needs the package bash-completion; to keep it, write the script to
             ~/.local/share/bash-completion/completions/stillglow)
zsh:         stillglow completion zsh > "${fpath[1]}/_stillglow"
fish:        stillglow completion fish > ~/.config/fish/completions/stillglow.fish
powershell:  stillglow completion powershell | Out-String | Invoke-Expression`,
		Example:           "  stillglow completion bash",
		Args:              wantArgs(cobra.ExactArgs(1)),
		ValidArgsFunction: wordsOf(names...),
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, s := range shells {
				if s.name == strings.ToLower(args[0]) {
					return s.write(cmd.Root(), cmd.OutOrStdout())
				}
			}
			return usageError{fmt.Errorf("unknown shell %q, expected one of %s", args[0], strings.Join(names, ", "))}
		},
	}
}

// wordsOf completes one of a few words.
func wordsOf(words ...string) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return words, cobra.ShellCompDirectiveNoFileComp
	}
}

// files completes the names of files that end in one of the extensions, and folders.
func files(extensions ...string) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return extensions, cobra.ShellCompDirectiveFilterFileExt
	}
}

// completeValves completes the last type of a list such as 2x12AU7,1x6N.
func completeValves(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	cut := strings.LastIndexAny(typed, ",x") + 1
	done, begun := typed[:cut], strings.ToUpper(typed[cut:])
	var out []string
	for _, v := range heater.Table() {
		for _, name := range append([]string{v.Type}, v.Aliases...) {
			if strings.HasPrefix(strings.ToUpper(name), begun) {
				out = append(out, done+name)
			}
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
}

// flagValues complete the values of flags by the flags' names, whatever command
// has them.
var flagValues = map[string]cobra.CompletionFunc{
	"target":      wordsOf(target.Names()...),
	"valves":      completeValves,
	"series":      wordsOf("E6", "E12", "E24", "E48", "E96"),
	"topology":    wordsOf("rc", "lc", "clc"),
	"kind":        wordsOf(capacitorKinds...),
	"bypass-kind": wordsOf(capacitorKinds...),
	"low-pass":    wordsOf("first-order", "butterworth4", "gaussian", "ideal", "none"),
	"mains":       wordsOf("50", "60"),
	"coupling":    wordsOf("ac", "dc"),
	"decimal":     wordsOf("point", "comma"),
	"delimiter":   wordsOf("comma", "semicolon", "tab", "space", "bar"),
	"time-unit":   wordsOf("s", "ms", "us", "ns", "samples"),
	"volt-unit":   wordsOf("V", "mV", "uV", "counts", "div"),
	"stage":       wordsOf("first", "second"),
	"baseline":    files(captureEndings...),
	"plot":        files("png", "svg"),
	"preview":     files("png", "svg"),
	"warmup-plot": files("png", "svg"),
	"sketch":      files("svg"),
	"unit":        completeUnit,
}

// capacitorKinds are those of the filter's parts.
var capacitorKinds = []string{filter.Electrolytic, filter.Polymer, filter.Ceramic, filter.CeramicSMD, filter.Film}

// completeUnit completes the name of a unit of the sheet named before it.
func completeUnit(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) != 1 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	s, err := sheet.ReadAwaiting(args[0])
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var names []string
	for _, u := range s.Units {
		names = append(names, u.Name())
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// completeSheetThenUnit is for "filter SHEET UNIT".
func completeSheetThenUnit(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 0 {
		return files("toml")(cmd, args, typed)
	}
	return completeUnit(cmd, args, typed)
}

// captureEndings are the usual endings of capture files; others are read too.
var captureEndings = []string{"csv", "gz", "wav", "txt", "tsv"}

// giveCompletions lets a shell complete every command's arguments and values.
func giveCompletions(cmd *cobra.Command) {
	for name, values := range flagValues {
		if cmd.Flags().Lookup(name) != nil {
			if err := cmd.RegisterFlagCompletionFunc(name, values); err != nil {
				panic(err) // the flag was just found
			}
		}
	}
	for _, folder := range []string{"out", "folder", "cache"} {
		if cmd.Flags().Lookup(folder) != nil {
			_ = cmd.MarkFlagDirname(folder)
		}
	}
	if cmd.ValidArgsFunction == nil {
		switch arg := argumentNames(cmd); {
		case cmd.Name() == "filter":
			cmd.ValidArgsFunction = completeSheetThenUnit
		case strings.Contains(arg, "SHEET"):
			cmd.ValidArgsFunction = files("toml")
		case strings.Contains(arg, "WAV"), strings.Contains(arg, "wav"):
			cmd.ValidArgsFunction = files("wav", "gz")
		case strings.Contains(arg, "BEFORE"):
			cmd.ValidArgsFunction = files(append([]string{"json"}, captureEndings...)...)
		case strings.HasPrefix(arg, "FILE"):
			cmd.ValidArgsFunction = files(captureEndings...)
		case cmd.Name() == "target":
			cmd.ValidArgsFunction = wordsOf(target.Names()...)
		case cmd.Name() == "valves":
			cmd.ValidArgsFunction = completeValves
		case arg == "DIR":
			cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
				return nil, cobra.ShellCompDirectiveFilterDirs
			}
		default:
			cmd.ValidArgsFunction = wordsOf()
		}
	}
	for _, sub := range cmd.Commands() {
		giveCompletions(sub)
	}
}
