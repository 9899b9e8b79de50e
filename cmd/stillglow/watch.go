package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

func newWatchCmd() *cobra.Command {
	var (
		flags            rankFlags
		w                watcher
		interval, settle time.Duration
	)
	cmd := &cobra.Command{
		Use:   "watch SHEET",
		Short: "Follow a folder and rank as the scope's files arrive",
		Long: `Watch follows the sheet's folder (or --folder). A file that fits the sheet's
pattern goes to its unit, as a common-mode capture where the file's name holds the
word common or cm; a file that the sheet names is taken when it arrives. A file is
measured once it has stopped growing and can be read to its end. The ranking, with
what changed, is printed again after each capture and whenever the sheet is saved.
Ctrl-C writes the report.

Folders that give no notice of changes (network shares) are checked every
--interval. The exit code is that of report.`,
		Example: "  stillglow watch testdata/bench/bench.toml\n  stillglow watch --folder /media/scope --out spring-batch spring.toml",
		Args:    wantArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if interval < 10*time.Millisecond || settle < 0 {
				return usageError{fmt.Errorf("--interval %v and --settle %v, expected 10ms or more and 0 or more", interval, settle)}
			}
			c, err := flags.cache.open()
			if err != nil {
				return err
			}
			w.sheetPath, w.interval, w.settle = args[0], interval, settle
			w.eval = pipeline.Options{Version: version, Workers: flags.workers, Cache: c, Date: flags.date}
			w.screen, w.stderr = cmd.OutOrStdout(), cmd.ErrOrStderr()
			w.skipFilter = flags.skipFilter
			if w.out == "" {
				w.out = defaultFolder(args[0])
			}
			return w.run(cmd.Context())
		},
	}
	flags.cache.add(cmd)
	fl := cmd.Flags()
	fl.Func("date", "date to print instead of the sheet's: 2026-03-14", day(&flags.date))
	fl.IntVar(&flags.workers, "workers", 0, "captures measured in parallel (default: one per core)")
	fl.BoolVar(&flags.skipFilter, "no-filter", false, "don't look for a post-filter for near misses")
	fl.StringVar(&w.folder, "folder", "", "folder where the scope's files arrive (default: the sheet's)")
	fl.StringVarP(&w.out, "out", "o", "", "report folder (default: the sheet's name with -report, in the current folder)")
	fl.BoolVar(&w.force, "force", false, "write into a report folder that holds other files too; they are kept")
	fl.DurationVar(&interval, "interval", time.Second, "how often to look where the folder gives no notice")
	fl.DurationVar(&settle, "settle", 2*time.Second, "a file counts as written when it has not changed for this long")
	return cmd
}

// watcher follows one sheet and one folder.
type watcher struct {
	sheetPath, folder, out string
	force, skipFilter      bool
	interval, settle       time.Duration
	eval                   pipeline.Options
	screen, stderr         io.Writer

	files map[string]*arrival // by resolved path
	last  string              // what the drawn ranking rests on
	sheet *sheet.Sheet        // as last read, with the files that arrived
	drawn *report.Report      // as last drawn
}

// run follows until ctx ends, then writes the report.
func (w *watcher) run(ctx context.Context) error {
	s, err := sheet.ReadAwaiting(w.sheetPath)
	if err != nil {
		return err
	}
	if w.folder == "" {
		w.folder = s.Dir
	}
	if info, err := os.Stat(w.folder); err != nil || !info.IsDir() {
		return fmt.Errorf("%s: no such folder, expected the one where the scope's files arrive", w.folder)
	}
	if err := pipeline.CheckFolder(w.out, w.folderOptions(s)); err != nil {
		return err
	}
	w.files = map[string]*arrival{}
	wake, stop := w.notices()
	defer stop()
	tick := time.NewTicker(w.interval)
	defer tick.Stop()
	for {
		if err := w.poll(ctx, time.Now()); err != nil && ctx.Err() == nil {
			return err
		}
		select {
		case <-ctx.Done():
			return w.finish(context.WithoutCancel(ctx))
		case <-wake:
		case <-tick.C:
		}
	}
}

func (w *watcher) folderOptions(s *sheet.Sheet) pipeline.FolderOptions {
	return pipeline.FolderOptions{Force: w.force, Inputs: pipeline.Inputs(s), Cache: w.eval.Cache}
}

// poll takes stock of sheet and folder, and draws again when anything that the
// ranking rests on has changed.
func (w *watcher) poll(ctx context.Context, now time.Time) error {
	t, s, err := w.readSheet()
	if err != nil {
		return err
	}
	ready, err := t.whole(ctx, s, now)
	if err != nil {
		return err
	}
	if t.saving && w.drawn != nil {
		return nil
	}
	notes := t.words()
	fmt.Fprintf(&t.basis, "%s\n", strings.Join(notes, "\n"))
	if t.basis.String() == w.last {
		return nil
	}
	opt := w.eval
	opt.SkipFilter = true // at the end; it takes seconds
	r, err := pipeline.EvaluateSheet(ctx, ready, opt)
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		notes = append(notes, errorLine(err))
		r = w.drawn
	}
	w.last = t.basis.String()
	w.sheet = ready
	return w.draw(r, notes)
}

// stock is what one look at sheet and folder finds.
type stock struct {
	w       *watcher
	basis   strings.Builder // what the ranking rests on
	notes   []string        // what is waited for
	awaited []string        // files that are not there yet
	saving  bool            // a ranked file is being written over: the ranking stands until it is whole
}

// readSheet reads the sheet with what its pattern finds in the folder. While it is
// being edited and does not read, it is the sheet as it was.
func (w *watcher) readSheet() (*stock, *sheet.Sheet, error) {
	t := &stock{w: w}
	fmt.Fprintf(&t.basis, "%s\n", sheetBasis(w.sheetPath))
	s, err := sheet.ReadAwaiting(w.sheetPath)
	if err != nil {
		t.notes = append(t.notes, "the sheet can't be read, going on as before: "+errorLine(err))
		if w.sheet == nil {
			return nil, nil, err
		}
		t.awaited = slices.Clone(w.sheet.Awaited)
		return t, w.sheet, nil
	}
	left, err := s.TakeMatching(w.folder)
	if err != nil {
		return nil, nil, err
	}
	t.notes = append(t.notes, left.Text(s.Pattern)...)
	t.awaited = slices.Clone(s.Awaited)
	return t, s, nil
}

// whole gives the sheet with those of its files that are written to their end.
func (t *stock) whole(ctx context.Context, s *sheet.Sheet, now time.Time) (*sheet.Sheet, error) {
	ready := *s
	ready.Units = slices.Clone(s.Units)
	baseline := func(b **sheet.Capture) error {
		if *b == nil {
			return nil
		}
		ok, err := t.settled(ctx, **b, now)
		if err == nil && !ok {
			*b = nil
		}
		return err
	}
	for i := range ready.Units {
		u := &ready.Units[i]
		var kept []sheet.Capture
		for _, c := range u.Captures {
			if err := baseline(&c.Baseline); err != nil {
				return nil, err
			}
			ok, err := t.settled(ctx, c, now)
			if err != nil {
				return nil, err
			}
			if ok {
				kept = append(kept, c)
			}
		}
		u.Captures = kept
	}
	if err := baseline(&ready.Instrument.Baseline); err != nil {
		return nil, err
	}
	return &ready, nil
}

// settled reports whether a file is written to its end, and notes what the ranking may
// rest on or has to wait for.
func (t *stock) settled(ctx context.Context, c sheet.Capture, now time.Time) (bool, error) {
	ok, note, err := t.w.ready(ctx, c, now)
	a := t.w.files[c.Path]
	if a == nil {
		t.awaited = append(t.awaited, c.File)
	}
	if !ok && a != nil && a.known && !a.tried {
		t.saving = true
	}
	if note != "" {
		t.notes = append(t.notes, note)
	}
	if ok {
		fmt.Fprintf(&t.basis, "%s %d %v\n", c.Path, a.size, a.mod)
	}
	return ok, err
}

// words are the notes in order, each once.
func (t *stock) words() []string {
	slices.Sort(t.notes)
	notes := slices.Compact(t.notes)
	if len(t.awaited) > 0 {
		slices.Sort(t.awaited)
		notes = append(notes, "still to arrive: "+strings.Join(slices.Compact(t.awaited), ", "))
	}
	return notes
}

// draw shows the ranking with what changed since the last one.
func (w *watcher) draw(r *report.Report, notes []string) error {
	var b strings.Builder
	if terminalOf(w.screen) != nil && os.Getenv("TERM") != "dumb" {
		b.WriteString("\x1b[H\x1b[2J")
	} else if w.drawn != nil {
		b.WriteString("\n")
	}
	if r != nil {
		opt := tableOptions(w.screen)
		opt.RankingOnly = true
		if err := report.WriteTable(&b, r, opt); err != nil {
			return err
		}
	}
	if changes := changesBetween(w.drawn, r); len(changes) > 0 {
		b.WriteString("\nchanged:\n")
		for _, c := range changes {
			b.WriteString(wrapText("  ", "    ", c, 100))
		}
	}
	if len(notes) > 0 {
		b.WriteString("\nwaiting:\n")
		for _, n := range notes {
			b.WriteString(wrapText("  ", "    ", n, 100))
		}
	}
	fmt.Fprintf(&b, "\nwatching %s; Ctrl-C writes the report to %s\n", w.folder, w.out)
	w.drawn = r
	_, err := io.WriteString(w.screen, b.String())
	return err
}

// changesBetween lists units whose captures, verdict or rank changed; those that
// only moved share a line.
func changesBetween(before, after *report.Report) []string {
	if before == nil || after == nil {
		return nil
	}
	old := map[identity]report.Unit{}
	for _, u := range before.Units {
		old[identityOf(u)] = u
	}
	var out, moved []string
	for _, u := range after.Units {
		key := u.Eval.Unit.Key
		was, known := old[identityOf(u)]
		if !known {
			out = append(out, key+": new in the sheet")
			continue
		}
		parts := captureChanges(was, u)
		if was.Eval.Verdict != u.Eval.Verdict {
			parts = append(parts, fmt.Sprintf("%s -> %s", was.Eval.Verdict, u.Eval.Verdict))
		}
		rank := fmt.Sprintf("rank %d -> %d", was.Eval.Rank, u.Eval.Rank)
		switch {
		case len(parts) > 0 && was.Eval.Rank != u.Eval.Rank:
			out = append(out, key+": "+strings.Join(append(parts, rank), ", "))
		case len(parts) > 0:
			out = append(out, key+": "+strings.Join(parts, ", "))
		case was.Eval.Rank != u.Eval.Rank && u.Eval.Worst >= 0 && len(u.Captures) > 0:
			moved = append(moved, key+" "+strings.TrimPrefix(rank, "rank "))
		}
	}
	if len(moved) > 0 {
		out = append(out, "also moved: "+strings.Join(moved, ", "))
	}
	return out
}

// identity is what a unit is between two readings of the sheet, wherever it stands
// now: what its parts say.
type identity struct {
	brand, model, mark, date string
	state                    target.State
}

func identityOf(u report.Unit) identity {
	x := u.Eval.Unit
	return identity{x.Brand, x.Model, x.Mark, x.Date, x.State}
}

// captureChanges lists the captures of a unit that came, were saved again or went.
func captureChanges(was, now report.Unit) []string {
	var parts []string
	had := map[string]string{}
	for _, c := range was.Captures {
		had[c.M.File] = c.M.SHA256
	}
	for _, c := range now.Captures {
		sum, there := had[c.M.File]
		switch {
		case !there:
			parts = append(parts, "+ "+c.M.File)
		case sum != c.M.SHA256:
			parts = append(parts, "saved again: "+c.M.File)
		}
		delete(had, c.M.File)
	}
	for _, f := range slices.Sorted(maps.Keys(had)) {
		parts = append(parts, "- "+f)
	}
	return parts
}

// finish writes the report of what had arrived.
func (w *watcher) finish(ctx context.Context) error {
	if w.sheet == nil {
		return context.Canceled
	}
	opt := w.eval
	opt.SkipFilter = w.skipFilter
	r, err := pipeline.EvaluateSheet(ctx, w.sheet, opt)
	if err != nil {
		return err
	}
	if err := writeReport(ctx, r, w.out, w.folderOptions(w.sheet), w.stderr); err != nil {
		return err
	}
	passing, units := 0, 0
	for _, u := range r.Units {
		if u.Eval.Aside {
			continue
		}
		if units++; u.Eval.Verdict == target.Pass {
			passing++
		}
	}
	fmt.Fprintf(w.screen, "\n%d of %s pass\nreport written to %s (open %s)\n", passing, capture.Plural(units, "unit"), w.out, filepath.Join(w.out, "index.html"))
	if w.folder != w.sheet.Dir {
		fmt.Fprintf(w.screen, "to write it again later: stillglow report --folder %s --out %s %s\n", w.folder, w.out, w.sheetPath)
	}
	return verdictError(r)
}
