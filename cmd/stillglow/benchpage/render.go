package benchpage

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/report"
)

//go:embed assets/page.html assets/bench.css assets/bench.js
var assets embed.FS

// named hands a template a part's name with the view.
type named struct {
	Name string
	V    *view
}

var pageTemplate = sync.OnceValues(func() (*template.Template, error) {
	text, err := assets.ReadFile("assets/page.html")
	if err != nil {
		return nil, err
	}
	return template.New("page").Funcs(template.FuncMap{
		"part":     func(name string, v *view) named { return named{name, v} },
		"words":    func(w ...string) []string { return w },
		"inc":      func(i int) int { return i + 1 },
		"plain":    trimmed,
		"unbroken": report.UnbrokenName,
		"len2":     func(a, b []string) int { return len(a) + len(b) },
	}).Parse(string(text))
})

// render writes a template's text, whole or an error.
func render(w http.ResponseWriter, name string, data any) {
	t, err := pageTemplate()
	var b bytes.Buffer
	if err == nil {
		err = t.ExecuteTemplate(&b, name, data)
	}
	if err != nil {
		http.Error(w, "the page can't be made: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(report.Unbreakable(b.Bytes()))
}

func (b *bench) page(w http.ResponseWriter, version string) { render(w, "page", b.makeView(version)) }

// servePart gives one part of the page as it is now.
func (b *bench) servePart(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if !slices.Contains(partNames, name) {
		http.Error(w, "the page has no such part", http.StatusNotFound)
		return
	}
	render(w, "part", named{name, b.makeView("")})
}

// serveStatic gives the page's own files.
func serveStatic(w http.ResponseWriter, r *http.Request) {
	var text string
	var err error
	name := r.PathValue("file")
	switch name {
	case "report.css":
		text, err = report.Style()
	case "plots.js":
		text, err = report.PlotLibrary()
	case "bench.css", "bench.js":
		var data []byte
		data, err = assets.ReadFile("assets/" + name)
		text = string(data)
	default:
		http.Error(w, "the page has no such file", http.StatusNotFound)
		return
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}[path.Ext(name)])
	http.ServeContent(w, r, "", time.Time{}, strings.NewReader(text))
}

// serveValves searches the valve table.
func (b *bench) serveValves(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query().Get("q")
	if len(query) > 60 {
		http.Error(w, fmt.Sprintf("a search of %d bytes, expected a valve's type", len(query)), http.StatusBadRequest)
		return
	}
	b.mu.Lock()
	s := b.sheet
	b.mu.Unlock()
	var answer struct {
		Found []valveFound
		Why   string // there are none
	}
	if s != nil {
		own := ownValves(s)
		for _, v := range heater.Search(query, own) {
			if len(answer.Found) < valvesMost {
				answer.Found = append(answer.Found, wordValve(v))
			}
		}
		if _, err := heater.Lookup(query, own); err != nil && len(answer.Found) == 0 {
			answer.Why = capture.OneLine(err.Error())
		}
	}
	render(w, "valvelist", answer)
}
