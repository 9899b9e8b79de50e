package benchpage

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/report"
)

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
