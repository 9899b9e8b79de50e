package pipeline

import (
	"sync"
	"sync/atomic"
	"testing"
)

// No more is taken at a time than there is, whoever asks for more gets all of it alone,
// and everybody gets a turn.
func TestRoomIsNeverOverfilled(t *testing.T) {
	const all = 10
	r := newRoom(all)
	var taken, most, served atomic.Int64
	var group sync.WaitGroup
	for i := range 60 {
		group.Go(func() {
			n := 1 + i%13 // beyond what there is, too
			give := r.take(n)
			now := taken.Add(int64(min(n, all)))
			for old := most.Load(); now > old && !most.CompareAndSwap(old, now); old = most.Load() {
			}
			served.Add(1)
			taken.Add(-int64(min(n, all)))
			give()
		})
	}
	group.Wait()
	if most.Load() > all || served.Load() != 60 || r.taken != 0 {
		t.Errorf("at most %d of %d taken, %d served, %d left taken", most.Load(), all, served.Load(), r.taken)
	}
}
