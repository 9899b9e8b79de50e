package main

import (
	"bytes"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis/heater"
)

// warmUpColours tell the supplies apart, together with the dashes: a set that
// keeps its order of lightness in grey print.
var warmUpColours = []color.Color{
	color.NRGBA{0x1b, 0x3a, 0x57, 0xff}, color.NRGBA{0xb0, 0x4a, 0x1e, 0xff}, color.NRGBA{0x2f, 0x7d, 0x4f, 0xff},
	color.NRGBA{0x7a, 0x3b, 0x8f, 0xff}, color.NRGBA{0x99, 0x7a, 0x00, 0xff}, color.NRGBA{0x33, 0x8a, 0x9e, 0xff},
	color.NRGBA{0x8a, 0x8a, 0x8a, 0xff},
}

func warmUpTitle(l heater.Load) string { return "Warm-up from cold, simulated: " + l.Describe() }

// warmUpPicture draws heater volts over load current from switch-on, one curve
// per supply, as a "png" or "svg". names label the plans, nil: by their volts.
func warmUpPicture(plans []heater.Plan, names []string, title, format string) ([]byte, error) {
	volts, amps := plot.New(), plot.New()
	volts.Title.Text = title
	volts.Y.Label.Text = "heater volts (V)"
	amps.Y.Label.Text = "load current (A)"
	amps.X.Label.Text = "time from switch-on (s)"
	volts.Legend.Top, volts.Legend.Left = false, false
	volts.Legend.Padding = vg.Points(2)
	drawn := 0
	longest, mostA := 0.0, 0.0
	for _, p := range plans {
		if n := len(p.WarmUp.TimeS); p.CanFeed && n > 0 {
			longest = max(longest, p.WarmUp.TimeS[n-1])
		}
	}
	for i, p := range plans {
		if !p.CanFeed {
			continue
		}
		var v, a plotter.XYs
		for k, t := range p.WarmUp.TimeS {
			v = append(v, plotter.XY{X: t, Y: p.WarmUp.HeaterV[k]})
			a = append(a, plotter.XY{X: t, Y: p.WarmUp.LoadA[k]})
		}
		// The record ends settled: it goes on level to the end of the longest.
		if n := len(v); n > 0 && v[n-1].X < longest {
			v, a = append(v, plotter.XY{X: longest, Y: v[n-1].Y}), append(a, plotter.XY{X: longest, Y: a[n-1].Y})
		}
		name := significant(p.Supply.Volts, 4) + " V supply"
		if names != nil {
			name = names[i]
		}
		if p.Best < 0 {
			name += ", no dropper"
		} else {
			name = fmt.Sprintf("%s, %s: 90 %% at %s s, 99 %% at %s s", name, p.Arrangements[p.Best].Name,
				digits(p.WarmUp.To90S, 2), digits(p.WarmUp.To99S, 2))
		}
		for _, side := range []struct {
			on *plot.Plot
			xy plotter.XYs
		}{{volts, v}, {amps, a}} {
			line, err := plotter.NewLine(side.xy)
			if err != nil {
				return nil, err
			}
			line.Width = vg.Points(1.6)
			line.Color = warmUpColours[i%len(warmUpColours)]
			if drawn%3 != 0 {
				line.Dashes = []vg.Length{vg.Points(float64(8 - 3*(drawn%3))), vg.Points(2)}
			}
			side.on.Add(line)
			marks, err := plotter.NewScatter(plotter.XYs{at(side.xy, p.WarmUp.To90S), at(side.xy, p.WarmUp.To99S)})
			if err != nil {
				return nil, err
			}
			marks.GlyphStyle = draw.GlyphStyle{Color: line.Color, Radius: vg.Points(3), Shape: draw.RingGlyph{}}
			side.on.Add(marks)
			if side.on == volts {
				volts.Legend.Add(name, line)
			}
		}
		mostA = max(mostA, p.WarmUp.PeakA)
		drawn++
	}
	if drawn == 0 {
		return nil, fmt.Errorf("no warm-up to draw, the supply can't feed the load: %s", plans[0].Why)
	}
	rated := plotter.NewFunction(func(float64) float64 { return plans[0].Load.Volts })
	rated.Color = color.NRGBA{0x60, 0x60, 0x60, 0xff}
	rated.Dashes = []vg.Length{vg.Points(1), vg.Points(3)}
	volts.Add(rated, plotter.NewGrid())
	amps.Add(plotter.NewGrid())
	volts.Legend.Add("rings: heater temperature at 90 % and 99 % of its rise")
	volts.Legend.Add(fmt.Sprintf("rated %s V", significant(plans[0].Load.Volts, 4)), rated)
	for _, side := range []*plot.Plot{volts, amps} {
		side.X.Min, side.X.Max = 0, longest
		side.Y.Min = 0
		side.X.Tick.Marker, side.Y.Tick.Marker = steps(8), steps(7)
	}
	amps.Y.Max = 1.05 * mostA
	volts.Y.Max = 1.15 * plans[0].Load.Volts

	canvas, err := draw.NewFormattedCanvas(vg.Points(760), vg.Points(560), format)
	if err != nil {
		return nil, err
	}
	tiles := draw.Tiles{Rows: 2, Cols: 1, PadX: vg.Points(8), PadY: vg.Points(10), PadTop: vg.Points(8), PadBottom: vg.Points(8), PadLeft: vg.Points(8), PadRight: vg.Points(16)}
	grid := [][]*plot.Plot{{volts}, {amps}}
	cells := plot.Align(grid, tiles, draw.New(canvas))
	for r := range grid {
		grid[r][0].Draw(cells[r][0])
	}
	var out bytes.Buffer
	if _, err := canvas.WriteTo(&out); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// at gives the curve's point at x by linear interpolation.
func at(curve plotter.XYs, x float64) plotter.XY {
	for k := 1; k < len(curve); k++ {
		if curve[k].X >= x {
			a, b := curve[k-1], curve[k]
			return plotter.XY{X: x, Y: a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)}
		}
	}
	return curve[len(curve)-1]
}

// steps places about n round ticks, all with labels.
type steps int

// Ticks implements plot.Ticker.
func (n steps) Ticks(low, high float64) []plot.Tick {
	raw := (high - low) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*step >= raw {
			step *= m
			break
		}
	}
	var out []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high*(1+1e-9); k++ {
		out = append(out, plot.Tick{Value: k * step, Label: significant(k*step, 4)})
	}
	return out
}
