package benchpage

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"strings"

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

func channelsOf(err error) []string {
	var many *capture.ChannelError
	if asError(err, &many) {
		return many.Channels
	}
	return nil
}

// workers leaves a processor to the page where there is more than one.
func workers() int { return max(1, runtime.GOMAXPROCS(0)-1) }
