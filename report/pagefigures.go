package report

import (
	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// figureRow is one figure over the captures of a unit.
type figureRow struct {
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
	seen := map[string]bool{}
	add := func(name, unit string, get func(*analysis.Measurement) figure.Figure) {
		row := figureRow{Name: name}
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
			} else if f.Missing != "" && !seen[name+f.Missing] {
				seen[name+f.Missing] = true
				reasons = append(reasons, name+": "+clean(f.Missing))
			}
			row.Cells = append(row.Cells, cell)
		}
		if any {
			rows = append(rows, row)
		}
	}
	for _, row := range analysis.Register() {
		if row.Shown(figure.Page) {
			add(row.Name, row.Unit, row.Read)
		}
	}
	return rows, reasons
}
