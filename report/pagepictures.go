package report

import (
	"context"
	"html/template"
	"strings"

	"stillglow/report/pool"
)

// pagePlots are the page's own pictures, drawn into it.
type pagePlots struct {
	brands, overlay, common template.HTML
	unit                    map[int][]plotView // by unit
}

// pagePlots draws the page's pictures, side by side: on a large bench nothing else in
// the page takes as long.
func (r *Report) pagePlots(ctx context.Context, share float64, still bool) (pagePlots, error) {
	plots := r.plotList()
	svgs := make([]template.HTML, len(plots))
	if err := pool.Each(ctx, len(plots), 0, func(i int) error {
		svgs[i] = r.inline(plots[i], share, still)
		return nil
	}); err != nil {
		return pagePlots{}, err
	}
	out := pagePlots{unit: map[int][]plotView{}}
	for i, p := range plots {
		svg := svgs[i]
		if svg == "" {
			continue
		}
		switch p.kind {
		case "brands":
			out.brands = `<figure class="fig">` + svg + `</figure>`
		case "overlay":
			out.overlay = svg
		case "common-mode":
			out.common = svg
		default:
			out.unit[p.unit] = append(out.unit[p.unit], plotView{Kind: p.kind, Unit: p.unit, SVG: svg, Caption: captions[p.kind],
				Wide: p.kind == "waveform" || p.kind == "spectrum" || p.kind == "warm-up"})
		}
	}
	return out, nil
}

// inline is a picture as it stands in the page, "" where it doesn't.
func (r *Report) inline(p plotSpec, share float64, still bool) template.HTML {
	if p.kind == "histograms" && p.unit >= histogramUnits && len(r.Units) > unitsInFull {
		return "" // the plots folder has it
	}
	g := p.figure(max(leastColumns, int(share*staticColumns)))
	if g == nil {
		return ""
	}
	g.Title, g.Footer = "", strings.TrimSuffix(strings.TrimSuffix(g.Footer, "invented data"), " · ")
	g.Coarse = share < 0.5
	if p.phone == nil || !still && p.live {
		return template.HTML(g.Inline(p.alt))
	}
	phone := p.phone(max(leastColumns, int(share*phoneColumns)))
	phone.Footer, phone.Coarse = orText(phone.Footer, g.Footer), g.Coarse
	markup := phone.Inline(p.alt)
	if p.unit < 0 || len(r.Units) <= unitsInFull { // of a large bench's units the phone's serves every screen
		markup = onScreens(g.Inline(p.alt), markup)
	}
	return template.HTML(markup)
}

// onScreens shows one of two pictures: that for a narrow screen there, the other on
// every other screen and on paper.
func onScreens(wide, narrow string) string {
	return `<div class="widescreen">` + wide + `</div><div class="narrowscreen">` + narrow + `</div>`
}

// captions say what a picture shows, under it.
var captions = map[string]string{
	"waveform":   "Waveform: the whole record, and a few switching cycles with the spikes marked. Every pixel column shows its lowest and highest volts, so that no spike is lost.",
	"cycle":      "One switching cycle, the average of all.",
	"spike":      "A typical spike, enlarged.",
	"spectrum":   "Noise density with the strongest lines named, the instrument's baseline and the target's limits.",
	"histograms": "How high the spikes are, and how far apart.",
	"filter":     "Noise density before and after the advised post-filter.",
	"warm-up":    "Heater volts and load current from switch-on, simulated from cold with the dropper to fit.",
}
