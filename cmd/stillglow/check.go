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
		Long: `Check reads the sheet and every capture in it, shows how each was read, and
names the criteria that no capture covers yet, each with the capture to take: time
per division, coupling, and what else to set. It ends with an error when the
sheet or a capture can't be read; open criteria alone are not an error.`,
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

	notes     []string // doubts about what the sheet says that turn no verdict
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

	gap string // what its baseline doesn't cover of it, and what to do
}

// openUnit is what one unit still lacks.
type openUnit struct {
	name     string
	fails    bool // it is over a limit by what was measured
	reading  bool // DC at the heater load
	settings []captureSetting
	bounds   []string // criteria of which the captures show too much to pass and too little to fail, and what to change
	reasons  []string // why, per criterion
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
	readable, err := out.openAll(ctx)
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(out.captures, func(c checkedCapture) bool { return c.unit < 0 && c.err != nil }) {
		return out, nil // without its baseline a capture can't be judged
	}
	r, err := pipeline.EvaluateSheet(ctx, readable, pipeline.Options{Version: version, Cache: c, SkipFilter: true})
	var faults pipeline.ErrorList
	if errors.As(err, &faults) {
		out.bad = append(out.bad, faults...)
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	for at := range s.Units {
		i := slices.IndexFunc(r.Units, func(x report.Unit) bool { return x.Eval.Unit.Index == at })
		if i >= 0 {
			out.lacking(s.Units[at].Name(), &r.Units[i].Eval)
		}
	}
	return out, nil
}

// openAll opens every capture and baseline once, and gives the sheet with those of
// its units' captures that can be read. Only an interruption is an error.
func (c *checked) openAll(ctx context.Context) (*sheet.Sheet, error) {
	readable := *c.sheet
	readable.Units = nil
	seen := map[pipeline.BaselineID]capture.Span{}
	baseline := func(b *sheet.Capture) error {
		if b == nil {
			return nil
		}
		id := pipeline.BaselineOf(b)
		if _, done := seen[id]; done {
			return nil
		}
		_, err := c.openOne(ctx, -1, *b)
		if err == nil {
			seen[id] = c.captures[len(c.captures)-1].span
		}
		return err
	}
	if err := baseline(c.sheet.Instrument.Baseline); err != nil {
		return nil, err
	}
	for i, u := range c.sheet.Units {
		kept := u
		kept.Captures = nil
		for _, cp := range u.Captures {
			if err := baseline(cp.Baseline); err != nil {
				return nil, err
			}
			ok, err := c.openOne(ctx, i, cp)
			if err != nil {
				return nil, err
			}
			if ok {
				kept.Captures = append(kept.Captures, cp)
				if cp.Baseline != nil {
					last := &c.captures[len(c.captures)-1]
					last.gap = baselineGap(cp.Baseline.File, seen[pipeline.BaselineOf(cp.Baseline)], last.span)
				}
			}
		}
		readable.Units = append(readable.Units, kept)
	}
	return &readable, nil
}

// baselineReach is how much further a capture may reach than its baseline before that is
// told: a record a little shorter, or a rate a step lower, is none of it.
const baselineReach = 3.0

// baselineGap says what a baseline doesn't cover of its capture's span, "" where it does.
// What lies there is the unit's and the instrument's together.
func baselineGap(file string, base, of capture.Span) string {
	var parts []string
	if base.HighHz == 0 { // it can't be read, which is told elsewhere
		return ""
	}
	if base.LowHz > baselineReach*of.LowHz {
		parts = append(parts, "below "+target.HzText(base.LowHz))
	}
	if base.HighHz*baselineReach < of.HighHz {
		parts = append(parts, "above "+target.HzText(base.HighHz))
	}
	if len(parts) == 0 {
		return ""
	}
	return fmt.Sprintf("its baseline %s shows nothing %s, so the instrument's own noise stays in the figures there; take one at this capture's settings", file, strings.Join(parts, " and "))
}

// openOne opens one capture of a unit (-1: a baseline) and notes how it was understood;
// ok reports whether it reads.
func (c *checked) openOne(ctx context.Context, unit int, cp sheet.Capture) (ok bool, err error) {
	got, err := openChecked(ctx, unit, cp)
	if err != nil {
		return false, err
	}
	c.add(got)
	return got.err == nil, nil
}

// lacking notes what a unit still lacks, and what of it can't be trusted to decide.
func (c *checked) lacking(name string, e *target.Evaluation) {
	if e.Verdict == target.Retake {
		again := retake{Unit: name}
		if e.DoubtFix != "" {
			again.Why = []string{e.Doubt + "; " + e.DoubtFix}
		}
		for _, k := range e.Cautions {
			if k.Fix != "" && !slices.Contains(again.Why, k.Text+"; "+k.Fix) {
				again.Why = append(again.Why, k.Text+"; "+k.Fix)
			}
		}
		c.again = append(c.again, again)
	}
	if e.Verdict != target.Retake {
		for _, k := range e.Cautions {
			switch k.Code {
			case target.CautionLoadUnsaid, target.CautionReadings, target.CautionOverloaded: // of what the sheet says
				c.notes = append(c.notes, fmt.Sprintf("%s: %s; %s", name, k.Text, k.Fix))
			}
		}
	}
	o := openUnit{name: name, fails: e.Verdict == target.Fail}
	var limits []target.Limit
	for _, m := range e.Margins {
		switch {
		case m.Covered:
			continue
		case m.Limit.Criterion == target.HeaterDC:
			o.reading = true
		case m.Figure.UpperBound:
			// Covered already; the same capture once more would say as little.
			o.bounds = append(o.bounds, m.Limit.Name+": "+m.Reason)
		default:
			limits = append(limits, m.Limit)
		}
		o.reasons = append(o.reasons, m.Limit.Name+": "+m.Reason)
	}
	in := c.sheet.Instrument
	o.settings = planSettings(limits, scopeLimits{Memory: in.MemorySamples, MaxRate: in.MaxRateHz, Holds: c.goal.Limits})
	if len(o.reasons) > 0 {
		c.open = append(c.open, o)
	}
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
	fmt.Fprintf(&b, "%s: %s, %s, %s; target %s", c.sheet.Path, capture.Plural(len(c.sheet.Units), "unit"),
		capture.Plural(len(brands), "brand"), capture.Plural(len(c.captures), "capture"), c.goal.Name)
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
	for _, n := range append(slices.Clone(c.sheet.Notes), c.notes...) {
		b.WriteString(wrapText("note: ", "  ", n, 100))
	}
	c.loose(&b)
	c.stillOpen(&b)
	c.takeAgain(&b)
	if n := c.unreadable(); n > 0 {
		fmt.Fprintf(&b, "%s can't be read\n", capture.Plural(n, "capture"))
	}
	_, err := io.WriteString(w, b.String())
	return err
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
			b.WriteString(wrapText("  BAD  ", "       ", errorLine(cp.err), 100))
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
		if cp.gap != "" {
			b.WriteString(wrapText("       note: ", "         ", cp.gap, 100))
		}
	}
}

func loadedWith(amps float64) string {
	if amps <= 0 {
		return ""
	}
	return fmt.Sprintf(", at a load of %.2f A", amps)
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
		Gap      string            `json:"baseline_gap,omitempty"`
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
		Notes    []string      `json:"notes"`
	}{Sheet: c.sheet.Path, Target: c.goal.Name, HeaterA: c.heaterA, Captures: []captureJSON{}, Open: []openJSON{},
		Again: append([]retake{}, c.again...), OfNoUnit: []string{}, Notes: append(append([]string{}, c.sheet.Notes...), c.notes...)}
	for _, l := range c.sheet.Loose {
		doc.OfNoUnit = append(doc.OfNoUnit, l.File)
	}
	doc.OfNoUnit = append(doc.OfNoUnit, c.unmatched...)
	for _, cp := range c.captures {
		j := captureJSON{File: cp.file, OK: cp.err == nil, Layout: cp.layout, Samples: cp.samples,
			Coupling: string(cp.coupling), Mode: cp.mode.Word(), Cautions: append([]capture.Caution{}, cp.cautions...), Gap: cp.gap}
		if cp.unit >= 0 {
			name := c.sheet.Units[cp.unit].Name()
			j.Unit = &name
		}
		if cp.err != nil {
			j.Error = errorLine(cp.err)
		} else {
			j.RateHz, j.LowHz, j.HighHz = &cp.rateHz, &cp.span.LowHz, &cp.span.HighHz
		}
		doc.Captures = append(doc.Captures, j)
	}
	for _, o := range c.open {
		j := openJSON{Unit: o.name, Reading: o.reading, Take: []takeJSON{}, Reasons: o.reasons}
		for _, s := range o.settings {
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
