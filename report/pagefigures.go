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
	type M = *analysis.Measurement
	type F = figure.Figure
	add("DC", "V", func(m M) F { return m.DCV })
	add("rms of the varying part", "V", func(m M) F { return m.ACRMSV })
	add("peak-to-peak, full span", "V", func(m M) F { return m.PPV })
	add("peak-to-peak, 20 MHz", "V", func(m M) F { return m.PP20MHzV })
	add("peak-to-peak, 20 MHz, 99.9 % of the time", "V", func(m M) F { return m.PP20MHz999V })
	add("crest factor", "", func(m M) F { return m.CrestFactor })
	add("switching frequency", "Hz", func(m M) F { return m.SwitchingHz })
	add("switching line, rms", "V", func(m M) F { return m.SwitchingFundamentalRMSV })
	add("spread of dithered switching", "Hz", func(m M) F { return m.SwitchingSpreadHz })
	add("bursts per second", "Hz", func(m M) F { return m.BurstHz })
	add("ripple of the folded cycle, peak-to-peak", "V", func(m M) F { return m.RipplePPV })
	add("periodic part, rms", "V", func(m M) F { return m.PeriodicRMSV })
	add("random part, rms", "V", func(m M) F { return m.RandomRMSV })
	add("mains line", "Hz", func(m M) F { return m.MainsLineHz })
	add("mains line, rms", "V", func(m M) F { return m.MainsLineRMS })
	add("mains comb, peak-to-peak", "V", func(m M) F { return m.MainsCombPPV })
	add("spikes per second", "1/s", func(m M) F { return m.Spikes.PerS })
	add("spikes per switching cycle", "", func(m M) F { return m.Spikes.PerCycle })
	add("spike peak, median", "V", func(m M) F { return m.Spikes.PeakMedianV })
	add("spike peak, 95th percentile", "V", func(m M) F { return m.Spikes.PeakP95V })
	add("spike peak, greatest", "V", func(m M) F { return m.Spikes.PeakMaxV })
	add("spike duration at 50 %, median", "s", func(m M) F { return m.Spikes.DurationMedianS })
	add("ring frequency", "Hz", func(m M) F { return m.Spikes.RingHz })
	add("ring Q", "", func(m M) F { return m.Spikes.RingQ })
	add("noise density", "V/√Hz", func(m M) F { return m.Noise.DensityVPerRtHz })
	add("noise density read at", "Hz", func(m M) F { return m.Noise.AtHz })
	add("noise density at 1 kHz", "V/√Hz", func(m M) F { return m.Noise.At1kHzVPerRtHz })
	add("1/f corner", "Hz", func(m M) F { return m.Noise.CornerHz })
	for _, id := range bandIDs(ms) {
		add(id.name+", rms", "V", func(m M) F {
			for _, b := range m.Bands {
				if b.ID == id.id {
					return b.RMSV
				}
			}
			return F{}
		})
		add(id.name+", rms without lines", "V", func(m M) F {
			for _, b := range m.Bands {
				if b.ID == id.id {
					return b.RMSNoLinesV
				}
			}
			return F{}
		})
	}
	add("converter step", "V", func(m M) F { return m.ADCStepV })
	return rows, reasons
}

type bandID struct{ id, name string }

func bandIDs(ms []*analysis.Measurement) []bandID {
	var out []bandID
	seen := map[string]bool{}
	for _, m := range ms {
		for _, b := range m.Bands {
			if !seen[b.ID] {
				seen[b.ID] = true
				out = append(out, bandID{b.ID, clean(b.Name)})
			}
		}
	}
	return out
}
