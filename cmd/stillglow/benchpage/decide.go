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
	left     int    // captures still to be measured, which it is without
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
	left := 0
	read := map[captureID]bool{}
	var basis strings.Builder
	basis.Write(b.text)
	for _, e := range b.entries {
		if e.reading == nil || e.Role == loose {
			continue
		}
		if e.reading.state < measured {
			left++
		}
		if e.reading.state == measured {
			read[idOf(&e.Capture)] = true
			fmt.Fprintf(&basis, "\n%s %p", e.ID, e.reading)
		}
	}
	key, busy := hexSum(basis.String()), left > 0
	if key == d.basis && (d.full || busy) || busy && time.Since(d.started) < time.Second {
		return
	}
	full := !busy && key == d.basis // the second time, with post-filters
	d.running, d.started = true, time.Now()
	go b.evaluate(ctx, onlyRead(b.sheet, read), key, full, left)
}

// captureID tells captures apart: two channels of one file are two of them.
type captureID struct{ path, channel string }

func idOf(c *sheet.Capture) captureID { return captureID{c.Path, c.Options.Channel} }

// onlyRead is a sheet without the captures that are still to be read, or can't be.
func onlyRead(s *sheet.Sheet, read map[captureID]bool) *sheet.Sheet {
	only := *s
	only.Units = slices.Clone(s.Units)
	for i := range only.Units {
		u := &only.Units[i]
		var kept []sheet.Capture
		for _, c := range u.Captures {
			if c.Baseline != nil && !read[idOf(c.Baseline)] {
				c.Baseline = nil
			}
			if read[idOf(&c)] {
				kept = append(kept, c)
			}
		}
		u.Captures = kept
	}
	if b := only.Instrument.Baseline; b != nil && !read[idOf(b)] {
		only.Instrument.Baseline = nil
	}
	return &only
}

// evaluate makes a decision and shows it.
func (b *bench) evaluate(ctx context.Context, s *sheet.Sheet, key string, full bool, left int) {
	begun := time.Now()
	opt := b.pipe
	opt.SkipFilter = !full
	r, err := pipeline.EvaluateSheet(ctx, s, opt)
	var parts *report.Parts
	if err == nil {
		parts, err = r.Parts(ctx)
	}
	if ctx.Err() != nil {
		return
	}
	b.mu.Lock()
	b.decision = decision{sheet: s, report: r, parts: parts, err: err, basis: key, full: full || err != nil, left: left, started: begun, duration: time.Since(begun)}
	b.mu.Unlock()
	b.hub.changed("bar", "whose", "decided", "fit", "leave")
	b.nudge()
}

func hexSum(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:])
}
