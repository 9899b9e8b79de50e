package report

import (
	"strings"
	"testing"
)

// What it takes to tell two brands apart is said once, not from either side.
func TestPageTellsEachPairOfBrandsOnce(t *testing.T) {
	r := fixture(6)
	for i := range r.Brands {
		r.Brands[i].MoreToTell = "3 more units"
	}
	if n, want := strings.Count(string(htmlOf(t, r)), "<li>3 more units"), len(r.Brands)-1; want < 1 || n != want {
		t.Errorf("%d pairs, want %d", n, want)
	}
}

// The pieces say what the page says, byte for byte.
func TestPartsAreThePages(t *testing.T) {
	r := fixture(5)
	page := string(htmlOf(t, r))
	p, err := r.Parts()
	if err != nil {
		t.Fatal(err)
	}
	for name, part := range map[string]string{"answer": string(p.Answer), "ranking": string(p.Ranking), "brands": string(p.Brands),
		"plan": string(p.Units[0].Plan)} {
		if len(part) < 100 || !strings.Contains(page, strings.TrimSpace(part)) {
			t.Errorf("%s is not the page's", name)
		}
	}
	if len(p.Units) != len(r.Units) {
		t.Fatalf("%d units, want %d", len(p.Units), len(r.Units))
	}
	filtered := 0
	for _, u := range p.Units {
		if !strings.Contains(page, strings.TrimSpace(string(u.Details))) {
			t.Errorf("%s: the details are not the page's", u.Name)
		}
		if u.Filter != "" && u.FilterPlot != "" {
			filtered++
		}
	}
	if filtered == 0 {
		t.Error("no unit of the fixture shows a post-filter")
	}
	c := PartsOf(r.Units[0].Captures[0])
	if len(c.Read) == 0 || len(c.Figures) == 0 {
		t.Errorf("%+v", c)
	}
}
