package pipeline

import "sync"

// room bounds what is held in memory at a time by those that work side by side.
type room struct {
	mu    sync.Mutex
	freed *sync.Cond
	all   int // what there is, in the unit of whoever asks for it
	taken int
}

func newRoom(all int) *room {
	r := &room{all: all}
	r.freed = sync.NewCond(&r.mu)
	return r
}

// take waits until there is room for n, all of it for whoever needs more than there is,
// and gives what returns it.
func (r *room) take(n int) (give func()) {
	n = min(n, r.all)
	r.mu.Lock()
	defer r.mu.Unlock()
	for r.taken+n > r.all {
		r.freed.Wait()
	}
	r.taken += n
	return func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.taken -= n
		r.freed.Broadcast()
	}
}
