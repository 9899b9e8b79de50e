package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// inspectFlags is what the command line asks of inspect.
type inspectFlags struct {
	asJSON, force bool
	preview       string // path of the picture, or empty
}

func newInspectCmd() *cobra.Command {
	var f inspectFlags
	cmd := &cobra.Command{
		Use:   "inspect FILE...",
		Short: "Show what the importer sees in a capture",
		Long: `Inspect opens captures as measure does and prints what was recognised: layout,
channels, sample rate, record length, the span of frequencies the record can
show, the ADC step, and every assumption and caution, with a small plot.

Whatever was guessed wrong can be overridden by a flag, here and in measure, or
by the key of the same name in a bench sheet. In a file with several channels
the first is shown unless --channel picks one.`,
		Example: `  stillglow inspect testdata/bench/baseline.csv.gz
  stillglow inspect --preview baseline.png testdata/bench/baseline.csv.gz
  stillglow inspect --json --time-unit us testdata/bench/baseline.csv.gz`,
		Args: wantArgs(cobra.MinimumNArgs(1)),
	}
	opt := addImportFlags(cmd)
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print one JSON object per capture, one per line")
	cmd.Flags().StringVar(&f.preview, "preview", "", "write a plot of the record to this .png or .svg file")
	cmd.Flags().BoolVar(&f.force, "force", false, "let --preview replace an existing picture")
	cmd.RunE = func(cmd *cobra.Command, files []string) error {
		if err := f.check(files); err != nil {
			return err
		}
		var bad pipeline.ErrorList
		for i, file := range files {
			own := *opt
			own.Progress = newProgress(cmd.ErrOrStderr(), filepath.Base(file))
			t, unchosen, err := openFirst(cmd.Context(), file, own)
			if cmd.Context().Err() != nil && err != nil {
				return cmd.Context().Err()
			}
			if err != nil {
				bad = append(bad, err)
				continue
			}
			if i > 0 && !f.asJSON {
				fmt.Fprintln(cmd.OutOrStdout())
			}
			if err := f.show(cmd, t, unchosen); err != nil {
				return err
			}
		}
		if len(bad) > 0 {
			return bad
		}
		return nil
	}
	return cmd
}

// check refuses a --preview that can't be written, before anything is read.
func (f *inspectFlags) check(files []string) error {
	switch {
	case f.preview == "":
		return nil
	case len(files) > 1:
		return usageError{errors.New("--preview takes one capture at a time")}
	case report.PictureFormat(f.preview) == "":
		return usageError{fmt.Errorf("--preview: found %q, expected a name ending in .png or .svg", f.preview)}
	}
	return checkPreview(f.preview, files[0], f.force)
}

// show prints the trace and writes its picture where one is asked for.
func (f *inspectFlags) show(cmd *cobra.Command, t *capture.Trace, unchosen bool) error {
	write := inspectText
	if f.asJSON {
		write = inspectJSON
	}
	if err := write(cmd.OutOrStdout(), t, unchosen); err != nil || f.preview == "" {
		return err
	}
	picture, err := report.TracePicture(t, report.PictureFormat(f.preview))
	if err == nil {
		err = writePicture(f.preview, picture, f.force)
	}
	if err == nil {
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", f.preview)
	}
	return err
}

// openFirst opens the channel that opt asks for. Where the file holds several and
// none is asked for, that is the first, and unchosen says so.
func openFirst(ctx context.Context, file string, opt capture.Options) (t *capture.Trace, unchosen bool, err error) {
	t, err = capture.Open(ctx, file, opt)
	var many *capture.ChannelError
	if errors.As(err, &many) && many.Asked == "" {
		opt.Nth, unchosen = 1, true
		t, err = capture.Open(ctx, file, opt)
	}
	return t, unchosen, err
}

// inspected is the JSON form of a trace without its samples. A figure that is
// unknown is null.
type inspected struct {
	File          string               `json:"file"`
	SHA256        string               `json:"sha256"`
	Layout        string               `json:"layout"`
	Channel       string               `json:"channel"`
	Channels      []string             `json:"channels"`
	Unchosen      bool                 `json:"channel_not_chosen"`
	SampleRateHz  float64              `json:"sample_rate_hz"`
	TrueRateHz    float64              `json:"true_rate_hz"`
	Samples       int                  `json:"samples"`
	StartS        float64              `json:"start_s"`
	DurationS     float64              `json:"duration_s"`
	SpanLowHz     float64              `json:"span_low_hz"`
	SpanHighHz    float64              `json:"span_high_hz"`
	Coupling      *string              `json:"coupling"`
	Calibrated    bool                 `json:"calibrated"`
	ProbeFactor   float64              `json:"probe_factor"`
	BandwidthHz   *float64             `json:"bandwidth_hz"`
	BandLimited   bool                 `json:"band_limited"`
	ADCStepV      *float64             `json:"adc_step_v"`
	FullScaleMinV *float64             `json:"full_scale_min_v"`
	FullScaleMaxV *float64             `json:"full_scale_max_v"`
	TimeUnit      string               `json:"time_unit"`
	VoltUnit      string               `json:"volt_unit"`
	FirstV        float64              `json:"first_v"`
	MiddleV       float64              `json:"middle_v"`
	LastV         float64              `json:"last_v"`
	MinV          float64              `json:"min_v"`
	MaxV          float64              `json:"max_v"`
	MeanV         float64              `json:"mean_v"`
	Assumptions   []capture.Assumption `json:"assumptions"`
	Cautions      []capture.Caution    `json:"cautions"`
}

func inspectJSON(w io.Writer, t *capture.Trace, unchosen bool) error {
	lo, hi, mean := spreadOf(t.Volts)
	n := len(t.Volts)
	o := inspected{
		File: t.File, SHA256: t.SHA256, Layout: t.Layout, Channel: t.Channel, Channels: t.Channels, Unchosen: unchosen,
		SampleRateHz: t.SampleRateHz, TrueRateHz: t.TrueRateHz, Samples: n, StartS: t.StartS, DurationS: t.DurationS(),
		SpanLowHz: t.Span.LowHz, SpanHighHz: t.Span.HighHz, Calibrated: t.Calibrated, ProbeFactor: t.ProbeFactor,
		BandLimited: t.BandLimited, TimeUnit: t.TimeUnit, VoltUnit: t.VoltUnit,
		FirstV: t.Volts[0], MiddleV: t.Volts[n/2], LastV: t.Volts[n-1], MinV: lo, MaxV: hi, MeanV: mean,
		Assumptions: t.Assumptions, Cautions: t.Cautions,
	}
	if t.Coupling != capture.CouplingUnknown {
		s := string(t.Coupling)
		o.Coupling = &s
	}
	if t.BandwidthHz > 0 {
		o.BandwidthHz = &t.BandwidthHz
	}
	if t.StepV > 0 {
		o.ADCStepV = &t.StepV
	} else if q, ok := t.FindStep(); ok {
		o.ADCStepV = &q
	}
	if t.FullScaleMinV != 0 || t.FullScaleMaxV != 0 {
		o.FullScaleMinV, o.FullScaleMaxV = &t.FullScaleMinV, &t.FullScaleMaxV
	}
	if o.Assumptions == nil {
		o.Assumptions = []capture.Assumption{}
	}
	if o.Cautions == nil {
		o.Cautions = []capture.Caution{}
	}
	b, err := json.Marshal(o)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}

func inspectText(w io.Writer, t *capture.Trace, unchosen bool) error {
	var b strings.Builder
	volt := "V"
	if !t.Calibrated {
		volt = ofFullScale
	}
	row := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "  %-15s %s\n", name, fmt.Sprintf(format, args...))
	}
	fmt.Fprintf(&b, "%s\n", t.File)
	row("layout", "%s", t.Layout)
	if text := channelText(t, unchosen); text != "" {
		row("channel", "%s", text)
	}
	row("sample rate", "%s", si(t.SampleRateHz, "S/s"))
	if t.TrueRateHz < t.SampleRateHz {
		row("true rate", "%s, the rest is interpolated", si(t.TrueRateHz, "S/s"))
	}
	row("record", "%d samples, %s from %s", len(t.Volts), si(t.DurationS(), "s"), si(t.StartS, "s"))
	row("covers", "%s to %s", target.HzText(t.Span.LowHz), target.HzText(t.Span.HighHz))
	lo, hi, mean := spreadOf(t.Volts)
	row("volts", "%s to %s, mean %s", si(lo, volt), si(hi, volt), si(mean, volt))
	row("ADC step", "%s", stepText(t, volt))
	if t.FullScaleMinV != 0 || t.FullScaleMaxV != 0 {
		row("full scale", "%s to %s", si(t.FullScaleMinV, volt), si(t.FullScaleMaxV, volt))
	}
	coupling := strings.ToUpper(string(t.Coupling))
	if t.Coupling == capture.CouplingUnknown {
		coupling = "not stated"
	}
	row("coupling", "%s", coupling)
	if t.BandwidthHz > 0 {
		row("bandwidth", "%s", si(t.BandwidthHz, "Hz"))
	} else {
		row("bandwidth", "not stated")
	}
	row("sha256", "%s", t.SHA256)
	b.WriteString("\n")
	b.WriteString(textPlot(t, 72, 11))
	writeDoubts(&b, t)
	_, err := io.WriteString(w, b.String())
	return err
}

// channelText names the channel among the file's others.
func channelText(t *capture.Trace, unchosen bool) string {
	if len(t.Channels) <= 1 {
		return t.Channel
	}
	names := make([]string, len(t.Channels))
	for i, c := range t.Channels {
		names[i] = fmt.Sprintf("%d %s", i+1, c)
	}
	note := ""
	if unchosen {
		note = "; the first is shown, choose with --channel"
	}
	return fmt.Sprintf("%s, of %s%s", t.Channel, strings.Join(names, ", "), note)
}

func stepText(t *capture.Trace, volt string) string {
	if t.StepV > 0 {
		return si(t.StepV, volt) + ", stated"
	}
	if q, found := t.FindStep(); found {
		return si(q, volt) + ", from the samples"
	}
	return "not found: the samples lie on no grid of steps"
}

// writeDoubts lists what was assumed of the trace and its cautions.
func writeDoubts(b *strings.Builder, t *capture.Trace) {
	b.WriteString("\nassumptions\n")
	for _, a := range t.Assumptions {
		if a.What != capture.SettingLayout {
			fmt.Fprintf(b, "  %s: %s (%s)\n", a.What, a.Value, a.Why)
		}
	}
	if len(t.Cautions) == 0 {
		b.WriteString("no cautions\n")
		return
	}
	b.WriteString("cautions\n")
	for _, c := range t.Cautions {
		fmt.Fprintf(b, "  %s: %s", c.Code, c.Text)
		if c.Fix != "" {
			fmt.Fprintf(b, "; %s", c.Fix)
		}
		b.WriteString("\n")
	}
}

// spreadOf gives the least, the greatest and the mean sample.
func spreadOf(x []float64) (lo, hi, mean float64) {
	lo, hi = x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
		mean += v
	}
	return lo, hi, mean / float64(len(x))
}

// ofFullScale is the unit of a record that no volts are known of.
const ofFullScale = "of full scale"

// si prints v with an SI prefix and up to five digits; a share of full scale
// takes no prefix.
func si(v float64, unit string) string {
	if unit == ofFullScale {
		return fmt.Sprintf("%.5g %s", v, unit)
	}
	return capture.SI(v, unit, 5)
}

// textPlot draws the record's envelope in cols columns and rows lines, two
// dots to a line.
func textPlot(t *capture.Trace, cols, rows int) string {
	lows, highs := envelope(t.Volts, cols)
	lo, hi := lows[0], highs[0]
	for i := range lows {
		lo, hi = min(lo, lows[i]), max(hi, highs[i])
	}
	if hi == lo {
		pad := max(math.Abs(hi)*1e-3, 1e-6)
		lo, hi = lo-pad, hi+pad
	}
	dots := 2 * rows
	level := func(v float64) int {
		return max(0, min(dots-1, int((v-lo)/(hi-lo)*float64(dots))))
	}
	unit := "V"
	if !t.Calibrated {
		unit = "FS"
	}
	var b strings.Builder
	for r := rows - 1; r >= 0; r-- {
		label := ""
		switch r {
		case rows - 1:
			label = si(hi, unit)
		case 0:
			label = si(lo, unit)
		}
		fmt.Fprintf(&b, "%12s |", label)
		for c := range lows {
			a, z := level(lows[c]), level(highs[c])
			up, down := a <= 2*r+1 && z >= 2*r+1, a <= 2*r && z >= 2*r
			switch {
			case up && down:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case down:
				b.WriteString("▄")
			default:
				b.WriteByte(' ')
			}
		}
		s := strings.TrimRight(b.String(), " ")
		b.Reset()
		b.WriteString(s)
		b.WriteByte('\n')
	}
	end := t.StartS + t.DurationS()
	left, right := si(t.StartS, "s"), si(end, "s")
	fmt.Fprintf(&b, "%12s +%s\n%14s%s%s\n", "", strings.Repeat("-", cols), "", left, strings.Repeat(" ", max(1, cols-len([]rune(left))-len([]rune(right))))+right)
	return b.String()
}

// envelope gives the least and greatest sample of each of n stretches; fewer
// samples than n are stretched out.
func envelope(x []float64, n int) (lows, highs []float64) {
	lows, highs = make([]float64, n), make([]float64, n)
	for c := range n {
		a := c * len(x) / n
		b := max(a+1, (c+1)*len(x)/n)
		lo, hi := x[a], x[a]
		for _, v := range x[a:b] {
			lo, hi = min(lo, v), max(hi, v)
		}
		lows[c], highs[c] = lo, hi
	}
	return lows, highs
}
