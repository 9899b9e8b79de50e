package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
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
	ratedV, ratedA, units, mains                      string
	valves, bandwidth, probe, coupling, memory        string
	yes                                               bool
}

func newNewCmd() *cobra.Command {
	var f newFlags
	cmd := &cobra.Command{
		Use:   "new [SHEET]",
		Short: "Ask a few questions and write a commented bench sheet",
		Long: `New asks for brand, rating, heaters and instrument and writes a bench sheet with a
comment beside every line (bench.toml when no name is given). A question whose
flag is given is not asked; with --yes none is, and what is left takes the
default shown. A file that exists is never written over.`,
		Example: `  stillglow new
  stillglow new spring.toml --yes --brand Murrowfen --rated-v 7 --rated-a 2 --units 3 --valves 2x12AU7,1x6N2P`,
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
		fl.StringVar(q.answer, q.flag, "", q.help)
	}
	fl.BoolVarP(&f.yes, "yes", "y", false, "ask nothing, take the defaults")
	return cmd
}

// question is one answer to get: by flag, from the user, or the default.
type question struct {
	answer     *string
	flag, help string
	ask        string // "" is not asked
	preset     string // taken for an empty answer; "" with need: there is none
	need       bool
	check      func(string) error
}

func (f *newFlags) questions() []question {
	return []question{
		{&f.title, "title", "title of the bench", "", "Heater supplies", false, nil},
		{&f.workshop, "workshop", "your workshop's name", "", "", false, nil},
		{&f.brand, "brand", "brand of the first units", "Brand of the units (\"unbranded\" if there is none)", "", true, nil},
		{&f.model, "model", "model", "Model, as printed on the label", "", false, nil},
		{&f.ratedV, "rated-v", "rated volts", "Rated volts", "7", false, between("volts", 0.5, 500)},
		{&f.ratedA, "rated-a", "rated amps", "Rated amps", "2", false, between("amps", 0.01, 100)},
		{&f.units, "units", "how many units of it", "How many units of it are on the bench", "1", false, checkUnits},
		{&f.valves, "valves", "the heaters: 2x12AU7,1x6N2P (add @series for 12.6 V)", "Valves whose heaters it feeds, such as 2x12AU7,1x6N2P", "2x12AU7", false, checkValves},
		{&f.target, "target", "target: " + strings.Join(target.Names(), ", "), "What they are for (" + strings.Join(target.Names(), ", ") + ")", target.Default, false, checkTarget},
		{&f.mains, "mains", "mains frequency: 50 or 60", "Mains frequency, 50 or 60 Hz", "50", false, checkMains},
		{&f.instrument, "instrument", "the scope in your words", "Your scope, in your own words", "scope", false, nil},
		{&f.bandwidth, "bandwidth", "its bandwidth: 100M", "Its bandwidth", "100MHz", false, checkHertz},
		{&f.memory, "memory", "samples in one record: 1M", "Samples it keeps in one record", "1M", false, func(s string) error { _, err := parseSamples(s); return err }},
		{&f.probe, "probe", "multiply file volts by: 10 for a 10:1 probe that the scope doesn't know of", "Multiply file volts by (10 for a 10:1 probe the scope doesn't know of)", "1", false, between("factor", 1e-3, 1e5)},
		{&f.coupling, "coupling", "input coupling: ac or dc", "Input coupling, ac or dc", "ac", false, checkCoupling},
	}
}

func (f *newFlags) run(cmd *cobra.Command, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return existsError(path)
	}
	in := bufio.NewReader(io.LimitReader(cmd.InOrStdin(), 1<<20))
	for _, q := range f.questions() {
		given := cmd.Flags().Changed(q.flag)
		switch {
		case given:
			if err := q.judge(*q.answer); err != nil {
				return usageError{fmt.Errorf("--%s: %w", q.flag, err)}
			}
		case f.yes || q.ask == "":
			*q.answer = q.preset
			if q.need && q.preset == "" {
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
		return fmt.Errorf("the answers make no sheet: %w", err)
	}
	if err := writeNewFile(path, []byte(text)); errors.Is(err, fs.ErrExist) {
		return existsError(path)
	} else if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s\nnext: stillglow guide %s lists the captures to take; stillglow check %s shows what is still missing\n", path, path, path)
	return nil
}

func (q question) judge(answer string) error {
	answer = strings.TrimSpace(answer)
	if answer == "" && q.need {
		return errors.New("an empty answer, expected some words")
	}
	if len(answer) > 200 {
		return errors.New("an answer of more than 200 bytes, expected a few words")
	}
	if answer == "" || q.check == nil {
		return nil
	}
	return q.check(answer)
}

// put asks until the answer will do.
func (q question) put(w io.Writer, in *bufio.Reader) error {
	for {
		if q.preset != "" {
			fmt.Fprintf(w, "%s [%s]: ", q.ask, q.preset)
		} else {
			fmt.Fprintf(w, "%s: ", q.ask)
		}
		line, err := in.ReadString('\n')
		*q.answer = strings.TrimSpace(line)
		if err != nil && *q.answer == "" {
			fmt.Fprintln(w)
			if q.need {
				return fmt.Errorf("the input ended before %q was answered; nothing was written", q.ask)
			}
			*q.answer = q.preset
			return nil
		}
		if *q.answer == "" && q.preset != "" {
			*q.answer = q.preset
			return nil
		}
		bad := q.judge(*q.answer)
		if bad == nil {
			return nil
		}
		fmt.Fprintf(w, "  %s\n", oneLine(bad))
		if err != nil {
			return fmt.Errorf("the input ended before %q was answered; nothing was written", q.ask)
		}
	}
}

func existsError(path string) error {
	return fmt.Errorf("%s: exists already and is never written over; give another name", path)
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
	if c := strings.ToLower(s); c != "ac" && c != "dc" {
		return fmt.Errorf("found %q, expected ac or dc", s)
	}
	return nil
}

// sheet writes the answers as a commented sheet. They are checked before.
func (f *newFlags) sheet() string {
	num := func(s string) float64 {
		v, _ := leadingNumber(strings.TrimSuffix(strings.ToLower(s), "hz"))
		return v
	}
	hz, _ := capture.ParseHertz(f.bandwidth)
	memory, _ := parseSamples(f.memory)
	units, _ := strconv.Atoi(f.units)
	load, _ := heater.ParseLoad(f.valves, nil)
	amps := math.Round(100*load.NominalA()) / 100

	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# Bench sheet: which captures belong to which unit, and how they were made.")
	line("# Safety: clip the ground only to a point that you have measured to be floating or at")
	line("# earth; join grounds with everything unplugged. Local codes and licensed practice decide.")
	line("# Paths are relative to this file. A misspelt key is an error that names the nearest.")
	line("")
	line("title    = %s", sheet.Quote(f.title))
	line("workshop = %s", sheet.Quote(f.workshop))
	line("# date   = 2026-01-31       # shown in the report; today's date is never used")
	line("# note   = \"\"")
	line("mains_hz = %-14g # 50 or 60; left out, it is found where a capture is long enough", num(f.mains))
	line("target   = %s", sheet.Quote(f.target))
	line("# reserve_db = 3            # what a post-filter should leave in hand")
	line("")
	line("# stillglow watch matches the files that the scope writes to their units by this.")
	line("# {brand} {model} {mark} are a unit's words, {load} its amperes, {rest} anything.")
	line("pattern  = \"{brand}-{mark}-{rest}.csv\"")
	line("")
	line("# Limits of your own go over the target's (volts, V/√Hz; 0 leaves a criterion out).")
	line("# [limits]")
	line("# heater_dc_v       = [6.6, 7.6]")
	line("# ripple_pp_20mhz_v = 0.020")
	line("")
	line("# What reaches the valve's input through its heater; the report then says how far")
	line("# under the valve's own noise each supply lies. Leave out what you don't know.")
	line("# [hears]")
	line("# cathode_ohm        = 1500    # cathode resistor of the first stage")
	line("# bypass_f           = 100e-6  # capacitor across it; left out: none")
	line("# bypass_esr_ohm     = 0.2     # its series resistance; left out: none")
	line("# heater_cathode_f   = 5e-12   # heater to cathode, the capacitance")
	line("# heater_cathode_ohm = 10e6    # and the hot insulation")
	line("# mu                 = 100     # amplification factor")
	line("# gm_ma_per_v        = 1.6     # mutual conductance in mA/V")
	line("# stage              = \"first\" # or \"second\"")
	line("# gain_before        = 1       # from the preamp's input to this stage's grid")
	line("# gain               = 20      # from its grid to the output, at 1 kHz")
	line("# riaa               = false   # the output is de-emphasised by the RIAA replay curve")
	line("# allowed_input_v    = 0.3e-6  # set limits by it: noise allowed at the input, V rms, A-weighted")
	line("")
	line("[instrument]")
	line("name           = %s", sheet.Quote(f.instrument))
	line("bandwidth_hz   = %-12g # with the bandwidth limit off", hz)
	line("coupling       = %-12s # \"ac\" shows no DC: the meter readings below do", sheet.Quote(strings.ToLower(f.coupling)))
	line("probe_factor   = %-12g # multiply file volts by this; 1 when the scope knows its probe", num(f.probe))
	line("memory_samples = %-12d # samples in one record", memory)
	line("gain_percent   = 3            # its gain accuracy; 3 %% is usual for 8 bits (common practice, no source)")
	line("# band_limited = true         # its 20 MHz limit was on")
	line("# anti_aliased = true         # slow captures: high-resolution mode, or an RC low-pass ahead of the scope")
	line("# volts_per_full_scale = 0.5  # for WAV files: volts peak at digital full scale, attenuator included")
	line("")
	line("# The same set-up with the probe's tip on its own ground: the instrument's own floor.")
	line("# [instrument.baseline]")
	line("# file = \"baseline.csv\"")
	line("")
	line("# The heaters it must feed. wiring: \"parallel\" (6.3 V), \"series\" (a centre-tapped")
	line("# heater at 12.6 V) or \"string\" (one after the other).")
	line("[heaters]")
	for _, g := range load.Groups {
		line("[[heaters.valve]]")
		line("type   = %s", sheet.Quote(g.Valve.Type))
		line("count  = %d", g.Count)
		if g.Wiring != "" {
			line("wiring = %s", sheet.Quote(string(g.Wiring)))
		}
		if g.StringName != "" {
			line("string = %s", sheet.Quote(g.StringName))
		}
	}
	line("# Together %.2f A at %.3g V.", amps, load.Volts)
	line("")
	line("# A valve that is not in \"stillglow valves\":")
	line("# [[heaters.own_valve]]")
	line("# type  = \"MYTYPE\"")
	line("# volts = 6.3")
	line("# amps  = 0.3")
	for i := range max(1, units) {
		mark := fmt.Sprintf("%d", i+1)
		line("")
		line("[[unit]]")
		line("brand   = %s", sheet.Quote(f.brand))
		line("model   = %s", sheet.Quote(f.model))
		line("mark    = %-6s # what you wrote on it", sheet.Quote(mark))
		line("rated_v = %g", num(f.ratedV))
		line("rated_a = %g", num(f.ratedA))
		if i > 0 {
			continue
		}
		line("# Meter readings size the dropper and show how it sags; two loads or more.")
		line("# readings = [{ load_a = 0, v = %.2f }, { load_a = %g, v = %.2f }]", 1.01*num(f.ratedV), amps, num(f.ratedV))
		line("# One block for each file; stillglow guide lists the captures to take.")
		line("# [[unit.capture]]")
		line("# file   = \"%s-%s-fast.csv\"", fileWord(f.brand), mark)
		line("# load_a = %g", amps)
		line("# [[unit.capture]]")
		line("# file   = \"%s-%s-slow.csv\"", fileWord(f.brand), mark)
		line("# load_a = %g", amps)
	}
	return b.String()
}

// fileWord makes a word fit for a file name.
func fileWord(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' || r == '_':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '_'
	}, s)
}
