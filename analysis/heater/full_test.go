package heater

import "os"

// fullTests reports whether the long lists of the tests run whole, as .ci/run asks.
func fullTests() bool { return os.Getenv("STILLGLOW_FULL") != "" }

// short gives whole where the long lists run, and otherwise part.
func short(whole, part int) int {
	if fullTests() {
		return whole
	}
	return part
}
