package report

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestLook is for judging by eye. It photographs the report in the folder that
// STILLGLOW_LOOK names, on a laptop, in the dark, on a phone and on paper; a
// folder without index.html gets the fixture's report first.
func TestLook(t *testing.T) {
	dir := os.Getenv("STILLGLOW_LOOK")
	if dir == "" {
		t.Skip("set STILLGLOW_LOOK to a report's folder, or an empty one, to have it photographed there")
	}
	save := func(name string, b []byte, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "index.html")); err != nil {
		files, err := Render(context.Background(), fixture(9), RenderOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			save(f.Name, f.Bytes, nil)
		}
	}
	browser := startBrowser(t)
	page := func(name string) string { return "file://" + filepath.Join(dir, name) }
	const openTwo = `for (const i of [0, 4]) { const d = document.querySelectorAll('details.unit')[i]; if (d) d.open = true; }
		document.querySelector('#compare')?.scrollIntoView()`
	for _, c := range []struct {
		name, scheme string
		width        int64
	}{{"laptop", "light", 1280}, {"dark", "dark", 1280}, {"phone", "light", 360}} {
		p := newTab(t, browser, page("index.html"), c.width, 900, scheme(c.scheme))
		p.run(t, js(openTwo), chromedp.Sleep(700*time.Millisecond), js(`scrollTo(0, 0)`), chromedp.Sleep(300*time.Millisecond))
		png, err := chromedp.Run(p, chromedp.FullScreenshot(100))
		save("look-"+c.name+".png", png, err)
		p.quiet(t)
	}
	for _, name := range []string{"index", "labels"} {
		p := newTab(t, browser, page(name+".html"), 1280, 900)
		p.run(t, js(`const d = document.querySelector('details.unit'); if (d) d.open = true`), chromedp.Sleep(400*time.Millisecond))
		pdf, err := chromedp.Run(p, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPrintBackground()))
		save("look-"+name+".pdf", pdf, err)
	}
}
