package report

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/report/canvas"
)

// across are the captures made across the output. Only they are drawn and told
// among a unit's figures; common-mode ones have their own section.
func across(cs []Capture) []Capture { return ofMode(cs, capture.Differential) }

func ofMode(cs []Capture, mode capture.Mode) []Capture {
	var out []Capture
	for _, c := range cs {
		if c.M != nil && c.M.Mode == mode {
			out = append(out, c)
		}
	}
	return out
}

// commonLimits are the target's limits on the common-mode half.
func (r *Report) commonLimits() []target.Limit {
	var out []target.Limit
	for _, l := range r.Target.Limits {
		if l.Criterion.CommonMode() {
			out = append(out, l)
		}
	}
	return out
}

// commonHow is what to do about a half that is open.
const commonHow = "With the supply unplugged, join both output wires to chassis or earth through 100 Ω; then capture the volts across it, slow and fast (stillglow guide gives the safe steps)."

// commonWords sum up the common-mode half of the question.
func (r *Report) commonWords() string {
	if len(r.Units) == 0 {
		return ""
	}
	if len(r.commonLimits()) == 0 {
		return "This target has no common-mode limits: a capture across the output can't show common mode, and a heater passes more of it on to the valve than of the volts across it, unless one end of the heater is at ground."
	}
	whole, part := 0, 0
	for i := range r.Units {
		switch r.Units[i].Eval.Common {
		case target.CommonMeasured:
			whole++
		case target.CommonInPart:
			part++
		}
	}
	all := len(r.Units)
	switch {
	case whole == all:
		return ""
	case whole+part == 0:
		return "Common mode is open: it was captured on no unit, so the verdicts are by the output alone. A capture across the output can't show common mode, and a heater passes more of it on to the valve than of the volts across it, unless one end of the heater is at ground. " + commonHow
	}
	words := fmt.Sprintf("Common mode is measured on %d of %s", whole, capture.Plural(all, "unit"))
	if part > 0 {
		words += fmt.Sprintf(", in part on %d", part)
	}
	if whole+part < all {
		words += " and open on the others, which are judged by the output alone"
	} else {
		words += ", where the rest is open"
	}
	return words + ". " + commonHow
}

// halfWords say that a unit is judged by one half alone, "" where by both.
func halfWords(e *target.Evaluation) string {
	switch e.Common {
	case target.CommonOpen:
		return " That is judged by the volts across the output alone: its common mode is open, since it was not captured."
	case target.CommonInPart:
		return " Its common mode is open in part, since not all of it was captured."
	}
	return ""
}

// halfVerdict says beside a verdict what is open of the common mode, "" nothing.
func halfVerdict(e *target.Evaluation) string {
	if e.Common == target.CommonOpen || e.Common == target.CommonInPart {
		return "common mode " + commonText(e)
	}
	return ""
}

// commonText is the state of a unit's common-mode half, for a narrow column.
func commonText(e *target.Evaluation) string {
	if e.Common == target.CommonNotAsked {
		return "-"
	}
	return string(e.Common)
}

// commonColumn is the ranking's column on the common-mode half, where the target
// asks for it.
func commonColumn(r *Report, keep int) (column, bool) {
	if len(r.commonLimits()) == 0 {
		return column{}, false
	}
	col := column{head: "common mode", keep: keep}
	for i := range r.Units {
		col.cells = append(col.cells, commonText(&r.Units[i].Eval))
	}
	return col, true
}

// commonView is the page's section on common mode.
type commonView struct {
	Words string
	Heads []commonHead
	Rows  []commonRow
}

type commonHead struct{ Name, Limit string }

type commonRow struct {
	Name, State string
	Position    int
	Cells       []string // one for each of Heads
}

// commonSection words the section; nil where no unit was measured in common mode.
func (r *Report) commonSection() *commonView {
	limits := r.commonLimits()
	v := &commonView{Words: r.commonWords()}
	for _, l := range limits {
		v.Heads = append(v.Heads, commonHead{longName(l), limitText(l)})
	}
	for i := range r.Units {
		e := &r.Units[i].Eval
		if e.Common != target.CommonMeasured && e.Common != target.CommonInPart {
			continue
		}
		row := commonRow{Name: shorten(unitName(e.Unit), 80), State: commonText(e), Position: i + 1}
		for _, l := range limits {
			cell := "not measured"
			if m := marginOf(e, l.Criterion); m != nil && m.Covered {
				cell = figureText(m.Figure, l.Unit) + " (" + marginText(m) + ")"
			}
			row.Cells = append(row.Cells, cell)
		}
		v.Rows = append(v.Rows, row)
	}
	if len(v.Rows) == 0 {
		return nil
	}
	return v
}

// commonFigure lays the common-mode spectra of the first units that have them over
// each other.
func commonFigure(r *Report, columns int) *canvas.Drawing {
	p := spectrumPanel("V")
	var k key
	for i := range r.Units {
		var ms []*analysis.Measurement
		for _, c := range ofMode(r.Units[i].Captures, capture.Common) {
			if c.M.Calibrated && len(c.M.Spectrum.FrequencyHz) > 1 {
				ms = append(ms, c.M)
			}
		}
		if len(ms) == 0 || len(k.names) == overlayLimit {
			continue
		}
		st := curveStyles[len(k.names)]
		for _, m := range ms {
			addDensity(p, m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, columns/4, st)
		}
		k.add(fmt.Sprintf("%d  %s", i+1, unitName(r.Units[i].Eval.Unit)), st)
	}
	if len(k.names) == 0 || !settle(p) {
		return nil
	}
	p.Add(k)
	return &canvas.Drawing{Panels: []*plot.Plot{p}}
}

// commonAlt tells the common-mode picture in words.
func commonAlt(r *Report) string {
	var parts []string
	for i := range r.Units {
		if m := marginOf(&r.Units[i].Eval, target.CommonPP); m != nil && m.Covered {
			parts = append(parts, shorten(unitName(r.Units[i].Eval.Unit), 40)+" "+figureText(m.Figure, m.Limit.Unit)+" peak-to-peak")
		}
	}
	s := "Common-mode noise density over frequency, across 100 Ω to chassis or earth"
	if len(parts) > 0 {
		s += ": " + strings.Join(parts, ", ")
	}
	return s
}
