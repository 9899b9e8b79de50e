package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

// newFlags are the answers that "new" needs, as typed.
type newFlags struct {
	title, workshop, brand, model, target, instrument string
	ratedV, ratedA, units, mains, loadA               string
	valves, bandwidth, probe, coupling, memory        string
	yes                                               bool

	files []string // captures that lie beside the sheet to be
}

func newNewCmd() *cobra.Command {
	var f newFlags
	cmd := &cobra.Command{
		Use:   "new [SHEET]",
		Short: "Ask a few questions and write a commented bench sheet",
		Long: `New asks for brands, rating, heaters and instrument and writes a bench sheet with a
comment beside what needs one (bench.toml when no name is given). A question whose
flag is given is not asked; with --yes none is, and what is left takes the
default shown. An existing file is never overwritten.

Captures already beside the sheet (CSV, WAV, gzipped or not) get a line each in
the unit that their name gives: the brand, then the mark, as in
murrowfen-a1-fast.csv. A file whose name gives no unit is listed for you to move.`,
		Example: `  stillglow new
  stillglow new spring.toml --yes --brand Murrowfen,Tindlewick --rated-v 7 --rated-a 2 --units 3 --valves 2x12AU7,1x6N2P`,
		Args: wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			path := "bench.toml"
			if len(args) == 1 {
				path = args[0]
			}
			return f.run(cmd, path)
		},
	}
	fl := cmd.Flags()
	for _, q := range f.questions() {
		if q.many {
			fl.Var((*commaList)(q.answer), q.flag, q.help)
		} else {
			fl.StringVar(q.answer, q.flag, "", q.help)
		}
	}
	fl.BoolVarP(&f.yes, "yes", "y", false, "ask nothing, take the defaults")
	return cmd
}

// commaList is a flag that may be given several times: each adds to the list.
type commaList string

func (c *commaList) String() string { return string(*c) }
func (c *commaList) Type() string   { return "string" }
func (c *commaList) Set(s string) error {
	if *c != "" {
		s = string(*c) + ", " + s
	}
	*c = commaList(s)
	return nil
}

// listed takes a list apart at its commas.
func listed(s string) []string {
	var out []string
	for part := range strings.SplitSeq(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// question is one answer to get: by flag, from the user, or the default.
type question struct {
	answer     *string
	flag, help string
	ask        string        // "" is not asked
	preset     func() string // taken for an empty answer; nil or "": there is none
	need       bool
	check      func(string) error
	many       bool        // a list with commas between, or the flag several times
	idle       func() bool // the answer would be used nowhere; nil: it always is
}

// fixed is a preset that nothing changes.
func fixed(s string) func() string { return func() string { return s } }

func (f *newFlags) questions() []question {
	none := func() bool { return len(f.files) == 0 }
	return []question{
		{answer: &f.title, flag: "title", help: "title of the bench", preset: fixed("Heater supplies")},
		{answer: &f.workshop, flag: "workshop", help: "your workshop's name"},
		{answer: &f.brand, flag: "brand", help: "brand of the units; several separated by commas", many: true, need: true, preset: f.brandsFound,
			ask: "Brands of the units, separated by commas (\"unbranded\" if there is none)", check: f.checkBrands},
		{answer: &f.model, flag: "model", help: "model, or one for each brand, separated by commas", many: true,
			ask: "Model, as printed on the label (one for each brand, separated by commas)", check: f.checkModels},
		{answer: &f.ratedV, flag: "rated-v", help: "rated volts", ask: "Rated volts", preset: fixed("7"), check: between("volts", 0.5, 500)},
		{answer: &f.ratedA, flag: "rated-a", help: "rated amps", ask: "Rated amps", preset: fixed("2"), check: between("amps", 0.01, 100)},
		{answer: &f.units, flag: "units", help: "how many units of each brand, where no files are named after them", ask: "How many units of each brand are on the bench",
			preset: fixed("1"), check: checkUnits, idle: func() bool { return !f.unitsToCount() }},
		{answer: &f.valves, flag: "valves", help: "the heaters: 2x12AU7,1x6N2P (add @series for 12.6 V)", ask: "Valves whose heaters it feeds, such as 2x12AU7,1x6N2P",
			preset: fixed("2x12AU7"), check: checkValves},
		{answer: &f.loadA, flag: "load-a", help: "load current in amps of the captures beside the sheet", ask: "Load current in amps of the captures beside the sheet",
			preset: f.heaterAmps, check: between("amps", 0, 100), idle: none},
		{answer: &f.target, flag: "target", help: "target: " + strings.Join(target.Names(), ", "), ask: "What they are for (" + strings.Join(target.Names(), ", ") + ")",
			preset: fixed(target.Default), check: checkTarget},
		{answer: &f.mains, flag: "mains", help: "mains frequency: 50 or 60", ask: "Mains frequency, 50 or 60 Hz", preset: fixed("50"), check: checkMains},
		{answer: &f.instrument, flag: "instrument", help: "the scope in your words", ask: "Your scope, in your own words", preset: fixed("scope")},
		{answer: &f.bandwidth, flag: "bandwidth", help: "the scope's bandwidth: 100M", ask: "Its bandwidth", preset: fixed("100MHz"), check: checkHertz},
		{answer: &f.memory, flag: "memory", help: "samples in one record: 1M", ask: "Samples it keeps in one record", preset: fixed("1M"),
			check: func(s string) error { _, err := parseSamples(s); return err }},
		{answer: &f.probe, flag: "probe", help: "multiply file volts by: 10 for a 10:1 probe that the scope doesn't know of", ask: "Multiply file volts by (10 for a 10:1 probe the scope doesn't know of)",
			preset: fixed("1"), check: between("factor", 1e-3, 1e5)},
		{answer: &f.coupling, flag: "coupling", help: "input coupling: ac or dc", ask: "Input coupling, ac or dc", preset: func() string {
			if none() {
				return "ac"
			}
			return fromFile
		}, check: checkCoupling},
	}
}

// fromFile leaves the coupling to what the files say.
const fromFile = "as the files say"

func (f *newFlags) run(cmd *cobra.Command, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return existsError(path)
	}
	f.files = capturesBeside(path)
	in := bufio.NewReader(io.LimitReader(cmd.InOrStdin(), 1<<20))
	for _, q := range f.questions() {
		given := cmd.Flags().Changed(q.flag)
		switch {
		case given:
			if err := q.judge(*q.answer); err != nil {
				return usageError{fmt.Errorf("--%s: %w", q.flag, err)}
			}
		case f.yes || q.ask == "" || q.idle != nil && q.idle():
			*q.answer = q.usual()
			if q.need && *q.answer == "" {
				return usageError{fmt.Errorf("--yes without --%s, expected the %s", q.flag, q.help)}
			}
		default:
			if err := q.put(cmd.OutOrStdout(), in); err != nil {
				return err
			}
		}
	}
	text := f.sheet()
	if _, err := sheet.Parse([]byte(text), path); err != nil {
		return fmt.Errorf("the answers don't make a valid sheet: %w", err)
	}
	if err := writeNewFile(path, []byte(text)); errors.Is(err, fs.ErrExist) {
		return existsError(path)
	} else if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s%s\nnext: stillglow guide %s lists the captures to take; stillglow check %s shows what is still missing\n", path, f.taken(), path, path)
	return nil
}

// taken says what became of the files that lay beside the sheet.
func (f *newFlags) taken() string {
	got := f.sort()
	if len(got.units)+len(got.baselines)+len(got.loose) == 0 {
		return ""
	}
	n := 0
	for _, u := range got.units {
		n += len(u.captures)
	}
	var found, todo []string
	if n > 0 {
		found = append(found, fmt.Sprintf("%s in %s", capture.Plural(n, "capture"), capture.Plural(len(got.units), "unit")))
	}
	if b := len(got.baselines); b > 0 {
		found = append(found, capture.Plural(b, "baseline"))
	}
	switch l := len(got.loose); l {
	case 0:
	case 1:
		found, todo = append(found, "1 file whose name gives no unit"), append(todo, "move its capture line into its unit")
	default:
		found, todo = append(found, fmt.Sprintf("%d files whose names give no unit", l)), append(todo, "move their capture lines into their units")
	}
	if n+len(got.baselines) > 0 {
		todo = append(todo, "check what each name was read as")
	}
	return ": " + strings.Join(found, ", ") + "; " + strings.Join(todo, "; ")
}

// usual is the answer taken for an empty one.
func (q question) usual() string {
	if q.preset == nil {
		return ""
	}
	return q.preset()
}

func (q question) judge(answer string) error {
	answer = strings.TrimSpace(answer)
	if answer == "" && q.need {
		return errors.New("an answer is needed")
	}
	if most := 200; len(answer) > most && !(q.many && len(answer) <= 10*most) {
		return errors.New("an answer of more than 200 bytes, expected a few words")
	}
	if answer == "" || q.check == nil {
		return nil
	}
	return q.check(answer)
}

// put asks until the answer will do.
func (q question) put(w io.Writer, in *bufio.Reader) error {
	preset := q.usual()
	for {
		if preset != "" {
			fmt.Fprintf(w, "%s [%s]: ", q.ask, preset)
		} else {
			fmt.Fprintf(w, "%s: ", q.ask)
		}
		line, err := in.ReadString('\n')
		*q.answer = strings.TrimSpace(line)
		if *q.answer == "" && (preset != "" || err != nil && !q.need) {
			if err != nil {
				fmt.Fprintln(w)
			}
			*q.answer = preset
			return nil
		}
		if err != nil && *q.answer == "" {
			fmt.Fprintln(w)
			return fmt.Errorf("the input ended before '%s' was answered; nothing was written", q.ask)
		}
		bad := q.judge(*q.answer)
		if bad == nil {
			return nil
		}
		fmt.Fprintf(w, "  %s\n", errorLine(bad))
		if err != nil {
			return fmt.Errorf("the input ended before '%s' was answered; nothing was written", q.ask)
		}
	}
}

func existsError(path string) error {
	return fmt.Errorf("%s exists already and is never overwritten; give another name", path)
}

// Checks of single answers. Numbers may carry their unit.

func between(what string, lo, hi float64) func(string) error {
	return func(s string) error {
		v, err := leadingNumber(s)
		if err != nil || v < lo || v > hi {
			return fmt.Errorf("found %q, expected %s from %g to %g", s, what, lo, hi)
		}
		return nil
	}
}

// leadingNumber reads "7", "7 V", "1,5A", "10x", "10:1".
func leadingNumber(s string) (float64, error) {
	s = strings.TrimSpace(s)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-", r) })
	if end < 0 {
		end = len(s)
	}
	switch strings.ToLower(strings.TrimSpace(s[end:])) {
	case "", "v", "a", "x", "×", ":1":
		return finite(strings.Replace(s[:end], ",", ".", 1))
	}
	return 0, fmt.Errorf("found %q, expected a number", s)
}

func checkUnits(s string) error {
	if n, err := strconv.Atoi(s); err != nil || n < 1 || n > 200 {
		return fmt.Errorf("found %q, expected a whole number from 1 to 200", s)
	}
	return nil
}

// checkBrands wants each brand once.
func (f *newFlags) checkBrands(s string) error {
	seen := map[string]bool{}
	list := listed(s)
	for _, b := range list {
		if key := strings.ToLower(b); seen[key] {
			return fmt.Errorf("found %q twice, expected every brand once", b)
		} else {
			seen[key] = true
		}
	}
	if len(list) == 0 || len(list) > 50 {
		return fmt.Errorf("found %d brands, expected 1 to 50", len(list))
	}
	return nil
}

// checkModels wants one model, or one for each brand. The brands are asked first.
func (f *newFlags) checkModels(s string) error {
	if n, brands := len(listed(s)), len(listed(f.brand)); n > 1 && n != brands {
		return fmt.Errorf("found %d models, expected one, or one for each of %s", n, capture.Plural(brands, "brand"))
	}
	return nil
}

func checkValves(s string) error {
	_, err := heater.ParseLoad(s, nil)
	return err
}

func checkTarget(s string) error {
	_, err := target.Named(s)
	return err
}

func checkMains(s string) error {
	if v, err := leadingNumber(strings.TrimSuffix(strings.ToLower(s), "hz")); err != nil || v != 50 && v != 60 {
		return fmt.Errorf("found %q, expected 50 or 60", s)
	}
	return nil
}

func checkHertz(s string) error {
	_, err := capture.ParseHertz(s)
	return err
}

func checkCoupling(s string) error {
	if c := strings.ToLower(s); c != "ac" && c != "dc" && c != fromFile {
		return fmt.Errorf("found %q, expected ac or dc", s)
	}
	return nil
}
