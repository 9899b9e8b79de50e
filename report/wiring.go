package report

import (
	"fmt"
	"html"
	"strings"
	"unicode/utf8"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/report/canvas"
)

// Measures of the wiring sketch in its own units, about pixels. Upright it is drawn
// for a phone, and where it would be longer than the page is wide.
const (
	wireLeft    = 150.0 // where the supply's box ends
	wireTop     = 110.0 // the positive wire
	wireBottom  = 390.0 // the negative wire
	wirePitch   = 132.0 // from one part to the next
	wireNoteGap = 18.0
	branchLead  = 60.0  // from the last series part to the first heater
	branchPitch = 205.0 // from one heater to the next
	longestFlat = 1060.0

	uprightWidth  = 320.0
	uprightLeft   = 36.0  // the positive wire
	uprightRight  = 300.0 // the negative wire
	uprightTop    = 104.0 // where the supply's box ends
	uprightBranch = 96.0  // the parts between the two
	uprightPitch  = 66.0  // from one part to the next
	uprightLetter = 42    // letters in a line of a note
)

// wiring draws one sketch: the positive wire on top, the negative below, parts
// in series along the top and what hangs between the two going down. Upright, the
// positive wire goes down at the left and the negative one at the right.
type wiring struct {
	b       strings.Builder
	upright bool
	x       float64  // where the positive wire has come to; upright: how far down
	free    float64  // upright: from where on there is room
	words   []string // what is drawn, part by part
}

func (w *wiring) line(x1, y1, x2, y2 float64) {
	fmt.Fprintf(&w.b, `<path d="M%g %gL%g %g"/>`, x1, y1, x2, y2)
}

func (w *wiring) text(x, y float64, anchor, s string) {
	fmt.Fprintf(&w.b, `<text x="%g" y="%g" text-anchor="%s" fill="currentColor" stroke="none">%s</text>`, x, y, anchor, html.EscapeString(s))
}

// beside sets several lines right of x, about the height y.
func (w *wiring) beside(x, y float64, lines ...string) {
	for i, s := range lines {
		w.text(x, y+5+16*(float64(i)-float64(len(lines)-1)/2), "start", s)
	}
}

// lead carries the positive wire on.
func (w *wiring) lead(length float64) {
	if w.upright {
		to := max(w.x, w.free) + min(length, wireNoteGap)
		w.line(uprightLeft, w.x, uprightLeft, to)
		w.x = to
		return
	}
	w.line(w.x, wireTop, w.x+length, wireTop)
	w.x += length
}

// series puts a part of the given half width into the positive wire.
func (w *wiring) series(half float64, body func(x, y float64), lines ...string) {
	w.words = append(w.words, "in series "+joined(" ", lines...))
	if w.upright {
		mid := max(w.x, w.free) + uprightPitch/2
		w.line(uprightLeft, w.x, uprightLeft, mid-half)
		fmt.Fprintf(&w.b, `<g transform="rotate(90 %g %g)">`, uprightLeft, mid)
		body(uprightLeft, mid)
		w.b.WriteString("</g>")
		w.x = mid + uprightPitch/2
		w.line(uprightLeft, mid+half, uprightLeft, w.x)
		w.beside(uprightLeft+22, mid, lines...)
		return
	}
	mid := w.x + wirePitch/2
	w.line(w.x, wireTop, mid-half, wireTop)
	body(mid, wireTop)
	w.line(mid+half, wireTop, w.x+wirePitch, wireTop)
	for i, s := range lines { // the last just above the part
		w.text(mid, wireTop-20-16*float64(len(lines)-1-i), "middle", s)
	}
	w.x += wirePitch
}

// box is the resistor of IEC 60617: a rectangle.
func (w *wiring) box(x, y float64) {
	fmt.Fprintf(&w.b, `<rect x="%g" y="%g" width="48" height="18" fill="none"/>`, x-24, y-9)
}

// fuse is a rectangle with the wire through it.
func (w *wiring) fuse(x, y float64) {
	fmt.Fprintf(&w.b, `<rect x="%g" y="%g" width="40" height="14" fill="none"/>`, x-20, y-7)
	w.line(x-20, y, x+20, y)
}

func (w *wiring) diode(x, y float64) {
	fmt.Fprintf(&w.b, `<path d="M%g %gV%gL%g %gZ" fill="none"/>`, x-12, y-11, y+11, x+12, y)
	w.line(x+12, y-11, x+12, y+11)
}

func (w *wiring) coil(x, y float64) {
	fmt.Fprintf(&w.b, `<path d="M%g %ga8 8 0 0 1 16 0a8 8 0 0 1 16 0a8 8 0 0 1 16 0" fill="none"/>`, x-24, y)
}

// branchPart is one part of what hangs between the wires, its words beside it.
type branchPart struct {
	draw  func(w *wiring, x, y float64)
	half  float64 // of its height
	aside float64 // from the wire to its words
	lines []string
}

// branch draws what hangs between the two wires, lead further on: each part takes a
// stretch of it.
func (w *wiring) branch(lead float64, parts ...branchPart) {
	for _, p := range parts {
		w.words = append(w.words, "across the wires "+joined(" ", p.lines...))
	}
	x, y, step, end := w.x+lead, wireTop, (wireBottom-wireTop)/float64(len(parts)+1), wireBottom
	if w.upright {
		x, y, step = uprightBranch, max(w.x, w.free)+14, uprightPitch
		end = y + step*float64(len(parts)+1) - 22
		w.line(uprightLeft, w.x, uprightLeft, y)
		w.dot(uprightLeft, y)
		w.line(uprightLeft, y, x, y)
		w.x, w.free = y, end
	} else {
		w.lead(lead)
		w.dot(x, wireTop)
	}
	at := y
	for _, p := range parts {
		at += step
		if w.upright && at == y+step {
			at -= 12
		}
		w.line(x, y, x, at-p.half)
		p.draw(w, x, at)
		w.beside(x+p.aside, at, p.lines...)
		y = at + p.half
	}
	w.line(x, y, x, end)
	if w.upright {
		w.line(x, end, uprightRight, end)
		w.dot(uprightRight, end)
		return
	}
	w.dot(x, wireBottom)
}

func (w *wiring) dot(x, y float64) {
	fmt.Fprintf(&w.b, `<circle cx="%g" cy="%g" r="3" fill="currentColor"/>`, x, y)
}

func uprightBox(w *wiring, x, y float64) {
	fmt.Fprintf(&w.b, `<rect x="%g" y="%g" width="18" height="44" fill="none"/>`, x-9, y-22)
}

func uprightFuse(w *wiring, x, y float64) {
	fmt.Fprintf(&w.b, `<rect x="%g" y="%g" width="14" height="36" fill="none"/>`, x-7, y-18)
	w.line(x, y-18, x, y+18)
}

// lamp is a valve's envelope with its heater.
func lamp(w *wiring, x, y float64) {
	fmt.Fprintf(&w.b, `<circle cx="%g" cy="%g" r="20" fill="none"/><path d="M%g %gv6l8 4l-16 6l16 6l-16 6l8 4v8" fill="none"/>`, x, y, x, y-20)
}

// plates is a capacitor, the curved plate negative where it has a polarity.
func plates(polar bool) func(w *wiring, x, y float64) {
	return func(w *wiring, x, y float64) {
		w.line(x-15, y-4, x+15, y-4)
		if !polar {
			w.line(x-15, y+4, x+15, y+4)
			return
		}
		fmt.Fprintf(&w.b, `<path d="M%g %gq15 -7 30 0" fill="none"/>`, x-15, y+8)
		w.text(x-22, y-8, "middle", "+")
	}
}

// earth is the one point where the heater circuit meets the audio earth.
func (w *wiring) earth(x, y float64) {
	w.dot(x, y)
	w.line(x, y, x, y+22)
	for i, half := range []float64{14, 9, 4} {
		w.line(x-half, y+22+6*float64(i), x+half, y+22+6*float64(i))
	}
}

// WiringSketch draws how the plan's recommendation is wired, as an SVG file of
// its own: supply, fuse, dropping parts, heaters with their pins, polarity and
// the one earth point. nil where nothing is recommended.
func WiringSketch(p *heater.Plan, title string) []byte {
	s := sketch(p, nil, title, false)
	if s == nil {
		return nil
	}
	return []byte(fmt.Sprintf("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"+`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" color="#1b2026"><rect width="%g" height="%g" fill="#ffffff"/>%s</svg>`+"\n",
		s.width, s.height, s.width, s.height, s.width, s.height, s.body))
}

// wiringInline is the sketch as markup for the page, in the page's own ink: one for
// a phone, and one for larger screens and paper. "" where nothing is recommended.
func wiringInline(p *heater.Plan, a *filter.Advice, title string) string {
	flat, tall := sketch(p, a, title, false), sketch(p, a, title, true)
	switch {
	case flat == nil:
		return ""
	case flat.width > longestFlat:
		return tall.inline(title)
	}
	return onScreens(flat.inline(title), tall.inline(title))
}

// drawnSketch is a sketch's markup, its size and what it shows, in words.
type drawnSketch struct {
	body, words   string
	width, height float64
}

func (s *drawnSketch) inline(title string) string {
	return fmt.Sprintf(`<svg class="wiring" role="img" aria-label="%s" viewBox="0 0 %g %g" width="%g" height="%g">%s</svg>`,
		html.EscapeString("wiring sketch of "+title+": "+s.words), s.width, s.height, s.width, s.height, s.body)
}

// sketch draws the plan's recommendation; nil where there is none.
func sketch(p *heater.Plan, a *filter.Advice, title string, upright bool) *drawnSketch {
	arrangement, part := bestPart(p)
	if part == nil {
		return nil
	}
	var post *filter.Circuit
	if a != nil && a.Found {
		if shared, ok := p.Shared(); ok { // a post-filter wants one resistor ahead of all
			post, part = &a.Best.Circuit, &shared
			for i := range p.Arrangements {
				if p.Arrangements[i].Name == heater.NameShared {
					arrangement = &p.Arrangements[i]
				}
			}
		}
	}
	volts := fmt.Sprintf("%.3g V", p.Supply.Volts)
	w := &wiring{x: wireLeft, upright: upright, words: []string{"DC supply of " + volts}}
	w.begin(title, volts)
	byBranch := len(part.Fuses) > 1 || arrangement.Name != heater.NameShared && len(part.Set) > 0
	if len(part.Fuses) == 1 && !byBranch {
		w.seriesFuse(part.Fuses[0])
	}
	w.dropping(part, arrangement, post, byBranch)
	w.heaters(part, byBranch)
	filament := len(p.Load.Groups) > 0 && p.Load.Groups[0].Valve.Filament
	return w.end(filament)
}

// begin draws the supply and where its wires leave it.
func (w *wiring) begin(title, volts string) {
	w.b.WriteString(`<g stroke="currentColor" stroke-width="1.6" fill="none" font-family="sans-serif" font-size="14">`)
	if w.upright {
		w.text(4, 20, "start", shorten(clean(title), 36))
		fmt.Fprintf(&w.b, `<rect x="4" y="38" width="%g" height="%g" fill="none"/>`, uprightWidth-8, uprightTop-38)
		w.text(uprightWidth/2, 76, "middle", "DC supply, "+volts)
		w.text(uprightLeft, uprightTop-8, "middle", "+")
		w.text(uprightRight, uprightTop-8, "middle", "−")
		w.x, w.free = uprightTop, uprightTop+10
		return
	}
	w.text(20, 30, "start", shorten(clean(title), 64))
	fmt.Fprintf(&w.b, `<rect x="20" y="%g" width="110" height="%g" fill="none"/>`, wireTop-30, wireBottom-wireTop+60)
	w.text(75, (wireTop+wireBottom)/2-8, "middle", "DC supply")
	w.text(75, (wireTop+wireBottom)/2+10, "middle", volts)
	w.text(118, wireTop+5, "end", "+")
	w.text(118, wireBottom+5, "end", "−")
	w.line(130, wireTop, wireLeft, wireTop)
	w.line(130, wireBottom, wireLeft, wireBottom)
}

const (
	earthNote    = "one earth point only, at the first stage's earth, if the supply's output floats"
	filamentNote = "the filament is the cathode: earth it where the circuit's bias says, not at the supply"
)

// wiringNotes go under every sketch.
var wiringNotes = []string{"Twist the heater wires; keep electrolytics away from resistors. Mains side: leave it closed. Check polarity at the",
	"socket pins before the first valve, volts with all valves in and warm. Local codes and licensed practice decide."}

// end draws the negative wire, the earth point and the notes.
func (w *wiring) end(filament bool) *drawnSketch {
	note := earthNote
	if filament {
		note = filamentNote
	}
	d := &drawnSketch{width: uprightWidth, words: strings.Join(append(w.words, note), "; ")}
	if w.upright {
		end := w.free + 18
		if filament { // nothing hangs on the end of its wire
			w.line(uprightRight, uprightTop, uprightRight, w.free)
		} else {
			w.line(uprightRight, uprightTop, uprightRight, end)
			w.earth(uprightRight, end)
		}
		y := end + 18
		for _, text := range []string{note, "", strings.Join(wiringNotes, " ")} {
			width := uprightLetter
			if text == note {
				width -= 6 // beside the earth point
			}
			for _, s := range canvas.Wrap(text, func(line string) bool { return utf8.RuneCountInString(line) <= width }) {
				w.text(4, y, "start", s)
				y += wireNoteGap
			}
			y += wireNoteGap / 3
		}
		d.height = y
	} else {
		w.line(wireLeft, wireBottom, w.x, wireBottom)
		if !filament {
			w.earth(wireLeft+20, wireBottom)
		}
		w.text(wireLeft+44, wireBottom+34, "start", note)
		for i, s := range wiringNotes {
			w.text(20, wireBottom+80+wireNoteGap*float64(i), "start", s)
		}
		d.width, d.height = max(880, w.x+200), 520
	}
	w.b.WriteString("</g>")
	d.body = w.b.String()
	return d
}

func (w *wiring) seriesFuse(f heater.Fuse) {
	if f.RatingA > 0 {
		w.series(20, w.fuse, "fuse", fmt.Sprintf("T %s A", trimNumber(f.RatingA)))
		return
	}
	w.lead(20)
}

// dropping draws the parts in the positive wire: post-filter, shared resistor
// or diodes.
func (w *wiring) dropping(part *heater.Part, a *heater.Arrangement, post *filter.Circuit, byBranch bool) {
	capacitor := func(c filter.Capacitor) {
		if c.F == 0 {
			return
		}
		polar := c.Kind == filter.Electrolytic || c.Kind == filter.Polymer
		w.branch(24, branchPart{plates(polar), 6, 22, []string{filter.Farads(max(c.F, c.NominalF)), c.Kind}})
		if !w.upright {
			w.lead(wirePitch - 24)
		}
	}
	if post != nil && post.Topology == filter.CLC {
		capacitor(post.C1)
	}
	if post != nil && post.Topology != filter.RC {
		w.series(24, w.coil, "coil", eng(post.L.H, "H"))
	}
	switch {
	case byBranch:
	case len(part.Set) > 0:
		c := part.Set[0]
		label := c.Label
		if post != nil && post.ROhm > 0 {
			label = orText(post.RLabel, filter.Ohms(post.ROhm))
		}
		w.series(24, w.box, clean(label), buyText(c.FitW))
	case a.Best >= 0 && part.Count > 0:
		w.series(12, w.diode, clean(part.Label))
	}
	if post == nil {
		return
	}
	if post.Topology == filter.CLC {
		capacitor(post.C2)
	} else {
		capacitor(post.C1)
	}
	capacitor(post.CFilm)
	if post.CDamp.F > 0 {
		damping := branchPart{plates(true), 6, 22, []string{filter.Farads(post.CDamp.F), "damping"}}
		if post.DampOhm > 0 {
			w.branch(24, branchPart{uprightBox, 22, 16, []string{filter.Ohms(post.DampOhm)}}, damping)
		} else { // its ESR does it
			w.branch(24, damping)
		}
		if !w.upright {
			w.lead(wirePitch - 24)
		}
	}
}

// heaters draws the branches of the part's circuit.
func (w *wiring) heaters(part *heater.Part, byBranch bool) {
	lead := branchLead
	for k, b := range part.Branches() {
		var parts []branchPart
		if byBranch {
			if k < len(part.Fuses) && part.Fuses[k].RatingA > 0 {
				parts = append(parts, branchPart{uprightFuse, 18, 16, []string{fmt.Sprintf("T %s A", trimNumber(part.Fuses[k].RatingA)), eachText(part.Fuses[k].Count)}})
			}
			if k < len(part.Set) && part.Set[k].Ohm > 0 {
				parts = append(parts, branchPart{uprightBox, 22, 16, []string{clean(part.Set[k].Label), buyText(part.Set[k].FitW), eachText(part.Set[k].Count)}})
			}
		}
		for _, g := range b.Heaters {
			label := []string{fmt.Sprintf("%d x %s", b.Count*g.Count, clean(g.Valve.Type)), pinsText(g)}
			if b.String {
				label[0] = fmt.Sprintf("%d x %s in series", g.Count, clean(g.Valve.Type))
				if b.Count > 1 {
					label = append(label, fmt.Sprintf("%d such strings", b.Count))
				}
				if g.ShuntOhm > 0 {
					label = append(label, filter.Ohms(g.ShuntOhm)+" across each")
				}
			}
			parts = append(parts, branchPart{lamp, 20, 28, label})
		}
		w.branch(lead, parts...)
		lead = branchPitch
	}
	if lead == branchLead {
		w.lead(branchLead)
	}
}

func eachText(n int) string {
	if n > 1 {
		return fmt.Sprintf("%d of them", n)
	}
	return ""
}

// pinsText names the heater pins in the connection used.
func pinsText(g heater.Group) string {
	pins := g.Valve.Pins
	if pins == "" {
		return "pins: data sheet"
	}
	ends, tap, tapped := strings.Cut(pins, ", centre tap ")
	ends, _, _ = strings.Cut(ends, ", shield")
	a, b, _ := strings.Cut(ends, ", ")
	switch {
	case tapped && (g.Wiring == heater.Series || g.Wiring == heater.StringSeries):
		return fmt.Sprintf("pins %s and %s, %s open", a, b, tap)
	case tapped:
		return fmt.Sprintf("pins %s+%s and %s", a, b, tap)
	}
	return fmt.Sprintf("pins %s and %s", a, b)
}
