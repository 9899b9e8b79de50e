package report

import (
	"regexp"
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

// The pieces say what the page says, byte for byte, but for the pictures for a phone,
// which the page draws live.
func TestPartsAreThePages(t *testing.T) {
	r := fixture(5)
	phones := regexp.MustCompile(`(?s)<div class="widescreen">(<svg.*?</svg>)</div><div class="narrowscreen"><svg.*?</svg></div>`)
	flat := func(s string) string { return phones.ReplaceAllString(s, "$1") }
	page := flat(string(htmlOf(t, r)))
	p, err := r.Parts(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for name, part := range map[string]string{"answer": string(p.Answer), "ranking": string(p.Ranking), "brands": string(p.Brands),
		"plan": string(p.Units[0].Plan)} {
		if len(part) < 100 || !strings.Contains(page, strings.TrimSpace(flat(part))) {
			t.Errorf("%s is not the page's", name)
		}
	}
	if len(p.Units) != len(r.Units) {
		t.Fatalf("%d units, want %d", len(p.Units), len(r.Units))
	}
	filtered := 0
	for _, u := range p.Units {
		if wide, narrow := strings.Count(string(u.Details), `<svg class="plot"`), strings.Count(string(u.Details), `<div class="narrowscreen"><svg class="plot"`); narrow < 4 || wide != 2*narrow {
			t.Errorf("%s: %d of %d pictures have one for a phone", u.Name, narrow, wide-narrow)
		}
		if !strings.Contains(page, strings.TrimSpace(flat(string(u.Details)))) {
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
