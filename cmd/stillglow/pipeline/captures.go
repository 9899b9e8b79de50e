package pipeline

import (
	"context"
	"fmt"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
	"stillglow/report/pool"
)

// measuring is what the captures of a sheet are measured with.
type measuring struct {
	sheet *sheet.Sheet
	setup analysis.Setup // of every capture alike
	opt   Options
	named []*sheet.Capture // the baselines, each once
	teller
}

// job is one file to measure, and where its result goes.
type job struct {
	unit, capture int // see Event
	file          *sheet.Capture
	setup         analysis.Setup
	out           *report.Capture
}

func newMeasuring(s *sheet.Sheet, setup analysis.Setup, opt Options) *measuring {
	m := &measuring{sheet: s, setup: setup, opt: opt}
	m.to = opt.Progress
	seen := map[BaselineID]bool{}
	add := func(b *sheet.Capture) {
		if b != nil && !seen[BaselineOf(b)] {
			seen[BaselineOf(b)] = true
			m.named = append(m.named, b)
		}
	}
	add(s.Instrument.Baseline)
	for _, u := range s.Units {
		for i := range u.Captures {
			add(u.Captures[i].Baseline)
		}
		m.total += len(u.Captures)
	}
	m.total += len(m.named)
	return m
}

// baselines measures each baseline that the sheet names, once.
func (m *measuring) baselines(ctx context.Context) (map[BaselineID]report.Capture, error) {
	results := make([]report.Capture, len(m.named))
	jobs := make([]job, len(m.named))
	for i, b := range m.named {
		jobs[i] = job{-1, -1, b, m.setup, &results[i]}
	}
	if err := m.run(ctx, jobs); err != nil {
		return nil, err
	}
	out := make(map[BaselineID]report.Capture, len(results))
	for i, b := range m.named {
		results[i].LoadA = 0 // an instrument's own noise is of no load
		out[BaselineOf(b)] = results[i]
	}
	return out, nil
}

// units measures every capture of every unit. The result's order is the
// sheet's, whatever finished first.
func (m *measuring) units(ctx context.Context, baselines map[BaselineID]report.Capture) ([][]report.Capture, error) {
	out := make([][]report.Capture, len(m.sheet.Units))
	var jobs []job
	for i, u := range m.sheet.Units {
		out[i] = make([]report.Capture, len(u.Captures))
		for j := range u.Captures {
			c := &u.Captures[j]
			jobs = append(jobs, job{i, j, c, captureSetup(m.setup, u, *c, baselines), &out[i][j]})
		}
	}
	if err := m.run(ctx, jobs); err != nil {
		return nil, err
	}
	return out, nil
}

// run measures the jobs side by side. Every job is tried; the errors come in the
// order of the jobs.
func (m *measuring) run(ctx context.Context, jobs []job) error {
	errs := make([]error, len(jobs))
	if err := pool.Each(ctx, len(jobs), m.opt.Workers, func(i int) error {
		errs[i] = m.one(ctx, jobs[i])
		return nil
	}); err != nil {
		return err
	}
	var bad ErrorList
	for _, err := range errs {
		if err != nil {
			bad = append(bad, err)
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// one measures one file and tells so.
func (m *measuring) one(ctx context.Context, j job) error {
	e := Event{Kind: CaptureStarted, Unit: j.unit, Capture: j.capture, File: j.file.File}
	m.tell(e)
	opened := func(tr *capture.Trace) {
		e := e
		e.Kind, e.Trace = CaptureOpened, tr
		m.tell(e)
	}
	got, kept, err := measureFile(ctx, j.file.Path, j.file.File, j.file.Options, j.setup, m.opt.Cache, true, opened)
	got.LoadA, got.Note = j.file.LoadA, j.file.Note
	*j.out = got
	e.Kind, e.FromCache, e.Err = CaptureDone, kept, err
	if err == nil {
		e.Result = &got
	}
	m.tell(e)
	return err
}

// BaselineID tells baselines apart: two channels of one file are two of them.
type BaselineID struct {
	path    string
	options string // as JSON, which no two sets of options share
}

// BaselineOf is the identity of a baseline.
func BaselineOf(b *sheet.Capture) BaselineID {
	return BaselineID{b.Path, optionsKey(b.Options)}
}

// MeasureFile opens one capture and measures it, or takes the result of an
// earlier run from the cache (nil: none). shown is the path as the user wrote it.
// Without a cache the record's fingerprint is left out.
func MeasureFile(ctx context.Context, path, shown string, opt capture.Options, setup analysis.Setup, c *Cache) (report.Capture, error) {
	got, _, err := measureFile(ctx, path, shown, opt, setup, c, c != nil, func(*capture.Trace) {})
	return got, err
}

// measureFile is MeasureFile, and reports whether the result was kept; where it
// was not, opened is shown the trace before it is measured. Only with fingerprint is
// it ready to be compared with other records.
func measureFile(ctx context.Context, path, shown string, opt capture.Options, setup analysis.Setup, c *Cache, fingerprint bool, opened func(*capture.Trace)) (got report.Capture, kept bool, err error) {
	got, kept, err = measureOrTake(ctx, path, shown, opt, setup, c, fingerprint, opened)
	if b := setup.Baseline; err == nil && b != nil && b.SHA256 != "" && b.SHA256 == got.M.SHA256 && b.Channel == got.M.Channel {
		err = &capture.ParseError{Path: path, Found: fmt.Sprintf("the same bytes as its baseline %s, which would leave nothing of it", b.File),
			Expected: "a baseline of the same set-up with the probe across its own ground, or the supply off", Fix: "name the right file, or take the baseline out"}
		return report.Capture{}, false, err
	}
	return got, kept, err
}

func measureOrTake(ctx context.Context, path, shown string, opt capture.Options, setup analysis.Setup, c *Cache, fingerprint bool, opened func(*capture.Trace)) (got report.Capture, kept bool, err error) {
	if got, ok := c.lookup(path, opt, setup); ok {
		got.M.File = capture.OneLine(shown)
		got.LoadA = setup.LoadA
		return got, true, nil
	}
	tr, err := capture.Open(ctx, path, opt)
	if err != nil {
		return report.Capture{}, false, err
	}
	opened(tr)
	m, err := analysis.Measure(ctx, tr, setup)
	if err != nil {
		return report.Capture{}, false, fmt.Errorf("%s: %w", path, err)
	}
	m.File = capture.OneLine(shown)
	got = report.Capture{M: m, Layout: tr.Layout, Assumptions: tr.Assumptions, LoadA: setup.LoadA}
	if fingerprint {
		got.Samples = tr.Fingerprint()
	}
	c.store(path, tr.SHA256, opt, setup, got)
	return got, false, nil
}
