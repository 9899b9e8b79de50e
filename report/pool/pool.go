// Package pool does many things side by side on few goroutines. It is the one place
// where captures are measured, near misses searched and pictures drawn in parallel, so
// that all of them stop and fail alike.
package pool

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls do for 0 to n-1 on so many workers, 0: one per core. It gives ctx's error
// where that ended it, else the error of the lowest number that had one. After an error
// nothing more is begun; what is begun is always waited for.
func Each(ctx context.Context, n, workers int, do func(i int) error) error {
	return EachWith(ctx, n, workers, func() func(int) error { return do })
}

// EachWith is Each for work that needs a space of its own: every worker calls begin once
// and does its share by the function that it gets.
func EachWith(ctx context.Context, n, workers int, begin func() func(i int) error) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	errs := make([]error, n)
	var next atomic.Int64
	var failed atomic.Bool
	var all sync.WaitGroup
	for range min(workers, n) {
		all.Go(func() {
			do := begin()
			for {
				i := int(next.Add(1)) - 1
				if i >= n || ctx.Err() != nil || failed.Load() {
					return
				}
				if errs[i] = do(i); errs[i] != nil {
					failed.Store(true)
				}
			}
		})
	}
	all.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
