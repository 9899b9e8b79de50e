package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

func newCheckCmd() *cobra.Command {
	var (
		flags  cacheFlags
		from   sheetFlags
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "check SHEET",
		Short: "Validate a bench sheet and its captures; say what is still open",
		Long: `Check reads the sheet and every capture in it, tells how each was understood, and
names the criteria that no capture covers yet with the capture that would: time
per division, coupling, and what else to set. It ends with an error when the
sheet or a capture can't be read; open criteria alone are no error.`,
		Example: "  stillglow check testdata/bench/bench.toml\n  stillglow check --json testdata/bench/bench.toml",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, left, err := from.read(args[0])
			if err != nil {
				return err
			}
			c, err := flags.open()
			if err != nil {
				return err
			}
			found, err := checkSheet(cmd.Context(), s, c)
			if err != nil {
				return err
			}
			found.unmatched = left.Text(s.Pattern)
			if asJSON {
				err = found.json(cmd.OutOrStdout())
			} else {
				err = found.text(cmd.OutOrStdout())
			}
			if err == nil && len(found.bad) > 0 {
				return found.bad
			}
			return err
		},
	}
	flags.add(cmd)
	from.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// checked is what a check of a sheet found.
type checked struct {
	sheet    *sheet.Sheet
	goal     target.Target
	heaterA  float64
	captures []checkedCapture
	open     []openUnit
	again    []retake
	bad      pipeline.ErrorList

	unmatched []string // files that the pattern gives to no unit, in words
}

// retake is a unit whose captures can't be trusted to decide.
type retake struct {
	Unit string   `json:"unit"`
	Why  []string `json:"why"` // what is doubtful, and what to change
}

type checkedCapture struct {
	unit     int // -1: a baseline
	file     string
	err      error
	layout   string
	rateHz   float64
	samples  int
	span     capture.Span
	coupling capture.Coupling
	mode     capture.Mode
	cautions []capture.Caution
}

// openUnit is what one unit still lacks.
type openUnit struct {
	name    string
	reading bool // DC at the heater load
	shots   []shot
	reasons []string // why, per criterion
}

// checkSheet opens every capture, then measures what can be read to see which
// criteria stay open.
func checkSheet(ctx context.Context, s *sheet.Sheet, c *pipeline.Cache) (*checked, error) {
	goal, _, err := pipeline.Target(s)
	if err != nil {
		return nil, err
	}
	load, err := pipeline.Load(s)
	if err != nil {
		return nil, err
	}
	out := &checked{sheet: s, goal: goal, heaterA: load.NominalA()}
	readable := *s
	readable.Units = nil
	bases := map[pipeline.BaselineID]bool{}
	if b := s.Instrument.Baseline; b != nil {
		bases[pipeline.BaselineOf(b)] = true
		got, err := openChecked(ctx, -1, *b)
		if err != nil {
			return nil, err
		}
		out.add(got)
	}
	for i, u := range s.Units {
		kept := u
		kept.Captures = nil
		for _, cp := range u.Captures {
			if b := cp.Baseline; b != nil && !bases[pipeline.BaselineOf(b)] {
				bases[pipeline.BaselineOf(b)] = true
				got, err := openChecked(ctx, -1, *b)
				if err != nil {
					return nil, err
				}
				out.add(got)
			}
			got, err := openChecked(ctx, i, cp)
			if err != nil {
				return nil, err
			}
			out.add(got)
			if got.err == nil {
				kept.Captures = append(kept.Captures, cp)
			}
		}
		readable.Units = append(readable.Units, kept)
	}
	if slices.ContainsFunc(out.captures, func(c checkedCapture) bool { return c.unit < 0 && c.err != nil }) {
		return out, nil // without its baseline a capture can't be judged
	}
	r, err := pipeline.EvaluateSheet(ctx, &readable, pipeline.Options{Version: version, Cache: c, SkipFilter: true})
	var faults pipeline.ErrorList
	if errors.As(err, &faults) {
		out.bad = append(out.bad, faults...)
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	scope := scopeLimits{Memory: s.Instrument.MemorySamples, MaxRate: s.Instrument.MaxRateHz, Holds: goal.Limits}
	for at, u := range s.Units {
		i := slices.IndexFunc(r.Units, func(x report.Unit) bool { return x.Eval.Unit.Index == at })
		if i < 0 {
			continue
		}
		if e := r.Units[i].Eval; e.Verdict == target.Retake {
			again := retake{Unit: u.Name()}
			for _, k := range e.Cautions {
				if k.Fix != "" {
					again.Why = append(again.Why, k.Text+"; "+k.Fix)
				}
			}
			out.again = append(out.again, again)
		}
		o := openUnit{name: u.Name()}
		var limits []target.Limit
		for _, m := range r.Units[i].Eval.Margins {
			switch {
			case m.Covered:
				continue
			case m.Limit.Criterion == target.HeaterDC:
				o.reading = true
			default:
				limits = append(limits, m.Limit)
			}
			o.reasons = append(o.reasons, m.Limit.Name+": "+m.Reason)
		}
		o.shots = planShots(limits, scope)
		if len(o.reasons) > 0 {
			out.open = append(out.open, o)
		}
	}
	return out, nil
}

func (c *checked) add(got checkedCapture) {
	c.captures = append(c.captures, got)
	if got.err != nil {
		c.bad = append(c.bad, got.err)
	}
}

// openChecked opens one capture; only an interruption is an error.
func openChecked(ctx context.Context, unit int, c sheet.Capture) (checkedCapture, error) {
	out := checkedCapture{unit: unit, file: c.File}
	tr, err := capture.Open(ctx, c.Path, c.Options)
	if ctx.Err() != nil {
		return out, ctx.Err()
	}
	if err != nil {
		out.err = err
		return out, nil
	}
	out.layout, out.rateHz, out.samples = tr.Layout, tr.SampleRateHz, len(tr.Volts)
	out.span, out.coupling, out.mode, out.cautions = tr.Span, tr.Coupling, tr.Mode, tr.Cautions
	return out, nil
}

func (c *checked) text(w io.Writer) error {
	var b strings.Builder
	brands := map[string]bool{}
	for _, u := range c.sheet.Units {
		brands[u.Brand] = true
	}
	fmt.Fprintf(&b, "%s: %s, %s, %s; target %s", c.sheet.Path, report.Plural(len(c.sheet.Units), "unit"),
		report.Plural(len(brands), "brand"), report.Plural(len(c.captures), "capture"), c.goal.Name)
	if c.heaterA > 0 {
		fmt.Fprintf(&b, "; heaters %.2f A", c.heaterA)
	}
	b.WriteString("\n")
	if c.sheet.Invented {
		b.WriteString("invented data: no evidence about any real product\n")
	}
	c.list(&b, -1, "baselines")
	for i, u := range c.sheet.Units {
		c.list(&b, i, u.Name())
		c.readings(&b, u)
	}
	c.loose(&b)
	b.WriteString("\n")
	switch {
	case len(c.open) == 0 && len(c.bad) == 0 && len(c.again) == 0:
		b.WriteString("nothing is open: every unit has captures for every criterion\n")
	case len(c.open) > 0:
		b.WriteString("still open:\n")
	}
	if slices.ContainsFunc(c.sheet.Units, func(u sheet.Unit) bool { return len(u.Captures) == 0 }) {
		b.WriteString(wrapText("  ", "  ", withoutFiles, 100))
	}
	for _, o := range c.open {
		fmt.Fprintf(&b, "  %s\n", o.name)
		if o.reading {
			b.WriteString(wrapText("    - ", "      ", fmt.Sprintf("supply volts (loaded): take a meter reading%s", loadedWith(c.heaterA)), 100))
		}
		for _, s := range o.shots {
			b.WriteString(wrapText("    - ", "      ", s.names()+": take "+s.across()+s.settings()+loadedWith(c.heaterA), 100))
		}
	}
	if len(c.again) > 0 {
		b.WriteString("\nto take again, since a doubt could turn the verdict:\n")
	}
	for _, a := range c.again {
		fmt.Fprintf(&b, "  %s\n", a.Unit)
		for _, why := range a.Why {
			b.WriteString(wrapText("    - ", "      ", why, 100))
		}
	}
	if n := c.unreadable(); n > 0 {
		fmt.Fprintf(&b, "%s can't be read\n", report.Plural(n, "capture"))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// loose tells of the captures that count for no unit.
func (c *checked) loose(b *strings.Builder) {
	if len(c.sheet.Loose)+len(c.unmatched) == 0 {
		return
	}
	b.WriteString("\nof no unit yet, so that nothing counts them\n")
	for _, l := range c.sheet.Loose {
		b.WriteString(wrapText("  - ", "    ", fmt.Sprintf("%s (line %d of the sheet): move it into the unit that it shows", l.File, l.Line), 100))
	}
	for _, n := range c.unmatched {
		b.WriteString(wrapText("  - ", "    ", n, 100))
	}
}

// unreadable is how many captures don't read.
func (c *checked) unreadable() int {
	n := 0
	for _, cp := range c.captures {
		if cp.err != nil {
			n++
		}
	}
	return n
}

// list tells how a unit's captures (-1: the baselines) were understood.
func (c *checked) list(b *strings.Builder, unit int, title string) {
	first := true
	for _, cp := range c.captures {
		if cp.unit != unit {
			continue
		}
		if first {
			fmt.Fprintf(b, "\n%s\n", title)
			first = false
		}
		if cp.err != nil {
			b.WriteString(wrapText("  BAD  ", "       ", oneLine(cp.err), 100))
			continue
		}
		coupling := strings.ToUpper(string(cp.coupling))
		if coupling == "" {
			coupling = "coupling unknown"
		}
		if cp.mode == capture.Common {
			coupling += ", common mode"
		}
		b.WriteString(wrapText("  ok   ", "       ", fmt.Sprintf("%s: %s at %s, %s to %s, %s", cp.file, secondsText(float64(cp.samples)/cp.rateHz),
			rateText(cp.rateHz), target.HzText(cp.span.LowHz), target.HzText(cp.span.HighHz), coupling), 100))
		for _, k := range cp.cautions {
			b.WriteString(wrapText("       caution: ", "         ", strings.TrimSuffix(k.Text+"; "+k.Fix, "; "), 100))
		}
	}
}

// withoutFiles is what a scope that saves no files can still decide.
var withoutFiles = fmt.Sprintf("A scope that saves pictures only can still show that a unit fails: read the figure off its screen and write it as "+
	"[[unit.reading]], on = \"ripple_pp_20mhz_v\", value = 0.060 in volts, plus_minus_percent = %d, band_limited = true. "+
	"What such a reading leaves inside stays open: only a capture passes a unit.", sheet.UsualPlusMinusPercent)

// readings tells what the figures read off a screen can say of their limits.
func (c *checked) readings(b *strings.Builder, u sheet.Unit) {
	unit := target.Unit{HeaterA: c.heaterA}
	for i, r := range u.Shown {
		if i == 0 && len(u.Captures) == 0 {
			fmt.Fprintf(b, "\n%s\n", u.Name())
		}
		s := pipeline.ShownOf(r)
		text := fmt.Sprintf("%s = %g ± %g %%: ", r.On, r.Value, r.PlusMinusPercent)
		k := slices.IndexFunc(c.goal.Limits, func(l target.Limit) bool { return l.Criterion == s.Criterion })
		if k < 0 {
			text += "the target has no such limit, so nothing counts it"
		} else if fails, why := target.ShownProves(s, c.goal.Limits[k], unit); fails {
			text += "over the limit of " + c.goal.Limits[k].Text() + " whatever the ±: it fails"
		} else {
			text += "leaves it open: " + why
		}
		b.WriteString(wrapText("  read ", "       ", text, 100))
	}
}

func loadedWith(amps float64) string {
	if amps <= 0 {
		return ""
	}
	return fmt.Sprintf(", loaded with %.2f A", amps)
}

func (c *checked) json(w io.Writer) error {
	type captureJSON struct {
		File     string            `json:"file"`
		Unit     *string           `json:"unit"` // null: a baseline
		OK       bool              `json:"ok"`
		Error    string            `json:"error,omitempty"`
		Layout   string            `json:"layout,omitempty"`
		RateHz   *float64          `json:"sample_rate_hz"`
		Samples  int               `json:"samples"`
		LowHz    *float64          `json:"span_low_hz"`
		HighHz   *float64          `json:"span_high_hz"`
		Coupling string            `json:"coupling"`
		Mode     string            `json:"mode"`
		Cautions []capture.Caution `json:"cautions"`
	}
	type takeJSON struct {
		Criteria []target.Criterion `json:"criteria"`
		Mode     string             `json:"mode"`
		DivS     *float64           `json:"time_per_div_s"`
		RateHz   *float64           `json:"sample_rate_hz"`
		Text     string             `json:"text"`
	}
	type openJSON struct {
		Unit    string     `json:"unit"`
		Reading bool       `json:"needs_dc_reading"`
		Take    []takeJSON `json:"take"`
		Reasons []string   `json:"reasons"`
	}
	doc := struct {
		Sheet    string        `json:"sheet"`
		Target   string        `json:"target"`
		HeaterA  float64       `json:"heater_a"`
		Captures []captureJSON `json:"captures"`
		Open     []openJSON    `json:"open"`
		Again    []retake      `json:"take_again"`
		OfNoUnit []string      `json:"of_no_unit"`
	}{Sheet: c.sheet.Path, Target: c.goal.Name, HeaterA: c.heaterA, Captures: []captureJSON{}, Open: []openJSON{},
		Again: append([]retake{}, c.again...), OfNoUnit: []string{}}
	for _, l := range c.sheet.Loose {
		doc.OfNoUnit = append(doc.OfNoUnit, l.File)
	}
	doc.OfNoUnit = append(doc.OfNoUnit, c.unmatched...)
	for _, cp := range c.captures {
		j := captureJSON{File: cp.file, OK: cp.err == nil, Layout: cp.layout, Samples: cp.samples,
			Coupling: string(cp.coupling), Mode: cp.mode.Word(), Cautions: append([]capture.Caution{}, cp.cautions...)}
		if cp.unit >= 0 {
			name := c.sheet.Units[cp.unit].Name()
			j.Unit = &name
		}
		if cp.err != nil {
			j.Error = oneLine(cp.err)
		} else {
			j.RateHz, j.LowHz, j.HighHz = &cp.rateHz, &cp.span.LowHz, &cp.span.HighHz
		}
		doc.Captures = append(doc.Captures, j)
	}
	for _, o := range c.open {
		j := openJSON{Unit: o.name, Reading: o.reading, Take: []takeJSON{}, Reasons: o.reasons}
		for _, s := range o.shots {
			t := takeJSON{Text: s.across() + s.settings(), Mode: s.Mode.Word()}
			if s.DivS > 0 {
				t.DivS, t.RateHz = &s.DivS, &s.RateHz
			}
			for _, l := range s.Criteria {
				t.Criteria = append(t.Criteria, l.Criterion)
			}
			j.Take = append(j.Take, t)
		}
		doc.Open = append(doc.Open, j)
	}
	return writeJSON(w, doc)
}
