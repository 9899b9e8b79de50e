package report

import (
	"bytes"
	"encoding/csv"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// CSV is results.csv: one row per unit in rank order. Numbers are bare and in
// the SI unit that ends the column's name; a figure that was not measured is an
// empty cell and is named, with its reason, in the column "not_measured"; one whose
// true value is at least the one given is named in "lower_bounds". Text
// that a spreadsheet would run as a formula is led by an apostrophe.
func (r *Report) CSV() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	head := []string{"position", "rank", "brand", "model", "mark", "verdict", "worst_criterion", "worst_margin_db",
		"why", "rated_v", "rated_a", "loaded_dc_v", "loaded_dc_u_v", "output_ohm"}
	for _, l := range r.Target.Limits {
		if l.Criterion != target.Mask {
			head = append(head, string(l.Criterion), uncertaintyColumn(string(l.Criterion)))
		}
		head = append(head, string(l.Criterion)+"_margin_db")
	}
	head = append(head, "switching_hz", "switching_u_hz", "dropper", "dropper_ohm", "dropper_w", "heater_v", "heater_load_a", "post_filter",
		"captures", "cautions", "lower_bounds", "not_measured", "date", "invented", "state", "state_date", "counts_in_brand", "common_mode",
		"dropper_arrangement", "dropper_rating_w")
	if err := w.Write(head); err != nil {
		return nil, err
	}
	for i := range r.Units {
		if err := w.Write(r.csvRow(i)); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

func (r *Report) csvRow(i int) []string {
	u := &r.Units[i]
	e := &u.Eval
	worst, worstDB := "", ""
	if m := worstMargin(e); m != nil {
		worst, worstDB = string(m.Limit.Criterion), csvNumber(m.DB)
	}
	row := []string{strconv.Itoa(i + 1), strconv.Itoa(e.Rank), csvText(e.Unit.Brand), csvText(e.Unit.Model),
		csvText(e.Unit.Mark), string(e.Verdict), worst, worstDB, csvText(e.Why), csvPositive(e.Unit.RatedV),
		csvPositive(e.Unit.RatedA), csvFigure(e.LoadedV), csvPositive(e.LoadedV.U), csvFigure(e.OutputOhm)}
	var missing, bounds []string
	for _, l := range r.Target.Limits {
		m := marginOf(e, l.Criterion)
		figure, u, margin := "", "", ""
		if m != nil && m.Covered {
			figure, u, margin = csvFigure(m.Figure), csvPositive(m.Figure.U), csvNumber(m.DB)
			if m.Figure.LowerBound {
				bounds = append(bounds, string(l.Criterion))
			}
		} else if m != nil {
			missing = append(missing, string(l.Criterion)+": "+m.Reason)
		}
		if l.Criterion != target.Mask {
			row = append(row, figure, u)
		}
		row = append(row, margin)
	}
	f := switchingOf(u)
	row = append(row, csvFigure(f), csvPositive(f.U))
	arrangement, rating := "", ""
	if a, part := bestPart(u.Plan); part != nil {
		if arrangement, rating = a.Name, csvPositive(part.FitW()); a.Rewired != "" {
			arrangement += ", the heaters rewired as " + a.Rewired
		}
		row = append(row, csvText(part.Label), csvPositive(part.Ohm), csvPositive(part.W), csvPositive(part.HeaterV),
			csvPositive(part.LoadA))
	} else {
		row = append(row, "", "", "", "", "")
	}
	parts := ""
	if u.Filter != nil && u.Filter.Found {
		parts = strings.Join(u.Filter.Best.Parts, "; ")
	}
	var files, cautions []string
	for _, c := range u.Captures {
		if c.M != nil {
			files = append(files, c.M.File)
		}
	}
	for _, c := range e.Cautions {
		if !slices.Contains(cautions, c.Code) { // two captures may raise it
			cautions = append(cautions, c.Code)
		}
	}
	return append(row, csvText(parts), csvText(strings.Join(files, "; ")), csvText(strings.Join(cautions, "; ")), strings.Join(bounds, "; "),
		csvText(strings.Join(missing, "; ")), csvText(r.Date), strconv.FormatBool(r.Invented), stateKey(e.Unit.State), csvText(e.Unit.Date), strconv.FormatBool(!e.Aside), string(e.Common),
		csvText(arrangement), rating)
}

// uncertaintyColumn names the column of a figure's expanded uncertainty: "_u" ahead
// of the unit, as in loaded_dc_u_v.
func uncertaintyColumn(key string) string {
	for _, unit := range []string{"_v_per_rthz", "_per_s", "_hz", "_v"} {
		if name, ok := strings.CutSuffix(key, unit); ok {
			return name + "_u" + unit
		}
	}
	return key + "_u"
}

// switchingOf is the switching frequency that a unit's captures give most exactly.
func switchingOf(u *Unit) figure.Figure {
	var best figure.Figure
	for _, c := range u.Captures {
		if c.M == nil || !c.M.SwitchingHz.Known {
			continue
		}
		if f := c.M.SwitchingHz; !best.Known || f.U < best.U && f.U > 0 {
			best = f
		}
	}
	return best
}

// marginOf is the unit's margin on a criterion, nil when it has none.
func marginOf(e *target.Evaluation, c target.Criterion) *target.Margin {
	for i := range e.Margins {
		if e.Margins[i].Limit.Criterion == c {
			return &e.Margins[i]
		}
	}
	return nil
}

func csvNumber(v float64) string {
	if s := string(appendNumber(nil, v, figureDigits)); s != "null" {
		return s
	}
	return ""
}

func csvPositive(v float64) string {
	if v == 0 {
		return ""
	}
	return csvNumber(v)
}

func csvFigure(f figure.Figure) string {
	if !f.Known {
		return ""
	}
	return csvNumber(f.Value)
}

// formula matches what a spreadsheet would take for a formula: at the start of
// a cell, or right behind a character that starts a new cell in a spreadsheet
// set to that delimiter. The wide forms count in some locales.
var formula = regexp.MustCompile(`(^|[,;|\t\r\n])([ \x{00A0}\x{3000}"']*)([=+\-@＝＋－＠\t\r\n])`)

// csvText disarms a text cell with an apostrophe, the spreadsheet's own mark for
// text. (Prefixing follows the OWASP note on CSV injection, from memory.)
func csvText(s string) string {
	return formula.ReplaceAllString(capture.OneLine(s), "$1$2'$3")
}
