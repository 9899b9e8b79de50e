package report

import (
	"testing"
)

// A page of many units stays small: its curves shrink, and not more often than it
// takes.
func TestPageOf60UnitsIsSmall(t *testing.T) {
	b := htmlOf(t, fixture(60))
	t.Logf("%.2f MB", float64(len(b))/1e6)
	if len(b) > 3_000_000 {
		t.Errorf("page of 60 units takes %d bytes, want at most 3 MB", len(b))
	}
	if len(b) < 1_200_000 {
		t.Errorf("page of 60 units takes %d bytes: its curves are thinner than they need be", len(b))
	}
}
