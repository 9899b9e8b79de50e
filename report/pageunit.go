package report

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// unitView is one unit on the page.
type unitView struct {
	Index, Position, VerdictOrder int
	Rank, Name, Brand             string
	Verdict, Class, Shape         string
	Worst, WorstOn, WorstSort     string
	Bars, Spark                   template.HTML
	Cells                         []cellView
	Open                          bool
	Why, WouldFlip, UnitNote      string
	Cautions                      []capture.Caution
	States                        *statesView
	Margins                       []marginView
	Plots                         []plotView
	Plan                          *planView
	Filter                        *filterView
	Heard                         *heardView
	Half                          string // what is open of the common-mode half, "" nothing
	CaptureHeads                  []string
	Figures                       []figureRow
	NotMeasured                   []string
	ReasonsOf                     *unitView // of a large bench: the unit ahead that has the same; nil where they stand here
	Lines                         []lineView
	Readings                      string
	ReadOff                       []string // figures read off a screen, and what each says of its limit
	Captures                      []captureView
}

type cellView struct{ Key, Label, Text, Sort string }

type marginView struct {
	Name, Figure, Limit, DB, Interval, From, Reason string
	Covered, Over                                   bool
}

type plotView struct {
	Kind, Caption string
	Unit          int
	Wide          bool // takes both columns
	SVG           template.HTML
}

type filterView struct {
	Words string
	Rows  []filterRow
	Notes []string
}

type filterRow struct{ Name, Before, After, DBBefore, DBAfter string }

type lineView struct{ Name, Hz, RMS string }

type captureView struct {
	File     string
	Rows     []pair
	Cautions []capture.Caution
}

func (r *Report) unitView(i int, columns []target.Limit) unitView {
	u := &r.Units[i]
	e := &u.Eval
	v := unitView{Index: i, Position: i + 1, Rank: rankText(r, i), Name: shorten(unitName(e.Unit), 120), Brand: clean(e.Unit.Brand),
		Verdict: string(e.Verdict), Class: verdictClass(e.Verdict), Shape: shape(e.Verdict), Worst: "not measured",
		WorstSort: "", Bars: template.HTML(marginBars(e)), Spark: template.HTML(sparkline(u)), Open: len(r.Units) < openUnitsBelow,
		Why: clean(e.RankText()), WouldFlip: clean(e.WouldFlip), UnitNote: clean(e.Unit.Note), Cautions: e.Cautions,
		VerdictOrder: max(0, slices.Index(verdictOrder, e.Verdict)),
		Cells:        cellViews(e, columns), Margins: marginViews(e), Readings: readingsText(e),
		States: r.states(i), Plan: planWords(u), Filter: filterWords(u), Heard: heardWords(u.Hears)}
	for _, s := range e.ShownWords() {
		v.ReadOff = append(v.ReadOff, clean(s))
	}
	v.Half = halfVerdict(e)
	if e.Overloaded {
		v.Half = strings.TrimPrefix(v.Half+", overloaded", ", ")
	}
	if m := worstMargin(e); m != nil {
		v.Worst, v.WorstOn, v.WorstSort = marginText(m), shortName(m.Limit), csvNumber(m.DB)
	}
	var ms []*analysis.Measurement
	for _, c := range u.Captures {
		if c.M != nil {
			ms = append(ms, c.M)
			head := clean(c.M.File)
			if c.M.Mode == capture.Common {
				head += " (common mode)"
			}
			v.CaptureHeads = append(v.CaptureHeads, head)
			v.Captures = append(v.Captures, captureRows(c))
		}
	}
	v.Figures, v.NotMeasured = figureTable(ms)
	for _, l := range strongestLines(u, 10) {
		v.Lines = append(v.Lines, lineView{clean(l.Name), eng(l.FrequencyHz, "Hz"), lineText(l)})
	}
	return v
}

// cellViews are the unit's figures in the columns of the ranking.
func cellViews(e *target.Evaluation, columns []target.Limit) []cellView {
	var out []cellView
	for _, l := range columns {
		c := cellView{Key: string(l.Criterion), Label: shortName(l), Text: "not measured"}
		if m := marginOf(e, l.Criterion); m != nil && m.Covered {
			c.Text, c.Sort = figureText(m.Figure, l.Unit), csvNumber(m.Figure.Value)
		}
		out = append(out, c)
	}
	return out
}

func marginViews(e *target.Evaluation) []marginView {
	var out []marginView
	for _, m := range e.Margins {
		out = append(out, marginView{Name: longName(m.Limit), Figure: figureWithU(m.Figure, m.Limit.Unit), Limit: limitText(m.Limit),
			DB: marginText(&m), Interval: intervalText(m), From: clean(m.From), Reason: clean(m.Reason), Covered: m.Covered,
			Over: m.Covered && m.DB < 0})
	}
	return out
}

// readingText is a meter's volts as they were read: two decimals, more where given.
func readingText(v float64) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if _, decimals, _ := strings.Cut(s, "."); len(decimals) < 2 {
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return s
}

// readingsText lists the meter readings and the output resistance they give.
func readingsText(e *target.Evaluation) string {
	var readings []string
	for _, x := range e.Unit.Readings {
		readings = append(readings, fmt.Sprintf("%s V at %s", readingText(x.V), eng(x.LoadA, "A")))
	}
	text := strings.Join(readings, ", ")
	if text != "" && e.OutputOhm.Known {
		text += "; output resistance " + figureWithU(e.OutputOhm, "Ω")
	}
	return text
}

// lineText is a line's own rms, and beside it what the baseline shows there.
func lineText(l spectrum.Line) string {
	if l.InstrumentRMSV > 0 && l.Comb != spectrum.CombInstrument {
		return fmt.Sprintf("%s, after subtracting the instrument's %s", eng(l.RMSV, "V"), eng(l.InstrumentRMSV, "V"))
	}
	return eng(l.RMSV, "V")
}

func intervalText(m target.Margin) string {
	if !m.Covered || m.HighDB-m.LowDB < 0.05 {
		return ""
	}
	return fmt.Sprintf("%+.1f to %+.1f", m.LowDB, m.HighDB)
}

// marginBars draws one bar per criterion about the limit's line, cut at 20 dB.
func marginBars(e *target.Evaluation) string {
	const step, half, cut = 12, 18.0, 20.0
	var b, words strings.Builder
	for i, m := range e.Margins {
		x := 2 + step*i
		if i > 0 {
			words.WriteString(", ")
		}
		if !m.Covered || !finite(m.DB) {
			fmt.Fprintf(&b, `<circle class="nm" cx="%d.5" cy="%g" r="2.2"/>`, x+4, half)
			words.WriteString(shortName(m.Limit) + " not measured")
		} else {
			words.WriteString(shortName(m.Limit) + " " + dbText(m.DB))
			h := math.Max(math.Min(math.Abs(m.DB), cut)/cut*(half-1), 1)
			if m.DB >= 0 {
				fmt.Fprintf(&b, `<rect class="in" x="%d" y="%.1f" width="8" height="%.1f"/>`, x, half-h, h)
			} else {
				fmt.Fprintf(&b, `<rect class="out" x="%d" y="%g" width="8" height="%.1f"/>`, x, half, h)
				for y := half + 3; y < half+h-0.5; y += 3 {
					fmt.Fprintf(&b, `<path class="hatch" d="M%d %gh8"/>`, x, y)
				}
			}
		}
		fmt.Fprintf(&b, `<text x="%d.5" y="46">%d</text>`, x+4, i+1)
	}
	w := 4 + step*len(e.Margins)
	return fmt.Sprintf(`<svg class="mb" role="img" aria-label="%s" viewBox="0 0 %d 48" width="%d" height="48"><path class="zero" d="M0 %gh%d"/>%s</svg>`,
		html.EscapeString(words.String()), w, w, half, w, b.String())
}

// sparkline is the tiny waveform: the detail of the fastest capture, else the
// longest record, on its own scale with the peak-to-peak beside it.
func sparkline(u *Unit) string {
	m := fastest(u.Captures)
	var e analysis.Envelope
	if m != nil {
		e = m.Detail
	} else if m = longest(u.Captures); m != nil {
		e = m.Waveform
	} else {
		return `<span class="nm">none</span>`
	}
	e = reduce(e, 52)
	lo, hi, _ := levels(e)
	if !(hi > lo) {
		return `<span class="nm">flat</span>`
	}
	const w, h = 104.0, 30.0
	var top, bottom strings.Builder
	n := len(e.MinV)
	y := func(v float64) float64 { return 1 + (hi-v)/(hi-lo)*(h-2) }
	for i := range n {
		j := n - 1 - i
		fmt.Fprintf(&top, "%.1f %.1f ", w*float64(i)/float64(n), y(e.MaxV[i]))
		fmt.Fprintf(&bottom, "%.1f %.1f ", w*float64(j)/float64(n), y(e.MinV[j])+0.4)
	}
	pp := eng(hi-lo, voltUnit(m))
	return fmt.Sprintf(`<svg role="img" aria-label="waveform, %s peak-to-peak in the part shown" viewBox="0 0 %g %g" width="%g" height="%g"><polygon points="%s%s"/></svg> <small>%s p-p</small>`,
		html.EscapeString(pp), w, h, w, h, top.String(), strings.TrimSpace(bottom.String()), html.EscapeString(pp))
}

func cleanAll(in []string) []string {
	out := make([]string, len(in))
	for i := range in {
		out[i] = clean(in[i])
	}
	return out
}

func filterWords(u *Unit) *filterView {
	a := u.Filter
	if a == nil {
		return nil
	}
	if !a.Found {
		return &filterView{Words: "None of the part sets tried brings this unit within its limits: " + orText(clean(a.Why), "no reason given") + ".",
			Notes: cleanAll(nonEmptyOf(a.CommonMode))}
	}
	v := &filterView{Words: fmt.Sprintf("%s: %s. It drops %s under load.", a.Best.Circuit.Topology,
		strings.Join(cleanAll(a.Best.Parts), ", "), eng(a.Best.DropV, "V"))}
	if a.Best.WornKnown {
		v.Words += fmt.Sprintf(" With the capacitors' ESR doubled and their capacitance down by 20 %%, the smallest margin of those that were over is still %s.", dbText(a.Best.WornDB))
	}
	if a.Best.PeakDB > 0.05 {
		v.Words += fmt.Sprintf(" Its resonance lifts %s by %.1f dB.", eng(a.Best.PeakHz, "Hz"), a.Best.PeakDB)
	}
	for _, m := range u.Eval.Margins {
		after := marginOf(&a.Best.After, m.Limit.Criterion)
		if !m.Covered || after == nil || !after.Covered {
			continue
		}
		v.Rows = append(v.Rows, filterRow{longName(m.Limit), figureText(m.Figure, m.Limit.Unit), figureText(after.Figure, m.Limit.Unit),
			marginText(&m), marginText(after)})
	}
	v.Notes = append(cleanAll(a.Best.Warnings), cleanAll(nonEmptyOf(a.CommonMode))...)
	if a.Best.Circuit.HasElectrolytic() {
		v.Notes = append(v.Notes, CapSafety())
	}
	return v
}

func nonEmptyOf(texts ...string) []string {
	return slices.DeleteFunc(texts, func(s string) bool { return clean(s) == "" })
}

func captureRows(c Capture) captureView {
	v := captureView{File: clean(c.M.File), Cautions: c.M.Cautions}
	for _, row := range readRows(c) {
		v.Rows = append(v.Rows, row.pair)
	}
	for _, a := range c.Assumptions {
		v.Rows = append(v.Rows, pair{string(a.What), clean(a.Value + " (" + a.Why + ")")})
	}
	return v
}

// readRow is how a capture was read, in words; setting is what an assumption may
// say of the same thing.
type readRow struct {
	pair
	setting capture.Setting
}

// readRows are the rows of a capture apart from its assumptions.
func readRows(c Capture) []readRow {
	m := c.M
	var rows []readRow
	row := func(name, text string, setting capture.Setting) {
		if text = clean(text); text != "" {
			rows = append(rows, readRow{pair{name, text}, setting})
		}
	}
	add := func(name, text string) { row(name, text, "") }
	row("channel", m.Channel, capture.SettingChannel)
	row("layout", c.Layout, capture.SettingLayout)
	add("record", fmt.Sprintf("%d samples at %s, %s", m.Samples, eng(m.SampleRateHz, "S/s"), eng(m.DurationS, "s")))
	if m.Span.HighHz > 0 {
		add("covers", target.HzText(m.Span.LowHz)+" to "+target.HzText(m.Span.HighHz))
	}
	row("coupling", couplingText(m.Coupling), capture.SettingCoupling)
	if m.Mode == capture.Common {
		row("mode", "common: both wires together against chassis or earth", capture.SettingMode)
	}
	if !m.Calibrated {
		add("calibration", "none: no volts at full scale known")
	}
	if c.LoadA > 0 {
		add("load", eng(c.LoadA, "A"))
	}
	add("note", c.Note)
	add("SHA-256", m.SHA256)
	return rows
}
