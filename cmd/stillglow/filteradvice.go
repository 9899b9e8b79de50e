package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/filter"
	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// runSheet advises on the units of a sheet: the one named, or all near misses.
func (f *filterFlags) runSheet(cmd *cobra.Command, path, unit string) error {
	s, err := (&sheetFlags{}).readTelling(path, cmd.ErrOrStderr())
	if err != nil {
		return err
	}
	if unit != "" {
		if s.Units, err = unitsNamed(s, unit); err != nil {
			return usageError{err}
		}
	}
	c, err := f.cache.open()
	if err != nil {
		return err
	}
	r, err := pipeline.EvaluateSheet(cmd.Context(), s, pipeline.Options{Version: version, Cache: c, FilterAll: unit != "", EveryKind: true, Progress: measuringProgress(cmd.ErrOrStderr())})
	if err != nil {
		return err
	}
	var all []report.Unit
	for _, u := range r.Units {
		if u.Filter != nil {
			all = append(all, u)
		}
	}
	if f.asJSON {
		objects := make([]adviceJSON, len(all))
		for i, a := range all {
			objects[i] = adviceObject(a.Eval, a.Filter)
		}
		return writeJSON(cmd.OutOrStdout(), struct {
			SchemaVersion string       `json:"schema_version"`
			Invented      bool         `json:"invented"`
			CostOrder     string       `json:"cost_order"`
			Advice        []adviceJSON `json:"advice"`
		}{"1.0", r.Invented, filter.CostOrder, objects})
	}
	out := &strings.Builder{}
	if r.Invented {
		fmt.Fprintf(out, "%s\n\n", wrapCell("Invented data: brands, units and captures are made up to show the tool. Nothing here is evidence about any real supply.", textWidth))
	}
	if len(all) == 0 {
		fmt.Fprintln(out, "no unit is a near miss; name a unit to see what a filter would do for it")
	}
	for i, a := range all {
		if i > 0 {
			fmt.Fprintln(out)
		}
		printAdvice(out, a.Eval, a.Filter)
	}
	if len(all) > 0 {
		fmt.Fprintf(out, "\n%s\n", wrapCell("the cheapest set has "+filter.CostOrder, textWidth))
		fmt.Fprintln(out, wrapCell("the parts' ESR, ESL and DCR are usual values, from memory", textWidth))
		printFilterSafety(out, slices.ContainsFunc(all, func(a report.Unit) bool { return a.Filter.Best.Circuit.HasElectrolytic() }))
		printMarks(out)
	}
	_, err = io.WriteString(cmd.OutOrStdout(), out.String())
	return err
}

// unitsNamed finds the units whose key or mark is the text, or whose key holds
// it, ignoring case.
func unitsNamed(s *sheet.Sheet, text string) ([]sheet.Unit, error) {
	var exact, part []sheet.Unit
	var keys []string
	for _, u := range s.Units {
		key := u.Name()
		keys = append(keys, key)
		switch {
		case strings.EqualFold(key, text), strings.EqualFold(u.Mark, text):
			exact = append(exact, u)
		case strings.Contains(strings.ToLower(key), strings.ToLower(text)):
			part = append(part, u)
		}
	}
	switch {
	case len(exact) > 0:
		return exact, nil
	case len(part) > 0:
		return part, nil
	}
	return nil, fmt.Errorf("no unit %q in %s; it holds %s", text, s.Path, strings.Join(keys, ", "))
}

func printAdvice(w io.Writer, e target.Evaluation, a *filter.Advice) {
	wrap := func(s string) { fmt.Fprintln(w, wrapCell(s, textWidth)) }
	wrap(fmt.Sprintf("%s (%s): %s", e.Unit.Key, e.Verdict, e.Why))
	if !a.Found {
		wrap("no filter: " + a.Why)
		if a.Best.Circuit.Topology == "" {
			return
		}
		fmt.Fprintln(w, "the closest of those tried:")
	} else {
		fmt.Fprintf(w, "fit (chosen to leave at least %.3g dB of margin where it was over the limit):\n", a.ReserveDB)
	}
	printResult(w, e, a.Best)
	for _, o := range a.Others {
		fmt.Fprintf(w, "or %s:\n", withArticle(string(o.Circuit.Topology)))
		for _, p := range o.Parts {
			fmt.Fprintln(w, "  - "+hang(p, 4))
		}
		worst := "nothing left over"
		if o.After.Worst >= 0 {
			worst = fmt.Sprintf("smallest margin %+.1f dB, on %s", o.After.WorstDB, o.After.Margins[o.After.Worst].Limit.Name)
		}
		fmt.Fprintf(w, "    %s; drops %.2f V\n", worst, o.DropV)
	}
	if a.CommonMode != "" {
		wrap("common mode is not in this prediction: " + a.CommonMode)
	}
}

func printResult(w io.Writer, before target.Evaluation, r filter.Result) {
	for _, p := range r.Parts {
		fmt.Fprintln(w, "  - "+hang(p, 4))
	}
	fmt.Fprintln(w)
	table := plainTable([]string{"criterion", "before", "margin before", "after", "margin after"}, "lrrrr", 30, 14, 13, 14, 12)
	figure := func(m target.Margin) (string, string) {
		if !m.Covered {
			return "not measured", "-"
		}
		return m.FigureText(), report.MarginText(m)
	}
	for i, b := range before.Margins {
		if b.Limit.Criterion == target.HeaterDC || i >= len(r.After.Margins) {
			continue
		}
		v, db := figure(b)
		v2, db2 := figure(r.After.Margins[i])
		table.AppendRow([]any{b.Limit.Name, v, db, v2, db2})
	}
	printTable(w, table)
	said := fmt.Sprintf("prediction: %s; the filter drops %.2f V", r.Method, r.DropV)
	if r.PeakDB > 0.05 {
		said += fmt.Sprintf("; resonance %+.1f dB at %s", r.PeakDB, target.HzText(r.PeakHz))
	}
	fmt.Fprintf(w, "\n%s\n", wrapCell(said, textWidth))
	if r.WornKnown {
		fmt.Fprintln(w, wrapCell(fmt.Sprintf("with the capacitors' ESR doubled and their capacitance down by 20 %%, the smallest margin of those that were over is %+.1f dB", r.WornDB), textWidth))
	}
	for _, warning := range r.Warnings {
		fmt.Fprintln(w, wrapCell(report.Marked("caution: "+warning), textWidth))
	}
}

// withArticle names a kind of filter: "an LC filter", "a CLC filter".
func withArticle(topology string) string {
	if topology == "CLC" {
		return "a CLC filter"
	}
	return "an " + topology + " filter"
}

// hang wraps a list item, further lines set in.
func hang(s string, indent int) string {
	return strings.ReplaceAll(wrapCell(s, textWidth-indent), "\n", "\n"+strings.Repeat(" ", indent))
}

type adviceJSON struct {
	Unit       string       `json:"unit"`
	Verdict    string       `json:"verdict"`
	Found      bool         `json:"found"`
	Why        *string      `json:"why_none"`
	ReserveDB  float64      `json:"reserve_db"`
	Best       *resultJSON  `json:"best"`
	Others     []resultJSON `json:"others"`
	CommonMode string       `json:"common_mode_advice"`
}

type resultJSON struct {
	Topology string            `json:"topology"`
	Parts    []string          `json:"parts"`
	Cost     float64           `json:"cost"`
	DropV    float64           `json:"drop_v"`
	PeakDB   float64           `json:"peak_db"`
	PeakHz   float64           `json:"peak_hz"`
	WornDB   *float64          `json:"worn_worst_db"` // of what was over, with ESR doubled and capacitance 20 % down
	Method   string            `json:"method"`
	Verdict  string            `json:"verdict_behind_it"`
	Margins  []afterMarginJSON `json:"margins"`
	Warnings []string          `json:"warnings"`
}

type afterMarginJSON struct {
	Criterion string   `json:"criterion"`
	BeforeDB  *float64 `json:"before_db"`
	AfterDB   *float64 `json:"after_db"`
}

func adviceObject(e target.Evaluation, a *filter.Advice) adviceJSON {
	o := adviceJSON{
		Unit: e.Unit.Key, Verdict: string(e.Verdict), Found: a.Found, ReserveDB: a.ReserveDB,
		Others: []resultJSON{}, CommonMode: a.CommonMode,
	}
	if a.Why != "" {
		o.Why = &a.Why
	}
	if a.Best.Circuit.Topology != "" {
		best := resultObject(e, a.Best)
		o.Best = &best
	}
	for _, r := range a.Others {
		o.Others = append(o.Others, resultObject(e, r))
	}
	return o
}

func resultObject(e target.Evaluation, r filter.Result) resultJSON {
	o := resultJSON{
		Topology: string(r.Circuit.Topology), Parts: r.Parts, Cost: r.Cost, DropV: r.DropV,
		PeakDB: r.PeakDB, PeakHz: r.PeakHz, Method: r.Method, Verdict: string(r.After.Verdict),
		Margins: []afterMarginJSON{}, Warnings: append([]string{}, r.Warnings...),
	}
	if r.WornKnown {
		o.WornDB = &r.WornDB
	}
	db := func(m target.Margin) *float64 {
		if !m.Covered {
			return nil
		}
		return &m.DB
	}
	for i, m := range e.Margins {
		if i < len(r.After.Margins) {
			o.Margins = append(o.Margins, afterMarginJSON{string(m.Limit.Criterion), db(m), db(r.After.Margins[i])})
		}
	}
	return o
}
