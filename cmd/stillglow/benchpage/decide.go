package benchpage

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// decision is the last evaluation.
type decision struct {
	sheet    *sheet.Sheet // what was evaluated
	report   *report.Report
	parts    *report.Parts
	err      error
	basis    string // what it rests on
	full     bool   // post-filters looked for
	running  bool
	started  time.Time
	duration time.Duration
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
	key := hexSum(basis.String())
	if key == d.basis && (d.full || busy) || busy && time.Since(d.started) < time.Second {
		return
	}
	full := !busy && key == d.basis // the second time, with post-filters
	d.running, d.started = true, time.Now()
	go b.evaluate(ctx, &ready, key, full)
}

// evaluate makes a decision and shows it.
func (b *bench) evaluate(ctx context.Context, s *sheet.Sheet, key string, full bool) {
	begun := time.Now()
	opt := b.pipe
	opt.SkipFilter = !full
	r, err := pipeline.EvaluateSheet(ctx, s, opt)
	var parts *report.Parts
	if err == nil {
		parts, err = r.Parts()
	}
	if ctx.Err() != nil {
		return
	}
	b.mu.Lock()
	b.decision = decision{sheet: s, report: r, parts: parts, err: err, basis: key, full: full || err != nil, started: begun, duration: time.Since(begun)}
	b.mu.Unlock()
	b.hub.changed("bar", "decided", "fit", "leave")
	b.nudge()
}

func hexSum(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:])
}
