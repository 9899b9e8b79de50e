package report

import (
	"bytes"
	"html/template"
)

// HTML is index.html: for now the finding in words.
func (r *Report) HTML() ([]byte, error) {
	var b bytes.Buffer
	err := template.Must(template.New("").Parse(`<!doctype html><html lang="en"><title>{{.Title}}</title><h1>{{.Title}}</h1>{{with .Answer}}<p>{{.Best}}<p>{{.Fit}}<p>{{.Fix}}{{end}}`)).Execute(&b, r)
	return b.Bytes(), err
}

// Labels is labels.html.
func (r *Report) Labels() ([]byte, error) { return r.HTML() }

