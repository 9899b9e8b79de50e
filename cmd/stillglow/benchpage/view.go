package benchpage

import (
	"fmt"
	"html/template"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// view is what the templates show: words and finished pieces, nothing to work out.
type view struct {
	Title, Sheet, Folder string
	Broken               string // why the sheet does not read
	Gone, ByHand         bool
	Invented             bool // the sheet says that its data is made up
	Undo, Redo           int
	Steps                []stepView

	Waiting, Measuring, Unreadable int
	Following                      string
	Calibrated                     string // what the last calibration gave
	ToTake                         []Take // captures that would settle the whole target
	Guide                          bool   // there is a guide to show
	FollowNotes                    []string
	Unnamed                        []cardView
	Unmatched                      []string // by the sheet's pattern
	Instrument                     sheet.Instrument
	InstrumentBandwidth            string
	MemorySamples, MaxRate         string

	Cards []cardView // in the sheet
	Loose []cardView
	Base  []cardView
	Aside []string // what of the sheet was left aside, and why
	Units []unitView
	Known knownNames

	Bench     benchView
	Parts     *report.Parts
	Failed    string
	Deciding  bool
	Left      string // captures that the verdicts are still without
	Open      []openView
	AskScope  bool // what would settle it could be in the words of the user's scope
	Fit       fitView
	Text      string
	Written   string
	WriteErr  string
	Writing   bool
	CanWrite  bool
	WriteNot  string             // why the report can't be written now
	Readable  []report.NamedText // what may be read off a screen: the criterion's key and its words
	Hears     map[string]string  // the [hears] table as somebody would type it; nil: none
	Answer    template.HTML      // the headline, in the page's own words
	Stale     bool               // the written report is of another state
	LeftOut   []string
	Safety    safetyLines
	Targets   []string
	Version   string
	LoadWords string
}

type stepView struct{ Part, Name, State string }

type benchView struct{ Title, Workshop, Date, Target, Mains, Note string }

// makeView makes the view from the bench as it is now.
func (b *bench) makeView(version string) *view {
	back, forward := b.file.Steps()
	following, notes := b.follow.state()
	b.mu.Lock()
	defer b.mu.Unlock()
	v := &view{Sheet: b.file.Path(), Folder: b.folder, Undo: back, Redo: forward, ByHand: b.byHand, Text: string(b.text), Following: following,
		FollowNotes: notes, Safety: theSafetyLines, Targets: target.Names(), Version: version, Title: "Heater supplies"}
	v.Gone = b.gone
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
	v.Unmatched = b.unmatched
	v.Calibrated, v.Guide = b.calibrated, b.guide != nil
	v.target(b)
	v.cards(b)
	v.units(b)
	v.decision(b)
	v.fit(b)
	v.leave(b)
	v.steps()
	return v
}

// target shows what the target asks for.
func (v *view) target(b *bench) {
	for _, l := range b.goal.Limits {
		if readable(l) {
			v.Readable = append(v.Readable, report.NamedText{Name: string(l.Criterion), Text: l.Name + ", limit " + l.Text()})
		}
	}
	for _, t := range b.take(b.goal.Limits, b.sheet.Instrument) {
		v.ToTake = append(v.ToTake, Take{t.Criteria, onPage(t.Settings)})
	}
	h := b.sheet.Hears
	if h == nil {
		return
	}
	v.Hears = map[string]string{
		"cathode_ohm": si(h.CathodeOhm, "Ω"), "bypass_f": si(h.BypassF, "F"), "valve": h.Valve, "source_ohm": si(h.SourceOhm, "Ω"),
		"heater_reference": h.HeaterReference, "stage": h.Stage, "mu": trimmed(h.Mu), "gm_ma_per_v": trimmed(h.GmMAPerV),
		"gain_before": trimmed(h.GainBefore), "gain": trimmed(h.Gain), "riaa": "", "allowed_input_v": si(h.AllowedInputV, "V"),
	}
	if h.RIAA {
		v.Hears["riaa"] = "true"
	}
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
	switch {
	case v.CanWrite || w.busy:
	case b.broken != nil:
		v.WriteNot = "The bench sheet can't be read: correct it first, or undo."
	case len(b.sheet.Units) == 0:
		v.WriteNot = "Assign a capture to a unit first."
	case d.err != nil && !d.running:
		v.WriteNot = "The ranking can't be worked out: see above what is wrong."
	default:
		v.WriteNot = "The ranking is still being worked out; the report can be written when it is done."
	}
	for _, e := range b.entries {
		if e.Role == ofUnit && e.reading != nil && e.reading.state == failed {
			v.LeftOut = append(v.LeftOut, e.Capture.File)
		}
	}
}

// steps words where the work stands.
func (v *view) steps() {
	bring := capture.Plural(len(v.Cards), "capture")
	if n := v.Waiting + v.Measuring; n > 0 {
		bring += fmt.Sprintf(", %d being measured", n)
	}
	check := "all read"
	switch n := v.Waiting + v.Measuring; {
	case len(v.Cards) == 0:
		check = "nothing yet"
	case v.Unreadable > 0:
		check = fmt.Sprintf("%d to correct", v.Unreadable)
	case n > 0:
		check = fmt.Sprintf("%d being read", n)
	}
	whose := capture.Plural(len(v.Units), "unit")
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
		if v.Left != "" {
			decided += " so far"
		}
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
	v.Steps = []stepView{{"bring", "Add captures", bring}, {"check", "Check the reading", check}, {"whose", "Assign to units", whose},
		{"decided", "See the verdicts", decided}, {"fit", "Fit", fit}, {"leave", "Write the report", leave}}
}
