package cycle

import "sync"

// both does two things side by side, none of which depends on what the other does.
func both(one, other func()) {
	var wait sync.WaitGroup
	wait.Go(one)
	other()
	wait.Wait()
}

// halves does n things, in ascending order within two halves side by side. Few are
// done at once.
func halves(n int, do func(from, to int)) {
	if n < leastHalved {
		do(0, n)
		return
	}
	both(func() { do(n/2, n) }, func() { do(0, n/2) })
}
