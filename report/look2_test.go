package report

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

func TestScreens(t *testing.T) {
	dir := os.Getenv("STILLGLOW_SHOTS")
	if dir == "" {
		t.Skip("set STILLGLOW_SHOTS to a folder that holds index.html to photograph it there")
	}
	b := startBrowser(t)
	url := "file://" + filepath.Join(dir, "index.html")
	shot := func(name string, p *tab) {
		png, err := chromedp.Run(p, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	for _, c := range []struct {
		name, scheme string
		w            int64
	}{{"laptop", "light", 1280}, {"dark", "dark", 1280}, {"phone", "light", 360}} {
		p := newTab(t, b, url, c.w, 900, scheme(c.scheme))
		p.run(t, js(`document.querySelectorAll('details.unit')[0].open = true; const near = document.querySelectorAll('details.unit')[+(new URLSearchParams(location.search).get('n')||4)]; if (near) near.open = true; document.querySelector('#compare')?.scrollIntoView()`), chromedp.Sleep(700*time.Millisecond), js(`scrollTo(0,0)`), chromedp.Sleep(300*time.Millisecond))
		shot(c.name, p)
		p.quiet(t)
	}
	p := newTab(t, b, "file://"+filepath.Join(dir, "labels.html"), 900, 700)
	shot("labels", p)
	p.quiet(t)
	for _, f := range []string{"index", "labels"} {
		p := newTab(t, b, "file://"+filepath.Join(dir, f+".html"), 1280, 900)
		p.run(t, js(`const d = document.querySelector('details.unit'); if (d) d.open = true`), chromedp.Sleep(400*time.Millisecond))
		pdf, err := chromedp.Run(p, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPrintBackground()))
		if err != nil {
			t.Fatal(err)
		}
		os.WriteFile(filepath.Join(dir, f+".pdf"), pdf, 0o644)
	}
}
