package capture

import (
	"regexp"
	"testing"
)

// Patterns are compiled when they are first asked, so that a slip in one would end the
// program there: each is a regular expression.
func TestPatterns(t *testing.T) {
	if len(patterns) < 40 {
		t.Fatalf("%d patterns are known", len(patterns))
	}
	for _, expr := range patterns {
		if _, err := regexp.Compile(expr); err != nil {
			t.Error(err)
		}
	}
}
