package capture

import "testing"

// Asking for large pages leaves the values alone, whatever the room and where it begins.
func TestInLargePagesKeepsValues(t *testing.T) {
	const page = 2 << 20 / 8
	for _, n := range []int{0, 1, page, 2*page - 1, 2 * page, 3*page + 5, 10*page + 1} {
		for _, from := range []int{0, 1, 513} {
			x := make([]float64, from+n)[from:]
			for i := range x {
				x[i] = float64(i)
			}
			inLargePages(x[:0])
			inLargePages(x[n/2:])
			for i, v := range x {
				if v != float64(i) {
					t.Fatalf("%d values from %d: the one at %d became %g", n, from, i, v)
				}
			}
		}
	}
	inLargePages(nil)
}
