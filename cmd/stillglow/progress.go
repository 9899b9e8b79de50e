package main

import (
	"io"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"stillglow/capture"
	"stillglow/cmd/stillglow/pipeline"
)

// progressDelay is how long work must last before a bar appears.
const progressDelay = time.Second

// newProgress gives a function to tell how far the work is: a bar on w once
// the work has lasted a second, when w is a terminal, else nothing. total 0
// means unknown. It may be called from several goroutines; done >= total
// clears the bar.
func newProgress(w io.Writer, label string) func(done, total int64) {
	f := terminalOf(w)
	if f == nil {
		return func(int64, int64) {}
	}
	var (
		mu    sync.Mutex
		bar   *progressbar.ProgressBar
		start = time.Now()
	)
	return func(done, total int64) {
		mu.Lock()
		defer mu.Unlock()
		if total > 0 && done >= total {
			if bar != nil {
				_ = bar.Finish()
				bar = nil
			}
			start = time.Now()
			return
		}
		if time.Since(start) < progressDelay {
			return
		}
		if bar == nil {
			n := total
			if n <= 0 {
				n = -1
			}
			bar = progressbar.NewOptions64(n,
				progressbar.OptionSetWriter(f),
				progressbar.OptionSetDescription(capture.OneLine(label)),
				progressbar.OptionShowBytes(true),
				progressbar.OptionThrottle(100*time.Millisecond),
				progressbar.OptionClearOnFinish(),
				progressbar.OptionSetWidth(24))
		}
		_ = bar.Set64(done)
	}
}

// measuringProgress is newProgress over the captures of a sheet.
func measuringProgress(w io.Writer) func(pipeline.Event) {
	bar := newProgress(w, "measuring")
	return func(e pipeline.Event) {
		if e.Kind == pipeline.CaptureDone {
			bar(int64(e.Done), int64(e.Total))
		}
	}
}
