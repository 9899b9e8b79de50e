package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
	"stillglow/report"
)

// dropperFlags are the dropper command's flags, in the units the user types.
type dropperFlags struct {
	supply     []string
	valves     string
	own        []string
	railV      float64
	atA        float64
	ratedA     float64
	limitA     float64
	cathodeV   float64
	outputOhm  float64
	leadOhm    float64
	supplyTol  float64 // percent
	partTol    float64 // percent
	headroom   float64 // percent
	exponent   float64
	coldRatio  float64
	ambientC   float64
	series     string
	all        bool
	asJSON     bool
	warmUpPlot string
	sketch     string
	force      bool
	unit       string // of a sheet
	cache      cacheFlags
}

func newDropperCmd() *cobra.Command {
	var f dropperFlags
	cmd := &cobra.Command{
		Use:   "dropper [SHEET]",
		Short: "Size the heater dropper and show its worst cases",
		Long: `Dropper solves the heater circuit (heater current rises as volts to the power
0.6, not in proportion as in a resistor) and compares one shared resistor, one
per valve, one per string, silicon and Schottky diodes: heater volts, worst cases
of the tolerances, any one valve pulled, heat, the rating to buy, cold start and
warm-up.

With --supply and --valves it needs no captures. With a bench sheet it sizes the
dropper for each passing unit from that unit's own measured volts and output
resistance.

A valve group may say how it is wired: 2x12AU7@series (each at 12.6 V),
2x6N2P@string (in series), 1x6N1P@string:A (string A, shared by name),
12AX7@string:A/20 (with a shunt of 20 Ω across each, where the others draw more).`,
		Example: `  stillglow dropper --supply 7 --valves 2x12AU7,1x6N2P
  stillglow dropper --supply 6,6.5,7,7.5,9,12,15 --valves 2x12AU7,1x6N2P --rated-a 2
  stillglow dropper --supply 15 --valves 2x12AX7@series,2x6N2P@string --json
  stillglow dropper --supply 9 --valves 1xE80CC --warmup-plot warmup.png
  stillglow dropper testdata/bench/bench.toml`,
		Args: wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				return f.runSheet(cmd, args[0])
			}
			return f.run(cmd)
		},
	}
	fl := cmd.Flags()
	fl.StringSliceVar(&f.supply, "supply", nil, "supply volts, one or several: 7 or 6,6.5,7,7.5,9,12,15")
	fl.StringVar(&f.valves, "valves", "", "the valves: 2x12AU7,1x6N2P (see 'stillglow valves')")
	fl.StringArrayVar(&f.own, "own", nil, "a valve of your own: NAME=VOLTS:AMPS; when centre-tapped NAME=VOLTS:AMPS:ct, with its halves in parallel")
	fl.Float64Var(&f.railV, "rail", 0, "heater rail in volts (default: from the valves)")
	fl.Float64Var(&f.atA, "at-a", 0, "load current in amps at which the supply volts were measured (default: unloaded)")
	fl.Float64Var(&f.ratedA, "rated-a", 0, "the supply's rated current in amps (default: not known)")
	fl.Float64Var(&f.limitA, "limit-a", 0, "current in amps at which the supply limits (default: 1.2 to 1.8 x --rated-a, whichever is worse)")
	fl.Float64Var(&f.cathodeV, "cathode-v", 0, "volts of the highest cathode above the heater supply's negative terminal (default: not known)")
	fl.Float64Var(&f.outputOhm, "output-ohm", 0, "the supply's output resistance in ohms")
	fl.Float64Var(&f.leadOhm, "lead-ohm", 0, "leads and socket contacts, both wires together, in ohms; 0 for leads inside a supply's remote sense")
	fl.Float64Var(&f.supplyTol, "supply-tol", 5, "tolerance of the supply volts in percent")
	fl.Float64Var(&f.partTol, "part-tol", 5, "tolerance of the resistors in percent")
	fl.Float64Var(&f.headroom, "headroom", 80, "share of the rating that the heaters may take, in percent")
	fl.Float64Var(&f.exponent, "exponent", 0.6, "n in heater current ~ volts^n, 0.5 to 0.65 is usual")
	fl.Float64Var(&f.coldRatio, "cold-ratio", 0, "hot over cold heater resistance, 5 to 7 is usual (default: 6; of thoriated filaments 10)")
	fl.Float64Var(&f.ambientC, "ambient", 25, "air around the dropper in °C")
	fl.StringVar(&f.series, "series", "E24", "resistor series of IEC 60063: E6, E12, E24, E48 or E96")
	fl.BoolVar(&f.all, "all", false, "show the standard values and worst cases of every arrangement; with a sheet: size every unit")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
	fl.StringVar(&f.warmUpPlot, "warmup-plot", "", "write volts and amps from switch-on to this .png or .svg file")
	fl.StringVar(&f.sketch, "sketch", "", "write the wiring, with polarity, fuse and earth point, to this .svg file (one supply or unit)")
	fl.BoolVar(&f.force, "force", false, "let --warmup-plot and --sketch replace an existing file")
	fl.StringVar(&f.unit, "unit", "", "with a sheet: size the units whose name holds this, whatever their verdict")
	f.cache.add(cmd)
	return cmd
}

// What one run works out from the flags: each supply takes milliseconds, and a
// table of more is read by nobody.
const (
	maxSupplies    = 100
	maxValveGroups = 200
)

// run sizes from the flags alone.
func (f *dropperFlags) run(cmd *cobra.Command) error {
	if err := f.check(cmd); err != nil {
		return usageError{err}
	}
	load, err := f.load()
	if err != nil {
		return usageError{err}
	}
	var plans []heater.Plan
	for _, text := range f.supply {
		p, err := f.plan(load, text)
		if err != nil {
			return usageError{err}
		}
		plans = append(plans, p)
	}
	if err := f.plot(plans, nil, false); err != nil {
		return err
	}
	if err := f.draw(plans, load.Describe()); err != nil {
		return err
	}
	if f.asJSON {
		return printPlansJSON(cmd.OutOrStdout(), plans)
	}
	out := &strings.Builder{}
	printLoad(out, plans[0])
	if len(plans) > 1 {
		printSupplies(out, plans)
	}
	for _, p := range plans {
		if len(plans) == 1 || f.all {
			printPlan(out, p, f.all)
		}
	}
	printAssumptions(out, plans[0])
	printMarks(out)
	f.printWritten(out)
	_, err = io.WriteString(cmd.OutOrStdout(), out.String())
	return err
}

// check refuses flags that don't go together or are out of range.
func (f *dropperFlags) check(cmd *cobra.Command) error {
	supplies, groups := len(f.supply), strings.Count(f.valves, ",")+1
	switch {
	case f.unit != "":
		return errors.New("--unit picks from a bench sheet: name the sheet")
	case supplies == 0 || f.valves == "":
		return errors.New("give --supply and --valves, such as --supply 7 --valves 2x12AU7,1x6N2P, or a bench sheet")
	case decimalComma(f.supply):
		return fmt.Errorf("--supply %s,%s may be one supply of %[1]s.%[2]s V or two; write %[1]s.%[2]s, or %[2]s,%[1]s for two", f.supply[0], f.supply[1])
	case supplies > maxSupplies:
		return fmt.Errorf("--supply has %d values, expected at most %d; take them in several runs", supplies, maxSupplies)
	case groups > maxValveGroups:
		return fmt.Errorf("--valves has %d groups, expected at most %d; give valves of one type together, such as 2x12AU7", groups, maxValveGroups)
	}
	if err := unitSlips([]unitBound{
		{"rated-a", f.ratedA, 0, mostAmps, "amps", "mA", 1e-3},
		{"limit-a", f.limitA, 0, mostAmps, "amps", "mA", 1e-3},
		{"at-a", f.atA, 0, mostAmps, "amps", "mA", 1e-3},
		{"output-ohm", f.outputOhm, 0, mostOhms, "ohms", "mΩ", 1e-3},
	}); err != nil {
		return err
	}
	return f.checkBeside(cmd)
}

// checkBeside refuses what may be given beside a bench sheet too, and a zero that was typed
// where none has a meaning: the plan would take it for the default.
func (f *dropperFlags) checkBeside(cmd *cobra.Command) error {
	for _, x := range []struct {
		flag, expected string
		value          float64
	}{{"exponent", "0.3 to 1", f.exponent}, {"cold-ratio", "1.5 to 20", f.coldRatio}} {
		if x.value == 0 && cmd.Flags().Changed(x.flag) {
			return fmt.Errorf("--%s: found 0, expected %s", x.flag, x.expected)
		}
	}
	for _, b := range []percentBound{
		{"headroom", f.headroom, 2, 100, false},
		{"supply-tol", f.supplyTol, leastTolPercent, 50, true},
		{"part-tol", f.partTol, leastTolPercent, 50, true},
	} {
		if err := b.slip(); err != nil {
			return err
		}
	}
	return unitSlips([]unitBound{{"lead-ohm", f.leadOhm, 0, mostOhms, "ohms", "mΩ", 1e-3}})
}

// load is the heaters that the flags list.
func (f *dropperFlags) load() (heater.Load, error) {
	own, err := parseOwn(f.own)
	if err != nil {
		return heater.Load{}, err
	}
	groups, err := heater.ParseGroups(f.valves, own)
	if err != nil {
		return heater.Load{}, err
	}
	for i := range groups {
		groups[i].CathodeV = f.cathodeV
	}
	return heater.NewLoad(groups, f.railV)
}

// decimalComma reports whether two supplies may be one with a decimal comma: whole volts,
// the second less than the first.
func decimalComma(supplies []string) bool {
	if len(supplies) != 2 {
		return false
	}
	a, errA := strconv.Atoi(supplies[0])
	b, errB := strconv.Atoi(supplies[1])
	return errA == nil && errB == nil && b < a
}

// plan sizes for one of --supply.
func (f *dropperFlags) plan(load heater.Load, supply string) (heater.Plan, error) {
	v, err := supplyVolts(supply)
	if err != nil {
		return heater.Plan{}, err
	}
	p, err := heater.MakePlan(load, heater.Supply{
		Volts: v, AtA: f.atA, OutputOhm: f.outputOhm, LeadOhm: f.leadOhm,
		TolFrac: f.supplyTol / 100, RatedA: f.ratedA, LimitA: f.limitA,
	}, heater.Options{
		Exponent: f.exponent, PartTol: new(f.partTol / 100), HeadroomFrac: f.headroom / 100,
		ColdRatio: f.coldRatio, AmbientC: new(f.ambientC), Series: f.series,
	})
	if err == nil && p.Refused {
		err = &heater.InputError{What: "--supply", Found: volt2(v) + " V", Expected: "an isolated DC supply of at most 60 V", Fix: p.Why}
	}
	return p, err
}

// supplyVolts reads one of --supply; what means mains or high voltage is named.
func supplyVolts(text string) (float64, error) {
	word := strings.ToUpper(strings.Join(strings.Fields(text), ""))
	for _, w := range []string{"MAINS", "HT", "B+", "VAC", "V~", "AC"} {
		if strings.Contains(word, w) {
			return 0, &heater.InputError{What: "--supply", Found: strconv.Quote(text), Expected: "an isolated DC supply's volts, such as 7",
				Fix: "no dropper is planned from mains, from AC or from the high voltage"}
		}
	}
	v, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSuffix(word, "DC"), "V"), 64)
	if err != nil {
		return 0, &heater.InputError{What: "--supply", Found: strconv.Quote(text), Expected: "volts, such as 7 or 6,6.5,7"}
	}
	return v, nil
}

// draw writes the wiring sketch, if asked for.
func (f *dropperFlags) draw(plans []heater.Plan, title string) error {
	if f.sketch == "" {
		return nil
	}
	if strings.ToLower(filepath.Ext(f.sketch)) != ".svg" {
		return usageError{&heater.InputError{What: "--sketch", Found: strconv.Quote(f.sketch), Expected: "a name ending in .svg"}}
	}
	if len(plans) != 1 {
		return usageError{&heater.InputError{What: "--sketch", Found: fmt.Sprintf("%d plans", len(plans)), Expected: "one", Fix: "give one supply, or --unit with the sheet"}}
	}
	if p := plans[0]; p.Best >= 0 && p.Arrangements[p.Best].Rewired != "" {
		title = "rewired: " + p.Arrangements[p.Best].Rewired
	}
	svg := report.WiringSketch(&plans[0], title)
	if svg == nil {
		return fmt.Errorf("no wiring to draw: %s", orText(plans[0].Why, plans[0].BestWhy))
	}
	return writePicture(f.sketch, svg, f.force)
}

func orText(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// mostValveA is more than any one heater of a preamp draws; heaters' data sheets are in
// milliamps too.
const mostValveA = 20.0

// parseOwn reads --own NAME=VOLTS:AMPS[:ct].
func parseOwn(items []string) ([]heater.Valve, error) {
	var own []heater.Valve
	for _, item := range items {
		bad := &heater.InputError{What: "--own", Found: strconv.Quote(item), Expected: "NAME=VOLTS:AMPS or NAME=VOLTS:AMPS:ct, such as 6P99=6.3:0.35"}
		name, rest, ok := strings.Cut(item, "=")
		parts := strings.Split(rest, ":")
		if !ok || strings.TrimSpace(name) == "" || len(parts) < 2 || len(parts) > 3 || len(parts) == 3 && strings.ToLower(strings.TrimSpace(parts[2])) != "ct" {
			return nil, bad
		}
		v, errV := strconv.ParseFloat(strings.TrimSpace(parts[0]), 64)
		a, errA := strconv.ParseFloat(strings.TrimSpace(parts[1]), 64)
		if errV != nil || errA != nil {
			if strings.Contains(rest, ",") {
				bad.Fix = "write " + strings.TrimSpace(name) + "=" + strings.ReplaceAll(rest, ",", ".")
			}
			return nil, bad
		}
		if a > mostValveA {
			bad.Found, bad.Expected = fmt.Sprintf("%g amps of %s", a, strings.TrimSpace(name)), fmt.Sprintf("amps, %g at most", mostValveA)
			bad.Fix = fmt.Sprintf("for %g mA write %g", a, a/1e3)
			return nil, bad
		}
		own = append(own, heater.Valve{Type: strings.TrimSpace(name), Volts: v, Amps: a, CentreTapped: len(parts) == 3, Source: "own entry on the command line"})
	}
	return own, nil
}

// plot writes the warm-up picture, if asked for. names label the plans, nil: by
// their volts.
func (f *dropperFlags) plot(plans []heater.Plan, names []string, invented bool) error {
	if f.warmUpPlot == "" {
		return nil
	}
	format := report.PictureFormat(f.warmUpPlot)
	if format == "" {
		return usageError{&heater.InputError{What: "--warmup-plot", Found: strconv.Quote(f.warmUpPlot), Expected: "a name ending in .png or .svg"}}
	}
	picture, err := report.WarmUpPicture(plans, names, invented, format)
	if err != nil {
		return err
	}
	return writePicture(f.warmUpPlot, picture, f.force)
}

// printWritten names the files written beside the answer.
func (f *dropperFlags) printWritten(w io.Writer) {
	for _, path := range []string{f.warmUpPlot, f.sketch} {
		if path != "" {
			fmt.Fprintf(w, "\nwrote %s\n", path)
		}
	}
}

// plansJSON is what --json prints.
type plansJSON struct {
	SchemaVersion string        `json:"schema_version"`
	Plans         []heater.Plan `json:"plans"`
	Cautions      []string      `json:"cautions"`
}

func printPlansJSON(w io.Writer, plans []heater.Plan) error {
	return writeJSON(w, plansJSON{SchemaVersion: "1.0", Plans: plans, Cautions: heater.SafetyCautions()})
}
