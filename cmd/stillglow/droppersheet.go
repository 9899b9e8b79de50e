package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// sizedUnit is one unit with its plan, nil when its volts are not known.
type sizedUnit struct {
	name    string
	verdict target.Verdict
	plan    *heater.Plan
}

// runSheet sizes the dropper for each passing unit of a bench sheet from the
// unit's own measured volts.
func (f *dropperFlags) runSheet(cmd *cobra.Command, path string) error {
	for _, flag := range []string{"supply", "valves", "own", "rail", "at-a", "rated-a", "output-ohm", "limit-a", "cathode-v"} {
		if cmd.Flags().Changed(flag) {
			return usageError{fmt.Errorf("--%s and a bench sheet don't go together: the sheet sets it; leave one out", flag)}
		}
	}
	if err := f.checkBeside(cmd); err != nil {
		return usageError{err}
	}
	r, err := f.evaluate(cmd, path)
	if err != nil {
		return err
	}
	units, err := f.pick(cmd, r)
	if err != nil {
		return err
	}
	if len(units) == 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "stillglow: no unit of %s passes %q; --all sizes the others too\n", path, r.Target.Title)
		return errNonePass
	}
	var plans []heater.Plan
	var names []string
	for _, u := range units {
		if u.plan != nil {
			plans, names = append(plans, *u.plan), append(names, u.name)
		}
	}
	if len(plans) == 0 {
		return errors.New("no unit's DC volts are known: add meter readings, or a DC-coupled capture, to the sheet")
	}
	if err := f.plot(plans, names, r.Invented); err != nil {
		return err
	}
	if err := f.draw(plans, r.HeaterLoad.Describe()+": "+strings.Join(names, ", ")); err != nil {
		return err
	}
	if f.asJSON {
		return printUnitsJSON(cmd.OutOrStdout(), r.Invented, units)
	}
	_, err = io.WriteString(cmd.OutOrStdout(), f.sizedText(r, units, plans))
	return err
}

// evaluate reads and measures the bench sheet; it must list heaters.
func (f *dropperFlags) evaluate(cmd *cobra.Command, path string) (*report.Report, error) {
	c, err := f.cache.open()
	if err != nil {
		return nil, err
	}
	s, err := (&sheetFlags{}).readTelling(path, cmd.ErrOrStderr())
	if err != nil {
		return nil, err
	}
	r, err := pipeline.EvaluateSheet(cmd.Context(), s, pipeline.Options{Version: version, Cache: c, SkipFilter: true, Progress: measuringProgress(cmd.ErrOrStderr())})
	if err == nil && len(r.HeaterLoad.Groups) == 0 {
		err = fmt.Errorf("%s: found no heaters, expected [[heaters.valve]] entries; list the valves, such as type = \"12AU7\", count = 2", path)
	}
	return r, err
}

// sizedText words the units' plans; plans are those that there are, in order.
func (f *dropperFlags) sizedText(r *report.Report, units []sizedUnit, plans []heater.Plan) string {
	out := &strings.Builder{}
	if r.Invented {
		printLine(out, "", report.InventedBanner)
		fmt.Fprintln(out)
	}
	unrated := plans[0]
	unrated.Supply.RatedA = 0 // each unit has its own, see the warnings
	printLoad(out, unrated)
	printUnits(out, units)
	for _, u := range units {
		if u.plan != nil && (len(units) == 1 || f.all) {
			fmt.Fprintf(out, "\n%s\n", u.name)
			printPlan(out, *u.plan, len(units) == 1 && f.all)
		}
	}
	shared := plans[0]
	if len(plans) > 1 {
		// What differs by unit stands in the table.
		shared.Assumptions = shared.SharedAssumptions()
	}
	printAssumptions(out, shared)
	printMarks(out)
	f.printWritten(out)
	return out.String()
}

// pick gives the units to size: the passing ones, all of them, or those whose
// name holds the words of --unit. Flags that were given override the sheet.
func (f *dropperFlags) pick(cmd *cobra.Command, r *report.Report) ([]sizedUnit, error) {
	var out []sizedUnit
	for _, u := range r.Units {
		name := u.Eval.Unit.Key
		if f.unit != "" {
			if !strings.Contains(strings.ToLower(name), strings.ToLower(strings.TrimSpace(f.unit))) {
				continue
			}
		} else if !f.all && u.Eval.Verdict != target.Pass {
			continue
		}
		sized := sizedUnit{name: name, verdict: u.Eval.Verdict}
		if u.Plan != nil {
			p, err := f.override(cmd, *u.Plan)
			if err != nil {
				return nil, usageError{err}
			}
			sized.plan = &p
		}
		out = append(out, sized)
	}
	if f.unit != "" && len(out) == 0 {
		var names []string
		for _, u := range r.Units {
			names = append(names, u.Eval.Unit.Key)
		}
		return nil, usageError{fmt.Errorf("--unit %q fits none of the sheet's units: %s", f.unit, strings.Join(names, ", "))}
	}
	return out, nil
}

// override makes a unit's plan afresh where a flag was given.
func (f *dropperFlags) override(cmd *cobra.Command, p heater.Plan) (heater.Plan, error) {
	s, o := p.Supply, p.Options
	changed := false
	for flag, set := range map[string]func(){
		"lead-ohm":   func() { s.LeadOhm = f.leadOhm },
		"supply-tol": func() { s.TolFrac = f.supplyTol / 100 },
		"part-tol":   func() { o.PartTol = new(f.partTol / 100) },
		"headroom":   func() { o.HeadroomFrac = f.headroom / 100 },
		"exponent":   func() { o.Exponent = f.exponent },
		"cold-ratio": func() { o.ColdRatio = f.coldRatio },
		"ambient":    func() { o.AmbientC = new(f.ambientC) },
		"series":     func() { o.Series = f.series },
	} {
		if cmd.Flags().Changed(flag) {
			set()
			changed = true
		}
	}
	if !changed {
		return p, nil
	}
	return heater.MakePlan(p.Load, s, o)
}

// printUnits compares the units, one row each.
func printUnits(w io.Writer, units []sizedUnit) {
	fmt.Fprintln(w, "\neach unit from its own volts at the heater load:")
	var rows []table.Row
	for _, u := range units {
		if u.plan == nil {
			rows = append(rows, table.Row{u.name, u.verdict, "-", "-", "-", "volts not measured", "-", "-", "-"})
			continue
		}
		p := *u.plan
		row := table.Row{u.name, u.verdict, number(p.Supply.Volts, 2) + " V", output(p.Supply.OutputOhm), "-", "can't feed it", "-", "-", "-"}
		if p.ShareOfRated > 0 {
			row[4] = number(100*p.ShareOfRated, 0) + " %"
		}
		switch {
		case p.Refused:
			row[5] = "refused"
		case p.CanFeed:
			row[5] = "none fits"
		}
		if p.Best >= 0 {
			a := p.Arrangements[p.Best]
			part := a.Parts[a.Best]
			row[5] = a.Name + "\n" + stacked(part.Label)
			row[6], row[7], row[8] = volt2(part.HeaterV)+" V", pulled(part), rating(part.FitW())
		}
		rows = append(rows, row)
	}
	head := []string{"unit", "verdict", "volts", "output", "load", "fit", "heater", "pulled", "buy"}
	widths := []int{0, 9, 7, 6, 5, 19, 7, 9, 6}
	// The names take what the other columns leave.
	spare := textWidth
	for i := 1; i < len(head); i++ {
		used := len(head[i])
		for _, r := range rows {
			for _, line := range strings.Split(fmt.Sprint(r[i]), "\n") {
				used = max(used, utf8.RuneCountInString(line))
			}
		}
		spare -= min(used, widths[i]) + 2
	}
	widths[0] = spare
	t := plainTable(head, "llrrrlrrr", widths...)
	t.AppendRows(rows)
	printTable(w, t)
	printLine(w, "  ", "output: resistance from the meter readings; load: the heaters' highest current as a share of the unit's rated current")
	for _, u := range units {
		if u.plan == nil {
			continue
		}
		for _, s := range u.plan.Warnings {
			printLine(w, "! ", u.name+": "+s)
		}
	}
}

// output prints an output resistance: "64 mΩ", "1.2 Ω".
func output(ohm float64) string {
	if ohm < 0.9995 {
		return number(1000*ohm, 0) + " mΩ"
	}
	return digits(ohm, 2) + " Ω"
}

// unitJSON is one unit in the JSON of a sheet's droppers.
type unitJSON struct {
	Unit    string       `json:"unit"`
	Verdict string       `json:"verdict"`
	Plan    *heater.Plan `json:"plan"` // null when the unit's DC volts are not measured
}

func printUnitsJSON(w io.Writer, invented bool, units []sizedUnit) error {
	doc := struct {
		SchemaVersion string     `json:"schema_version"`
		Invented      bool       `json:"invented"`
		Units         []unitJSON `json:"units"`
		Cautions      []string   `json:"cautions"`
	}{"1.0", invented, nil, heater.SafetyCautions()}
	for _, u := range units {
		doc.Units = append(doc.Units, unitJSON{u.name, string(u.verdict), u.plan})
	}
	return writeJSON(w, doc)
}
