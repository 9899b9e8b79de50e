package pool

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
)

// Everything is done once, whatever the numbers of things and workers, and no worker is
// begun for nothing.
func TestEachDoesAllOnce(t *testing.T) {
	for _, n := range []int{0, 1, 2, 7, 100} {
		for _, workers := range []int{0, 1, 3, 200} {
			t.Run(fmt.Sprintf("%d on %d", n, workers), func(t *testing.T) {
				done := make([]atomic.Int32, n)
				var begun atomic.Int32
				err := EachWith(t.Context(), n, workers, func() func(int) error {
					begun.Add(1)
					return func(i int) error { done[i].Add(1); return nil }
				})
				if err != nil {
					t.Fatal(err)
				}
				for i := range done {
					if done[i].Load() != 1 {
						t.Errorf("%d done %d times", i, done[i].Load())
					}
				}
				if b := int(begun.Load()); b > n || workers > 0 && b > workers {
					t.Errorf("%d workers begun", b)
				}
			})
		}
	}
}

// The error told is that of the lowest number, though a higher one fails first, and no
// more than what the workers had begun is done after it.
func TestEachTellsTheFirstError(t *testing.T) {
	const n, workers = 1000, 4
	one, three := errors.New("one"), errors.New("three")
	failed := make(chan bool)
	var done atomic.Int32
	err := Each(t.Context(), n, workers, func(i int) error {
		done.Add(1)
		switch i {
		case 1:
			<-failed // until the higher one has failed
			return one
		case 3:
			defer close(failed)
			return three
		}
		return nil
	})
	if err != one {
		t.Errorf("%v, want %v", err, one)
	}
	if d := done.Load(); d == n {
		t.Error("all things were done after an error")
	}
}

// A context that ends stops the work, and its error is told rather than a thing's own.
func TestEachEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	var done atomic.Int32
	err := Each(ctx, 1000, 2, func(i int) error {
		done.Add(1)
		if i == 5 {
			cancel()
			return errors.New("own")
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || done.Load() == 1000 {
		t.Errorf("%v after %d", err, done.Load())
	}
}
