package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// hearSheet prints what each supply of a sheet adds at the stage's input.
func (f *hearsFlags) hearSheet(cmd *cobra.Command, path string, asJSON bool) error {
	s, err := sheet.Read(path)
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
	type row struct {
		Unit        string   `json:"unit"`
		InputARMSV  *float64 `json:"input_a_rms_v"`
		OutputARMSV *float64 `json:"output_a_rms_v"`
		OwnARMSV    float64  `json:"own_noise_a_rms_v"`
		UnderDB     *float64 `json:"under_own_noise_db"`
		LowerBound  bool     `json:"lower_bound"`
		Remark      string   `json:"remark,omitempty"`
	}
	var rows []row
	var assumptions []string
	cannot := ""
	for _, u := range r.Units {
		h := target.Hear(stage, u.Eval.Unit.Captures...)
		assumptions, cannot = h.Assumptions, h.CannotDecide
		out := row{Unit: u.Eval.Unit.Key, OwnARMSV: h.ThermalAVRMS, Remark: h.Missing}
		if h.Known {
			out.InputARMSV, out.OutputARMSV, out.UnderDB, out.LowerBound = &h.InputAVRMS, &h.OutputAVRMS, &h.UnderDB, h.Missing != ""
		}
		if u.Eval.Verdict == target.Retake {
			out.Remark = strings.TrimPrefix(out.Remark+"; to be captured again", "; ")
		}
		rows = append(rows, out)
	}
	if asJSON {
		return writeJSON(cmd.OutOrStdout(), struct {
			SchemaVersion string   `json:"schema_version"`
			Invented      bool     `json:"invented"`
			Units         []row    `json:"units"`
			Assumptions   []string `json:"assumptions"`
			CannotDecide  string   `json:"cannot_decide"`
		}{"1.0", r.Invented, rows, assumptions, cannot})
	}
	out := &strings.Builder{}
	if r.Invented {
		fmt.Fprintf(out, "%s\n\n", wrapCell("Invented data: brands, units and captures are made up to show the tool. Nothing here is evidence about any real supply.", textWidth))
	}
	table := plainTable([]string{"unit", "adds at the input", "own noise", "supply lies", "remark"}, "lrrrl", 28, 18, 12, 16, 22)
	for _, h := range rows {
		if h.InputARMSV == nil {
			table.AppendRow([]any{h.Unit, "not measured", target.VoltText(h.OwnARMSV), "-", h.Remark})
			continue
		}
		under := fmt.Sprintf("%.1f dB under", *h.UnderDB)
		if *h.UnderDB < 0 {
			under = fmt.Sprintf("%.1f dB over", -*h.UnderDB)
		}
		table.AppendRow([]any{h.Unit, target.VoltText(*h.InputARMSV), target.VoltText(h.OwnARMSV), under, h.Remark})
	}
	printTable(out, table)
	fmt.Fprint(out, "\nall figures are rms, A-weighted\n\nassumptions\n")
	for _, a := range append(assumptions, cannot) {
		fmt.Fprintln(out, "  - "+hang(a, 4))
	}
	_, err = io.WriteString(cmd.OutOrStdout(), out.String())
	return err
}
