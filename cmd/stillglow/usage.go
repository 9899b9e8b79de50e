package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/agnivade/levenshtein"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// wantArgs makes a wrong number of arguments a usage error.
func wantArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if check(cmd, args) == nil {
			return nil
		}
		names := wanted(cmd)
		switch {
		case len(args) == 0:
			return usageError{fmt.Errorf("%s needs %s", commandName(cmd), names)}
		case names == "":
			return usageError{fmt.Errorf("%s takes no argument, found %q", commandName(cmd), args[0])}
		case len(args) == 1:
			return usageError{fmt.Errorf("found only %q, expected %s", args[0], names)}
		}
		if strings.HasPrefix(names, "a ") && !strings.Contains(names, " and ") {
			names = "only " + names
		}
		return usageError{fmt.Errorf("found %d arguments, expected %s", len(args), names)}
	}
}

// argumentWords say in words what the arguments of a usage line are.
var argumentWords = map[string]string{
	"FILE...":        "a capture file",
	"FILE.wav":       "a WAV file",
	"SHEET":          "a bench sheet",
	"[SHEET]":        "a bench sheet",
	"[SHEET [UNIT]]": "a bench sheet and a unit",
	"BEFORE AFTER":   "two files, BEFORE and AFTER",
	"DIR":            "a new folder",
	"SHELL":          "a shell: bash, zsh, fish or powershell",
	"[NAME]":         "a target's name",
}

// commandName is a command's path without the program's name: "cache clear".
func commandName(cmd *cobra.Command) string {
	_, name, found := strings.Cut(cmd.CommandPath(), " ")
	if !found {
		return cmd.CommandPath()
	}
	return name
}

// wanted names the arguments of a command in words.
func wanted(cmd *cobra.Command) string {
	names := argumentNames(cmd)
	if words := argumentWords[names]; words != "" {
		return words
	}
	return names
}

// argumentNames are the arguments of a command's usage line.
func argumentNames(cmd *cobra.Command) string {
	_, names, _ := strings.Cut(cmd.Use, " ")
	return names
}

// flagError gives the flag library's errors the form of all other messages: what
// was found, then what was expected.
func flagError(cmd *cobra.Command, err error) error {
	var (
		unknown *pflag.NotExistError
		bare    *pflag.ValueRequiredError
		invalid *pflag.InvalidValueError
		syntax  *pflag.InvalidSyntaxError
	)
	switch {
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		if s := unknown.GetSpecifiedShortnames(); s != "" {
			return fmt.Errorf("unknown flag -%s", name)
		}
		if near := nearestFlag(cmd, name); near != "" {
			return fmt.Errorf("unknown flag --%s, nearest is --%s", name, near)
		}
		return fmt.Errorf("unknown flag --%s", name)
	case errors.As(err, &bare):
		return fmt.Errorf("--%s needs a value: %s", bare.GetFlag().Name, expected(bare.GetFlag()))
	case errors.As(err, &invalid):
		f := invalid.GetFlag()
		switch f.Value.Type() {
		case "func", "boolfunc": // our own words, with what was found in them
			fix, why := "", errors.Unwrap(invalid)
			if strings.Contains(why.Error(), "expected a number") {
				fix = numberFix(f.Name, invalid.GetValue())
			}
			return fmt.Errorf("--%s: %w%s", f.Name, why, fix)
		}
		fix := ""
		if expected(f) == "a number" {
			fix = numberFix(f.Name, invalid.GetValue())
		}
		return fmt.Errorf("--%s: found %q, expected %s%s", f.Name, invalid.GetValue(), expected(f), fix)
	case errors.As(err, &syntax):
		return fmt.Errorf("found %q, expected a flag such as --json", syntax.GetSpecifiedFlag())
	}
	return err
}

// expected says in words what a flag takes.
func expected(f *pflag.Flag) string {
	value := f.Value
	if v, ok := value.(plainValue); ok {
		value = v.Value
	}
	switch value.Type() {
	case "float64":
		return "a number"
	case "int":
		return "a whole number"
	case "bool":
		return "true or false"
	case "duration":
		return "a time such as 2s or 500ms"
	}
	words, _, _ := strings.Cut(f.Usage, " (default")
	return words
}

// nearestFlag is the flag of a command that a misspelt name may mean, "" none.
func nearestFlag(cmd *cobra.Command, name string) string {
	near, best := "", 3 // letters that differ
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if d := levenshtein.ComputeDistance(name, f.Name); d < best && d < len(name) && !f.Hidden {
			near, best = f.Name, d
		}
	})
	return near
}

// newHelpCmd is help that knows a name it can't explain for an error.
func newHelpCmd() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "help [COMMAND]",
		Short:   "Show the help of a command",
		Long:    "Help shows what a command does, its flags, and an example.",
		Example: "  stillglow help report\n  stillglow help target hears",
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			at, _, err := cmd.Root().Find(args)
			if err != nil {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			var names []string
			for _, sub := range at.Commands() {
				if sub.IsAvailableCommand() {
					names = append(names, cobra.CompletionWithDesc(sub.Name(), sub.Short))
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			at, rest, err := cmd.Root().Find(args)
			if len(args) == 0 {
				return cmd.Root().Help()
			}
			if err != nil || at == cmd.Root() || len(rest) > 0 {
				return unknownCommand(cmd.Root(), args[0])
			}
			at.InitDefaultHelpFlag()
			return at.Help()
		},
	}
	cmd.Flags().BoolP("help", "h", false, "show this help")
	return cmd
}

// unknownCommand names the command that was not found, and the nearest.
func unknownCommand(root *cobra.Command, name string) error {
	hint := ""
	if near := root.SuggestionsFor(name); len(near) > 0 {
		hint = ", nearest is " + near[0]
	}
	return usageError{fmt.Errorf("unknown command %q%s", name, hint)}
}

// plainValue is a flag's value that help calls a value: how the program holds it
// (float, strings, float64Slice) is nothing to its user.
type plainValue struct{ pflag.Value }

func (plainValue) Type() string { return "value" }

// giveHelpFlags adds --help to every command in our own words, and takes the
// library's words from the other flags.
func giveHelpFlags(cmd *cobra.Command) {
	cmd.Flags().BoolP("help", "h", false, "show this help")
	plain := func(f *pflag.Flag) {
		switch f.Value.Type() {
		case "bool", "boolfunc", "func", "value":
			return
		}
		f.Value = plainValue{f.Value}
		if f.DefValue == "[]" {
			f.DefValue = ""
		}
	}
	cmd.Flags().VisitAll(plain)
	cmd.PersistentFlags().VisitAll(plain)
	for _, sub := range cmd.Commands() {
		giveHelpFlags(sub)
	}
}
