// Package spare keeps work spaces that take long to prepare from one record of a report
// to the next: tapers, transforms and their places. What they hold depends on a length
// alone, and nothing of any record comes through them.
package spare

import "sync"

// List keeps the work spaces last given back, each for one length. The zero value keeps
// none; any number of goroutines may use it at once.
type List[T any] struct {
	Most int // spaces kept, so that records of ever other lengths do not fill the memory

	mu   sync.Mutex
	kept []kept[T] // the one last given back last
}

type kept[T any] struct {
	length int
	space  T
}

// Take gives a space for a length to the caller alone: one given back before, as it was
// left then, or a fresh one.
func (l *List[T]) Take(length int, fresh func(length int) T) T {
	if space, ok := l.find(length); ok {
		return space
	}
	return fresh(length)
}

func (l *List[T]) find(length int) (space T, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := len(l.kept) - 1; i >= 0; i-- {
		if l.kept[i].length == length {
			space = l.kept[i].space
			l.kept = append(l.kept[:i], l.kept[i+1:]...)
			return space, true
		}
	}
	return space, false
}

// Give gives a space back, which the caller must not use any more.
func (l *List[T]) Give(length int, space T) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.kept = append(l.kept, kept[T]{length, space})
	if over := len(l.kept) - l.Most; over > 0 {
		l.kept = append(l.kept[:0], l.kept[over:]...)
	}
}
