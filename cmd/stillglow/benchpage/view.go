package benchpage

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"sort"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// view is what the templates show: words and finished pieces, nothing to work out.
type view struct {
	Title, Sheet, Folder string
	Broken               string // why the sheet does not read
	ByHand               bool
	Invented             bool // the sheet says that its data is made up
	Undo, Redo           int
	Steps                []stepView

	Waiting, Measuring, Unreadable int
	Following                      string
	FollowNotes                    []string
	Unnamed                        []cardView
	Instrument                     sheet.Instrument
	InstrumentBandwidth            string
	MemorySamples, MaxRate         string

	Cards []cardView // in the sheet
	Loose []cardView
	Base  []cardView
	Units []unitView
	Known knownNames

	Bench     benchView
	Parts     *report.Parts
	Failed    string
	Deciding  bool
	Open      []openView
	Fit       fitView
	Text      string
	Written   string
	WriteErr  string
	Writing   bool
	CanWrite  bool
	Stale     bool // the written report is of another state
	LeftOut   []string
	Safety    safetyLines
	Targets   []string
	Version   string
	LoadWords string
}

type stepView struct{ Part, Name, State string }

// cardView is one capture.
type cardView struct {
	ID, File, Name  string
	State           string // "waiting", "measuring", "done", "failed"
	Error           string
	Channels        []string
	Read            []report.NamedText
	Rate, Record    string
	Span, Volts     string
	Assumed         []report.NamedText
	Cautions        []capture.Caution
	Figures         []report.NamedText
	First           []report.NamedText // the three that come first
	Missing         []string
	Fields          map[string]string
	Coupling        string
	Alike           int
	Unit, Role      string
	Guess           guess
	Loaded          string
	WAV, Calibrated bool
	BaselineUsed    string
	Version         int // changes with every new reading
}

type unitView struct {
	ID, Name           string
	U                  sheet.Unit
	RatedV, RatedA     string
	Captures           []cardView
	Readings           []readingView
	Verdict, Class     string
	Shape              string
	Decided            string
	NeedsReading       bool
	HeaterA, NoReading string
}

type readingView struct {
	N        int
	Load, V  string
	Unloaded bool
}

type knownNames struct{ Brands, Models []string }

type benchView struct{ Title, Workshop, Date, Target, Mains, Note string }

// openView is what one unit still lacks.
type openView struct {
	Name, Verdict, Class, Shape string
	Decided                     []string // criteria that a capture covers
	Open                        []string // those that none covers
	Settle                      string   // the one thing that would settle most
	Then                        []string // what would settle the rest
	Again                       []string // cautions that make it a retake
}

type fitView struct {
	Groups      []valveView
	Load        string
	Heaters     sheet.Heaters
	SupplyTol   string
	PartTol     string
	LeadOhm     string
	Error       string
	Units       []fitUnit
	Wirings     []string
	SeriesNames []string
}

type valveView struct {
	N              int
	Type           string
	Count          int
	Wiring, String string
}

type fitUnit struct {
	ID, Name, Verdict, Class, Shape string
	Plan, Filter, Plot              template.HTML
	NoPlan                          string
	Tried                           bool
	Try                             map[string]string
}

// look makes the view from the bench as it is now.
func (b *bench) look(version string) *view {
	back, forward := b.file.Steps()
	following, notes := b.follow.state()
	b.mu.Lock()
	defer b.mu.Unlock()
	v := &view{Sheet: b.file.Path(), Folder: b.folder, Undo: back, Redo: forward, ByHand: b.byHand, Text: string(b.text), Following: following,
		FollowNotes: notes, Safety: theSafetyLines, Targets: target.Names(), Version: version, Title: "Heater supplies"}
	if b.broken != nil {
		v.Broken = capture.OneLine(b.broken.Error())
	}
	if b.sheet == nil {
		v.steps()
		return v
	}
	s := b.sheet
	v.Title, v.Invented = s.Title, s.Invented
	v.Bench = benchView{s.Title, s.Workshop, s.Date, s.Target, trimmed(s.MainsHz), s.Note}
	v.Instrument = s.Instrument
	v.InstrumentBandwidth, v.MaxRate = si(s.Instrument.BandwidthHz, "Hz"), si(s.Instrument.MaxRateHz, "S/s")
	if s.Instrument.MemorySamples > 0 {
		v.MemorySamples = capture.SI(float64(s.Instrument.MemorySamples), "", 4)
	}
	v.cards(b)
	v.units(b)
	v.decision(b)
	v.fit(b)
	v.leave(b)
	v.steps()
	return v
}

func trimmed(x float64) string {
	if x == 0 {
		return ""
	}
	return fmt.Sprintf("%g", x)
}

func si(x float64, unit string) string {
	if x == 0 {
		return ""
	}
	return capture.SI(x, unit, 4)
}

// cards words every capture.
func (v *view) cards(b *bench) {
	layouts := map[string]int{}
	for _, e := range b.entries {
		if e.Role != unnamed && e.reading != nil {
			layouts[layoutOf(e.reading)]++
		}
	}
	for _, e := range b.entries {
		c := b.card(e)
		if e.reading != nil && layoutOf(e.reading) != "" {
			c.Alike = layouts[layoutOf(e.reading)] - 1
		}
		switch c.State {
		case "waiting":
			v.Waiting++
		case "measuring":
			v.Measuring++
		case "failed":
			v.Unreadable++
		}
		if e.Role == unnamed {
			v.Unnamed = append(v.Unnamed, c)
			continue
		}
		v.Cards = append(v.Cards, c)
		switch e.Role {
		case loose:
			v.Loose = append(v.Loose, c)
		case baseline:
			v.Base = append(v.Base, c)
		}
	}
	slices.SortStableFunc(v.Loose, func(x, y cardView) int { return strings.Compare(x.Name, y.Name) })
}

// firstFigures are those that tell most about a capture at a glance.
var firstFigures = []string{"DC", "peak-to-peak, 20 MHz", "switching frequency", "mains ripple (100/120 Hz), rms", "peak-to-peak, full span"}

func (b *bench) card(e entry) cardView {
	c := cardView{ID: e.ID, File: e.Capture.File, Name: e.Capture.File[strings.LastIndexByte(e.Capture.File, '/')+1:], Fields: e.Fields,
		Unit: "", WAV: strings.HasSuffix(strings.ToLower(e.Capture.File), ".wav"), Coupling: string(e.Capture.Options.Coupling)}
	if e.Capture.LoadA > 0 {
		c.Loaded = capture.SI(e.Capture.LoadA, "A", 3)
	}
	switch e.Role {
	case ofUnit:
		c.Role, c.Unit = "unit", b.sheet.Units[e.Unit].Name()
	case baseline:
		c.Role = "baseline"
	case loose:
		c.Role = "loose"
		c.Guess = guessFrom(e.Capture.File, b.sheet.Units)
	}
	if e.Capture.Baseline != nil {
		c.BaselineUsed = e.Capture.Baseline.File
	}
	r := e.reading
	if r == nil {
		return c
	}
	switch r.state {
	case waiting:
		c.State = "waiting"
	case measuring:
		c.State = "measuring"
	case failed:
		c.State, c.Channels = "failed", r.channels
		c.Error = capture.OneLine(r.err.Error())
	case measured:
		c.State, c.Version = "done", r.serial
		b.wordCard(&c, r)
	}
	return c
}

// wordCard words what a capture shows.
func (b *bench) wordCard(c *cardView, r *reading) {
	m := r.got.M
	p := report.PartsOf(r.got)
	c.Calibrated = m.Calibrated
	c.Rate = capture.SI(m.SampleRateHz, "S/s", 4)
	c.Record = fmt.Sprintf("%s, %d samples", capture.SI(m.DurationS, "s", 3), m.Samples)
	if m.Span.HighHz > 0 {
		c.Span = target.HzText(m.Span.LowHz) + " to " + target.HzText(m.Span.HighHz)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range m.Waveform.MinV {
		lo, hi = min(lo, m.Waveform.MinV[i]), max(hi, m.Waveform.MaxV[i])
	}
	unit := "V"
	if !m.Calibrated {
		unit = "of full scale"
	}
	if hi >= lo {
		c.Volts = rangeText(lo, hi, unit)
	}
	if c.Coupling == "" {
		c.Coupling = string(m.Coupling)
	}
	assumed := map[string]bool{}
	for _, a := range r.got.Assumptions {
		assumed[a.What] = true
		c.Assumed = append(c.Assumed, report.NamedText{Name: a.What, Text: a.Value + ": " + a.Why})
	}
	for _, row := range p.Read {
		if !assumed[row.Name] {
			c.Read = append(c.Read, row)
		}
	}
	c.Cautions, c.Figures, c.Missing = m.Cautions, p.Figures, p.Missing
	for _, name := range firstFigures {
		i := slices.IndexFunc(c.Figures, func(f report.NamedText) bool { return f.Name == name })
		if i >= 0 && len(c.First) < 3 {
			c.First = append(c.First, c.Figures[i])
		}
	}
}

// rangeText gives as many digits as tell the two ends apart.
func rangeText(lo, hi float64, unit string) string {
	top, span := max(math.Abs(lo), math.Abs(hi)), hi-lo
	digits := 3
	if span > 0 && top > 0 {
		digits = min(9, 2+max(1, int(math.Ceil(math.Log10(top/span)))))
	}
	return capture.SI(lo, unit, digits) + " to " + capture.SI(hi, unit, digits)
}

func (v *view) units(b *bench) {
	brands, models := map[string]bool{}, map[string]bool{}
	for i, u := range b.sheet.Units {
		brands[u.Brand], models[u.Model] = true, true
		w := unitView{ID: fmt.Sprintf("unit%d", i), Name: u.Name(), U: u, RatedV: trimmed(u.RatedV), RatedA: trimmed(u.RatedA)}
		for _, e := range b.entries {
			if e.Role == ofUnit && e.Unit == i {
				w.Captures = append(w.Captures, b.card(e))
			}
		}
		for n, r := range u.Readings {
			w.Readings = append(w.Readings, readingView{n, capture.SI(r.LoadA, "A", 3), fmt.Sprintf("%.3f V", r.V), r.LoadA == 0})
		}
		if p := b.decision.parts; p != nil {
			for _, d := range p.Units {
				if d.Name == w.Name {
					w.Verdict, w.Class, w.Shape = d.Verdict, d.Class, d.Shape
				}
			}
		}
		v.Units = append(v.Units, w)
	}
	v.Known = knownNames{sorted(brands), sorted(models)}
}

func sorted(set map[string]bool) []string {
	var out []string
	for k := range set {
		if k != "" {
			out = append(out, k)
		}
	}
	sort.Strings(out)
	return out
}

// decision shows what is decided and what is open.
func (v *view) decision(b *bench) {
	d := b.decision
	v.Deciding = d.running
	if d.err != nil {
		v.Failed = capture.OneLine(d.err.Error())
	}
	v.Parts = d.parts
	if d.report == nil {
		return
	}
	if a := d.report.HeaterA; a > 0 {
		v.LoadWords = capture.SI(a, "A", 3)
	}
	for i := range d.report.Units {
		e := &d.report.Units[i].Eval
		o := openView{Name: e.Unit.Key, Verdict: string(e.Verdict)}
		if d.parts != nil && i < len(d.parts.Units) {
			o.Class, o.Shape = d.parts.Units[i].Class, d.parts.Units[i].Shape
		}
		reading := false
		var limits []target.Limit
		for _, m := range e.Margins {
			switch {
			case m.Covered:
				o.Decided = append(o.Decided, m.Limit.Name)
				continue
			case m.Limit.Criterion == target.HeaterDC:
				reading = true
			default:
				limits = append(limits, m.Limit)
			}
			o.Open = append(o.Open, m.Limit.Name)
		}
		loaded := ""
		if d.report.HeaterA > 0 {
			loaded = ", loaded with " + capture.SI(d.report.HeaterA, "A", 3)
		}
		takes := b.take(limits, b.sheet.Instrument)
		slices.SortStableFunc(takes, func(x, y Take) int { return strings.Count(y.Criteria, ";") - strings.Count(x.Criteria, ";") })
		for _, t := range takes {
			o.Then = append(o.Then, t.Settings+loaded+" (settles "+t.Criteria+")")
		}
		if reading {
			o.Then = append(o.Then, "a meter reading of the DC volts"+loaded)
		}
		if len(o.Then) > 0 {
			o.Settle, o.Then = o.Then[0], o.Then[1:]
		}
		if e.Verdict == target.Retake {
			for _, k := range e.Cautions {
				if k.Fix != "" {
					o.Again = append(o.Again, k.Text+"; "+k.Fix)
				}
			}
		}
		v.Open = append(v.Open, o)
	}
}

var wirings = []string{"parallel", "series", "string", "string of series"}

// fit shows the heaters, the dropper and the post-filter.
func (v *view) fit(b *bench) {
	h := b.sheet.Heaters
	f := fitView{Heaters: h, SupplyTol: trimmed(h.SupplyTolPercent), PartTol: trimmed(h.PartTolPercent), LeadOhm: trimmed(h.LeadOhm),
		Wirings: wirings, SeriesNames: []string{"E6", "E12", "E24", "E48", "E96"}}
	for i, g := range h.Groups {
		f.Groups = append(f.Groups, valveView{i, g.Type, g.Count, g.Wiring, g.String})
	}
	d := b.decision
	if d.report != nil && len(d.report.HeaterLoad.Groups) > 0 {
		l := d.report.HeaterLoad
		f.Load = fmt.Sprintf("%s: %s at %.3g V", l.Describe(), capture.SI(l.NominalA(), "A", 3), l.Volts)
	}
	if d.parts != nil {
		for i, u := range d.parts.Units {
			one := fitUnit{ID: fmt.Sprintf("fit%d", i), Name: u.Name, Verdict: u.Verdict, Class: u.Class, Shape: u.Shape, Plan: u.Plan, Filter: u.Filter, Plot: u.FilterPlot}
			switch {
			case u.Plan != "":
			case len(h.Groups) == 0:
				one.NoPlan = "Pick the valves above and the dropper is sized here."
			default:
				one.NoPlan = "The unit's volts at the heater load are not known: add a meter reading, or a DC-coupled capture."
			}
			var own tried
			own, one.Tried = b.tried[d.report.Units[i].Eval.Unit.Key]
			one.Try = own.typed
			f.Units = append(f.Units, one)
		}
	}
	v.Fit = f
}

// leave shows the way out.
func (v *view) leave(b *bench) {
	d, w := b.decision, b.written
	v.Writing = w.busy
	v.CanWrite = d.report != nil && d.full && !d.running && b.broken == nil && d.err == nil && len(d.report.Units) > 0
	if w.err != nil {
		v.WriteErr = capture.OneLine(w.err.Error())
	} else if !w.at.IsZero() {
		v.Written = w.at.Format("15:04:05")
		v.Stale = w.basis != d.basis
	}
	for _, e := range b.entries {
		if e.Role == ofUnit && e.reading != nil && e.reading.state == failed {
			v.LeftOut = append(v.LeftOut, e.Capture.File)
		}
	}
}

// steps words where the work stands.
func (v *view) steps() {
	count := func(n int, word string) string {
		if n == 1 {
			return "1 " + word
		}
		return fmt.Sprintf("%d %ss", n, word)
	}
	bring := count(len(v.Cards), "capture")
	if n := v.Waiting + v.Measuring; n > 0 {
		bring += fmt.Sprintf(", %d being measured", n)
	}
	check := "all read"
	if len(v.Cards) == 0 {
		check = "nothing yet"
	} else if v.Unreadable > 0 {
		check = fmt.Sprintf("%d to correct", v.Unreadable)
	}
	whose := count(len(v.Units), "unit")
	if n := len(v.Loose); n > 0 {
		whose += fmt.Sprintf(", %d without", n)
	}
	decided, fit, leave := "nothing yet", "no valves yet", "not written"
	if v.Parts != nil && len(v.Parts.Units) > 0 {
		pass := 0
		for _, u := range v.Parts.Units {
			if u.Verdict == string(target.Pass) {
				pass++
			}
		}
		decided = fmt.Sprintf("%d of %d pass", pass, len(v.Parts.Units))
	}
	if v.Fit.Load != "" {
		fit = v.LoadWords
	}
	if v.Written != "" {
		leave = "written " + v.Written
		if v.Stale {
			leave = "changed since " + v.Written
		}
	}
	v.Steps = []stepView{{"bring", "Bring captures", bring}, {"check", "Check the reading", check}, {"whose", "Say whose it is", whose},
		{"decided", "See what is decided", decided}, {"fit", "Fit", fit}, {"leave", "Leave", leave}}
}

// valveFound is one type in the search's answer.
type valveFound struct{ Type, Also, Data string }

// findValves searches the table by type and alias; case, blanks, hyphens and
// Cyrillic look-alikes make no difference, by the heater room's own reading.
func findValves(query string, own []heater.Valve) []valveFound {
	const most = 12
	var out []valveFound
	add := func(v heater.Valve) {
		if len(out) < most && !slices.ContainsFunc(out, func(f valveFound) bool { return f.Type == v.Type }) {
			data := fmt.Sprintf("%g V, %g A", v.Volts, v.Amps)
			if v.CentreTapped {
				data += ", centre-tapped"
			}
			out = append(out, valveFound{v.Type, strings.Join(v.Aliases, ", "), data})
		}
	}
	var near []string
	if v, err := heater.Lookup(query, own); err == nil {
		add(v)
	} else {
		var unknown *heater.UnknownValveError
		if asError(err, &unknown) {
			near = unknown.Near
		}
	}
	flat := squash(query)
	for _, v := range append(slices.Clone(own), heater.Table()...) {
		for _, name := range append([]string{v.Type}, v.Aliases...) {
			if strings.Contains(squash(name), flat) {
				add(v)
				break
			}
		}
	}
	for _, name := range near {
		if v, err := heater.Lookup(name, own); err == nil {
			add(v)
		}
	}
	return out
}
