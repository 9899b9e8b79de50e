package report

import (
	"slices"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// figureRow is one figure over the captures of a unit.
type figureRow struct {
	Key   string // the register's
	Name  string
	Cells []figureCell
}

type figureCell struct{ Text string } // "" when not measured

// figureTable words the figures of captures side by side. A row that no capture
// knows is left out; its reason stands in the list.
func figureTable(ms []*analysis.Measurement) (rows []figureRow, reasons []string) {
	if len(ms) == 0 {
		return nil, nil
	}
	type group struct {
		why   string
		names []string
	}
	var missing []group // figures by the reason that keeps them from being measured
	miss := func(name, why string) {
		for i := range missing {
			if g := &missing[i]; g.why == why {
				if !slices.Contains(g.names, name) {
					g.names = append(g.names, name)
				}
				return
			}
		}
		missing = append(missing, group{why, []string{name}})
	}
	add := func(key, name, unit string, get func(*analysis.Measurement) figure.Figure) {
		row := figureRow{Key: key, Name: name}
		any := false
		for _, m := range ms {
			f := get(m)
			cell := figureCell{}
			if f.Known {
				u := unit
				if !m.Calibrated && len(u) > 0 && u[0] == 'V' {
					u = "FS" + u[1:]
				}
				cell.Text = figureWithU(f, u)
				any = true
			} else if f.Missing != "" {
				miss(name, clean(f.Missing))
			}
			row.Cells = append(row.Cells, cell)
		}
		if any {
			rows = append(rows, row)
		}
	}
	for _, row := range analysis.Register() {
		if row.Shown(figure.Page) {
			add(row.Key, row.Name, row.Unit, row.Read)
		}
	}
	for _, g := range missing {
		reasons = append(reasons, strings.Join(g.names, "; ")+": "+g.why)
	}
	return rows, reasons
}
