package benchpage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
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
	guide  func(*sheet.Sheet) (string, error)
	follow *follower
	folder string // of the report

	wake chan struct{}
	slot chan struct{} // captures measured side by side

	incoming arrivals
	keeping  sync.Mutex // held while what is kept beside the sheet is written

	mu      sync.Mutex
	text    []byte
	edit    *sheet.Text // of text; nil when it is broken
	sheet   *sheet.Sheet
	broken  error // why the sheet does not read
	byHand  bool  // the last change came from an editor
	existed bool  // there has been a sheet on the disk
	gone    bool  // and now there is none
	// unmatched are files beside the sheet that its pattern gives to no unit.
	unmatched  []string
	readings   map[string]*reading
	begun      int               // readings so far
	layouts    map[string]string // of the files that were read, by path
	entries    []entry
	decision   decision
	tried      map[string]*tried // post-filters tried on the page, by unit
	calibrated string            // what the last calibration gave
	goal       target.Target     // of the sheet; without limits where it names none that there is
	written    written
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
// and to decide anew where that changes anything. Nobody else writes text, edit,
// sheet and entries, so that reading the sheet, which takes a while, keeps no request
// waiting: the lock is held for what is taken over.
func (b *bench) refresh(ctx context.Context) {
	data, byHand, err := b.file.Read()
	missing := b.file.Missing()
	gone := missing && b.existed
	if gone && err == nil {
		data, byHand, err = b.text, false, errSheetGone
	}
	changed := err != nil || !bytes.Equal(data, b.text) || b.sheet == nil
	next := taken{text: data, edit: b.edit, err: err}
	if changed {
		next = b.receive(data, err)
	} else if b.edit != nil {
		next = b.whole(next) // files may have come or gone
	}
	entries := b.entries
	if next.sheet != nil {
		entries = b.list(next.sheet, next.edit)
	}

	b.mu.Lock()
	defer b.mu.Unlock()
	b.gone, b.existed = gone, b.existed || !missing
	if changed {
		b.text, b.broken, b.edit, b.byHand = data, next.err, next.edit, byHand
		b.hub.changed(partNames...)
	}
	if next.sheet != nil {
		b.sheet, b.unmatched, b.goal = next.sheet, next.unmatched, next.goal
	}
	if b.sheet == nil {
		return
	}
	before := fingerprint(b.entries)
	b.entries = entries
	for i := range b.entries {
		b.read(ctx, &b.entries[i])
	}
	b.drop()
	if fingerprint(b.entries) != before {
		b.hub.changed("bar", "bring", "check", "whose")
	}
	b.decide(ctx)
	b.predict(ctx)
}

// taken is what a text of the sheet makes.
type taken struct {
	text      []byte
	edit      *sheet.Text
	sheet     *sheet.Sheet // nil: it does not read
	unmatched []string
	goal      target.Target // without limits where the sheet names none that there is
	err       error
}

// whole reads the sheet with the files that its pattern gives to units, as the
// commands see it.
func (b *bench) whole(t taken) taken {
	s, err := t.edit.Sheet(b.file.Path())
	if err == nil {
		var left sheet.Unmatched
		left, err = s.TakeMatching("")
		t.unmatched = left.Names
	}
	if err != nil {
		t.edit, t.err = nil, err
		return t
	}
	t.sheet = s
	t.goal, _, _ = pipeline.Target(s) // else the decision says what is wrong with it
	return t
}

// receive reads a new text. A broken one leaves all figures as they were.
func (b *bench) receive(data []byte, err error) taken {
	t := taken{text: data, err: err}
	if err != nil {
		return t
	}
	if t.edit, t.err = sheet.NewText(data, b.file.Path()); t.err != nil {
		t.edit = nil
		return t
	}
	return b.whole(t)
}

// list makes the entries from the sheet and the captures folder.
func (b *bench) list(s *sheet.Sheet, edit *sheet.Text) []entry {
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
		e := entry{ID: id, Capture: c, Unit: unit, Role: r}
		if edit != nil && c.Key != "" {
			e.Fields = fieldsOf(edit, c.Key)
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
	for _, c := range s.Loose {
		add(c, -1, loose)
	}
	for i, u := range s.Units {
		for _, c := range u.Captures {
			add(c, i, ofUnit)
		}
	}
	base(s.Instrument.Baseline)
	for _, u := range s.Units {
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
	return out
}

// fingerprint reports whether the list of captures shows anything new.
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
