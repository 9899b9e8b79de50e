package benchpage

import (
	"sync"

	"stillglow/capture/sheet"
)

// arrivals are kept files on their way into the sheet. Those that come while it is
// being written go into it together, so that forty dropped at once don't make the
// user's own changes wait for forty writes.
type arrivals struct {
	mu     sync.Mutex
	queue  []arrival
	taking bool // somebody writes, and takes what comes meanwhile too
}

type arrival struct {
	files []string
	done  chan error // of one place
}

// arrived takes kept files into the sheet; those that come together are one step to
// undo.
func (b *bench) arrived(files []string) error {
	in, mine := &b.incoming, arrival{files, make(chan error, 1)}
	in.mu.Lock()
	in.queue = append(in.queue, mine)
	if in.taking {
		in.mu.Unlock()
		return <-mine.done
	}
	in.taking = true
	for len(in.queue) > 0 {
		batch := in.queue
		in.queue = nil
		in.mu.Unlock()
		err := b.takeIn(batch)
		for _, a := range batch {
			a.done <- err
		}
		in.mu.Lock()
	}
	in.taking = false
	in.mu.Unlock()
	return <-mine.done
}

// takeIn writes one batch into the sheet.
func (b *bench) takeIn(batch []arrival) error {
	if b.sheetGone() {
		return errSheetGone
	}
	var files []string
	for _, a := range batch {
		files = append(files, a.files...)
	}
	err := b.file.ChangeInRow("arrived", func(t *sheet.Text) error {
		s, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		return addLoose(t, s, files)
	})
	b.nudge()
	return err
}
