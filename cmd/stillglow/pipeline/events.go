package pipeline

import (
	"sync"

	"stillglow/capture"
	"stillglow/report"
)

// EventKind says what an Event is about.
type EventKind int

// The kinds. Every capture that is started is done, unless the work is
// interrupted.
const (
	CaptureStarted EventKind = iota // a capture is being read
	CaptureOpened                   // its samples are there and are being measured; left out where an earlier run's result is taken
	CaptureDone                     // it is measured, or Err says why not
	FilterStarted                   // a post-filter for a unit is being looked for, which takes seconds
	FilterDone                      // the search has ended
)

// Event tells how far an evaluation is.
type Event struct {
	Kind    EventKind // what happened
	Unit    int       // index into the sheet's Units, -1: a baseline
	Capture int       // index into the unit's Captures; -1 for baselines and filters
	File    string    // of the capture, as the sheet has it

	Done, Total int // captures and baselines done, and in all

	Trace *capture.Trace // of CaptureOpened only: to look at during the call, not to change

	// Of CaptureDone only. A capture may still be corrected when all of its unit
	// are there (an alias shows only between two), so that the report's own
	// figures are the ones that hold.
	Result    *report.Capture // nil when Err is not
	FromCache bool            // an earlier run's result, not measured now
	Err       error           // of a capture that can't be read
}

// teller passes events on one at a time and counts what is done.
type teller struct {
	mu          sync.Mutex
	to          func(Event) // nil: nobody
	done, total int
}

func (t *teller) tell(e Event) {
	if t.to == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if e.Kind == CaptureDone {
		t.done++
	}
	e.Done, e.Total = t.done, t.total
	t.to(e)
}
