package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

func newTargetCmd() *cobra.Command {
	var asTOML, asJSON bool
	cmd := &cobra.Command{
		Use:   "target [NAME]",
		Short: "Print a target's limits with their sources",
		Long: `Target prints the limits of a named target, each with its source; without a name
it lists the targets. --toml prints limits to copy into a bench sheet. 'target
hears' derives limits from the valve stage that the heaters belong to.`,
		Example: `  stillglow target
  stillglow target line-preamp
  stillglow target phono-preamp --toml
  stillglow target hears --cathode-ohm 1500 --bypass-uf 100 --allowed-uv 0.5`,
		Args: wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 || args[0] == "list" {
				return listTargets(cmd.OutOrStdout(), asTOML, asJSON)
			}
			t, err := target.Named(args[0])
			if err != nil {
				return usageError{err}
			}
			return printTarget(cmd.OutOrStdout(), t, asTOML, asJSON)
		},
	}
	cmd.PersistentFlags().BoolVar(&asTOML, "toml", false, "print limits to copy into a bench sheet")
	cmd.PersistentFlags().BoolVar(&asJSON, "json", false, "print JSON")
	cmd.MarkFlagsMutuallyExclusive("toml", "json")
	cmd.AddCommand(newHearsCmd(&asTOML, &asJSON))
	return cmd
}

// hearsFlags are the stage as typed, in the units of the parts drawer.
type hearsFlags struct {
	cache cacheFlags

	cathodeOhm, bypassUF, bypassESR  float64
	chkPF, rhkMOhm, mu, gmMS         float64
	chgPF, sourceOhm                 float64
	valve, reference                 string
	referenceOhm, referenceUF        float64
	stage                            string
	gainBefore, gainAfter, allowedUV float64
	riaa                             bool
}

func newHearsCmd(asTOML, asJSON *bool) *cobra.Command {
	var f hearsFlags
	cmd := &cobra.Command{
		Use:   "hears [SHEET]",
		Short: "Derive a target from what the valve hears through its heater",
		Long: `Hears computes how much of a supply's noise arrives at the valve's input through
the heater: by heater and cathode (cathode resistor and its bypass, capacitance and
insulation) and by heater and grid (capacitance into the resistance that the grid
sees), for the volts across the heater and for common mode, which both wires carry
together. How much of each the valve hears depends on where the heater is tied to
ground: at one end, at a centre tap, or elevated.

It turns an allowed input noise (A-weighted) into limits: a mask of volts across the
heater, and what a common-mode capture may show across its 100 ohms. Every assumption
is printed with it. Spikes and ripple above the audio band, which it can't judge, keep
the limits of a named target.

With a bench sheet it goes the other way: what each supply of the sheet adds at the
input across the heater and in common mode, how far that is below the noise of the
valve and its cathode resistor, and what another way of tying the heater to ground
would change. The stage is then that of the sheet's [hears]; flags given here
override it.`,
		Example: `  stillglow target hears --cathode-ohm 1500
  stillglow target hears --cathode-ohm 1500 --valve 12AX7 --heater elevated
  stillglow target hears --cathode-ohm 820 --bypass-uf 220 --riaa --allowed-uv 0.2
  stillglow target hears --cathode-ohm 1500 --chk-pf 3 --rhk-mohm 50 --toml
  stillglow target hears --cathode-ohm 1500 testdata/bench/bench.toml`,
		Args: wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(args) == 1 && *asTOML:
				return usageError{errors.New("--toml prints a derived target; leave out the sheet")}
			case len(args) == 1:
				return f.hearSheet(cmd, args[0], *asJSON)
			case !cmd.Flags().Changed("cathode-ohm"):
				return usageError{errors.New("give the cathode resistor, such as --cathode-ohm 1500, or a bench sheet with a [hears] table")}
			}
			if err := f.asMeant(); err != nil {
				return usageError{err}
			}
			s := f.over(cmd, target.Stage{})
			if err := pipeline.CanHear(s, heater.Load{}); err != nil {
				return usageError{err}
			}
			t, err := target.DeriveTarget(s, f.allowedUV*1e-6)
			if err != nil {
				return usageError{err}
			}
			if err := printTarget(cmd.OutOrStdout(), t, *asTOML, *asJSON); err != nil || *asTOML || *asJSON {
				return err
			}
			out := &strings.Builder{}
			printCoupling(out, s, t)
			printMarks(out)
			_, err = io.WriteString(cmd.OutOrStdout(), out.String())
			return err
		},
	}
	f.cache.add(cmd)
	fl := cmd.Flags()
	fl.Float64Var(&f.cathodeOhm, "cathode-ohm", 0, "cathode resistor in ohms")
	fl.Float64Var(&f.bypassUF, "bypass-uf", 0, "the cathode resistor's bypass capacitor in microfarads (default: none)")
	fl.Float64Var(&f.bypassESR, "bypass-esr-ohm", 0, "the bypass capacitor's series resistance in ohms")
	fl.Float64Var(&f.chkPF, "chk-pf", target.DefaultHeaterCathodeF*1e12, "heater-cathode capacitance in picofarads")
	fl.Float64Var(&f.rhkMOhm, "rhk-mohm", target.DefaultHeaterCathodeOhm/1e6, "hot heater-cathode insulation in megohms")
	fl.StringVar(&f.valve, "valve", "", "the valve's type, for its heater-grid capacitance where a data sheet gives it")
	fl.Float64Var(&f.chgPF, "chg-pf", 0, fmt.Sprintf("heater-grid capacitance in picofarads (default: the valve's, else %g, an upper bound)", target.DefaultHeaterGridF*1e12))
	fl.Float64Var(&f.sourceOhm, "source-ohm", target.DefaultSourceOhm, "resistance that the grid sees, in ohms")
	fl.StringVar(&f.reference, "heater", string(target.OneEnd), "where the heater is tied to ground: \"one end\", \"centre tap\" or \"elevated\"")
	fl.Float64Var(&f.referenceOhm, "reference-ohm", 0, "resistance from the heater's tie point to ground in ohms (default: the usual)")
	fl.Float64Var(&f.referenceUF, "reference-uf", 0, "capacitor across --reference-ohm in microfarads, where elevated (default: the usual)")
	fl.Float64Var(&f.mu, "mu", target.DefaultMu, "the valve's amplification factor")
	fl.Float64Var(&f.gmMS, "gm", target.DefaultGmS*1e3, "the valve's mutual conductance in mA/V")
	fl.StringVar(&f.stage, "stage", "first", "the stage's place: first or second")
	fl.Float64Var(&f.gainBefore, "gain-before", 1, "gain ratio ahead of the stage")
	fl.Float64Var(&f.gainAfter, "gain-after", 1, "gain ratio from the stage's grid to the output at 1 kHz")
	fl.BoolVar(&f.riaa, "riaa", false, "the output is de-emphasised by the RIAA replay curve")
	fl.Float64Var(&f.allowedUV, "allowed-uv", 0.3, "noise allowed at the input from the heaters, microvolts rms, A-weighted")
	return cmd
}

// asMeant refuses numbers in another unit than their flag's.
func (f *hearsFlags) asMeant() error {
	return unitSlips([]unitBound{
		{"cathode-ohm", f.cathodeOhm, 10, 0, "ohms", "kΩ", 1e3},
		{"bypass-uf", f.bypassUF, 1e-2, 0, "microfarads", "F", 1e6},
		{"reference-uf", f.referenceUF, 1e-4, 0, "microfarads", "F", 1e6},
		{"chk-pf", f.chkPF, 1e-3, 0, "picofarads", "F", 1e12},
		{"chg-pf", f.chgPF, 1e-3, 0, "picofarads", "F", 1e12},
		{"rhk-mohm", f.rhkMOhm, 0, 1e5, "megohms", "Ω", 1e-6},
		{"rhk-mohm", f.rhkMOhm, 1e-2, 0, "megohms", "GΩ", 1e3},
		{"gm", f.gmMS, 0, 200, "mA/V", "µS", 1e-3},
		{"allowed-uv", f.allowedUV, 1e-3, 0, "microvolts", "V", 1e6},
		{"allowed-uv", f.allowedUV, 0, 1e4, "microvolts", "nV", 1e-3},
	})
}

// over is the stage with what was given on the command line in place of its own.
func (f *hearsFlags) over(cmd *cobra.Command, s target.Stage) target.Stage {
	for flag, set := range map[string]func(){
		"cathode-ohm":    func() { s.CathodeOhm = f.cathodeOhm },
		"bypass-uf":      func() { s.BypassF = f.bypassUF * 1e-6 },
		"bypass-esr-ohm": func() { s.BypassESROhm = f.bypassESR },
		"chk-pf":         func() { s.HeaterCathodeF = f.chkPF * 1e-12 },
		"rhk-mohm":       func() { s.HeaterCathodeOhm = f.rhkMOhm * 1e6 },
		"valve":          func() { s.Valve = f.valve },
		"chg-pf":         func() { s.HeaterGridF = f.chgPF * 1e-12 },
		"source-ohm":     func() { s.SourceOhm = f.sourceOhm },
		"heater":         func() { s.Reference, s.ReferenceOhm, s.ReferenceF = target.Reference(f.reference), 0, 0 },
		"mu":             func() { s.Mu = f.mu },
		"gm":             func() { s.GmS = f.gmMS * 1e-3 },
		"stage":          func() { s.Position = f.stage },
		"gain-before":    func() { s.GainBefore = f.gainBefore },
		"gain-after":     func() { s.GainAfter = f.gainAfter },
		"riaa":           func() { s.RIAA = f.riaa },
	} {
		if cmd.Flags().Changed(flag) {
			set()
		}
	}
	if cmd.Flags().Changed("reference-ohm") {
		s.ReferenceOhm = f.referenceOhm
	}
	if cmd.Flags().Changed("reference-uf") {
		s.ReferenceF = f.referenceUF * 1e-6
	}
	return s
}

func listTargets(w io.Writer, asTOML, asJSON bool) error {
	if asTOML {
		return usageError{errors.New("--toml needs a target's name, such as stillglow target line-preamp --toml")}
	}
	var all []target.Target
	for _, name := range target.Names() {
		t, err := target.Named(name)
		if err != nil {
			return err
		}
		all = append(all, t)
	}
	if asJSON {
		objects := make([]targetJSON, len(all))
		for i, t := range all {
			objects[i] = targetObject(t)
		}
		return writeJSON(w, struct {
			SchemaVersion string       `json:"schema_version"`
			Targets       []targetJSON `json:"targets"`
		}{"1.0", objects})
	}
	out := &strings.Builder{}
	table := plainTable([]string{"target", "for", "ripple p-p", "mains ripple", "spikes", "A-weighted"}, "llrrrr", 14, 38, 10, 12, 8, 10)
	for _, t := range all {
		cells := []any{t.Name, t.Description}
		for _, id := range []target.Criterion{target.RipplePP, target.MainsLine, target.SpikePeak, target.BandAudioA} {
			cell := "-"
			for _, l := range t.Limits {
				if l.Criterion == id {
					cell = l.Text()
				}
			}
			cells = append(cells, cell)
		}
		table.AppendRow(cells)
	}
	printTable(out, table)
	fmt.Fprintf(out, "\n'stillglow target NAME' prints all limits with their sources\n")
	_, err := io.WriteString(w, out.String())
	return err
}

func printTarget(w io.Writer, t target.Target, asTOML, asJSON bool) error {
	out := &strings.Builder{}
	switch {
	case asJSON:
		return writeJSON(w, struct {
			SchemaVersion string     `json:"schema_version"`
			Target        targetJSON `json:"target"`
		}{"1.0", targetObject(t)})
	case asTOML:
		printTargetTOML(out, t)
	default:
		fmt.Fprintf(out, "%s: %s\n%s\n\n", t.Name, t.Title, t.Description)
		table := plainTable([]string{"criterion", "limit", "span needed", "key in a sheet", "source"}, "lrlll", 30, 12, 18, 25, 6)
		notes := map[string]int{}
		var order []string
		for _, l := range t.Limits {
			span := "-"
			if l.NeedHighHz > 0 {
				span = target.HzText(l.NeedLowHz) + " to " + target.HzText(l.NeedHighHz)
			}
			if notes[l.Source] == 0 {
				order = append(order, l.Source)
				notes[l.Source] = len(order)
			}
			table.AppendRow([]any{l.Name, l.Text(), span, string(l.Criterion), fmt.Sprintf("[%d]", notes[l.Source])})
		}
		printTable(out, table)
		out.WriteString("\n")
		for i, s := range order {
			fmt.Fprintf(out, "[%d] %s\n", i+1, strings.ReplaceAll(wrapCell(s, textWidth-4), "\n", "\n    "))
		}
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// printTargetTOML prints the limits as a sheet has them. The mask is a key of
// the sheet itself, so it comes ahead of any table.
func printTargetTOML(w io.Writer, t target.Target) {
	from := " (stillglow target " + t.Name + ")"
	if !slices.Contains(target.Names(), t.Name) {
		from = " (stillglow target hears)"
	}
	fmt.Fprintf(w, "# limits of the target %q%s\n", t.Title, from)
	for _, l := range t.Limits {
		if l.Criterion != target.Mask {
			continue
		}
		fmt.Fprintf(w, "# hertz, V/√Hz; keep it above the sheet's first [table]; %s\nmask = [\n", l.Source)
		for _, p := range l.Points {
			fmt.Fprintf(w, "  [%s, %s],\n", tomlNumber(p.Hz, 5), tomlNumber(p.VPerRtHz, 4))
		}
		fmt.Fprint(w, "]\n\n")
	}
	var notes []string
	for _, l := range t.Limits {
		if l.Criterion != target.Mask {
			indexOf(&notes, l.Source)
		}
	}
	for i, n := range notes {
		fmt.Fprintf(w, "# [%d] %s\n", i+1, strings.ReplaceAll(wrapCell(n, textWidth-6), "\n", "\n#     "))
	}
	fmt.Fprintln(w, "[limits]")
	for _, l := range t.Limits {
		switch l.Criterion {
		case target.Mask:
		case target.HeaterDC:
			fmt.Fprintf(w, "%s = [%s, %s]  # volts [%d]\n", l.Criterion, tomlNumber(l.Min, 4), tomlNumber(l.Max, 4), indexOf(&notes, l.Source))
		default:
			fmt.Fprintf(w, "%s = %s  # %s [%d]\n", l.Criterion, tomlNumber(l.Max, 4), l.Text(), indexOf(&notes, l.Source))
		}
	}
}

func tomlNumber(v float64, digits int) string {
	short, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return sheet.Number(short)
}

// printCoupling prints the coupling behind a derived target, and what it rests on.
func printCoupling(w io.Writer, s target.Stage, t target.Target) {
	var points []target.MaskPoint
	for _, l := range t.Limits {
		if l.Criterion == target.Mask {
			points = l.Points
		}
	}
	fmt.Fprintf(w, "\ngain from the supply to the valve's input, and what the mask allows across the heater\n\n")
	table := plainTable([]string{"frequency", "across the heater", "common mode", "mask"}, "rrrr", 12, 18, 14, 16)
	for _, hz := range []float64{20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 10e3, 20e3} {
		allowed := "-"
		if v, ok := target.MaskAt(points, hz); ok {
			allowed = target.DensityText(v)
		}
		table.AppendRow([]any{target.HzText(hz), fmt.Sprintf("%.1f dB", target.CouplingDB(s, hz)), fmt.Sprintf("%.1f dB", target.CommonCouplingDB(s, hz)), allowed})
	}
	printTable(w, table)
	fmt.Fprint(w, "\nby how the heater is tied to ground, at 1 kHz\n\n")
	ways := plainTable([]string{"heater tied to ground", "across the heater", "common mode"}, "lrr", 24, 18, 14)
	for _, ref := range target.References() {
		at := s.TiedAt(ref)
		name := string(ref)
		if ref == s.Reference || ref == target.OneEnd && s.Reference == "" {
			name += " (this stage)"
		}
		ways.AppendRow([]any{name, fmt.Sprintf("%.1f dB", target.CouplingDB(at, 1e3)), fmt.Sprintf("%.1f dB", target.CommonCouplingDB(at, 1e3))})
	}
	printTable(w, ways)
	fmt.Fprint(w, "\nassumptions\n")
	for _, a := range t.Assumptions {
		fmt.Fprintln(w, "  - "+strings.ReplaceAll(wrapCell(report.Marked(a), textWidth-4), "\n", "\n    "))
	}
}

// targetJSON is a target as --json prints it.
type targetJSON struct {
	Name        string      `json:"name"`
	Title       string      `json:"title"`
	Description string      `json:"description"`
	Limits      []limitJSON `json:"limits"`
	Assumptions []string    `json:"assumptions"`
}

type limitJSON struct {
	Criterion  string       `json:"criterion"`
	Name       string       `json:"name"`
	Unit       string       `json:"unit"`
	Max        float64      `json:"max"`
	Min        *float64     `json:"min"`
	NeedLowHz  *float64     `json:"need_low_hz"`
	NeedHighHz *float64     `json:"need_high_hz"`
	Source     string       `json:"source"`
	Mask       [][2]float64 `json:"mask,omitempty"` // hertz, V/√Hz
}

func targetObject(t target.Target) targetJSON {
	some := func(v float64) *float64 {
		if v == 0 {
			return nil
		}
		return &v
	}
	o := targetJSON{Name: t.Name, Title: t.Title, Description: t.Description, Limits: []limitJSON{}, Assumptions: append([]string{}, t.Assumptions...)}
	for _, l := range t.Limits {
		j := limitJSON{
			Criterion: string(l.Criterion), Name: l.Name, Unit: l.Unit, Max: l.Max,
			Min: some(l.Min), NeedLowHz: some(l.NeedLowHz), NeedHighHz: some(l.NeedHighHz), Source: l.Source,
		}
		for _, p := range l.Points {
			j.Mask = append(j.Mask, [2]float64{p.Hz, p.VPerRtHz})
		}
		o.Limits = append(o.Limits, j)
	}
	return o
}
