package report

import (
	"cmp"
	"fmt"
	"slices"

	"gonum.org/v1/plot/vg"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
	"stillglow/report/canvas"
)

// plotSpec is one picture of the report, drawn on demand.
type plotSpec struct {
	name    string                            // file name without folder and extension
	kind    string                            // "spectrum", "waveform", ...
	caption string                            // over the picture
	alt     string                            // what it shows, in words
	unit    int                               // index into Units, -1 for the whole bench
	inLog   bool                              // shown in the build log
	figure  func(columns int) *canvas.Drawing // curves reduced to about that number of columns
	phone   func(columns int) *canvas.Drawing // the same for a narrow screen, without title; nil: there is none
	live    bool                              // the report's page draws its own plot, which fits every screen
}

// plotList names every picture that has data behind it, in a fixed order.
func (r *Report) plotList() []plotSpec {
	var out []plotSpec
	add := func(s plotSpec, has bool, f func(int) *canvas.Drawing) {
		if !has {
			return
		}
		s.figure = func(columns int) *canvas.Drawing {
			g := f(columns)
			if g == nil {
				return nil
			}
			g.Title = s.caption
			if r.Invented {
				g.Footer = joinNonEmpty(" · ", g.Footer, "invented data")
			}
			return g
		}
		out = append(out, s)
	}
	add(plotSpec{name: "brands", kind: "brands", unit: -1, inLog: true, caption: "Brands: worst margin of every unit",
		alt: brandsAlt(r), phone: func(int) *canvas.Drawing { return brandFigure(r, true) }}, len(r.Brands) > 0, func(int) *canvas.Drawing { return brandFigure(r, false) })
	withSpectrum := 0
	for i := range r.Units {
		if len(spectra(r.Units[i].Captures)) > 0 {
			withSpectrum++
		}
	}
	add(plotSpec{name: "overlay", kind: "overlay", unit: -1, inLog: true, caption: "Spectra of the first units in the ranking",
		alt: "Noise density over frequency of the first units in the ranking, overlaid, with the target's limits"},
		withSpectrum > 1 && overlayFigure(r, 40) != nil, func(columns int) *canvas.Drawing { return overlayFigure(r, columns) })
	add(plotSpec{name: "common-mode", kind: "common-mode", unit: -1, inLog: true, caption: "Common mode: spectra across 100 Ω to chassis or earth", alt: commonAlt(r),
		phone: func(columns int) *canvas.Drawing { return narrow(commonFigure(r, columns), 230) }},
		commonFigure(r, 40) != nil, func(columns int) *canvas.Drawing { return commonFigure(r, columns) })
	best := r.best()
	bases := r.plotBases()
	for i := range r.Units {
		u := &r.Units[i]
		name := shorten(unitName(u.Eval.Unit), 60)
		base := bases[i]
		unit := func(kind, what, alt string, inLog, has bool, f, phone func(int) *canvas.Drawing) {
			live := phone == nil
			if live {
				phone = func(columns int) *canvas.Drawing { return narrow(f(columns), livePhoneHeight[kind]) }
			}
			add(plotSpec{name: base + "-" + kind, kind: kind, unit: i, inLog: inLog && u == best, phone: phone, live: live,
				caption: name + ": " + what, alt: what + " of " + name + alt}, has, f)
		}
		unit("waveform", "waveform", waveformAlt(u), true, longest(u.Captures) != nil || fastest(u.Captures) != nil,
			func(columns int) *canvas.Drawing { return waveformFigure(u, columns) }, nil)
		unit("cycle", "average switching cycle", cycleAlt(u), false, cycleOf(u.Captures) != nil,
			func(columns int) *canvas.Drawing { return cycleFigure(u, columns) }, nil)
		unit("spike", "typical spike", spikeAlt(u), false, spikeOf(u.Captures) != nil,
			func(columns int) *canvas.Drawing { return spikeFigure(u, columns) }, nil)
		unit("spectrum", "spectrum", spectrumAlt(u), true, len(spectra(u.Captures)) > 0 && spectrumFigure(u, &r.Target, 40) != nil,
			func(columns int) *canvas.Drawing { return spectrumFigure(u, &r.Target, columns) }, nil)
		unit("histograms", "spike peaks and intervals", histogramAlt(u), false, histogramFigure(u) != nil,
			func(int) *canvas.Drawing { return histogramFigure(u) }, func(int) *canvas.Drawing { return narrow(histogramFigure(u), 340) })
		unit("filter", "before and after the post-filter", filterAlt(u), false, filterFigure(u, &r.Target, 40) != nil,
			func(columns int) *canvas.Drawing { return filterFigure(u, &r.Target, columns) },
			func(columns int) *canvas.Drawing { return narrow(filterFigure(u, &r.Target, columns), 380) })
		unit("warm-up", "heater warm-up from cold", warmUpAlt(u), true, u == best && hasWarmUp(u),
			func(int) *canvas.Drawing { return warmUpFigure(u, false) }, func(int) *canvas.Drawing { return warmUpFigure(u, true) })
	}
	return out
}

// livePhoneHeight is how high a picture is on a phone where nothing draws it live.
var livePhoneHeight = map[string]vg.Length{"waveform": 360, "cycle": 230, "spike": 230, "spectrum": 280}

// plotBases begin the names of each unit's plots. They hold no rank, so that links to
// them outlive the next ranking; units that read alike are numbered by their names'
// whole text, not by their place.
func (r *Report) plotBases() []string {
	alike := map[string][]int{} // units by their slug
	names := make([]string, len(r.Units))
	for i := range r.Units {
		names[i] = unitName(r.Units[i].Eval.Unit)
		s := slug(names[i])
		alike[s] = append(alike[s], i)
	}
	bases := make([]string, len(r.Units))
	for base, units := range alike {
		if len(units) == 1 {
			bases[units[0]] = base
			continue
		}
		slices.SortStableFunc(units, func(a, b int) int { return cmp.Compare(names[a], names[b]) })
		for k, i := range units {
			bases[i] = fmt.Sprintf("%s--%d", base, k+1) // a slug holds no two hyphens, so no other unit has it
		}
	}
	return bases
}

func brandsAlt(r *Report) string {
	s := "Worst margin of every unit by brand"
	for i, b := range r.Brands {
		if i == brandLimit {
			break
		}
		s += fmt.Sprintf("; %s: %s, median %s", shorten(clean(b.Name), 40), passText(b), brandDB(b, b.MedianDB))
	}
	return s
}

func waveformAlt(u *Unit) string {
	m := longest(u.Captures)
	if m == nil {
		return ""
	}
	s := fmt.Sprintf(": %s record, %s peak-to-peak", eng(m.DurationS, "s"), figureText(m.PPV, voltUnit(m)))
	if m.Spikes.PerS.Known {
		s += ", " + capture.Plural(m.Spikes.Count, "spike")
	}
	return s
}

func cycleAlt(u *Unit) string {
	if m := cycleOf(u.Captures); m != nil {
		return fmt.Sprintf(": ripple %s peak-to-peak at %s", figureText(m.RipplePPV, voltUnit(m)), figureText(m.SwitchingHz, "Hz"))
	}
	return ""
}

func spikeAlt(u *Unit) string {
	if m := spikeOf(u.Captures); m != nil {
		return ": " + spikeWords(m)
	}
	return ""
}

func spectrumAlt(u *Unit) string {
	s := ""
	for _, m := range spectra(u.Captures) {
		if m.Noise.DensityVPerRtHz.Known {
			s += fmt.Sprintf(": noise floor %s at %s", figureText(m.Noise.DensityVPerRtHz, voltUnit(m)+"/√Hz"), figureText(m.Noise.AtHz, "Hz"))
			break
		}
	}
	for i, l := range strongestLines(u, 3) {
		if i == 0 {
			s += "; strongest lines: "
		} else {
			s += ", "
		}
		s += clean(l.Name) + " " + eng(l.RMSV, "V") + " rms"
	}
	return s
}

func histogramAlt(u *Unit) string {
	m := spikeOf(u.Captures)
	if m == nil {
		return ""
	}
	s, unit := fmt.Sprintf(": %s", capture.Plural(m.Spikes.Count, "spike")), voltUnit(m)
	for _, f := range []struct {
		figure figure.Figure
		words  string
	}{{m.Spikes.PeakMedianV, "median peak"}, {m.Spikes.PeakP95V, "95th percentile"}, {m.Spikes.PeakMaxV, "highest"}} {
		if f.figure.Known {
			s += ", " + f.words + " " + figureText(f.figure, unit)
		}
	}
	return s
}

// filterAlt names the criteria that the post-filter is for, before and behind it.
func filterAlt(u *Unit) string {
	if u.Filter == nil || !u.Filter.Found {
		return ""
	}
	s := ", predicted behind the " + string(u.Filter.Best.Circuit.Topology) + " filter"
	for _, m := range u.Eval.Margins {
		if after := marginOf(&u.Filter.Best.After, m.Limit.Criterion); m.Covered && m.DB < 0 && after != nil && after.Covered {
			s += fmt.Sprintf("; %s from %s to %s, limit %s", longName(m.Limit), figureText(m.Figure, m.Limit.Unit), figureText(after.Figure, m.Limit.Unit), limitText(m.Limit))
		}
	}
	return s
}

// strongestLines are the n strongest named lines over all captures of a unit,
// each name once.
func strongestLines(u *Unit, n int) []spectrum.Line {
	best := map[string]spectrum.Line{}
	var names []string
	for _, m := range spectra(u.Captures) {
		for _, l := range m.Lines {
			if l.Name == "" || !m.Calibrated {
				continue
			}
			old, seen := best[l.Name]
			if !seen {
				names = append(names, l.Name)
			}
			if !seen || l.RMSV > old.RMSV {
				best[l.Name] = l
			}
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(best[b].RMSV, best[a].RMSV) })
	var out []spectrum.Line
	for _, name := range names[:min(n, len(names))] {
		out = append(out, best[name])
	}
	return out
}
