package report

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"stillglow/capture/synth/testrun"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// The page is tried in a real browser where one is installed. STILLGLOW_AXE may
// name axe-core's axe.min.js (from the npm package axe-core) for the
// accessibility check.

// tab is a page opened in a headless Chromium, with all it complained about.
type tab struct {
	context.Context
	mu         sync.Mutex
	complaints []string
	requests   []string
}

func browserPath(t *testing.T) string {
	t.Helper()
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1 to try the page in a browser, as .ci/run does")
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	t.Skip("no Chromium found (chromium, chromium-browser or google-chrome); install one to try the page in it")
	return ""
}

// startBrowser starts one browser for a test; newTab opens pages in it.
func startBrowser(t *testing.T) context.Context {
	t.Helper()
	opts := []chromedp.ExecAllocatorOption{chromedp.ExecPath(browserPath(t)), chromedp.UserDataDir(t.TempDir()), chromedp.Headless,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("hide-scrollbars", true)}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); stop() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("starting the browser: %v", err)
	}
	return ctx
}

func writePage(t *testing.T, name string, b []byte) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(p, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return "file://" + p
}

// step is one thing done in a tab.
type step = chromedp.Action[chromedp.Void]

// call sends a protocol command that answers nothing.
func call[P any](c cdp.Command[P, cdp.Empty], params P) step {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

func js(expression string) step { return chromedp.Evaluate[chromedp.Void](expression) }

func click(css string) step { return chromedp.Click(chromedp.CSS(css)) }

func size(width, height int64) step {
	return call(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1, Mobile: width < 600})
}

func scheme(name string) step {
	return call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
}

// newTab opens url in a window of the given size.
func newTab(t *testing.T, browser context.Context, url string, width, height int64, before ...step) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &tab{Context: ctx}
	err := chromedp.Listen(ctx, func(ev any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		switch ev := ev.(type) {
		case *runtime.EventConsoleAPICalled:
			p.complaints = append(p.complaints, fmt.Sprintf("console %s: %v", ev.Type, ev.Args))
		case *runtime.EventExceptionThrown:
			p.complaints = append(p.complaints, "exception: "+ev.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			p.complaints = append(p.complaints, fmt.Sprintf("%s: %s", ev.Entry.Level, ev.Entry.Text))
		case *network.EventRequestWillBeSent:
			p.requests = append(p.requests, ev.Request.URL)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	steps := append([]step{call(network.Enable, network.EnableParams{}), size(width, height)}, before...)
	p.run(t, append(steps, chromedp.Navigate(url))...)
	return p
}

func (p *tab) run(t *testing.T, steps ...step) {
	t.Helper()
	ctx, cancel := context.WithTimeout(p, patience(t))
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

// eval evaluates a JavaScript expression into T.
func eval[T any](t *testing.T, p *tab, expression string) T {
	t.Helper()
	v, err := chromedp.Run(p, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// patience is how long a test waits for the browser: shortly less than until go test
// would end it without a word.
func patience(t *testing.T) time.Duration {
	if end, limited := t.Deadline(); limited {
		return max(0, time.Until(end)-15*time.Second)
	}
	return 24 * time.Hour
}

// until waits for a JavaScript condition.
func (p *tab) until(t *testing.T, condition string) {
	t.Helper()
	if !eval[bool](t, p, `new Promise(ok => { const end = Date.now() + `+fmt.Sprint(patience(t).Milliseconds())+`; const look = () => (`+condition+`) ? ok(true) : Date.now() > end ? ok(false) : setTimeout(look, 20); look(); })`) {
		t.Fatalf("waited in vain for %s", condition)
	}
}

// quiet fails on any console message and on any request beyond the page itself.
func (p *tab) quiet(t *testing.T) {
	t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.complaints {
		t.Errorf("the browser complains: %s", c)
	}
	if len(p.requests) != 1 {
		t.Errorf("%d requests, want only the page itself: %v", len(p.requests), p.requests)
	}
}

func htmlOf(t *testing.T, r *Report) []byte {
	t.Helper()
	b, err := r.HTML(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestPage opens the page in one browser, a tab or more for each part.
func TestPage(t *testing.T) {
	browser := startBrowser(t)
	for _, part := range []struct {
		name string
		run  func(*testing.T, context.Context)
	}{
		{"sorts and filters", pageSortsAndFilters},
		{"reads out what results.json says", pageReadsOutWhatResultsJSONSays},
		{"compares units and keeps peaks when zoomed", pageComparesUnitsAndKeepsPeaksWhenZoomed},
		{"says where zooming ends", pageSaysWhereZoomingEnds},
		{"without scripting shows static plots", pageWithoutScriptingShowsStaticPlots},
		{"on a phone needs no sideways scroll", pageOnAPhoneNeedsNoSidewaysScroll},
		{"no text is cut off", pageCutsNoTextOff},
		{"in the dark", pageInTheDark},
		{"prints on A4 and Letter", pagePrintsOnA4AndLetter},
		{"of 25 units is small", pageOf25UnitsIsSmall},
		{"accessibility", pageAccessibility},
	} {
		t.Run(part.name, func(t *testing.T) { part.run(t, browser) })
	}
}

const rowNames = `[...document.querySelectorAll('#rank tbody tr')].filter(r => !r.hidden).map(r => r.querySelector('th').textContent.trim())`

func pageSortsAndFilters(t *testing.T, browser context.Context) {
	r := fixture(9)
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, r)), 1280, 900)
	var byRank, byNoise []string
	for i := range r.Units {
		byRank = append(byRank, unitName(r.Units[i].Eval.Unit))
	}
	for i := range byRank { // noise grows with the rank in the fixture
		byNoise = append(byNoise, byRank[len(byRank)-1-i])
	}
	same := func(what string, want []string) {
		t.Helper()
		if got := eval[[]string](t, p, rowNames); strings.Join(got, "|") != strings.Join(want, "|") {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	same("as opened", byRank)
	sortBy := func(key string) { p.run(t, click(`#rank th[data-sort="`+key+`"] button`)) }
	sortBy("noise_density_v_per_rthz")
	same("by noise, rising", byRank)
	sortBy("noise_density_v_per_rthz")
	same("by noise, falling", byNoise)
	if got := eval[string](t, p, `document.querySelector('#rank th[data-sort="noise_density_v_per_rthz"]').getAttribute('aria-sort')`); got != "descending" {
		t.Errorf("aria-sort %q, want descending", got)
	}
	if n := eval[int](t, p, `document.querySelectorAll('#rank th[aria-sort]').length`); n != 1 {
		t.Errorf("%d columns claim to be sorted, want 1", n)
	}
	sortBy("margin") // numbers, not text: +3.0 before -14.5
	if got := eval[[]string](t, p, rowNames); got[0] != byRank[8] {
		t.Errorf("by margin, rising: first is %s, want %s", got[0], byRank[8])
	}
	sortBy("rank")
	p.run(t, chromedp.SetValue(chromedp.CSS("#brand"), "Tressock"), js(`document.querySelector('#brand').dispatchEvent(new Event('change',{bubbles:true}))`))
	same("brand Tressock", []string{byRank[1], byRank[5]})
	p.run(t, click(`#filters input[value="open"]`))
	same("Tressock without open", []string{byRank[5]})
	if got := eval[string](t, p, `document.querySelector('#shown').textContent`); got != "1 of 9 units shown" {
		t.Errorf("status %q", got)
	}
	p.quiet(t)
}

// readNumber turns "23.1 µV/√Hz" into volts.
func readNumber(t *testing.T, number, prefix string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.ReplaceAll(number, "−", "-"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v * map[string]float64{"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1, "k": 1e3, "M": 1e6}[prefix]
}

func pageReadsOutWhatResultsJSONSays(t *testing.T, browser context.Context) {
	r := fixture(3)
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, r)), 1280, 900)
	encoded, err := r.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var results struct {
		Units []struct {
			Captures []struct {
				SampleRateHz float64 `json:"sample_rate_hz"`
				Spectrum     struct {
					Hz []float64 `json:"frequency_hz"`
					V  []float64 `json:"v_per_rthz"`
				}
				Detail *struct {
					StartS float64   `json:"start_s"`
					StepS  float64   `json:"step_s"`
					Min    []float64 `json:"min_v"`
					Max    []float64 `json:"max_v"`
				}
			}
		}
	}
	if err := json.Unmarshal(encoded, &results); err != nil {
		t.Fatal(err)
	}
	p.run(t, js(`document.querySelector("#open-all").click()`))
	p.until(t, `document.querySelectorAll('[data-kind="cycle"] canvas').length === 3`)
	const unit = 1
	at := func(kind string, box int, share float64) string {
		sel := fmt.Sprintf(`[data-kind=%q][data-unit="%d"]`, kind, unit)
		pos := eval[[]float64](t, p, fmt.Sprintf(`(() => { const o = document.querySelectorAll('%s .u-over')[%d]; o.scrollIntoView({block: 'center'}); const b = o.getBoundingClientRect(); return [b.left + b.width*%g, b.top + b.height/2]; })()`, sel, box, share))
		p.run(t, chromedp.MouseEvent("mouseMoved", pos[0]-3, pos[1]), chromedp.MouseEvent("mouseMoved", pos[0], pos[1]))
		return plainSpaces(eval[string](t, p, fmt.Sprintf(`new Promise(ok => requestAnimationFrame(() => ok(document.querySelectorAll('%s .read')[%d].textContent)))`, sel, box)))
	}
	word := regexp.MustCompile(`^([\d.]+) (\D?)Hz: .*100 MS/s ([\d.]+) (\D?)V/√Hz`)
	for _, share := range []float64{0.55, 0.62, 0.7, 0.81, 0.95} {
		text := at("spectrum", 0, share)
		m := word.FindStringSubmatch(text)
		if m == nil {
			t.Fatalf("read-out %q", text)
		}
		hz, v := readNumber(t, m[1], m[2]), readNumber(t, m[3], m[4])
		if !anyNear(results.Units[unit].Captures[1].Spectrum.Hz, results.Units[unit].Captures[1].Spectrum.V, hz, v) {
			t.Errorf("%q is no point of results.json", text)
		}
	}
	// The detail's samples lie in the columns of results.json.
	d := results.Units[unit].Captures[1].Detail
	_, _, offset := levels(r.Units[unit].Captures[1].M.Detail)
	sample := regexp.MustCompile(`^([\d.]+) (\D?)s: [\d.]+ V ([+−][\d.]+) (\D?)V$`)
	for _, share := range []float64{0.1, 0.33, 0.5, 0.87} {
		text := at("waveform", 1, share)
		m := sample.FindStringSubmatch(text)
		if m == nil {
			t.Fatalf("read-out %q", text)
		}
		at, v := readNumber(t, m[1], m[2]), readNumber(t, m[3], m[4])
		found := false
		for i := range d.Min {
			if x := d.StartS + float64(i)*d.StepS; math.Abs(x-at) <= 0.006*at {
				lo, hi := d.Min[i]-offset, d.Max[i]-offset
				found = found || v >= lo-100e-6-0.0051*math.Abs(lo) && v <= hi+100e-6+0.0051*math.Abs(hi)
			}
		}
		if !found {
			t.Errorf("%q lies in no column of results.json", text)
		}
	}
	// The keyboard reads too.
	before := eval[string](t, p, `document.querySelector('[data-kind="cycle"] .read').textContent`)
	p.run(t, chromedp.Focus(chromedp.CSS(`[data-kind="cycle"] .plotbox`)), js(`document.activeElement.dispatchEvent(new KeyboardEvent('keydown',{key:'ArrowRight',bubbles:true}))`))
	if after := eval[string](t, p, `document.querySelector('[data-kind="cycle"] .read').textContent`); after == before || !strings.Contains(after, "V") {
		t.Errorf("arrow key leaves the read-out at %q", after)
	}
	p.quiet(t)
}

// anyNear looks for a point whose density reads the same in three digits, within
// one step of the grids of two captures laid over each other (1.5 %).
func anyNear(hz, v []float64, wantHz, wantV float64) bool {
	for i := range hz {
		if math.Abs(hz[i]-wantHz) <= 0.02*wantHz && math.Abs(v[i]-wantV) <= 0.0055*wantV {
			return true
		}
	}
	return false
}

func pageComparesUnitsAndKeepsPeaksWhenZoomed(t *testing.T, browser context.Context) {
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, fixture(4))), 1280, 900)
	p.run(t, chromedp.ScrollIntoView(chromedp.CSS("#compare")))
	p.until(t, `document.querySelector('[data-kind="overlay"] .live canvas')`)
	p.run(t, click(`#pick input[value="3"]`))
	names := eval[[]string](t, p, `[...document.querySelectorAll('[data-kind="overlay"] .key li')].map(l => l.textContent)`)
	for _, want := range []string{"Marlpit MK7 #1", "Tressock MK8 #2", "Oskelund MK7 #4"} {
		if !strings.Contains(strings.Join(names, "|"), want) {
			t.Errorf("overlay shows %v, want %s", names, want)
		}
	}
	if n := eval[int](t, p, `document.querySelectorAll('[data-kind="cycles"] .key li').length`); n != 3 {
		t.Errorf("%d cycles laid over each other, want 3", n)
	}
	// The detail's decoded curve has the envelope's own greatest value: a spike is
	// one column wide and must survive.
	u := &fixture(4).Units[0]
	_, hi, offset := levels(u.Captures[1].M.Detail)
	got := eval[float64](t, p, `(() => { const d = JSON.parse(document.querySelector('#data').textContent).units[0].d; let s = 0, m = -1e9; for (const x of d.hi) { s += x; m = Math.max(m, s); } return m * d.q + d.o; })()`)
	if math.Abs(got-hi) > 2e-5 {
		t.Errorf("greatest volts on the page %v, want %v (about %v)", got, hi, offset)
	}
	p.quiet(t)
}

// Zoomed so far that columns look like steps, the page says what a column is; the
// folded cycle, drawn from points, never does.
func pageSaysWhereZoomingEnds(t *testing.T, browser context.Context) {
	r := fixture(1)
	m := r.Units[0].Captures[0].M
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, r)), 1280, 900)
	p.until(t, `document.querySelector('[data-kind="cycle"] canvas')`)
	note := func(kind string) string {
		return plainSpaces(eval[string](t, p, `new Promise(ok => requestAnimationFrame(() => requestAnimationFrame(() => ok(document.querySelector('[data-kind="`+kind+`"] .past').textContent))))`))
	}
	zoom := func(kind, button string, times int) {
		for range times {
			p.run(t, js(`document.querySelector('[data-kind="`+kind+`"] .bar button[title="`+button+`"]').click()`))
		}
	}
	if got := note("waveform"); got != "" {
		t.Errorf("all in view: %q", got)
	}
	zoom("waveform", "zoom in", 6) // a 64th of 4000 columns
	env := reduce(m.Waveform, waveColumns)
	want := fmt.Sprintf("one column is %.0f samples (%s)", env.StepS*m.SampleRateHz, eng(env.StepS, "s"))
	if got := note("waveform"); !strings.Contains(got, want) {
		t.Errorf("zoomed in: %q, want %q in it", got, want)
	}
	zoom("waveform", "show all", 1)
	if got := note("waveform"); got != "" {
		t.Errorf("all in view again: %q", got)
	}
	zoom("cycle", "zoom in", 10)
	if got := note("cycle"); got != "" {
		t.Errorf("the folded cycle: %q", got)
	}
	p.quiet(t)
}

func pageWithoutScriptingShowsStaticPlots(t *testing.T, browser context.Context) {
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, fixture(1))), 1280, 900, call(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}))
	// The driver's own evaluation still runs with the page's scripting off.
	visible := eval[int](t, p, `[...document.querySelectorAll('svg.plot')].filter(s => s.getBoundingClientRect().height > 100).length`)
	hidden := eval[int](t, p, `document.querySelectorAll('.live').length`)
	if visible < 6 || hidden != 0 {
		t.Errorf("%d static plots visible, %d live; want all static", visible, hidden)
	}
	p.quiet(t)
	// On a phone they keep a size that can be read, and scroll.
	p.run(t, size(390, 900))
	if small := eval[[]float64](t, p, `[...document.querySelectorAll('.fig svg.plot')].filter(s => s.getClientRects().length).map(s => 9.5 * s.getBoundingClientRect().width / s.viewBox.baseVal.width).filter(px => px < 8.5)`); len(small) > 0 {
		t.Errorf("without scripting a phone shows labels of %.1f px", small)
	}
	if w := eval[int](t, p, `document.scrollingElement.scrollWidth`); w > 390 {
		t.Errorf("without scripting the page is %d px wide on a phone", w)
	}
}

func pageOnAPhoneNeedsNoSidewaysScroll(t *testing.T, browser context.Context) {
	nasty := fixture(9)
	hostile(nasty)
	for name, r := range map[string]*Report{"bench": fixture(9), "hostile names": nasty} {
		p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, r)), 360, 740)
		p.run(t, js(`document.querySelector("#open-all").click()`))
		if w := eval[int](t, p, `document.scrollingElement.scrollWidth`); w > 360 {
			t.Errorf("%s: page is %d px wide, want at most 360: %v", name, w, eval[[]string](t, p, `[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 361 && !e.closest('.scroll')).slice(0, 8).map(e => e.tagName + '.' + e.className)`))
		}
		p.quiet(t)
	}
}

// cutTexts finds what is cut off or too small to read.
//
//go:embed testdata/cuttexts.js
var cutTexts string

// otherFont gives the whole page a font of other widths than the one its pictures
// were measured with.
const otherFont = `(() => { document.styleSheets[0].insertRule('*{font-family:"DejaVu Sans",Verdana,"Courier New",monospace !important}', document.styleSheets[0].cssRules.length); })()`

func pageCutsNoTextOff(t *testing.T, browser context.Context) {
	nasty := fixture(9)
	hostile(nasty)
	long := fixture(9)
	for i := range long.Units {
		long.Units[i].Eval.Unit.Key = fmt.Sprintf("Marlpit Heater supply with a name as long as a sentence, second revision of the spring, mark #%d", i)
		long.Brands[i%len(long.Brands)].Name = "Marlpit and sons, makers of supplies of every kind since long ago"
	}
	for name, r := range map[string]*Report{"bench": fixture(9), "hostile names": nasty, "long names": long} {
		url := writePage(t, "index.html", htmlOf(t, r))
		for _, c := range []struct {
			where string
			width int64
			steps []step
		}{
			{"laptop", 1280, nil}, {"small laptop", 1024, nil}, {"tablet", 800, nil}, {"phone", 390, nil}, {"dark", 1280, []step{scheme("dark")}},
			{"print", 703, []step{call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})}},
			{"laptop, another font", 1280, []step{js(otherFont)}}, {"phone, another font", 390, []step{js(otherFont)}},
		} {
			p := newTab(t, browser, url, c.width, 900)
			p.run(t, append([]step{js(`document.querySelectorAll('details').forEach((d, i) => d.open = i < 6)`)}, c.steps...)...)
			for _, cut := range eval[[]string](t, p, cutTexts) {
				t.Errorf("%s, %s: %s", name, c.where, cut)
			}
		}
	}
	// The check itself finds what it is for.
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, fixture(1))), 1280, 900)
	if got := eval[[]string](t, p, `(() => { const h = document.querySelector('h1'); h.style.cssText = 'white-space:nowrap;width:3em;overflow:hidden'; document.querySelector('svg.plot text').setAttribute('x', '900'); return `+strings.TrimRight(cutTexts[strings.Index(cutTexts, "(() =>"):], "; \n")+`; })()`); len(got) < 2 {
		t.Errorf("a heading cut off and a label outside of its picture are not found: %v", got)
	}
}

func pageInTheDark(t *testing.T, browser context.Context) {
	p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, fixture(2))), 1280, 900, scheme("dark"))
	got := eval[string](t, p, `getComputedStyle(document.body).backgroundColor + ' ' + getComputedStyle(document.querySelector('svg.plot .f-ink')).fill`)
	if got != "rgb(20, 23, 27) rgb(230, 233, 237)" {
		t.Errorf("ground and ink in the dark: %s", got)
	}
	p.quiet(t)
}

func pagePrintsOnA4AndLetter(t *testing.T, browser context.Context) {
	for _, paper := range []struct {
		name          string
		width, height float64 // inches
	}{{"A4", 8.27, 11.69}, {"Letter", 8.5, 11}} {
		r := fixture(9)
		p := newTab(t, browser, writePage(t, "index.html", htmlOf(t, r)), 1280, 900)
		p.run(t, js(`document.querySelectorAll('details.unit')[0].open = true`), chromedp.Sleep(300*time.Millisecond))
		// Nothing reaches beyond the printable width.
		content := int64((paper.width - 2*12/25.4) * 96)
		p.run(t, call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}), size(content, 1000))
		if over := eval[[]string](t, p, `[...document.querySelectorAll('table, svg, p, dl')].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + ' ' + (e.getAttribute('aria-label') || e.textContent).slice(0, 40))`); len(over) > 0 {
			t.Errorf("%s: cut at the right: %v", paper.name, over)
		}
		// Live plots go; the drawn ones stand in their place, curves and all.
		const drawn = `[...document.querySelectorAll('details.unit[open] .fig')].map(f => [f.dataset.kind, [...f.querySelectorAll('svg')].filter(s => s.getBoundingClientRect().height > 100 && s.querySelectorAll('path').length > 2).length, f.querySelectorAll('.live').length && [...f.querySelectorAll('.live')].some(l => l.getClientRects().length)].join(' '))`
		figures := strings.Join(eval[[]string](t, p, drawn), "|")
		for _, kind := range []string{"waveform", "cycle", "spike", "spectrum", "histograms", "warm-up"} {
			if !strings.Contains(figures, kind+" 1 false") && !strings.Contains(figures, kind+" 1 0") {
				t.Errorf("%s: the %s is not printed once: %s", paper.name, kind, figures)
			}
		}
		if cut := eval[int](t, p, `[...document.querySelectorAll('tr')].filter(e => getComputedStyle(e).breakInside !== 'avoid').length`); cut > 0 {
			t.Errorf("%s: %d rows may be cut in two", paper.name, cut)
		}
		pdf, err := chromedp.Run(p, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperSize{Width: paper.width, Height: paper.height}), chromedp.PDFPrintBackground()))
		if err != nil {
			t.Fatal(err)
		}
		pages := len(regexp.MustCompile(`/Type\s*/Page[^s]`).FindAll(pdf, -1))
		if pages < 4 || pages > 10 {
			t.Errorf("%s: %d pages for 9 units with one open, want 4 to 10", paper.name, pages)
		}
		text := pdfText(t, pdf)
		for i := range r.Units {
			if name := unitName(r.Units[i].Eval.Unit); text != "" && !strings.Contains(text, name) {
				t.Errorf("%s: %s is not on paper", paper.name, name)
			}
		}
		for _, c := range append(r.Units[0].Captures, *r.Baseline) {
			if text != "" && !strings.Contains(text, c.M.SHA256) {
				t.Errorf("%s: the collapsed hash of %s is not on paper", paper.name, c.M.File)
			}
		}
		if text != "" && strings.Contains(text, r.Units[1].Captures[0].M.SHA256) {
			t.Errorf("%s: a closed unit's hash is on paper", paper.name)
		}
		if text != "" && strings.Contains(text, "Overlay\n") {
			t.Errorf("%s: form controls are printed", paper.name)
		}
	}
}

// pdfText is the text of a PDF by pdftotext, "" where that is not installed.
func pdfText(t *testing.T, pdf []byte) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Log("pdftotext is not installed: the printed text is not read back")
		return ""
	}
	cmd := exec.Command(tool, "-layout", "-", "-")
	cmd.Stdin = strings.NewReader(string(pdf))
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return plainSpaces(string(out))
}

func pageOf25UnitsIsSmall(t *testing.T, browser context.Context) {
	b := htmlOf(t, fixture(25))
	if len(b) >= 3_000_000 {
		t.Errorf("page of 25 units takes %d bytes, want under 3 MB", len(b))
	}
	t.Logf("page of 25 units: %.2f MB", float64(len(b))/1e6)
	url := writePage(t, "index.html", b)
	best := math.Inf(1)
	for range 4 { // the first one warms the browser up
		p := newTab(t, browser, url, 1280, 900)
		best = math.Min(best, eval[float64](t, p, `(() => { const n = performance.getEntriesByType('navigation')[0]; return n.loadEventEnd || n.domComplete; })()`))
		p.quiet(t)
	}
	t.Logf("opens in %.0f ms", best)
}

func pageAccessibility(t *testing.T, browser context.Context) {
	path := os.Getenv("STILLGLOW_AXE")
	if path == "" {
		path = filepath.Join("..", "node_modules", "axe-core", "axe.min.js")
	}
	axe, err := os.ReadFile(path)
	if err != nil {
		t.Skip("axe-core is not here: set STILLGLOW_AXE to the axe.min.js of the npm package axe-core")
	}
	nasty := fixture(5)
	hostile(nasty)
	labels, err := nasty.Labels()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, scheme string
		page         []byte
		width        int64
	}{{"light", "light", htmlOf(t, fixture(5)), 1280}, {"dark", "dark", htmlOf(t, fixture(5)), 1280}, {"phone", "light", htmlOf(t, nasty), 360}, {"labels", "light", labels, 1280}} {
		p := newTab(t, browser, writePage(t, "index.html", c.page), c.width, 900, scheme(c.scheme))
		p.run(t, js(`document.querySelectorAll('details').forEach(d => d.open = true)`), js(`document.querySelector('#compare')?.scrollIntoView()`),
			chromedp.Sleep(400*time.Millisecond), js(string(axe)+";0"))
		found := eval[[]string](t, p, `axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => v.id + ' (' + v.impact + '): ' + v.help + ': ' + v.nodes.slice(0, 3).map(n => n.target.join(' ') + ' ' + (n.any[0] ? n.any[0].message : '')).join(' | ')))`)
		for _, v := range found {
			t.Errorf("%s: %s", c.name, v)
		}
	}
}
