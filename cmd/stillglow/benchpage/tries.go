package benchpage

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"stillglow/analysis/filter"
	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// tried is a post-filter of the user's own parts for one unit.
type tried struct {
	circuit filter.Circuit
	typed   map[string]string // the form's fields

	basis   string // what parts rest on: the decision and the circuit
	parts   *report.UnitParts
	running bool
}

// predict begins to work out what the tried post-filters leave where that is not
// known yet. The ranking does not rest on them and is left alone.
func (b *bench) predict(ctx context.Context) {
	d := b.decision
	if d.report == nil || d.err != nil || d.running {
		return
	}
	for name, t := range b.tried {
		i := slices.IndexFunc(d.report.Units, func(u report.Unit) bool { return u.Eval.Unit.Key == name })
		basis := b.tryBasis(t)
		if i < 0 || t.running || t.basis == basis {
			continue
		}
		t.running = true
		go func() {
			parts := behind(ctx, d, i, t.circuit, b.pipe)
			b.mu.Lock()
			t.running, t.basis, t.parts = false, basis, parts
			b.mu.Unlock()
			b.hub.changed("fit")
			b.nudge()
		}()
	}
}

// tryBasis names what the figures of a try rest on.
func (b *bench) tryBasis(t *tried) string { return fmt.Sprintf("%s %+v", b.decision.basis, t.circuit) }

// behind words what a circuit leaves of one unit of a report; nil where ctx ended.
func behind(ctx context.Context, d decision, i int, c filter.Circuit, opt pipeline.Options) *report.UnitParts {
	unit := d.report.Units[i]
	advice, err := pipeline.PredictFilter(ctx, d.sheet, d.report, unit.Eval.Unit.Index, c, opt)
	if err != nil {
		advice = &filter.Advice{Why: capture.OneLine(err.Error())}
	}
	unit.Filter = advice
	one := *d.report
	one.Units = []report.Unit{unit}
	parts, err := one.Parts(ctx)
	if err != nil || len(parts.Units) != 1 || ctx.Err() != nil {
		return nil
	}
	return &parts.Units[0]
}

// renamed lets a unit keep its try.
func (b *bench) renamed(was, is string) {
	b.mu.Lock()
	t := b.tried[was]
	b.mu.Unlock()
	if t != nil && was != is {
		b.try(is, &tried{circuit: t.circuit, typed: t.typed})
	}
}

// kept is what the page keeps beside the sheet: it is no part of the decision.
type kept struct {
	Folder string                       `json:"folder,omitempty"` // followed, inside the bench's own
	Tried  map[string]map[string]string `json:"tried,omitempty"`  // forms of post-filters, by unit
}

func (b *bench) keptPath() string { return filepath.Join(b.file.Folder(), "page.json") }

// keep writes what is kept. A folder that can't be written to costs the memory of
// it and nothing else: every change of the sheet says so itself.
func (b *bench) keep() {
	k := kept{Folder: b.follow.inside()}
	b.mu.Lock()
	k.Tried = map[string]map[string]string{}
	for name, t := range b.tried {
		k.Tried[name] = t.typed
	}
	b.mu.Unlock()
	b.keeping.Lock()
	defer b.keeping.Unlock()
	text, err := json.MarshalIndent(k, "", "  ")
	if err != nil || os.MkdirAll(b.file.Folder(), 0o755) != nil {
		return
	}
	part := b.keptPath() + ".writing"
	if os.WriteFile(part, append(text, '\n'), 0o644) == nil {
		_ = os.Rename(part, b.keptPath())
	}
}

// recall takes up what an earlier run kept, as far as it still makes sense.
func (b *bench) recall(root *os.Root) {
	text, err := os.ReadFile(b.keptPath())
	var k kept
	if err != nil || json.Unmarshal(text, &k) != nil {
		return
	}
	for name, typed := range k.Tried {
		form := url.Values{}
		for field, v := range typed {
			form.Set(field, v)
		}
		if c, err := circuitOf(form); err == nil {
			b.tried[name] = &tried{circuit: c, typed: typed}
		}
	}
	if k.Folder != "" && filepath.IsLocal(k.Folder) {
		if folder, err := root.OpenRoot(k.Folder); err == nil {
			b.follow.set(folder, k.Folder, true)
		}
	}
}
