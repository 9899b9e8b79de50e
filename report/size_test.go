package report

import (
	"context"
	"regexp"
	"strings"
	"sync"
	"testing"
)

// drawPage60 draws the page of 60 units, of which the first 24 have a post-filter: in a
// box of candidates a third are near misses.
var drawPage60 = sync.OnceValues(func() ([]byte, error) {
	r := fixture(60)
	for i := range 24 {
		u := &r.Units[i]
		u.Filter = fixtureAdvice(u, u.Captures[1].M)
	}
	return r.HTML(context.Background())
})

// pageOf60 is the page of 60 units, drawn once.
func pageOf60(t *testing.T) []byte {
	t.Helper()
	b, err := drawPage60()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A page of many units stays small: its curves shrink, and not more often than it
// takes.
func TestPageOf60UnitsIsSmall(t *testing.T) {
	b := pageOf60(t)
	t.Logf("%.2f MB", float64(len(b))/1e6)
	if len(b) > 3_000_000 {
		t.Errorf("page of 60 units takes %d bytes, want at most 3 MB", len(b))
	}
	if len(b) < 1_200_000 {
		t.Errorf("page of 60 units takes %d bytes: its curves are thinner than they need be", len(b))
	}
}

// A heater plan that reads as another unit's stands once on the page of a large
// bench, and at every unit on that of a small one.
func TestSamePlansOnce(t *testing.T) {
	const words, sketch = "are the same as for", "Wiring: polarity, parts in series"
	small := string(htmlOf(t, fixture(12)))
	if strings.Contains(small, words) || strings.Count(small, sketch) < 2 {
		t.Errorf("a bench of 12: %d sketches, shortened: %v", strings.Count(small, sketch), strings.Contains(small, words))
	}
	large := string(pageOf60(t))
	plans := strings.Count(large, "<h4>Heater plan</h4>")
	if n, s := strings.Count(large, words), strings.Count(large, sketch); n == 0 || n+s < plans || s >= plans {
		t.Errorf("a bench of 60: %d plans, %d sketches, %d left to another unit", plans, s, n)
	}
	for _, m := range regexp.MustCompile(words+` <a href="#(u\d+)">`).FindAllStringSubmatch(large, -1) {
		if !strings.Contains(large, `id="`+m[1]+`"`) {
			t.Errorf("%s is no place on the page", m[1])
		}
	}
}
