package spectrum

// relay hands blocks of samples to another goroutine, which uses them in order.
type relay struct {
	full, free chan relayBlock
	done       chan struct{}
}

// relayBlock is a block: samples and, when gated, their weights.
type relayBlock struct{ x, w []float64 }

// relayDepth is how many blocks may wait; they are recycled.
const relayDepth = 4

// newRelay starts the goroutine; use keeps nothing of what it is given.
func newRelay(use func(x, w []float64)) *relay {
	r := &relay{
		full: make(chan relayBlock, relayDepth),
		free: make(chan relayBlock, relayDepth),
		done: make(chan struct{}),
	}
	for range relayDepth {
		r.free <- relayBlock{}
	}
	go func() {
		defer close(r.done)
		for b := range r.full {
			use(b.x, b.w)
			r.free <- b
		}
	}()
	return r
}

// take gives a block to fill, once one is free.
func (r *relay) take() relayBlock { return <-r.free }

// push hands on a block that take gave.
func (r *relay) push(b relayBlock) { r.full <- b }

// close waits until all blocks are used; a second time it does nothing.
func (r *relay) close() {
	if r.full != nil {
		close(r.full)
		<-r.done
		r.full = nil
	}
}
