package report

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"stillglow/analysis/target"
	"stillglow/capture"
)

//go:embed assets/page.html assets/page.css assets/page.js assets/uPlot.iife.min.js assets/uPlot.min.css assets/uPlot.LICENSE assets/labels.html
var assets embed.FS

// The page's curves are reduced, peaks kept, so that the page of a large bench
// stays under pageBytes: static pictures and live plots start from these columns
// and lose a quarter as often as it takes.
const (
	staticColumns  = 260
	liveColumns    = 1500
	waveColumns    = 4800 // of the live waveforms
	pageBytes      = 2_950_000
	leastShare     = 0.045
	phoneColumns   = 200  // of one on a phone
	leastColumns   = 60   // of a static picture
	histogramUnits = 12   // the first of a large bench, whose pages show histograms
	unitsInFull    = 20.0 // units that fit with curves in full; drawing them for more would be thrown away
	openUnitsBelow = 2    // a page of a single unit shows it open
)

func asset(name string) (string, error) {
	b, err := assets.ReadFile("assets/" + name)
	return string(b), err
}

// lean leaves out the end tags that HTML lets an author leave out: a twentieth of
// the page of a large bench.
var lean = strings.NewReplacer("</td>", "", "</th>", "", "</tr>", "", "</li>", "", "</dt>", "", "</dd>", "")

// pageFuncs are what the page's template calls.
var pageFuncs = template.FuncMap{"unbroken": UnbrokenName}

// longestUnbroken is the longest word that is kept on one line, in letters.
const longestUnbroken = 16

// UnbrokenName is a name whose short words with a hyphen in them, such as Q-1, stay on
// one line.
func UnbrokenName(name string) template.HTML {
	words := strings.Split(name, " ")
	for i, w := range words {
		words[i] = template.HTMLEscapeString(w)
		if strings.Contains(w, "-") && utf8.RuneCountInString(w) <= longestUnbroken {
			words[i] = `<span class="nowrap">` + words[i] + "</span>"
		}
	}
	return template.HTML(strings.Join(words, " "))
}

// HTML is index.html: one self-contained page. Everything in it is escaped by
// html/template or written by this package; its content security policy allows
// its own style and scripts by hash and nothing else, no network at all. Its pictures
// are drawn until ctx ends.
func (r *Report) HTML(ctx context.Context) ([]byte, error) {
	page, err := asset("page.html")
	if err != nil {
		return nil, err
	}
	if len(r.Units) > unitsInFull {
		page = lean.Replace(page)
	}
	t, err := template.New("page").Funcs(pageFuncs).Parse(page)
	if err != nil {
		return nil, err
	}
	share := math.Min(1, unitsInFull/math.Max(1, float64(len(r.Units))))
	for {
		v, err := r.view(ctx, share, false)
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		if err := t.Execute(&b, v); err != nil {
			return nil, err
		}
		whole := Unbreakable(b.Bytes())
		if len(whole) <= pageBytes || share <= leastShare {
			return whole, nil
		}
		// Much of a page doesn't shrink with its curves, so aim lower than in proportion.
		share = math.Max(leastShare, share*math.Min(0.85, 0.8*pageBytes/float64(len(whole))))
	}
}

// sealed are a page's style and scripts with the policy that allows just them.
type sealed struct {
	CSP     string
	CSS     template.CSS
	Scripts template.HTML
}

// withCSP joins style and scripts with the policy that allows just them.
func withCSP(css string, scripts ...string) sealed {
	var s sealed
	s.CSS = template.CSS(css)
	policy := "default-src 'none'; base-uri 'none'; form-action 'none'; style-src '" + hash(css) + "'"
	var html strings.Builder
	for i, js := range scripts {
		if i == 0 {
			policy += "; script-src"
		}
		policy += " '" + hash(js) + "'"
		html.WriteString("<script>" + js + "</script>\n")
	}
	s.CSP = policy
	s.Scripts = template.HTML(html.String())
	return s
}

func hash(s string) string {
	sum := sha256.Sum256([]byte(s))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// view is what page.html shows; all numbers are worded already.
type view struct {
	sealed
	Title                   string
	Meta                    []string
	Invented                string
	Answer                  Answer
	BrandNames              []string
	Verdicts                []verdictView
	Columns                 []columnView
	BarKey                  []barKey
	Units                   []unitView
	Brands                  []brandView
	TellMore                bool
	TellNote                string
	OneHalf                 bool // the brands' margins are of the half across the output alone
	BrandPlot, Overlay      template.HTML
	Common                  *commonView
	CommonPlot              template.HTML
	TargetTitle, TargetText string
	Limits                  []limitView
	LimitNotes              []string // sources, numbered
	TargetMarks             string
	TargetAssumptions       []string
	Rules                   []string // how margins are computed and units ordered
	Setup                   []pair
	BaselineCapture         []captureView
	Cautions                []capture.Caution
	Safety                  []string
	Version, Date           string
}

type pair struct{ K, V string }

type verdictView struct {
	Word, Class, Shape string
	Count              int
}

type columnView struct {
	Head, Sub, Sort string
	Number, Sorted  bool
}

type barKey struct {
	N    int
	Name string
}

type brandView struct{ Name, Passing, Share, Median, Best, Worst, More string }

type limitView struct {
	Name, Limit, Need string
	Source            int // number of its note
}

// verdictOrder is the order of the filter boxes and of sorting by verdict.
var verdictOrder = []target.Verdict{target.Pass, target.NearMiss, target.Fail, target.Open, target.Retake}

func verdictClass(v target.Verdict) string { return slug(string(v)) }

// view words the page; share shrinks its curves. still: no script makes its pictures
// live.
func (r *Report) view(ctx context.Context, share float64, still bool) (*view, error) {
	frame, err := pageFrame()
	if err != nil {
		return nil, err
	}
	data, err := r.pageData(share)
	if err != nil {
		return nil, err
	}
	v := &view{sealed: frame, Title: orText(clean(r.Title), "Heater supplies measured"), Answer: r.Answer(),
		Safety: safety(), Version: clean(r.ToolVersion), Date: clean(r.Date), Cautions: r.Cautions,
		TargetTitle: orText(clean(r.Target.Title), clean(r.Target.Name)), TargetText: clean(r.Target.Description),
		TargetAssumptions: markedAll(r.Target.Assumptions),
		Rules:             []string{target.MarginRule, target.RankRule, target.BrandRule},
		Meta:              cleanAll(nonEmptyOf(r.Workshop, r.Date, r.Instrument)),
		Verdicts:          r.verdictViews(), BrandNames: r.brandNames(),
		Common: r.commonSection(), Setup: r.setupRows()}
	v.TargetMarks = MarkNote(v.TargetAssumptions...)
	v.Scripts = template.HTML(`<script type="application/json" id="data">`+string(data)+"</script>\n") + v.Scripts
	if r.Invented {
		v.Invented = strings.TrimPrefix(InventedBanner, "Invented data: ")
		v.Invented = strings.ToUpper(v.Invented[:1]) + v.Invented[1:]
	}
	v.BarKey, v.Limits, v.LimitNotes = limitViews(r.Target.Limits)
	for i, b := range r.Brands {
		more := clean(b.MoreToTell)
		if i > 0 && i == len(r.Brands)-1 {
			more = "" // the last one's pair is that of the one before it
		}
		v.OneHalf = v.OneHalf || b.OneHalf
		v.TellMore, v.TellNote = v.TellMore || clean(b.MoreToTell) != "", target.TellNote()
		v.Brands = append(v.Brands, brandView{clean(b.Name), b.PassText(), shareText(b),
			brandDB(b, b.MedianDB), brandDB(b, b.BestDB), brandDB(b, b.WorstDB), more})
	}
	plots, err := r.pagePlots(ctx, share, still)
	if err != nil {
		return nil, err
	}
	v.BrandPlot, v.Overlay, v.CommonPlot = plots.brands, plots.overlay, plots.common
	columns := r.markdownCriteria()
	v.Columns = r.columnViews(columns)
	for i := range r.Units {
		u := r.unitView(i, columns)
		u.Plots = plots.unit[i]
		v.Units = append(v.Units, u)
	}
	if len(r.Units) > unitsInFull {
		v.samePlansOnce()
		v.sameReasonsOnce()
	}
	if r.Baseline != nil && r.Baseline.M != nil {
		v.BaselineCapture = []captureView{captureRows(*r.Baseline)}
	}
	return v, nil
}

// sameReasonsOnce leaves the reasons why figures are missing to the unit ahead that
// has the same.
func (v *view) sameReasonsOnce() {
	ahead := map[string]int{}
	for i := range v.Units {
		u := &v.Units[i]
		if len(u.NotMeasured) == 0 {
			continue
		}
		key := strings.Join(u.NotMeasured, "\n")
		if at, ok := ahead[key]; ok {
			u.NotMeasured, u.ReasonsOf = nil, &v.Units[at]
			continue
		}
		ahead[key] = i
	}
}

// samePlansOnce leaves a heater plan that reads as that of a unit ahead to that unit.
func (v *view) samePlansOnce() {
	var whole []int // units whose plans differ
	shortened := map[int]*planView{}
	for i := range v.Units {
		p := v.Units[i].Plan
		if p == nil {
			continue
		}
		at := slices.IndexFunc(whole, func(k int) bool { return samePlan(v.Units[k].Plan, p) })
		if at < 0 {
			whole = append(whole, i)
			continue
		}
		shortened[i] = p.shortened(v.Units[whole[at]])
	}
	for i, p := range shortened {
		v.Units[i].Plan = p
	}
}

// pageFrame is the page's style and scripts, which are the same on every page.
func pageFrame() (sealed, error) {
	js, err := pageScripts()
	if err != nil {
		return sealed{}, err
	}
	uplotCSS, err := asset("uPlot.min.css")
	if err != nil {
		return sealed{}, err
	}
	css, err := asset("page.css")
	if err != nil {
		return sealed{}, err
	}
	return withCSP(uplotCSS+css, js...), nil
}

// verdictViews counts the units of each verdict that there is.
func (r *Report) verdictViews() []verdictView {
	var out []verdictView
	for _, word := range verdictOrder {
		if n := r.count(word); n > 0 {
			out = append(out, verdictView{string(word), verdictClass(word), shape(word), n})
		}
	}
	return out
}

// brandNames are the units' brands, each once, in the units' order.
func (r *Report) brandNames() []string {
	var out []string
	seen := map[string]bool{}
	for i := range r.Units {
		if b := clean(r.Units[i].Eval.Unit.Brand); !seen[b] {
			seen[b] = true
			out = append(out, b)
		}
	}
	return out
}

// limitViews words the target's limits, numbers them for the units' bars, and
// numbers their sources, each of which stands once.
func limitViews(limits []target.Limit) (bars []barKey, views []limitView, sources []string) {
	for i, l := range limits {
		bars = append(bars, barKey{i + 1, shortName(l)})
		source := clean(l.Source)
		at := slices.Index(sources, source)
		if at < 0 {
			at = len(sources)
			sources = append(sources, source)
		}
		views = append(views, limitView{longName(l), limitText(l), needText(l), at + 1})
	}
	return bars, views, sources
}

func needText(l target.Limit) string {
	if l.NeedHighHz <= 0 {
		return ""
	}
	if l.NeedLowHz <= 0 {
		return "up to " + target.HzText(l.NeedHighHz)
	}
	return target.HzText(l.NeedLowHz) + " to " + target.HzText(l.NeedHighHz)
}

func (r *Report) columnViews(criteria []target.Limit) []columnView {
	cols := []columnView{{Head: "#", Sort: "rank", Number: true, Sorted: true}, {Head: "verdict", Sort: "verdict"},
		{Head: "unit", Sort: "unit"}, {Head: "worst margin", Sort: "margin", Number: true}, {Head: "all margins"}}
	for _, l := range criteria {
		cols = append(cols, columnView{Head: shortName(l), Sub: "limit " + limitText(l), Sort: string(l.Criterion), Number: true})
	}
	return append(cols, columnView{Head: "waveform"})
}

func (r *Report) setupRows() []pair {
	var rows []pair
	add := func(k, v string) {
		if v = clean(v); v != "" {
			rows = append(rows, pair{k, v})
		}
	}
	add("bench sheet", r.Sheet)
	add("instrument", r.Instrument)
	if r.GainPercent > 0 {
		add("gain uncertainty (k = 2)", trimNumber(r.GainPercent)+" %")
	}
	if r.MainsHz > 0 {
		add("mains", trimNumber(r.MainsHz)+" Hz")
	}
	if r.HeaterA > 0 {
		add("heater load", eng(r.HeaterA, "A"))
	}
	for _, g := range r.HeaterLoad.Groups {
		add("valves", fmt.Sprintf("%d × %s, %s", g.Count, g.Valve.Type, g.Wiring))
	}
	switch all, without := r.baselines(); {
	case without == all:
		add("baseline", "none: the instrument's own noise is inside every figure")
	case without > 0:
		add("baseline", fmt.Sprintf("none for %d of %d captures: the instrument's own noise is inside their figures", without, all))
	}
	add("note", r.Note)
	return rows
}

// pageScripts are the plotting library, under its licence, and the page's own.
func pageScripts() ([]string, error) {
	var parts [3]string
	for i, name := range []string{"uPlot.LICENSE", "uPlot.iife.min.js", "page.js"} {
		s, err := asset(name)
		if err != nil {
			return nil, err
		}
		parts[i] = s
	}
	return []string{"/*\n" + parts[0] + "*/\n" + parts[1], parts[2]}, nil
}
