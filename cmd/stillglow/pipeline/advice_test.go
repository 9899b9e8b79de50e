package pipeline

import (
	"strings"
	"testing"

	"stillglow/analysis/heater"
)

// Where the filter's one resistor stands for another arrangement, what that asks of the
// builder is said: 13 V for two 6.3 V heaters leave 8.87 V (+40.8 %) on one when the other
// is pulled (the operating point of analysis/heater's tests), and the strings that the
// dropper alone would best have are not the filter's.
func TestSharedInstead(t *testing.T) {
	load, err := heater.ParseLoad("2x6SN7", nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := heater.MakePlan(load, heater.Supply{Volts: 13, TolFrac: 0.05}, heater.Options{})
	if err != nil {
		t.Fatal(err)
	}
	part, ok := p.Shared()
	if !ok || p.Best < 0 {
		t.Fatal("no plan")
	}
	got := sharedInstead(part, p.Arrangements[p.Best])
	for _, want := range []string{"would best be one per string", "leave the heaters wired as listed", "8.87 V (+40.8 %), over its limit"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in %q", want, got)
		}
	}
	if got := sharedInstead(heater.Part{Label: "1 Ω"}, heater.Arrangement{Name: "one per valve"}); strings.Contains(got, "limit") || strings.Contains(got, "listed") {
		t.Error(got)
	}
}
