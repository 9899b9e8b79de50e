package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// hearSheet prints what each supply of a sheet adds at the stage's input.
func (f *hearsFlags) hearSheet(cmd *cobra.Command, path string, asJSON bool) error {
	if err := f.asMeant(); err != nil {
		return usageError{err}
	}
	s, err := (&sheetFlags{}).readTelling(path, cmd.ErrOrStderr())
	if err != nil {
		return err
	}
	var stage target.Stage
	if s.Hears != nil {
		stage = *pipeline.Stage(s.Hears)
	} else if !cmd.Flags().Changed("cathode-ohm") {
		return usageError{fmt.Errorf("give the cathode resistor, such as --cathode-ohm 1500: %s has no [hears] table", path)}
	}
	stage = f.over(cmd, stage)
	if err := stage.Check(); err != nil {
		return usageError{err}
	}
	c, err := f.cache.open()
	if err != nil {
		return err
	}
	r, err := pipeline.EvaluateSheet(cmd.Context(), s, pipeline.Options{Version: version, Cache: c, SkipFilter: true, Progress: measuringProgress(cmd.ErrOrStderr())})
	if err != nil {
		return err
	}
	if err := pipeline.CanHear(stage, r.HeaterLoad); err != nil {
		return usageError{err}
	}
	list := hearRows(r, stage)
	if asJSON {
		return list.json(cmd.OutOrStdout(), r.Invented)
	}
	return list.text(cmd.OutOrStdout(), r.Invented)
}

// hearRow is what one supply adds at the input. A figure that was not captured is
// null.
type hearRow struct {
	Unit        string    `json:"unit"`
	InputARMSV  *float64  `json:"input_a_rms_v"`
	AcrossARMSV *float64  `json:"across_heater_a_rms_v"`
	CommonARMSV *float64  `json:"common_mode_a_rms_v"`
	OutputARMSV *float64  `json:"output_a_rms_v"`
	OwnARMSV    float64   `json:"own_noise_a_rms_v"`
	UnderDB     *float64  `json:"under_own_noise_db"`
	LowerBound  bool      `json:"lower_bound"`
	By          []hearWay `json:"by_reference"`
	Remark      string    `json:"remark,omitempty"`
}

// hearWay is the same with the heater tied to ground in another way.
type hearWay struct {
	Reference  string  `json:"reference"`
	InputARMSV float64 `json:"input_a_rms_v"`
	UnderDB    float64 `json:"under_own_noise_db"`
}

type hearList struct {
	rows        []hearRow
	assumptions []string
	cannot      string
}

func hearRows(r *report.Report, stage target.Stage) hearList {
	var list hearList
	for _, u := range r.Units {
		h := target.Hear(stage, u.Eval.Unit.Captures...)
		list.assumptions, list.cannot = h.Assumptions, h.CannotDecide
		out := hearRow{Unit: u.Eval.Unit.Key, OwnARMSV: h.ThermalAVRMS, Remark: h.Missing, By: []hearWay{}}
		if h.Known {
			out.InputARMSV, out.OutputARMSV, out.UnderDB, out.LowerBound = &h.InputAVRMS, &h.OutputAVRMS, &h.UnderDB, h.Missing != ""
		}
		if h.DifferentialKnown {
			out.AcrossARMSV = &h.DifferentialAVRMS
		}
		if h.CommonKnown {
			out.CommonARMSV = &h.CommonAVRMS
		}
		for _, w := range h.ByReference {
			out.By = append(out.By, hearWay{string(w.Reference), w.InputAVRMS, w.UnderDB})
		}
		if u.Eval.Verdict == target.Retake {
			out.Remark = strings.TrimPrefix(out.Remark+"; capture this unit again", "; ")
		}
		list.rows = append(list.rows, out)
	}
	return list
}

func (l hearList) json(w io.Writer, invented bool) error {
	return writeJSON(w, struct {
		SchemaVersion string    `json:"schema_version"`
		Invented      bool      `json:"invented"`
		Units         []hearRow `json:"units"`
		Assumptions   []string  `json:"assumptions"`
		CannotDecide  string    `json:"cannot_decide"`
	}{"1.0", invented, l.rows, l.assumptions, l.cannot})
}

func (l hearList) text(w io.Writer, invented bool) error {
	out := &strings.Builder{}
	if invented {
		fmt.Fprintf(out, "%s\n\n", wrapCell(report.InventedBanner, textWidth))
	}
	volts := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return target.VoltText(*v)
	}
	table := plainTable([]string{"unit", "across the heater", "common mode", "own noise", "supply is"}, "lrrrl", 26, 17, 12, 10, 24)
	ways := plainTable(append([]string{"unit"}, referenceNames()...), "llll", 26, 24, 24, 24)
	remarks := map[string][]string{}
	var order []string
	for _, h := range l.rows {
		lies := "not measured"
		if h.UnderDB != nil {
			lies = target.UnderText(*h.UnderDB)
		}
		if h.LowerBound && h.UnderDB != nil {
			lies = boundWord(*h.UnderDB) + lies
		}
		table.AppendRow([]any{h.Unit, volts(h.AcrossARMSV), volts(h.CommonARMSV), target.VoltText(h.OwnARMSV), lies})
		if len(h.By) > 0 {
			cells := []any{h.Unit}
			for _, way := range h.By {
				under := target.UnderText(way.UnderDB)
				if h.LowerBound {
					under = boundWord(way.UnderDB) + under
				}
				cells = append(cells, under)
			}
			ways.AppendRow(cells)
		}
		if h.Remark != "" {
			if remarks[h.Remark] == nil {
				order = append(order, h.Remark)
			}
			remarks[h.Remark] = append(remarks[h.Remark], h.Unit)
		}
	}
	printTable(out, table)
	fmt.Fprint(out, "\nvolts are rms at the input, A-weighted\n")
	for _, remark := range order {
		fmt.Fprintln(out, "  - "+hang(strings.Join(remarks[remark], ", ")+": "+remark, 4))
	}
	if ways.Length() > 0 {
		fmt.Fprint(out, "\nthe supply against the valve's own noise, by how the heater is tied to ground\n\n")
		printTable(out, ways)
	}
	fmt.Fprint(out, "\nassumptions\n")
	for _, a := range append(l.assumptions, l.cannot) {
		fmt.Fprintln(out, "  - "+hang(report.Marked(a), 4))
	}
	printMarks(out)
	_, err := io.WriteString(w, out.String())
	return err
}

// boundWord leads how far a supply is under the noise where not all of it was
// captured: what is missing can only make it louder.
func boundWord(underDB float64) string {
	if underDB < 0 {
		return "at least "
	}
	return "at most "
}

func referenceNames() []string {
	var names []string
	for _, r := range target.References() {
		names = append(names, string(r))
	}
	return names
}
