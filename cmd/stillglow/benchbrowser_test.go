package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// The page of bench is worked in a real browser by the full tests, where one is
// installed. STILLGLOW_SHOTS may name a folder for pictures of every step,
// STILLGLOW_AXE axe-core's axe.min.js.

const soundVolts = 2.5 // peak, at the sound card's full scale

// benchCaptures writes twelve captures of six invented units of three invented
// brands, in five layouts: one with its volts ten times too large, one AC-coupled
// without saying so, one of two channels, one of a sound card.
func benchCaptures(t *testing.T, dir string) (files []string) {
	t.Helper()
	write := func(name string, s synth.Supply, how func(io.Writer, []float64) error) {
		v, _ := s.Render()
		var b bytes.Buffer
		if err := how(&b, v); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, path)
	}
	layout := func(l synth.Layout, rate float64) func(io.Writer, []float64) error {
		return func(w io.Writer, v []float64) error { return synth.WriteCSV(w, l, rate, v, 7, "DC") }
	}
	for i, unit := range []string{"murrowfen-a1", "murrowfen-a2", "tindlewick-b1", "tindlewick-b2", "quibblet-d1", "quibblet-d2"} {
		s := synth.Supply{
			Seed: uint64(40 + i), DCV: 7.02 + 0.03*float64(i), MainsHz: 50, MainsPPV: 0.4e-3, SwitchingHz: 90e3 + 7e3*float64(i),
			RipplePPV: 4e-3 + 1e-3*float64(i), Duty: 0.4, ESRStepV: 1e-3, SpikeRiseV: 6e-3, SpikeFallV: -5e-3, SpikeWidthS: 60e-9,
			RingRiseHz: 9e6, RingFallHz: 8e6, RingQ: 5, NoiseVPerRtHz: 150e-9, CornerHz: 300, NoiseBandwidthHz: 1.5e6,
		}
		if unit == "quibblet-d1" {
			s.RipplePPV, s.ESRStepV = 33e-3, 7e-3 // a near miss
		}
		fast, slow := s, s.Slow(100e3, 45000)
		fast.RateHz, fast.Samples, fast.BandwidthHz = 125e6, 50000, 100e6
		fast.ADCBits, fast.InstrumentVPerRtHz, slow.ADCBits, slow.InstrumentVPerRtHz = 14, 10e-9, 16, 20e-9
		how := layout(synth.TimeVolts, fast.RateHz)
		switch unit {
		case "murrowfen-a2":
			fast.ACCoupled = true
		case "tindlewick-b1":
			how = func(w io.Writer, v []float64) error {
				fmt.Fprintln(w, "Time (s),CH1 (V),CH2 (V)")
				for k, x := range v {
					fmt.Fprintf(w, "%.10e,%.7g,%.4g\n", float64(k)/fast.RateHz, x, 0.01*math.Sin(float64(k)/500))
				}
				return nil
			}
		case "tindlewick-b2", "quibblet-d1":
			how = layout(synth.DecimalComma, fast.RateHz)
		case "quibblet-d2":
			fast.ProbeFactorWrong = 10
			how = layout(synth.Preamble, fast.RateHz)
		}
		write(unit+"-fast.csv", fast, how)
		if unit == "tindlewick-b2" {
			slow = s.Slow(192e3, 192000)
			slow.ACCoupled, slow.InstrumentVPerRtHz = true, 20e-9
			write(unit+"-slow.wav", slow, func(w io.Writer, v []float64) error { return synth.WriteWAV(w, 24, 192000, soundVolts, v) })
			continue
		}
		write(unit+"-slow.csv", slow, layout(synth.Preamble, slow.RateHz))
	}
	return files
}

// benchPage is a browser's tab with the page of a running bench.
type benchPage struct {
	context.Context
	t          *testing.T
	mu         sync.Mutex
	complaints []string
	refused    int // forms that a step sent to be refused: the browser complains of each
	shots      string
}

type browserStep = chromedp.Action[chromedp.Void]

func protocol[P any](c cdp.Command[P, cdp.Empty], params P) browserStep {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

func startBench(t *testing.T, args ...string) (address string) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"bench", "--no-open"}, args...), strings.NewReader(""), w, os.Stderr)
		w.Close()
	}()
	t.Cleanup(func() {
		cancel()
		if code := <-ended; code != exitDone {
			t.Errorf("bench ends with %d", code)
		}
	})
	buf := make([]byte, 4096)
	text := ""
	for !strings.Contains(text, "Ctrl-C") {
		n, err := r.Read(buf)
		if err != nil {
			t.Fatalf("bench says %q: %v", text, err)
		}
		text += string(buf[:n])
	}
	go func() { _, _ = io.Copy(io.Discard, r) }()
	return regexp.MustCompile(`http://\S+`).FindString(text)
}

func openBenchPage(t *testing.T, address string) *benchPage {
	t.Helper()
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL to work the page in a browser")
	}
	browser := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			browser = p
			break
		}
	}
	if browser == "" {
		t.Skip("no Chromium found; install one to work the page in it")
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(browser), chromedp.UserDataDir(t.TempDir()), chromedp.Headless,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-background-timer-throttling", true), chromedp.Flag("disable-renderer-backgrounding", true), chromedp.Flag("disable-backgrounding-occluded-windows", true), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("hide-scrollbars", true))
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); stop() })
	p := &benchPage{Context: ctx, t: t, shots: os.Getenv("STILLGLOW_SHOTS")}
	err := chromedp.Listen(ctx, func(ev any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		switch ev := ev.(type) {
		case *runtime.EventConsoleAPICalled:
			p.complaints = append(p.complaints, fmt.Sprintf("console %s: %v", ev.Type, ev.Args))
		case *runtime.EventExceptionThrown:
			p.complaints = append(p.complaints, "exception: "+ev.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			p.complaints = append(p.complaints, fmt.Sprintf("%s: %s %s", ev.Entry.Level, ev.Entry.Text, ev.Entry.URL))
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	p.do(p.size(1280), chromedp.Navigate(address))
	p.until(`document.documentElement.dataset.live === "1"`)
	return p
}

func (p *benchPage) size(width int64) browserStep {
	return protocol(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1, Mobile: width < 600})
}

func (p *benchPage) do(steps ...browserStep) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p, p.patience())
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.picture("failed")
		p.t.Fatal(err)
	}
}

func look[T any](p *benchPage, expression string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p, p.patience()+5*time.Second)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// patience is how long a test waits for the browser: shortly less than until go test
// would end it without a word.
func (p *benchPage) patience() time.Duration {
	if end, limited := p.t.Deadline(); limited {
		return max(0, time.Until(end)-30*time.Second)
	}
	return 24 * time.Hour
}

// until waits for a condition of the page.
func (p *benchPage) until(condition string) {
	p.t.Helper()
	if !look[bool](p, `new Promise(ok => { const end = Date.now() + `+fmt.Sprint(p.patience().Milliseconds())+`; const look = () => { let yes = false; try { yes = !!(`+condition+`); } catch { } yes ? ok(true) : Date.now() > end ? ok(false) : setTimeout(look, 50); }; look(); })`) {
		p.picture("failed")
		p.t.Fatalf("waited in vain for %s\n%s", condition, look[string](p, `document.querySelector("#bar").innerText + "\n" + document.querySelector("#trouble").innerText`))
	}
}

// picture keeps the page as it looks, in two widths, light and dark.
func (p *benchPage) picture(name string) {
	if p.shots == "" {
		return
	}
	_ = os.MkdirAll(p.shots, 0o755)
	for _, width := range []int64{1280, 390} {
		for _, scheme := range []string{"light", "dark"} {
			steps := []browserStep{p.size(width), protocol(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}),
				chromedp.Evaluate[chromedp.Void](`scrollTo(0, 1e6)`), chromedp.Sleep(300 * time.Millisecond), chromedp.Evaluate[chromedp.Void](`scrollTo(0, 0)`), chromedp.Sleep(500 * time.Millisecond)}
			if err := chromedp.Do(p, steps...); err != nil {
				p.t.Log(err)
				return
			}
			png, err := chromedp.Run(p, chromedp.FullScreenshot(100))
			if err != nil {
				p.t.Log(err)
				return
			}
			_ = os.WriteFile(filepath.Join(p.shots, fmt.Sprintf("%s-%d-%s.png", name, width, scheme)), png, 0o600)
			if sideways := p.sideways(width); sideways > 0 {
				p.t.Errorf("%s at %d: %d pixels stick out sideways", name, width, sideways)
			}
		}
	}
	_ = chromedp.Do(p, p.size(1280), protocol(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "light"}}}))
}

// sideways is how many pixels stick out of a width. A telephone's browser widens
// its window to what sticks out, so that the window itself counts too.
func (p *benchPage) sideways(width int64) int {
	p.t.Helper()
	return look[int](p, fmt.Sprintf(`Math.max(document.documentElement.scrollWidth, innerWidth) - %d`, width))
}

// narrow wants everything to fit a telephone's width.
func (p *benchPage) narrow(name string) {
	p.t.Helper()
	p.do(p.size(390), chromedp.Sleep(300*time.Millisecond))
	if sideways := p.sideways(390); sideways > 0 {
		p.t.Errorf("%s at 390: %d pixels stick out sideways", name, sideways)
	}
	p.do(p.size(1280))
}

// cutTexts finds what is cut off or too small to read; read before a test leaves
// the package's folder.
var cutTexts, cutTextsErr = os.ReadFile(filepath.Join("..", "..", "report", "testdata", "cuttexts.js"))

// whole wants no text of the page cut off or too small to read, with all that folds
// opened: wide, on a small laptop, on a tablet, on a telephone, in the dark and on paper.
func (p *benchPage) whole(name string) {
	p.t.Helper()
	if cutTextsErr != nil {
		p.t.Fatal(cutTextsErr)
	}
	media := func(kind, scheme string) browserStep {
		return protocol(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	}
	p.do(chromedp.Evaluate[chromedp.Void](`window.folded = [...document.querySelectorAll("details:not([open])")]; folded.forEach(d => { d.open = true; })`))
	for _, c := range []struct {
		where string
		width int64
		media browserStep
	}{{"wide", 1280, media("", "light")}, {"small laptop", 1024, media("", "light")}, {"tablet", 800, media("", "light")}, {"telephone", 390, media("", "light")}, {"dark", 1280, media("", "dark")}, {"paper", 703, media("print", "light")}} {
		p.do(p.size(c.width), c.media, chromedp.Sleep(300*time.Millisecond))
		if c.where == "paper" { // also those that were never in sight are drawn
			p.until(`[...document.querySelectorAll(".wave")].every(w => w.querySelector("canvas"))`)
			if buttons := look[int](p, `[...document.querySelectorAll("button, input[type=file], .try")].filter(e => e.getClientRects().length).length`); buttons > 0 {
				p.t.Errorf("%s: %d buttons and forms are printed", name, buttons)
			}
		}
		for _, cut := range look[[]string](p, string(cutTexts)) {
			p.t.Errorf("%s, %s: %s", name, c.where, cut)
		}
	}
	p.do(p.size(1280), media("", "light"), chromedp.Evaluate[chromedp.Void](`folded.forEach(d => { (document.getElementById(d.id) || d).open = false; })`))
}

// axe checks the page for what keeps people out.
func (p *benchPage) axe(name string) {
	p.t.Helper()
	path := os.Getenv("STILLGLOW_AXE")
	if path == "" {
		return
	}
	script, err := os.ReadFile(path)
	if err != nil {
		p.t.Fatal(err)
	}
	p.do(chromedp.Evaluate[chromedp.Void](string(script) + ";0"))
	for _, v := range look[[]string](p, `axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => v.id + ' (' + v.impact + '): ' + v.help + ': ' + v.nodes.slice(0, 3).map(n => n.target.join(' ') + ' ' + (n.any[0] ? n.any[0].message : '')).join(' | ')))`) {
		p.t.Errorf("%s: %s", name, v)
	}
}

// drop lets files fall on the page as a browser does.
func (p *benchPage) drop(files []string) {
	p.t.Helper()
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			p.t.Fatal(err)
		}
		p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const d = new DataTransfer();
			d.items.add(new File([Uint8Array.from(atob(%q), c => c.charCodeAt(0))], %q));
			for (const kind of ["dragenter", "dragover", "drop"]) document.querySelector("#drop").dispatchEvent(new DragEvent(kind, {dataTransfer: d, bubbles: true, cancelable: true})); }`,
			base64.StdEncoding.EncodeToString(data), filepath.Base(f))))
	}
}

// unit gives the id of a unit's card by its name.
func (p *benchPage) unit(name string) string {
	p.t.Helper()
	return look[string](p, fmt.Sprintf(`document.querySelector('#whose [aria-label="Unit %s"]').id`, name))
}

// card gives the id of a capture's card by its file name.
func (p *benchPage) card(file string) string {
	p.t.Helper()
	return look[string](p, fmt.Sprintf(`[...document.querySelectorAll("#check .card")].find(c => c.querySelector("h3").textContent === %q).id`, file))
}

// fill types into a field as a person does.
func (p *benchPage) fill(css, value string) {
	p.t.Helper()
	p.focus(css)
	p.do(chromedp.KeyEvent(value))
}

// choose picks an option; the element is looked up and set in one go, since the part
// that it is in may be shown anew at any time.
func (p *benchPage) choose(css, value string) {
	p.t.Helper()
	p.until(fmt.Sprintf(`(e => { if (!e) return false; e.value = %q; e.dispatchEvent(new Event("change", {bubbles: true})); return e.value === %q; })(document.querySelector(%q))`, value, value, css))
}

// click presses a button that may be out of sight.
func (p *benchPage) click(css string) {
	p.t.Helper()
	p.focus(css)
	p.do(chromedp.KeyEvent("\r"))
}

// focus goes to an element; the page keeps the focus when it shows a part anew.
func (p *benchPage) focus(css string) {
	p.t.Helper()
	p.until(fmt.Sprintf(`(e => e && (e.focus(), e.select && e.select(), document.activeElement === e))(document.querySelector(%q))`, css))
}

// settled waits until all is measured and decided.
func (p *benchPage) settled() {
	p.t.Helper()
	p.until(`!document.querySelector("#bar").textContent.includes("measured") && !document.querySelector("#write").disabled`)
}

// TestBenchByThePageAlone does the whole job in a browser, from an empty folder to
// the report, and wants the command line to say the same of the sheet it leaves.
func TestBenchByThePageAlone(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL to work the page in a browser")
	}
	source, dir := t.TempDir(), t.TempDir()
	files := benchCaptures(t, source)
	t.Chdir(dir)
	cache := filepath.Join(t.TempDir(), "cache")
	address := startBench(t, "--cache", cache)
	p := openBenchPage(t, address)
	p.picture("1-empty")
	p.narrow("empty")
	p.whole("empty")
	p.axe("empty")

	p.bring(files)
	p.correct()
	p.assign()
	p.tellScope()
	p.tellUnits()
	p.readOff()
	p.pickValves()
	near := p.tryFilter()
	p.leave()
	table := look[string](p, `fetch("/ranking.txt").then(r => r.text())`)
	p.twoTabs(address, near)
	p.mu.Lock()
	for _, c := range p.complaints {
		if p.refused > 0 && strings.Contains(c, "status of 422") {
			p.refused--
			continue
		}
		t.Errorf("the browser complains: %s", c)
	}
	p.mu.Unlock()
	commandsAgree(t, cache, table, files)
	p.anotherState()
	p.calibrate(source)
	p.undoAndRedo("bench.toml", 20)
	p.readmePicture("bench.toml")
}

// bring drops two files and chooses the rest.
func (p *benchPage) bring(files []string) {
	p.t.Helper()
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#files"), files[2:]))
	p.drop(files[:2])
	p.until(`document.querySelectorAll("#check .card").length === 12`)
	p.picture("2-arriving")
	p.until(`!document.querySelector("#bar").textContent.includes("measured")`)
}

// correct puts the readings right: the channel, the sound card's volts, the
// coupling.
func (p *benchPage) correct() {
	p.t.Helper()
	two := p.card("tindlewick-b1-fast.csv")
	p.until(`document.querySelector("#` + two + ` button[name=channel]")`)
	p.click(`#` + two + ` button[name=channel][value="1"]`)
	p.until(`document.querySelector("#` + two + ` .wave canvas")`)
	p.until(`!document.querySelector("#bar").textContent.includes("correct")`)
	// The sound card's volts, by the link beside the caution.
	sound := p.card("tindlewick-b2-slow.wav")
	p.click(`#` + sound + ` .cautions a[data-to$="-fs"]`)
	p.until(`document.activeElement.id === "` + sound + `-fs"`)
	p.do(chromedp.KeyEvent(fmt.Sprint(soundVolts, "\r")))
	p.until(`[...document.querySelectorAll("#` + sound + ` .figure")].some(d => d.textContent.endsWith("V"))`)
	ac := p.card("murrowfen-a2-fast.csv")
	p.click(`#` + ac + `-fix > summary`)
	p.choose(`#`+ac+`-coupling`, "ac")
	p.click(`#` + ac + `-fix .rowend button:not([type=button])`)
	p.until(`[...document.querySelectorAll("#` + ac + ` .facts dd")].some(d => d.textContent === "AC")`)
	p.picture("3-checked")
	p.whole("checked")
}

// assign gives every capture to its unit: the guesses from the names hold, the load
// is typed for each.
func (p *benchPage) assign() {
	p.t.Helper()
	p.until(`document.querySelectorAll("#give tbody tr").length === 12`)
	for _, id := range look[[]string](p, `[...document.querySelectorAll("#give input[name=id]")].map(i => i.value)`) {
		p.fill("#l-"+id, "0,94 A")
	}
	p.picture("4-whose")
	p.click(`#give > .row button`)
	p.until(`document.querySelectorAll("#whose .unitcard").length === 6 && !document.querySelector("#give")`)
}

// tellScope says once what the scope can do.
func (p *benchPage) tellScope() {
	p.t.Helper()
	p.click(`#scope > summary`)
	p.fill("#in-name", "four-channel scope (invented)")
	p.fill("#in-bw", "100 MHz")
	p.fill("#in-mem", "1M")
	p.fill("#in-rate", "500M")
	p.click(`#scope .rowend button`)
	p.until(`document.querySelector("#scope summary").textContent.includes("four-channel")`)
}

// tellUnits types ratings and readings; a rating shows the wrong probe factor.
func (p *benchPage) tellUnits() {
	p.t.Helper()
	for _, name := range []string{"Murrowfen A1", "Murrowfen A2", "Tindlewick B1", "Tindlewick B2", "Quibblet D1", "Quibblet D2"} {
		unit := "#" + p.unit(name)
		p.click(unit + "-edit > summary")
		p.fill(unit+"-v", "7")
		p.fill(unit+"-a", "2 A")
		p.click(unit + `-edit .rowend button:not([type=button])`)
		for n, reading := range [][2]string{{"0", "7,11"}, {"0.94", "7.03"}} {
			p.fill(unit+"-ra", reading[0])
			p.fill(unit+"-rv", reading[1])
			p.click(unit + ` form[data-edit=reading] button`)
			p.until(fmt.Sprintf(`document.querySelectorAll("%s .readings tbody button").length === %d`, unit, n+1))
		}
	}
	probe := p.card("quibblet-d2-fast.csv")
	p.until(`document.querySelector("#` + probe + ` .cautions")?.textContent.includes("factor")`)
	if words := look[string](p, `document.querySelector("#`+probe+` .cautions").textContent`); !strings.Contains(words, "Multiply file volts by") || strings.Contains(words, "probe_factor") {
		p.t.Errorf("a suspected probe factor names no field of the page: %s", words)
	}
	p.picture("5-probe-suspected")
	p.click(`#` + probe + `-fix > summary`)
	p.fill(`#`+probe+`-probe`, "0.1")
	p.click(`#` + probe + `-fix .rowend button:not([type=button])`)
	p.until(`!document.querySelector("#` + probe + ` .cautions")?.textContent.includes("factor")`)
}

// readOff types what a scope without files shows, leaves out the unit at first and is
// told so.
func (p *benchPage) readOff() {
	p.t.Helper()
	unit := "#" + p.unit("Tindlewick B1")
	p.click(unit + "-shown > summary")
	p.choose(unit+"-so", "mains_line_rms_v")
	p.refused++ // 300 what?
	p.fill(unit+"-sv", "300")
	p.click(unit + "-shown .rowend button")
	p.until(`document.querySelector("` + unit + `-shown .wrong")?.textContent.includes("300 mV")`)
	p.fill(unit+"-sv", "300 µV")
	p.click(unit + "-shown .rowend button")
	p.until(`document.querySelector("` + unit + ` .readoff")?.textContent.includes("never shows that a unit passes")`)
}

// anotherState adds a unit behind its filter and takes that back.
func (p *benchPage) anotherState() {
	p.t.Helper()
	unit := "#" + p.unit("Quibblet D1")
	p.click(unit + "-again > summary")
	p.choose(unit+"-as", "filter")
	p.click(unit + "-again button")
	p.until(`document.querySelector('#whose [aria-label="Unit Quibblet D1 behind its filter"]')`)
	p.picture("9-states")
	p.click("#undo")
	p.until(`!document.querySelector('#whose [aria-label="Unit Quibblet D1 behind its filter"]')`)
}

// calibrate drops a sine of known volts and calibrates the sound card by it.
func (p *benchPage) calibrate(source string) {
	p.t.Helper()
	const rms, level = 0.5, 0.4
	sine := make([]float64, 48000)
	for i := range sine {
		sine[i] = math.Sqrt2 * rms * math.Sin(2*math.Pi*1000*float64(i)/48000)
	}
	var b bytes.Buffer
	if err := synth.WriteWAV(&b, 24, 48000, math.Sqrt2*rms/level, sine); err != nil {
		p.t.Fatal(err)
	}
	path := filepath.Join(source, "sine.wav")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		p.t.Fatal(err)
	}
	p.drop([]string{path})
	p.until(`[...document.querySelectorAll("#check .card")].some(c => c.querySelector("h3").textContent === "sine.wav" && c.classList.contains("done"))`)
	card := "#" + p.card("sine.wav")
	p.click(card + "-cal > summary")
	p.fill(card+"-rms", "500 mV\r")
	p.until(`[...document.querySelectorAll("#bring .note")].some(n => n.textContent.includes("1.7678 V at full scale"))`)
	p.until(`document.querySelector("#in-fs").value === "1.76777"`)
	p.picture("10-calibrated")
}

// undoAndRedo goes a number of steps back and as many forward, by the page's buttons.
func (p *benchPage) undoAndRedo(sheetPath string, steps int) {
	p.t.Helper()
	before, err := os.ReadFile(sheetPath)
	if err != nil {
		p.t.Fatal(err)
	}
	count := `Number((document.querySelector("#undo").textContent.match(/\d+/) || ["0"])[0])`
	there := look[int](p, count)
	if there < steps {
		p.t.Errorf("%d steps to undo, want %d and more", there, steps)
	}
	for _, way := range []struct {
		button string
		step   int
	}{{"#undo", -1}, {"#redo", 1}} {
		for k := range steps {
			from := there
			if way.step > 0 {
				from = there - steps
			}
			p.click(way.button)
			p.until(fmt.Sprintf(`%s === %d`, count, from+way.step*(k+1)))
		}
		if now, err := os.ReadFile(sheetPath); err != nil || bytes.Equal(now, before) != (way.step > 0) {
			p.t.Errorf("after %s: %v, the sheet is as it was: %v", way.button, err, bytes.Equal(now, before))
		}
	}
}

// pickValves finds valves by Latin and by Cyrillic letters.
func (p *benchPage) pickValves() {
	p.t.Helper()
	p.fill("#valve-q", "12au7")
	p.until(`document.querySelector("#valve-found [aria-selected=true]")?.dataset.type === "12AU7"`)
	p.do(chromedp.KeyEvent("\r"))
	p.until(`document.querySelectorAll(".valves tbody tr").length === 1`)
	p.fill("#valve-q", "6Н2П")
	p.until(`document.querySelector("#valve-found [aria-selected=true]")?.dataset.type === "6N2P"`)
	p.do(chromedp.KeyEvent("\r"))
	p.until(`document.querySelectorAll(".valves tbody tr").length === 2`)
	p.fill("#vc0", "2")
	p.do(chromedp.KeyEvent("\t"))
	p.until(`document.querySelector(".valves caption").textContent.includes("940\u00a0mA")`)
	p.settled()
	p.until(`document.querySelectorAll("#decided .rank tbody tr").length === 6 && document.querySelectorAll("#fit details.unit").length === 6`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#fit details.unit").open = true`))
	p.until(`document.querySelector("#decided .answer a[href='/guide.txt']")`) // the safe steps of a common-mode capture
	p.picture("6-decided")
	p.axe("decided")

	p.narrow("decided")
	p.whole("decided")
}

// tryFilter tries a post-filter of the user's own parts: it starts from the advised
// ones, and a part that is changed shows at once, without a press of a button. It
// gives the unit's place in the page.
func (p *benchPage) tryFilter() (near string) {
	p.t.Helper()
	near = "#" + look[string](p, `[...document.querySelectorAll("#fit details.unit")].find(d => d.textContent.includes("Quibblet D1")).id`)
	p.until(`document.querySelector("#fit details.unit").open && !document.querySelector("` + near + `").open`) // the best one is
	p.click(near + " > summary")
	p.until(`Number(document.querySelector("` + near + `-c").value) > 0`)
	p.fill(near+"-c", "4711")
	p.do(chromedp.KeyEvent("\t"))
	p.until(`document.querySelector("` + near + ` [data-edit=filter-forget]") && document.querySelector("` + near + ` figure svg") && document.querySelector("` + near + `").textContent.includes("4711\u00a0µF")`)
	curve := `document.querySelector("` + near + ` figure svg").outerHTML`
	before := look[string](p, curve)
	p.fill(near+"-c", "47")
	p.do(chromedp.KeyEvent("\t"))
	p.until(`document.querySelector("` + near + `").textContent.includes("47\u00a0µF") && !document.querySelector("` + near + `").textContent.includes("working it out")`)
	if look[string](p, curve) == before {
		p.t.Error("another capacitor, the same curve")
	}
	p.settled()
	p.picture("7-filter")
	p.narrow("filter")
	p.whole("filter")
	return near
}

// leave has the report written.
func (p *benchPage) leave() {
	p.t.Helper()
	p.fill("#t-title", "Six supplies, by the page")
	p.click(`#leave form[data-edit=bench] button`)
	p.until(`document.querySelector("h1").textContent && document.querySelector(".sheet").textContent.includes("by the page")`)
	p.settled()
	p.click("#write")
	p.until(`document.querySelector("#written") && !document.querySelector("#written").textContent.includes("since")`)
	p.picture("8-leave")
	p.whole("leave")
}

// twoTabs wants another tab, and the page after a reload, to show the same. A field
// that another tab changes while it is typed into says so, and what is typed stays.
func (p *benchPage) twoTabs(address, near string) {
	p.t.Helper()
	p.fill("#t-shop", "Mine")
	other, closeTab := chromedp.NewContext(p.Context)
	defer closeTab()
	if err := chromedp.Listen(other, func(any) {}); err != nil { // opens the tab for as long as other lasts
		p.t.Fatal(err)
	}
	q := &benchPage{Context: other, t: p.t}
	q.do(q.size(1280), chromedp.Navigate(strings.SplitN(address, "?", 2)[0]))
	q.until(`document.documentElement.dataset.live === "1"`)
	q.until(`document.querySelectorAll(".readings tbody button").length === 12 && document.querySelector("` + near + `-c").value === "47"`)
	q.fill("#t-shop", "Theirs")
	q.click(`#leave form[data-edit=bench] button`)
	p.until(`document.querySelector("#leave .overtaken")?.textContent.includes("Theirs") && document.querySelector("#t-shop").value === "Mine"`)
	q.click("#undo")
	closeTab()
	p.until(`!document.querySelector(".sheet").textContent.includes("Theirs")`)
	p.do(chromedp.Reload())
	p.until(`document.querySelectorAll("#check .card .wave").length === 12 && document.querySelectorAll(".readings tbody button").length === 12`)
}

// commandsAgree wants rank and report to say of the sheet what the page said, and
// the captures to be kept as they were.
func commandsAgree(t *testing.T, cache, table string, files []string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"rank", "--cache", cache, "bench.toml"}, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Fatalf("rank ends with %d: %s", code, errs.String())
	}
	if out.String() != table {
		t.Errorf("rank prints\n%s\nthe page says\n%s", out.String(), table)
	}
	if code := run(context.Background(), []string{"report", "--cache", cache, "--out", "again", "bench.toml"}, strings.NewReader(""), io.Discard, &errs); code != exitDone {
		t.Fatalf("report ends with %d: %s", code, errs.String())
	}
	sameFolder(t, "bench-report", "again")
	for _, f := range files {
		a, err := os.ReadFile(f)
		b, err2 := os.ReadFile(filepath.Join("captures", filepath.Base(f)))
		if err != nil || err2 != nil || !bytes.Equal(a, b) {
			t.Errorf("%s is not kept as it was", f)
		}
	}
}

// readmePicture keeps what the README shows, marked as invented.
func (p *benchPage) readmePicture(sheetPath string) {
	p.t.Helper()
	text, err := os.ReadFile(sheetPath)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(sheetPath, append([]byte("invented = true\n"), text...), 0o600); err != nil {
		p.t.Fatal(err)
	}
	p.until(`document.querySelector("#bar .banner")?.textContent.includes("Invented")`) // by hand, and shown at once
	p.settled()
	if p.shots == "" {
		return
	}
	p.do(protocol(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: 1200, Height: 1150, DeviceScaleFactor: 1}),
		chromedp.Evaluate[chromedp.Void](`document.querySelector("#check").scrollIntoView()`), chromedp.Sleep(2*time.Second))
	png, err := chromedp.Run(p, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(p.shots, "readme.png"), png, 0o600); err != nil {
		p.t.Fatal(err)
	}
}

// sameFolder compares two folders byte for byte.
func sameFolder(t *testing.T, a, b string) {
	t.Helper()
	list := func(dir string) (names []string) {
		err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
			if err == nil && !e.IsDir() {
				names = append(names, strings.TrimPrefix(path, dir))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return names
	}
	x, y := list(a), list(b)
	if len(x) < 10 || !slices.Equal(x, y) {
		t.Fatalf("%v, want %v", x, y)
	}
	for _, name := range x {
		p, err := os.ReadFile(a + name)
		q, err2 := os.ReadFile(b + name)
		if err != nil || err2 != nil || !bytes.Equal(p, q) {
			t.Errorf("%s differs", name)
		}
	}
}
