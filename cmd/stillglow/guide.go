package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// guideFlags are what the advice depends on.
type guideFlags struct {
	target, valves string
	supplyV        float64
	supplyGiven    bool // it was asked for, and goes before the sheet's
	memory         string
	maxRate        float64
	asJSON         bool
}

// usualSupplyV is the volts that the guide loads where nothing tells them.
const usualSupplyV = 7

func newGuideCmd() *cobra.Command {
	f := guideFlags{}
	cmd := &cobra.Command{
		Use:   "guide [SHEET]",
		Short: "Explain how to measure: safety, load, probe, timebase for each criterion",
		Long: `Guide prints how to take the captures: safety first, the load for your heaters'
current, probe and ground, which captures to take and what timebase each needs,
worked out from the target's limits and the depth of the scope's memory, and the
baseline. Give a bench sheet and it takes target, heaters and memory from there.`,
		Example: `  stillglow guide
  stillglow guide testdata/bench/bench.toml
  stillglow guide --target phono-preamp --memory 14M --max-rate 1G --valves 2x12AX7,1x6N2P`,
		Args: wantArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args) },
	}
	fl := cmd.Flags()
	fl.StringVar(&f.target, "target", "", "target whose limits are to be covered (default: the sheet's, else line-preamp)")
	fl.StringVar(&f.valves, "valves", "", "the heaters to load for: 2x12AU7,1x6N2P (default: the sheet's)")
	fl.Float64Var(&f.supplyV, "supply", usualSupplyV, "the supply's volts under load (default: the sheet's units' own, else 7 for 6.3 V heaters, in proportion for others)")
	fl.Lookup("supply").DefValue = "0" // said in the words
	fl.StringVar(&f.memory, "memory", "", "samples in one scope record: 10k, 1M, 14M (default: the sheet's, else 1M)")
	fl.Func("max-rate", "highest sample rate in samples per second: 100M, 1G (default 500M)", hertz(&f.maxRate))
	fl.BoolVar(&f.asJSON, "json", false, "print the captures to take as JSON")
	return cmd
}

func (f *guideFlags) run(cmd *cobra.Command, args []string) error {
	var s *sheet.Sheet
	if len(args) == 1 {
		var err error
		if s, err = sheet.Read(args[0]); err != nil {
			return err
		}
	}
	if !(f.supplyV > 0) || f.supplyV > mostDropV {
		return usageError{fmt.Errorf("--supply: found %g, expected volts over 0, 60 at most", f.supplyV)}
	}
	f.supplyGiven = cmd.Flags().Changed("supply")
	return f.write(cmd.OutOrStdout(), s)
}

// write writes the guide for a sheet, nil for none.
func (f *guideFlags) write(w io.Writer, s *sheet.Sheet) error {
	scope := scopeLimits{MaxRate: f.maxRate}
	if s != nil {
		scope.Memory = s.Instrument.MemorySamples
		if f.maxRate == 0 {
			scope.MaxRate = s.Instrument.MaxRateHz
		}
	}
	if f.memory != "" {
		n, err := parseSamples(f.memory)
		if err != nil {
			return usageError{fmt.Errorf("--memory: %w", err)}
		}
		scope.Memory = n
	}
	scope = scope.withDefaults()
	goal, err := f.goal(s)
	if err != nil {
		return err
	}
	load, err := f.load(s)
	if err != nil {
		return err
	}
	scope.Holds = goal.Limits
	settings := planSettings(goal.Limits, scope)
	if f.asJSON {
		return printSettingsJSON(w, goal.Name, scope, settings)
	}
	out := &strings.Builder{}
	volts := f.loadVolts(s, load)
	guideText(out, goal, load, volts, scope, settings)
	_, err = io.WriteString(w, out.String())
	return err
}

// loadVolts are the volts to load: those given, the sheet's units', or else what suits the
// heaters' rail as 7 V suits 6.3 V.
func (f *guideFlags) loadVolts(s *sheet.Sheet, load heater.Load) []loadVolts {
	if f.supplyGiven {
		return []loadVolts{{V: f.supplyV}}
	}
	if s != nil {
		if own := sheetVolts(s, load); len(own) > 0 {
			return own
		}
	}
	v := loadVolts{V: f.supplyV, Assumed: true}
	if load.Volts > 0 {
		v.V *= load.Volts / target.RailVolts
	}
	return []loadVolts{v}
}

func (f *guideFlags) goal(s *sheet.Sheet) (target.Target, error) {
	if f.target != "" || s == nil {
		goal, err := target.Named(f.target)
		if err != nil {
			return goal, usageError{err}
		}
		return goal, nil
	}
	goal, _, err := pipeline.Target(s)
	return goal, err
}

// load is the heaters to load for; none is an empty load.
func (f *guideFlags) load(s *sheet.Sheet) (heater.Load, error) {
	if f.valves != "" {
		load, err := heater.ParseLoad(f.valves, nil)
		if err != nil {
			return load, usageError{err}
		}
		return load, nil
	}
	if s != nil {
		return pipeline.Load(s)
	}
	return heater.Load{}, nil
}

// guideText writes the whole guide, at most 100 columns wide.
func guideText(w io.Writer, goal target.Target, load heater.Load, volts []loadVolts, scope scopeLimits, settings []captureSetting) {
	var said []string
	para := func(first, text string) {
		text = report.Marked(text)
		said = append(said, text)
		fmt.Fprint(w, wrapText(first, strings.Repeat(" ", len([]rune(first))), text, 100))
	}
	head := func(text string) { fmt.Fprintf(w, "\n%s\n", text) }

	fmt.Fprintf(w, "How to measure a heater supply for the target %s (%s)\n", goal.Name, goal.Title)
	fmt.Fprintln(w, "stillglow bench does the work on a page in the browser, from the captures to the report.")
	head("Safety first")
	for _, c := range []string{
		"A heater supply is mains equipment. Never open it while it is plugged in; its primary capacitor holds several hundred volts for minutes afterwards. Test only units whose case and mains lead are sound.",
		report.EarthSafety,
		report.LeakSafety + " With a sound card, the first touch of the two grounds carries that current, so join the grounds before you plug in, and keep the DC block in the signal lead.",
		report.HTSafety,
		report.ParallelSafety(),
		"Keep the preamp's high voltage off and its capacitors discharged while you work on heaters: some heater circuits are biased tens of volts above earth.",
		report.LoadSafety,
		report.CapSafety(),
		report.CodesSafety + " If you are not qualified to work on mains equipment, have someone who is qualified do it.",
	} {
		para("  ! ", c)
	}
	head("1. Load the supply as the heaters will")
	loadText(para, load, volts)
	para("  - ", "Let it run for ten minutes; read the DC volts with a meter at no load, about half load and full load, and write them into the sheet (readings). They give the output resistance and size the dropper. (Common practice, no source.)")

	head("2. Keep the probe's leads short")
	for _, t := range []string{
		"Probe at the supply's output connector, not at the end of its lead, with a 1:1 cable, or a probe with a ground spring or its bare tip and barrel. A 15 cm ground lead is an aerial; it shows spikes that the supply does not have. (Source: public application notes on output ripple and noise: shortest ground, ground band or ring instead of a lead.)",
		"A passive probe set to 1:1 may have only about 7 MHz of bandwidth (EDN Asia 2013, \"linear power supply's data sheet\", part 2): fine for mains and audio, not for spikes. A 10:1 probe raises the scope's noise tenfold. 50 Ω coax into a 50 Ω terminator is the cleanest for the fast captures, behind a DC block at the supply's end: the terminator must never see the DC (7 V would put 1 W into it). A block of 1 µF has its cut-off (-3 dB) at 3.2 kHz into 50 Ω (1/2πRC), so nothing slow comes through it. If the source end is terminated too, the reading is halved: say so with probe_factor = 2 in the sheet.",
		"To compare a figure with data sheets, fit 0.1 µF ceramic and 10 µF electrolytic across the output connector (ATX12V Power Supply Design Guide v1.1, section 3.2.6; v2.0 fits the same two; the thousands of µF in its section 3.2.8 are for stability, not for noise tests). Say in the note whether you did, and do the same for every unit.",
		"probe_factor in the sheet is only for a factor that the file's volts don't include yet, such as a 10:1 probe that the scope was told is 1:1.",
	} {
		para("  - ", t)
	}
	head("3. Take these captures of every unit, and save them as CSV")
	fmt.Fprintf(w, "   (worked out for %s of memory, at most %s)\n", samplesText(float64(scope.Memory)), rateText(scope.MaxRate))
	guideSettings(para, ofMode(settings, capture.Differential), scope, 'a')
	fmt.Fprintln(w)
	para("   ", "Each figure on its own (the record holds four periods of its lowest frequency, eight for noise density, and 0.4 of the sample rate reaches its highest):")
	guideSpans(para, goal.Limits, scope)
	fmt.Fprintln(w)
	for _, t := range []string{
		"Leave the bandwidth limit off for spikes: a one-pole 20 MHz limit has a transition duration of 17.5 ns (ln 9 / 2πB, computed), so faster spikes come out smaller. The 20 MHz figure is made from the same capture, and the report names the low-pass. If you do switch the limit on, say so (band_limited = true).",
		"Repeat a capture three times and put all of them in the sheet: the spread becomes part of the ±.",
		"Export the whole memory, not the screen: screen data leaves samples out.",
		fmt.Sprintf("A scope that saves pictures only, or records of a thousand points, can't pass a unit, but it can fail one: what exceeds a limit in part of the span exceeds it. Read the peak-to-peak off the screen with the 20 MHz limit on and write it as [[unit.reading]] with its ± (%d %% if you give none); a criterion that it leaves inside its limit stays open, and stillglow check says so.", sheet.UsualPlusMinusPercent),
	} {
		para("  - ", t)
	}
	head("4. Capture the common mode of every unit too")
	guideCommon(para, volts)
	if both := ofMode(settings, capture.Common); len(both) > 0 {
		guideSettings(para, both, scope, 'a'+rune(len(settings)-len(both)))
	} else {
		para("  - ", "This target sets no limit on it; the named ones do (stillglow target "+target.Default+").")
	}
	head("5. Take a baseline")
	para("  - ", "Take a capture with the same settings, the probe's tip on its own ground at the supply's output and the supply off at the wall: it goes into the sheet as [instrument.baseline], with supply = \"off\". What it shows comes from the bench, not the unit, and is subtracted in power (rms values as squares). The same once more with the supply running shows what this unit radiates into the probe's loop: that is the unit's own, so note it; a baseline with supply = \"running\" is refused.")
	head("6. Check while you are still at the bench")
	para("  - ", "stillglow check SHEET names what is still open; stillglow watch SHEET follows the folder and ranks as files arrive.")
	head("What the words mean, and where this comes from")
	for _, t := range []string{
		"PARD: periodic and random deviation of the DC output from its average in a stated bandwidth, usually 20 Hz to 20 MHz, rms and peak-to-peak (a public bench-supply guide, appendix A).",
		"Noise of a supply: periodic or random signals from 10 Hz to 20 MHz, on a 20 MHz scope; 50 mV peak-to-peak allowed on a 5 V rail (ATX12V guide v1.1, table 11).",
		"Pulse duration at 50 %, transition duration from 10 to 90 % (IEEE Std 181 and IEC 60469; definitions from memory).",
		"Standards that define test fixtures for switch-mode ripple (IEC 61204, JEITA RC-9131) were not consulted; nothing here quotes them.",
	} {
		para("  - ", t)
	}
	for _, t := range sourcesOf(goal) {
		para("  - Limit on ", t)
	}
	if note := report.MarkNote(said...); note != "" {
		fmt.Fprintf(w, "\n%s\n", note)
	}
}

// soundCardWords is how a sound card is joined to a supply.
const soundCardWords = "Fit a DC block of 10 µF in series with its input (film, or two electrolytics back to back, rated above the supply's volts), and behind it 100 kΩ to ground and two small silicon diodes in antiparallel as a clamp. Join the grounds first, with everything unplugged; connect the signal lead only after the supply is up, and take it off before you switch off. Use no attenuator: millivolts need none, and it would bury them in the card's noise. (Common practice, no source.)"

// loadVolts is what some units of a sheet show under load.
type loadVolts struct {
	V     float64
	Units []string // nil: all
	Over  []string // units whose rated current the heaters may exceed, with it

	Assumed bool // nothing told them

	leastV, mostV float64 // of the units
}

// sheetVolts gives the loaded volts of a sheet's units, those within 5 % of each
// other together: readings where there are any, else the label.
func sheetVolts(s *sheet.Sheet, load heater.Load) []loadVolts {
	heaterA, mostA := load.NominalA(), load.HighA()
	var out []loadVolts
	for _, u := range s.Units {
		unit := target.Unit{HeaterA: heaterA, RatedV: u.RatedV}
		for _, r := range u.Readings {
			unit.Readings = append(unit.Readings, target.Reading{LoadA: r.LoadA, V: r.V})
		}
		v := u.RatedV
		if got, _ := target.LoadedVolts(unit); got.Known && got.Value > 0 {
			v = got.Value
		}
		if v <= 0 {
			continue
		}
		k := 0
		for k < len(out) && math.Abs(v/out[k].V-1) > 0.05 {
			k++
		}
		if k == len(out) {
			out = append(out, loadVolts{V: v, leastV: v, mostV: v})
		}
		out[k].leastV, out[k].mostV = math.Min(out[k].leastV, v), math.Max(out[k].mostV, v)
		out[k].Units = append(out[k].Units, u.Name())
		if u.RatedA > 0 && mostA > u.RatedA {
			out[k].Over = append(out[k].Over, fmt.Sprintf("%s (%.3g A)", u.Name(), u.RatedA))
		}
	}
	if len(out) == 1 {
		out[0].Units = nil
	}
	return out
}

// span words the volts of the units that one load resistor serves, where they differ.
func (v loadVolts) span() string {
	least, most := fmt.Sprintf("%.3g", v.leastV), fmt.Sprintf("%.3g", v.mostV)
	if least == most {
		return ""
	}
	return fmt.Sprintf("%s to %s V: ", least, most)
}

func loadText(para func(first, text string), load heater.Load, volts []loadVolts) {
	if len(load.Groups) == 0 {
		para("  - ", "The real heaters with their dropper are the best load. Otherwise use a resistor: the supply's volts divided by the heaters' total current, rated at twice its heat or more (give --valves and the guide works it out). (Ohm's law; the factor of two: an article on resistor ratings.)")
		return
	}
	amps := load.NominalA()
	para("  - ", fmt.Sprintf("%s draw %.2f A. The real heaters with their dropper are the best load. Otherwise use a resistor; wirewound is fine. (Ohm's law; twice the heat: an article on resistor ratings.)", load.Describe(), amps))
	for _, v := range volts {
		ohm, watts := v.V/amps, v.V*amps
		near, hottest := "", watts
		if below, above, err := heater.Neighbours("E24", ohm); err == nil && math.Abs(below-ohm) > 1e-9*ohm {
			near = fmt.Sprintf("; standard values: %.3g Ω (%.2f A) or %.3g Ω (%.2f A)", below, v.V/below, above, v.V/above)
			if below > 0 {
				hottest = v.V * v.V / below
			}
		}
		who := ""
		if len(v.Units) > 0 {
			who = " (" + v.span() + strings.Join(v.Units, ", ") + ")"
		}
		if v.Assumed {
			who = " (assumed, since no supply's volts are given; a resistor for fewer volts than yours burns: give them with --supply)"
		}
		para("  - ", fmt.Sprintf("From %.3g V%s: %.3g Ω, which dissipates %.1f W%s: %s.", v.V, who, ohm, watts, near, loadRating(hottest)))
		if len(v.Over) > 0 {
			para("  ! ", fmt.Sprintf("Leave out %s: the heaters may take %.3g A, more than its label allows, and such a supply overheats on this load.", strings.Join(v.Over, ", "), load.HighA()))
		}
	}
	para("  - ", "A noise figure at another current is worth little: at light load many supplies switch in bursts. Write load_a into the entry of every capture.")
}

// loadRating is what to buy for a load resistor that dissipates so many watts: a rating on
// sale of twice that or more, or several in parallel where no single one is.
func loadRating(watts float64) string {
	if buy := heater.BuyWatts(watts); buy > 0 {
		return fmt.Sprintf("buy %g W or more", buy)
	}
	n := 2
	for heater.BuyWatts(watts/float64(n)) == 0 {
		n++
	}
	return fmt.Sprintf("no single one on sale stands twice that; take %d of %d times the ohms in parallel, %g W or more each", n, n, heater.BuyWatts(watts/float64(n)))
}

// instead names what could take a capture that the scope can't.
func instead(s captureSetting, scope scopeLimits) string {
	switch {
	case s.NeedHz > scope.MaxRate:
		return "a faster scope"
	case s.Fast:
		return "a scope of more memory"
	}
	return "a sound card, or a scope of more memory"
}

// sourcesOf lists where a target's limits come from, each once.
func sourcesOf(t target.Target) []string {
	var sources []string
	names := map[string][]string{}
	for _, l := range t.Limits {
		if l.Source == "" {
			continue
		}
		if names[l.Source] == nil {
			sources = append(sources, l.Source)
		}
		names[l.Source] = append(names[l.Source], strings.TrimSpace(l.Name))
	}
	var list []string
	for _, source := range sources {
		list = append(list, strings.Join(names[source], "; ")+": "+source+".")
	}
	return list
}

// wrapText breaks text at spaces, never between a figure and its unit; first stands before the first line, rest before
// the others.
func wrapText(first, rest, text string, width int) string {
	var b strings.Builder
	line, used := first, len([]rune(first))
	empty := true
	for _, word := range strings.Fields(report.TieUnits(text)) {
		word = report.Untie(word)
		n := len([]rune(word))
		if !empty && used+1+n > width {
			b.WriteString(line + "\n")
			line, used, empty = rest, len([]rune(rest)), true
		}
		if !empty {
			line += " "
			used++
		}
		line += word
		used += n
		empty = false
	}
	return b.String() + line + "\n"
}

func printSettingsJSON(w io.Writer, goal string, scope scopeLimits, settings []captureSetting) error {
	type item struct {
		Criteria []target.Criterion `json:"criteria"`
		RecordS  float64            `json:"least_record_s"`
		RateHz   float64            `json:"least_rate_hz"`
		DivS     *float64           `json:"time_per_div_s"`
		SetHz    *float64           `json:"sample_rate_hz"`
		Samples  int                `json:"samples"`
		VDiv     float64            `json:"first_volts_per_div"`
		HighRes  bool               `json:"high_resolution"`
		Mode     string             `json:"mode"`
		Why      string             `json:"why_not,omitempty"`
	}
	doc := struct {
		Target  string  `json:"target"`
		Memory  int     `json:"memory_samples"`
		MaxRate float64 `json:"max_rate_hz"`
		Shots   []item  `json:"captures"`
	}{Target: goal, Memory: scope.Memory, MaxRate: scope.MaxRate}
	for _, s := range settings {
		it := item{RecordS: s.NeedS, RateHz: s.NeedHz, Samples: s.Samples, VDiv: s.VoltsPerDiv, HighRes: !s.Fast, Mode: s.Mode.Word(), Why: s.WhyNot}
		if s.DivS > 0 {
			it.DivS, it.SetHz = &s.DivS, &s.RateHz
		}
		for _, l := range s.Criteria {
			it.Criteria = append(it.Criteria, l.Criterion)
		}
		doc.Shots = append(doc.Shots, it)
	}
	return writeJSON(w, doc)
}
