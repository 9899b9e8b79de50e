package main

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"stillglow/capture"
)

// checkPreview refuses to write a plot over a capture, or over anything that
// is no PNG picture.
func checkPreview(out, in string) error {
	st, err := os.Stat(out)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	if src, err := os.Stat(in); err == nil && os.SameFile(src, st) {
		return fmt.Errorf("%s: the capture itself, expected another file for --preview", out)
	}
	if !st.Mode().IsRegular() {
		return fmt.Errorf("%s: not a plain file, expected a new name or a PNG picture for --preview", out)
	}
	f, err := os.Open(out)
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	defer f.Close()
	var magic [4]byte
	if n, _ := io.ReadFull(f, magic[:]); n > 0 && string(magic[:]) != "\x89PNG" {
		return fmt.Errorf("%s: exists and is no PNG picture, expected a new name for --preview", out)
	}
	return nil
}

// previewColumns is how many stretches the plot draws: about one to a pixel.
const previewColumns = 1100

// writePreview plots the record's envelope to a PNG file, whole or not at all.
func writePreview(path string, t *capture.Trace) error {
	p := plot.New()
	p.BackgroundColor = color.White
	p.Title.Text = filepath.Base(t.File)
	if t.Channel != "" {
		p.Title.Text += ", " + t.Channel
	}
	lo, hi, _ := spreadOf(t.Volts)
	vf, vu := axisUnit(max(math.Abs(lo), math.Abs(hi)), "V")
	p.Y.Label.Text = "voltage / " + vu
	if !t.Calibrated {
		vf = 1
		p.Y.Label.Text = "fraction of full scale"
	}
	end := t.StartS + t.DurationS()
	tf, tu := axisUnit(max(math.Abs(t.StartS), math.Abs(end)), "s")
	p.X.Label.Text = "time / " + tu
	p.Add(plotter.NewGrid())
	line := draw.LineStyle{Color: color.NRGBA{0x00, 0x72, 0xB2, 0xFF}, Width: vg.Points(0.8)}
	if n := len(t.Volts); n <= 2*previewColumns {
		xy := make(plotter.XYs, n)
		for i, v := range t.Volts {
			xy[i] = plotter.XY{X: (t.StartS + float64(i)/t.SampleRateHz) / tf, Y: v / vf}
		}
		l, err := plotter.NewLine(xy)
		if err != nil {
			return err
		}
		l.LineStyle = line
		p.Add(l)
	} else {
		// The band between the least and the greatest sample of each stretch.
		lows, highs := envelope(t.Volts, previewColumns)
		xy := make(plotter.XYs, 0, 2*previewColumns)
		for c := range lows {
			x := (t.StartS + (float64(c)+0.5)*t.DurationS()/previewColumns) / tf
			xy = append(xy, plotter.XY{X: x, Y: lows[c] / vf}, plotter.XY{X: x, Y: highs[c] / vf})
		}
		l, err := plotter.NewLine(xy)
		if err != nil {
			return err
		}
		l.LineStyle = line
		p.Add(l)
	}
	if hi == lo {
		p.Y.Min, p.Y.Max = lo/vf-1, hi/vf+1
	}
	c := vgimg.NewWith(vgimg.UseWH(8*vg.Inch, 4.5*vg.Inch), vgimg.UseDPI(160))
	p.Draw(draw.Crop(draw.New(c), vg.Points(4), -vg.Points(14), vg.Points(4), -vg.Points(6)))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return err
	}
	return writeWhole(path, b.Bytes())
}

// axisUnit picks the prefix for an axis that reaches to v.
func axisUnit(v float64, unit string) (float64, string) {
	for _, p := range []struct {
		f float64
		s string
	}{{1, ""}, {1e-3, "m"}, {1e-6, "µ"}} {
		if v >= p.f {
			return p.f, p.s + unit
		}
	}
	return 1e-9, "n" + unit
}
