package main

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"stillglow/analysis/heater"
	"stillglow/report"
)

// textWidth is the width that all of the dropper's output fits.
const textWidth = 100

// plainTable is a table of bare columns with the given greatest widths.
func plainTable(head []string, right string, widths ...int) table.Writer {
	t := table.NewWriter()
	style := table.StyleDefault
	style.Options = table.Options{SeparateHeader: true}
	style.Box = table.BoxStyle{MiddleHorizontal: "─", PaddingRight: "  "}
	style.Format.Header = text.FormatDefault
	t.SetStyle(style)
	row := make(table.Row, len(head))
	var config []table.ColumnConfig
	for i, h := range head {
		row[i] = h
		c := table.ColumnConfig{Number: i + 1, WidthMax: widths[i], WidthMaxEnforcer: wrapCell}
		if right[i] == 'r' {
			c.Align, c.AlignHeader = text.AlignRight, text.AlignRight
		}
		config = append(config, c)
	}
	t.AppendHeader(row)
	t.SetColumnConfigs(config)
	return t
}

// wrapCell wraps each line of a cell on its own, further ones set in where the
// first is, behind the star of what is recommended too.
func wrapCell(cell string, width int) string {
	var out []string
	for _, line := range strings.Split(cell, "\n") {
		words := strings.TrimLeft(strings.TrimPrefix(line, "* "), " ")
		lead := line[:len(line)-len(words)]
		for _, l := range wrapGlued(words, width-len(lead)) {
			out = append(out, lead+l)
			lead = strings.Repeat(" ", len(lead))
		}
	}
	return strings.Join(out, "\n")
}

// glued finds a figure with the mark or the sign of a parallel part behind it.
var glued = regexp.MustCompile(`([0-9A-ZΩ%]) ([!∥])`)

// wrapGlued wraps to a width without parting a figure from its unit, or from the
// mark behind it.
func wrapGlued(sentence string, width int) []string {
	return report.WrapUnits(glued.ReplaceAllString(sentence, "$1"+report.Tie+"$2"), width)
}

// printTable prints a table without trailing blanks.
func printTable(w io.Writer, t table.Writer) {
	for _, line := range strings.Split(t.Render(), "\n") {
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

// printMarks explains the signs that printLine put in place of "from memory" and
// "common practice, no source".
func printMarks(out *strings.Builder) {
	if note := report.MarkNote(out.String()); note != "" {
		fmt.Fprintln(out, note)
	}
}

// printLine wraps one sentence, its further lines set in.
func printLine(w io.Writer, first, sentence string) {
	indent := strings.Repeat(" ", text.StringWidthWithoutEscSequences(first))
	lines := wrapGlued(report.Marked(sentence), textWidth-len(indent))
	for i, l := range lines {
		lead := indent
		if i == 0 {
			lead = first
		}
		fmt.Fprintln(w, strings.TrimRight(lead+l, " "))
	}
}

func number(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }

// digits prints with n significant digits, never in powers of ten.
func digits(v float64, n int) string {
	if v == 0 {
		return "0"
	}
	return number(v, max(0, n-1-int(math.Floor(math.Log10(math.Abs(v))+1e-9))))
}

// significant is digits without trailing zeros, for what was given or bought.
func significant(v float64, n int) string {
	s := digits(v, n)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// percent prints a relative error, whole beyond ±100 %.
func percent(frac float64) string {
	if math.Abs(frac) >= 0.9995 {
		return fmt.Sprintf("%+.0f %%", 100*frac)
	}
	return fmt.Sprintf("%+.1f %%", 100*frac)
}

// volt2 prints volts with two decimals, one from 100 V on.
func volt2(v float64) string {
	if v >= 99.995 {
		return number(v, 1)
	}
	return number(v, 2)
}

func decibels(db float64) string {
	if math.Abs(db) >= 9.95 {
		return number(db, 0) + " dB"
	}
	return number(db, 1) + " dB"
}

func printLoad(w io.Writer, p heater.Plan) {
	printLine(w, "heaters: ", p.Load.Describe())
	printLine(w, "load:    ", fmt.Sprintf("%s A nominal, %s to %s A with the heaters' spread, on %s",
		digits(p.NominalA, 3), digits(p.LowA, 3), digits(p.HighA, 3), p.Load.RailText()))
	if p.Supply.RatedA > 0 {
		printLine(w, "rating:  ", p.Headroom)
	}
}

// best gives the recommended part of an arrangement.
func best(a heater.Arrangement) (heater.Part, bool) {
	if a.Best < 0 {
		return heater.Part{}, false
	}
	return a.Parts[a.Best], true
}

// printSupplies compares several supplies, one row each.
func printSupplies(w io.Writer, plans []heater.Plan) {
	fmt.Fprintln(w)
	fmt.Fprintln(w, "with one shared resistor, and what to fit instead where that is better:")
	t := plainTable([]string{"supply", "exact", plans[0].Options.Series, "heater", "worst", "pulled", "buy", "fit"},
		"rrrrrrrl", 7, 8, 11, 7, 13, 9, 6, 25)
	for _, p := range plans {
		row := table.Row{significant(p.Supply.Volts, 4) + " V", "-", "-", "-", "-", "-", "-", "can't feed it"}
		a := p.Arrangements[0]
		if p.CanFeed {
			row[7] = "none"
			if p.Direct {
				row[7] = "connect directly, " + percent(p.Arrangements[p.Best].Parts[0].ErrFrac)
			} else if p.Best >= 0 {
				take := p.Arrangements[p.Best]
				row[7] = take.Name + ": " + take.Parts[take.Best].Label
				if text.StringWidthWithoutEscSequences(row[7].(string)) > 25 {
					row[7] = take.Name + ":\n" + stacked(take.Parts[take.Best].Label)
				}
			}
			if a.ExactOhm > 0 {
				row[1] = digits(a.ExactOhm, 4) + " Ω"
			}
		}
		if part, ok := best(a); ok {
			row[2] = bothSides(a)
			row[3], row[4], row[5], row[6] = volt2(part.HeaterV)+" V", corners(part), pulled(part), rating(part.FitW())
		}
		t.AppendRow(row)
	}
	printTable(w, t)
	for _, p := range plans {
		for _, s := range p.Warnings {
			printLine(w, "! ", significant(p.Supply.Volts, 4)+" V: "+s)
		}
	}
}

// stacked puts each value of a set on a line of its own.
func stacked(label string) string { return strings.ReplaceAll(label, ", ", "\n") }

// bothSides gives the standard values under and over the exact one.
func bothSides(a heater.Arrangement) string {
	if len(a.Parts) < 2 || a.Parts[1].Pair {
		return a.Parts[0].Label
	}
	return strings.TrimSuffix(a.Parts[0].Label, " Ω") + "/" + a.Parts[1].Label
}

// corners gives the least and greatest heater error over the tolerances.
func corners(p heater.Part) string {
	if p.WorstHigh >= 0.9995 {
		return roundCorners(p)
	}
	return fmt.Sprintf("%+.1f/%+.1f %%", 100*p.WorstLow, 100*p.WorstHigh)
}

// roundCorners is corners in whole percent.
func roundCorners(p heater.Part) string {
	if p.WorstLow >= 0.995 {
		return "over +99 %"
	}
	return fmt.Sprintf("%+.0f/%+.0f %%", 100*p.WorstLow, 100*p.WorstHigh)
}

// pulledWidth is what pulled takes where a valve is left: "7.85 V !".
const pulledWidth = 9

// pulled is the highest heater volts with any one valve out, flagged when it is
// over the limit.
func pulled(p heater.Part) string {
	switch {
	case p.PulledV == 0:
		return "no valve left"
	case p.PulledOver:
		return volt2(p.PulledV) + " V !"
	}
	return volt2(p.PulledV) + " V"
}

// heat2 prints dissipation with two digits: "0.74 W", "74 mW".
func heat2(w float64) string {
	if w > 0 && w < 0.0995 {
		return number(1000*w, 0) + " mW"
	}
	return digits(w, 2) + " W"
}

func rating(w float64) string {
	if w == 0 {
		return "-"
	}
	return significant(w, 3) + " W"
}

// printPlan prints one supply's plan; all adds the values and corners of every
// arrangement.
func printPlan(w io.Writer, p heater.Plan, all bool) {
	fmt.Fprintf(w, "\nsupply %s V", significant(p.Supply.Volts, 4))
	if p.Supply.AtA > 0 {
		fmt.Fprintf(w, " at %s A", significant(p.Supply.AtA, 3))
	}
	fmt.Fprintln(w)
	for _, s := range p.Warnings {
		printLine(w, "! ", s)
	}
	if !p.CanFeed {
		return
	}
	for _, s := range p.Hints {
		printLine(w, "hint: ", s)
	}
	fmt.Fprintln(w)
	printArrangements(w, p)
	if p.Best >= 0 {
		a := p.Arrangements[p.Best]
		fit := a.Name
		if a.Name != heater.NameNone {
			fit += ", " + a.Parts[a.Best].Label
		}
		printLine(w, "* ", fmt.Sprintf("recommended: %s: %s", fit, p.BestWhy))
	} else {
		printLine(w, "", p.BestWhy)
	}
	printLine(w, "  ", "heater: volts of the heater furthest from its rating; worst: its error over all tolerances; pulled: the highest heater volts with any one valve out (! over the limit); heat: in the hottest single part; ripple: change at 100 kHz by the dropper alone")
	for i, a := range p.Arrangements {
		if all || i == p.Best || p.Best < 0 && i == 0 {
			printValues(w, p, a)
		}
	}
	for i, a := range p.Arrangements {
		if all || a.Best < 0 || i == p.Best && a.Rewired != "" {
			for _, s := range a.Warnings {
				printLine(w, "- ", a.Name+": "+s)
			}
		}
	}
	printSplit(w, p)
	printOthers(w, p)
	printShopping(w, p)
	fmt.Fprintln(w)
	cold := p.ColdRides
	if !p.Direct && p.Best >= 0 && !p.Load.Mixed() {
		cold += fmt.Sprintf("; without a dropper %s A", digits(p.ColdNoDropA, 3))
	}
	printLine(w, "cold start: ", cold)
	printLine(w, "warm-up:    ", fmt.Sprintf("%s s to 90 %% and %s s to 99 %% of the heater's temperature rise", significant(p.WarmUp.To90S, 2), significant(p.WarmUp.To99S, 2)))
	printLine(w, "rating:     ", p.Headroom)
}

// printArrangements is the table of the ways of dropping.
func printArrangements(w io.Writer, p heater.Plan) {
	fits, out := 20, pulledWidth
	if len(p.Load.Groups) == 1 && p.Load.Groups[0].Count == 1 {
		fits, out = 16, len("no valve left")
	}
	t := plainTable([]string{"  arrangement", "fit", "heater", "worst", "pulled", "heat", "buy", "ripple"},
		"llrrrrrr", 21, fits, 7, 10, out, 6, 6, 7)
	for i, a := range p.Arrangements {
		name := "  " + a.Name
		if i == p.Best {
			name = "* " + a.Name
		}
		part, ok := best(a)
		if !ok {
			t.AppendRow(table.Row{name, "-", "-", "-", "-", "-", "-", "-"})
			continue
		}
		heat, ripple := "-", "-"
		if part.W > 0 {
			heat = heat2(part.W)
			ripple = decibels(a.RippleDB)
		}
		t.AppendRow(table.Row{name, stacked(part.Label), volt2(part.HeaterV) + " V", roundCorners(part), pulled(part), heat, rating(part.FitW()), ripple})
	}
	printTable(w, t)
}

// printValues lists an arrangement's standard values and the corners of the
// recommended one.
func printValues(w io.Writer, p heater.Plan, a heater.Arrangement) {
	if len(a.Parts) == 0 || a.Name == heater.NameNone {
		return
	}
	fmt.Fprintln(w)
	title := fmt.Sprintf("%s: exactly %s", a.Name, a.Exact)
	if a.Parts[0].BuyW > 0 {
		title += "; values of " + p.Options.Series + " (IEC 60063)"
	}
	printLine(w, "", title)
	t := plainTable([]string{"  fit", "heater", "error", "worst", "pulled", "heat", "buy", "surface", "shorted"},
		"lrrrrrrrr", 22, 7, 7, 13, len("no valve left"), 6, 6, 7, 7)
	for i, part := range a.Parts {
		mark := "  "
		if i == a.Best {
			mark = "* "
		}
		surface := "-"
		if part.SurfaceC > 0 {
			surface = number(part.SurfaceC, 0) + " °C"
		}
		fault := "-"
		if part.FaultW > 0 {
			fault = heat2(part.FaultW)
		}
		t.AppendRow(table.Row{mark + strings.ReplaceAll(stacked(part.Label), "\n", "\n  "), volt2(part.HeaterV) + " V", percent(part.ErrFrac), corners(part), pulled(part),
			heat2(part.W), rating(part.FitW()), surface, fault})
	}
	printTable(w, t)
	part := a.Parts[max(0, a.Best)]
	for _, s := range part.Warnings {
		printLine(w, "! ", s)
	}
	if a.RippleHint != "" {
		printLine(w, "  ", "ripple "+a.RippleHint)
	}
	fmt.Fprintln(w)
	printCorners(w, part)
}

// printCorners is the table of a part's worst cases, with their notes under it.
func printCorners(w io.Writer, part heater.Part) {
	printLine(w, "", "worst cases with "+part.Label)
	t := plainTable([]string{"case", "heater", "volts", "error", "current", "heat", "limit"}, "llrrrrl", 44, 8, 8, 8, 7, 7, 6)
	var notes []string
	for _, k := range part.Corners {
		name := k.Name
		if k.Note != "" {
			name += fmt.Sprintf(" (%d)", indexOf(&notes, k.Note))
		}
		t.AppendRow(cornerRow(k, name))
	}
	printTable(w, t)
	for i, n := range notes {
		printLine(w, fmt.Sprintf("(%d) ", i+1), n)
	}
}

func cornerRow(k heater.Corner, name string) table.Row {
	volts, err, load, heat, limit := volt2(k.HeaterV)+" V", percent(k.RelErr), digits(k.LoadA, 3)+" A", heat2(k.PartW), ""
	if k.AllOff {
		volts, err = "not lit", "-"
	}
	if k.Unlimited {
		load, heat = "limit", "-"
	}
	switch {
	case k.OverLimit:
		limit = "over"
	case k.UnderLimit:
		limit = "under"
	}
	if k.Kind == heater.KindCold {
		err = "-"
	}
	return table.Row{name, k.Heater, volts, err, load, heat, limit}
}

// indexOf gives the 1-based place of a note, adding it when it is new.
func indexOf(notes *[]string, note string) int {
	for i, n := range *notes {
		if n == note {
			return i + 1
		}
	}
	*notes = append(*notes, note)
	return len(*notes)
}

// printOthers tells what else feeds the heaters, and which way is the better
// engineering.
func printOthers(w io.Writer, p heater.Plan) {
	if len(p.Alternatives) == 0 {
		return
	}
	fmt.Fprintln(w, "\nother ways, with this much to drop:")
	for _, a := range p.Alternatives {
		mark := "  "
		if a.Better {
			mark = "* "
		}
		printLine(w, mark, a.What)
	}
	printLine(w, "  ", "better engineering: "+p.Better)
}

// printShopping lists what to buy for the recommendation, and what protects it.
func printShopping(w io.Writer, p heater.Plan) {
	if p.Best < 0 {
		return
	}
	part, _ := best(p.Arrangements[p.Best])
	fmt.Fprintln(w, "\nparts:")
	for _, i := range part.Shopping {
		printLine(w, "- ", i.Text())
	}
	if len(part.Shopping) == 0 {
		printLine(w, "- ", "none")
	}
	for _, f := range part.Fuses {
		printLine(w, "  ", "fuse, "+f.For+": "+f.Why)
	}
	printInsulation(w, p)
}

// printInsulation tells what is known between heater and cathode.
func printInsulation(w io.Writer, p heater.Plan) {
	var untold, unknown []string
	for _, i := range p.Insulation {
		switch {
		case i.State != heater.InsulationNotTold:
			printLine(w, "  ", i.Words)
		case i.MaxV > 0:
			untold = append(untold, fmt.Sprintf("%s %s V", i.Type, significant(i.MaxV, 3)))
		default:
			unknown = append(unknown, i.Type)
		}
	}
	if len(untold) > 0 {
		printLine(w, "  ", "heater to cathode, at most: "+strings.Join(untold, ", ")+" (from memory, it varies by maker); the cathodes' volts are not given (--cathode-v, in a sheet cathode_v)")
	}
	if len(unknown) > 0 {
		printLine(w, "  ", "heater to cathode, limit unknown: "+strings.Join(unknown, ", ")+"; see the data sheet, and give the cathodes' volts (--cathode-v, in a sheet cathode_v)")
	}
}

// printSplit shows how the strings share their volts.
func printSplit(w io.Writer, p heater.Plan) {
	if len(p.StringSplit) == 0 {
		return
	}
	fmt.Fprintln(w)
	t := plainTable([]string{"string", "heater", "volts", "error", "amps"}, "llrrr", 24, 12, 8, 8, 8)
	for _, c := range p.StringSplit {
		t.AppendRow(table.Row{c.Name, c.Heater, volt2(c.HeaterV) + " V", percent(c.RelErr), digits(c.LoadA, 3) + " A"})
	}
	printTable(w, t)
}

// printAssumptions closes with what the plan rests on and what can hurt.
func printAssumptions(w io.Writer, p heater.Plan) {
	fmt.Fprintln(w, "\nassumed:")
	for _, s := range p.Assumptions {
		printLine(w, "- ", s)
	}
	fmt.Fprintln(w, "\ncautions:")
	for _, s := range heater.SafetyCautions() {
		printLine(w, "- ", s)
	}
}
