package benchpage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"stillglow/analysis/filter"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// Take is one capture to take.
type Take struct {
	Criteria string // what it would settle
	Settings string // what to set on the scope, or why it can't
}

// The parts of the page, in the order of the work.
var partNames = []string{"bar", "bring", "check", "whose", "decided", "fit", "leave"}

// bench is one sheet with its captures as the page shows them.
type bench struct {
	file   *sheet.File
	dir    string // the sheet's folder
	store  *store
	hub    *hub
	pipe   pipeline.Options
	take   func([]target.Limit, sheet.Instrument) []Take
	follow *follower
	folder string // of the report

	wake chan struct{}
	slot chan struct{} // captures measured side by side

	mu       sync.Mutex
	text     []byte
	edit     *sheet.Text // of text; nil when it is broken
	sheet    *sheet.Sheet
	broken   error // why the sheet does not read
	byHand   bool  // the last change came from an editor
	readings map[string]*reading
	entries  []entry
	decision decision
	tried    map[string]tried // post-filters tried on the page, by unit
	written  written
}

// entry is one capture that the sheet names, or a file in the captures folder
// that it doesn't.
type entry struct {
	ID      string
	Capture sheet.Capture
	Unit    int // index into the sheet's units; -1: none
	Role    role
	Fields  map[string]string // what the sheet says of it, as written
	reading *reading
}

type role int

const (
	loose    role = iota // no unit yet
	ofUnit               // a unit's
	baseline             // the instrument's own noise
	unnamed              // in the folder, not in the sheet
)

// reading is what measuring a capture gave, as long as file and settings stand.
type reading struct {
	serial   int // in the order they were begun
	state    readState
	got      report.Capture
	err      error
	channels []string // when one has to be chosen
}

type readState int

const (
	waiting readState = iota
	measuring
	measured
	failed
)

// decision is the last evaluation.
type decision struct {
	report   *report.Report
	parts    *report.Parts
	err      error
	basis    string // what it rests on
	full     bool   // post-filters looked for
	running  bool
	started  time.Time
	duration time.Duration
}

// tried is a post-filter of the user's own parts, and what was typed for it.
type tried struct {
	circuit filter.Circuit
	typed   map[string]string
}

// written is the last report folder that the page had written.
type written struct {
	at    time.Time
	basis string
	err   error
	busy  bool
}

// run looks after the sheet and its captures until ctx ends.
func (b *bench) run(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		b.follow.look(ctx)
		b.refresh(ctx)
		select {
		case <-ctx.Done():
			return
		case <-b.wake:
		case <-tick.C:
		}
	}
}

func (b *bench) nudge() {
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

// refresh takes stock of the sheet and the files, begins to measure what is new
// and to decide anew where that changes anything.
func (b *bench) refresh(ctx context.Context) {
	data, byHand, err := b.file.Read()
	b.mu.Lock()
	defer b.mu.Unlock()
	if err != nil || !bytes.Equal(data, b.text) || b.sheet == nil {
		b.receive(data, err)
		b.byHand = byHand
		b.hub.changed(partNames...)
	} else if s, err := b.edit2sheet(); err == nil {
		b.sheet = s // files may have come or gone
	}
	if b.sheet == nil {
		return
	}
	before := fingerprint(b.entries)
	b.list()
	for i := range b.entries {
		b.read(ctx, &b.entries[i])
	}
	if fingerprint(b.entries) != before {
		b.hub.changed("bar", "bring", "check", "whose")
	}
	b.decide(ctx)
}

func (b *bench) edit2sheet() (*sheet.Sheet, error) {
	if b.edit == nil {
		return nil, b.broken
	}
	return b.edit.Sheet(b.file.Path())
}

// receive reads a new text. A broken one leaves all figures as they were.
func (b *bench) receive(data []byte, err error) {
	b.text, b.broken, b.edit = data, err, nil
	if err != nil {
		return
	}
	t, err := sheet.NewText(data, b.file.Path())
	if err != nil {
		b.broken = err
		return
	}
	s, err := t.Sheet(b.file.Path())
	if err != nil {
		b.broken = err
		return
	}
	b.edit, b.sheet = t, s
}

// list makes the entries from the sheet and the captures folder.
func (b *bench) list() {
	var out []entry
	seen := map[string]int{}
	named := map[string]bool{}
	add := func(c sheet.Capture, unit int, r role) {
		path := filepath.Clean(c.Path)
		named[path] = true
		sum := sha256.Sum256([]byte(filepath.ToSlash(c.File)))
		id := "c" + hex.EncodeToString(sum[:6])
		if seen[id]++; seen[id] > 1 {
			id += fmt.Sprint("-", seen[id])
		}
		e := entry{ID: id, Capture: c, Unit: unit, Role: r, Fields: map[string]string{}}
		if b.edit != nil && c.Key != "" {
			for _, f := range b.edit.Fields(c.Key) {
				e.Fields[f.Key] = unquote(fmt.Sprint(f.Value))
			}
		}
		out = append(out, e)
	}
	baselines := map[string]bool{}
	base := func(c *sheet.Capture) {
		if c != nil && !baselines[c.Path+c.Options.Channel] {
			baselines[c.Path+c.Options.Channel] = true
			add(*c, -1, baseline)
		}
	}
	for _, c := range b.sheet.Loose {
		add(c, -1, loose)
	}
	for i, u := range b.sheet.Units {
		for _, c := range u.Captures {
			add(c, i, ofUnit)
		}
	}
	base(b.sheet.Instrument.Baseline)
	for _, u := range b.sheet.Units {
		for i := range u.Captures {
			base(u.Captures[i].Baseline)
		}
	}
	for _, info := range b.store.list() {
		file := capturesDir + "/" + info.Name()
		if path := filepath.Join(b.dir, capturesDir, info.Name()); !named[filepath.Clean(path)] {
			add(sheet.Capture{File: file, Path: path}, -1, unnamed)
		}
	}
	b.entries = out
}

// fingerprint tells whether the list of captures shows anything new.
func fingerprint(entries []entry) string {
	var s strings.Builder
	for _, e := range entries {
		state := waiting
		if e.reading != nil {
			state = e.reading.state
		}
		fmt.Fprintln(&s, e.ID, e.Unit, e.Role, state)
	}
	return s.String()
}

// read finds an entry's reading or begins it.
func (b *bench) read(ctx context.Context, e *entry) {
	if e.Role == unnamed {
		return
	}
	info, err := os.Stat(e.Capture.Path)
	if err != nil {
		e.reading = &reading{state: failed, err: fmt.Errorf("%s: no such file", e.Capture.File)}
		return
	}
	var u sheet.Unit
	if e.Unit >= 0 {
		u = b.sheet.Units[e.Unit]
	}
	key := readingKey(b.sheet, u, e.Capture, info)
	if r, ok := b.readings[key]; ok {
		e.reading = r
		return
	}
	r := &reading{serial: len(b.readings) + 1}
	e.reading = r
	b.readings[key] = r
	s, c := b.sheet, e.Capture
	go func() {
		select {
		case b.slot <- struct{}{}:
			defer func() { <-b.slot }()
		case <-ctx.Done():
			return
		}
		b.set(r, func() { r.state = measuring })
		got, err := pipeline.MeasureCapture(ctx, s, u, c, b.pipe)
		if ctx.Err() != nil {
			return
		}
		b.set(r, func() {
			if err != nil {
				r.state, r.err = failed, err
				r.channels = channelsOf(err)
				return
			}
			r.state, r.got = measured, got
		})
		b.nudge()
	}()
}

// set changes a reading and tells the pages.
func (b *bench) set(_ *reading, change func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change()
	b.hub.changed("bar", "bring", "check", "whose")
}

// readingKey names all that a measurement rests on.
func readingKey(s *sheet.Sheet, u sheet.Unit, c sheet.Capture, info os.FileInfo) string {
	var k strings.Builder
	capt := func(c *sheet.Capture) {
		if c == nil {
			return
		}
		o := c.Options
		limited := "unsaid"
		if o.BandLimited != nil {
			limited = fmt.Sprint(*o.BandLimited)
		}
		o.BandLimited, o.Progress = nil, nil
		fmt.Fprintf(&k, "%q %+v %s %g ", c.Path, o, limited, c.LoadA)
		if info, err := os.Stat(c.Path); err == nil {
			fmt.Fprint(&k, info.Size(), info.ModTime().UnixNano(), " ")
		}
	}
	capt(&c)
	capt(c.Baseline)
	fmt.Fprint(&k, info.Size(), s.MainsHz, s.Instrument.LowPass, s.Instrument.GainPercent, u.RatedV, s.Heaters.Groups, s.Heaters.OwnValves)
	return k.String()
}

// decide begins an evaluation where the last one rests on other things, with the
// post-filters once nothing else is to be done.
func (b *bench) decide(ctx context.Context) {
	d := &b.decision
	if d.running || b.broken != nil {
		return
	}
	busy := false
	ready := *b.sheet
	ready.Units = slices.Clone(b.sheet.Units)
	good := map[string]bool{}
	var basis strings.Builder
	basis.Write(b.text)
	for _, e := range b.entries {
		if e.reading == nil || e.Role == loose {
			continue
		}
		busy = busy || e.reading.state < measured
		if e.reading.state == measured {
			good[e.Capture.Path+"\x00"+e.Capture.Options.Channel] = true
			fmt.Fprintf(&basis, "\n%s %p", e.ID, e.reading)
		}
	}
	ok := func(c *sheet.Capture) bool { return c != nil && good[c.Path+"\x00"+c.Options.Channel] }
	for i := range ready.Units {
		u := &ready.Units[i]
		var kept []sheet.Capture
		for _, c := range u.Captures {
			if !ok(c.Baseline) {
				c.Baseline = nil
			}
			if ok(&c) {
				kept = append(kept, c)
			}
		}
		u.Captures = kept
	}
	if !ok(ready.Instrument.Baseline) {
		ready.Instrument.Baseline = nil
	}
	for _, name := range slices.Sorted(maps.Keys(b.tried)) {
		fmt.Fprintf(&basis, "\n%s %+v", name, b.tried[name].circuit)
	}
	key := hexSum(basis.String())
	if key == d.basis && (d.full || busy) || busy && time.Since(d.started) < time.Second {
		return
	}
	full := !busy && key == d.basis // the second time, with post-filters
	d.running, d.started = true, time.Now()
	go b.evaluate(ctx, &ready, key, full, maps.Clone(b.tried))
}

// evaluate makes a decision and shows it.
func (b *bench) evaluate(ctx context.Context, s *sheet.Sheet, key string, full bool, own map[string]tried) {
	begun := time.Now()
	opt := b.pipe
	opt.SkipFilter = !full
	r, err := pipeline.EvaluateSheet(ctx, s, opt)
	var parts *report.Parts
	if err == nil {
		shown := *r
		shown.Units = slices.Clone(r.Units)
		for i := range shown.Units {
			c, ok := own[shown.Units[i].Eval.Unit.Key]
			if !ok {
				continue
			}
			a, err := pipeline.PredictFilter(ctx, s, r, shown.Units[i].Eval.Unit.Index, c.circuit, b.pipe)
			if err != nil {
				a = &filter.Advice{Why: capture.OneLine(err.Error())}
			}
			shown.Units[i].Filter = a
		}
		parts, err = shown.Parts()
	}
	if ctx.Err() != nil {
		return
	}
	b.mu.Lock()
	b.decision = decision{report: r, parts: parts, err: err, basis: key, full: full || err != nil, started: begun, duration: time.Since(begun)}
	b.mu.Unlock()
	b.hub.changed("bar", "decided", "fit", "leave")
	b.nudge()
}

func channelsOf(err error) []string {
	var many *capture.ChannelError
	if asError(err, &many) {
		return many.Channels
	}
	return nil
}

func hexSum(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:])
}

// workers leaves a processor to the page where there is more than one.
func workers() int { return max(1, runtime.GOMAXPROCS(0)-1) }
