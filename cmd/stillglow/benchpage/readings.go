package benchpage

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"strings"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// reading is what measuring a capture gave, as long as file and settings stand.
type reading struct {
	serial   int // in the order they were begun
	state    readState
	got      report.Capture
	words    cardWords // of got
	err      error
	channels []string // when one has to be chosen

	early   *analysis.Envelope // the record, while it is being measured
	inVolts bool               // early is in volts, not of full scale
	stop    context.CancelFunc
}

type readState int

const (
	waiting readState = iota
	measuring
	measured
	failed
)

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
	b.begun++
	work, stop := context.WithCancel(ctx)
	r := &reading{serial: b.begun, stop: stop}
	e.reading = r
	b.readings[key] = r
	go b.measure(work, r, b.sheet, u, e.Capture)
}

// measure makes a reading once its turn comes.
func (b *bench) measure(ctx context.Context, r *reading, s *sheet.Sheet, u sheet.Unit, c sheet.Capture) {
	defer r.stop()
	select {
	case b.slot <- struct{}{}:
		defer func() { <-b.slot }()
	case <-ctx.Done():
		return
	}
	b.set(func() { r.state = measuring })
	opt := b.pipe
	opt.Progress = func(e pipeline.Event) {
		if e.Kind == pipeline.CaptureOpened && e.Unit >= 0 { // -1: its baseline
			record := wholeRecord(e.Trace)
			b.set(func() { r.early, r.inVolts = &record, e.Trace.Calibrated })
		}
	}
	got, err := pipeline.MeasureCapture(ctx, s, u, c, opt)
	if ctx.Err() != nil {
		return
	}
	var words cardWords
	if err == nil {
		words = wordsOf(got)
	}
	b.set(func() {
		r.early = nil
		if err != nil {
			r.state, r.err = failed, err
			if r.channels = channelsOf(err); r.channels != nil {
				b.layouts[c.Path] = strings.Join(r.channels, "\x00")
			}
			return
		}
		r.state, r.got, r.words = measured, got, words
		b.layouts[c.Path] = got.Layout
	})
	b.nudge()
}

// wholeRecord is a trace as columns of least and greatest volts.
func wholeRecord(tr *capture.Trace) analysis.Envelope {
	return report.Reduced(analysis.Envelope{StepS: 1 / tr.SampleRateHz, MinV: tr.Volts, MaxV: tr.Volts}, waveColumns)
}

// drop ends the work on readings that no entry waits for any more, since a setting
// was changed meanwhile.
func (b *bench) drop() {
	wanted := map[*reading]bool{}
	for _, e := range b.entries {
		wanted[e.reading] = true
	}
	for key, r := range b.readings {
		if r.state < measured && !wanted[r] {
			r.stop()
			delete(b.readings, key)
		}
	}
}

// set changes a reading and tells the pages.
func (b *bench) set(change func()) {
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
		fmt.Fprintf(&k, "%q %g ", pipeline.BaselineOf(c), c.LoadA) // its path and all of its options
		if info, err := os.Stat(c.Path); err == nil {
			fmt.Fprint(&k, info.Size(), info.ModTime().UnixNano(), " ")
		}
	}
	capt(&c)
	capt(c.Baseline)
	fmt.Fprint(&k, info.Size(), s.MainsHz, s.Instrument.LowPass, s.Instrument.GainPercent, u.RatedV, s.Heaters.Groups, s.Heaters.OwnValves)
	return k.String()
}

func channelsOf(err error) []string {
	var many *capture.ChannelError
	if asError(err, &many) {
		return many.Channels
	}
	return nil
}

// workers leaves a processor to the page where there is more than one.
func workers() int { return max(1, runtime.GOMAXPROCS(0)-1) }
