package benchpage

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// cardView is one capture.
type cardView struct {
	ID, File, Name string
	State          string // "waiting", "measuring", "done", "failed"
	Error          string
	Channels       []string
	Fields         map[string]string
	Coupling       string
	Mode           capture.Mode
	Alike          int
	Unit, Role     string
	Guess          sheet.Guess
	Loaded         string
	WAV            bool
	BaselineUsed   string
	OfAll          bool   // the baseline for all captures
	SupplyOff      bool   // told to be made with the supply off
	Drawn          string // changes with every new waveform; "" while there is none
	cardWords
}

// cardWords are what a measured capture shows, worded once.
type cardWords struct {
	Rate, Record string
	Span, Volts  string
	Found        string // the coupling that was found
	Read         []report.NamedText
	Assumed      []report.NamedText
	Cautions     []cautionView
	Figures      []report.NamedText
	First        []report.NamedText // the three that come first
	Missing      []string
	Calibrated   bool
}

// cautionView is a caution with the field that answers it on the page.
type cautionView struct {
	Text, Fix   string
	Field, Name string // ending of the field's ID, and its words; "" where there is none
}

// answers are the fields of a capture's form that answer a caution, by its code.
var answers = map[string][2]string{
	capture.CautionProbeFactor:    {"probe", "Multiply file volts by"},
	target.CautionVoltsImpossible: {"probe", "Multiply file volts by"},
	target.CautionBrandScale:      {"probe", "Multiply file volts by"},
	capture.CautionUncalibrated:   {"fs", "Volts peak at full scale"},
	capture.CautionUnfiltered:     {"filter", "Anti-alias filter"},
	capture.CautionLimitSeen:      {"limit", "Bandwidth limit"},
	capture.CautionLoadUnlike:     {"load", "Load during capture"},
	capture.CautionTimeUnit:       {"time", "Unit of time"},
	capture.CautionRateConflict:   {"rate", "Samples per second"},
}

// cards words every capture.
func (v *view) cards(b *bench) {
	layouts := map[string]int{}
	for _, e := range b.entries {
		if e.Role != unnamed {
			layouts[b.layoutOf(e)]++
		}
	}
	for _, e := range b.entries {
		c := b.card(e)
		if layout := b.layoutOf(e); layout != "" && e.Role != unnamed {
			c.Alike = layouts[layout] - 1
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
	if b.sheet != nil {
		v.Aside = b.sheet.Notes
	}
	people := collate.New(language.Und, collate.Numeric) // file2 before file10
	byName := func(x, y cardView) int { return people.CompareString(x.Name, y.Name) }
	slices.SortStableFunc(v.Loose, byName)
	slices.SortStableFunc(v.Cards, byName)
}

// firstFigures are the register's keys of those that tell most about a capture at
// a glance.
var firstFigures = []string{"dc_v", "pp_20mhz_v", "switching_hz", "mains_line_rms_v", "pp_v"}

func (b *bench) card(e entry) cardView {
	c := cardView{ID: e.ID, File: e.Capture.File, Name: e.Capture.File[strings.LastIndexByte(e.Capture.File, '/')+1:], Fields: e.Fields,
		WAV: strings.HasSuffix(strings.ToLower(e.Capture.File), ".wav"), Coupling: strings.ToUpper(string(e.Capture.Options.Coupling)), Mode: e.Capture.Options.Mode}
	if e.Capture.LoadA > 0 {
		c.Loaded = capture.SI(e.Capture.LoadA, "A", 3)
	}
	switch e.Role {
	case ofUnit:
		c.Role, c.Unit = "unit", b.sheet.Units[e.Unit].Name()
	case baseline:
		c.Role = "baseline"
		c.OfAll, c.SupplyOff = b.sheet.Instrument.Baseline != nil && e.Capture.Key == b.sheet.Instrument.Baseline.Key, e.Capture.SupplyOff
	case loose:
		c.Role = "loose"
		c.Guess = sheet.GuessFrom(e.Capture.File, b.sheet.Units)
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
		if r.early != nil {
			c.Drawn = fmt.Sprint(r.serial, " early")
		}
	case failed:
		c.State, c.Channels = "failed", r.channels
		c.Error = onPage(capture.OneLine(r.err.Error()))
	case measured:
		c.State, c.Drawn, c.cardWords = "done", fmt.Sprint(r.serial), r.words
		if c.Coupling == "" {
			c.Coupling = c.Found
		}
	}
	return c
}

// wordsOf words what a capture shows.
func wordsOf(got report.Capture) cardWords {
	m := got.M
	p := report.PartsOf(got)
	c := cardWords{Calibrated: m.Calibrated, Rate: capture.SI(m.SampleRateHz, "S/s", 4), Found: strings.ToUpper(string(m.Coupling)),
		Record: fmt.Sprintf("%s, %d samples", capture.SI(m.DurationS, "s", 3), m.Samples),
		Read:   p.Read, Figures: p.Figures, Missing: p.Missing}
	if m.Span.HighHz > 0 {
		c.Span = target.HzText(m.Span.LowHz) + " to " + target.HzText(m.Span.HighHz)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range m.Waveform.MinV {
		lo, hi = min(lo, m.Waveform.MinV[i]), max(hi, m.Waveform.MaxV[i])
	}
	unit := "V"
	if !m.Calibrated {
		unit = "FS" // of digital full scale, as in the report
	}
	if hi >= lo {
		c.Volts = rangeText(lo, hi, unit)
	}
	for _, a := range got.Assumptions {
		c.Assumed = append(c.Assumed, report.NamedText{Name: string(a.What), Text: a.Value + ": " + onPage(a.Why)})
	}
	for _, k := range m.Cautions {
		field := answers[k.Code]
		c.Cautions = append(c.Cautions, cautionView{Text: k.Text, Fix: onPage(k.Fix), Field: field[0], Name: field[1]})
	}
	for _, key := range firstFigures {
		i := slices.IndexFunc(c.Figures, func(f report.NamedText) bool { return f.Key == key })
		if i >= 0 && len(c.First) < 3 {
			c.First = append(c.First, c.Figures[i])
		}
	}
	return c
}

// onPage names the page's fields where a text names the commands' flags or the
// sheet's keys.
func onPage(text string) string {
	return bandwidthBeside.ReplaceAllString(flagNames.Replace(text), "\u201cBandwidth\u201d $1 kHz at the capture")
}

// bandwidthBeside is the corner of a low-pass as the guide tells it.
var bandwidthBeside = regexp.MustCompile(`bandwidth_hz = ([0-9]+)e3 in the capture's entry`)

var flagNames = strings.NewReplacer(
	"the sheet's anti_aliased = true (--anti-aliased) does", "\u201cAnti-alias filter\u201d below does",
	"or give probe_factor in the sheet", "or correct \u201cMultiply file volts by\u201d below",
	"--rate", "\u201cSamples per second\u201d", "--time-unit", "\u201cUnit of time\u201d", "--volt-unit", "\u201cUnit of volts\u201d",
	"--channel", "\u201cChannel\u201d", "--segment", "\u201cSegment\u201d", "--scale", "\u201cVolts per count or division\u201d",
	"--offset", "offset_v in the sheet", "--decimal", "decimal_mark in the sheet", "--delimiter", "delimiter in the sheet",
	"find it with stillglow calibrate and a sine of known volts", "record a sine of known volts with the same gain, drop it here too, and calibrate from it on its card",
	"(band_limited = true in the sheet, or --band-limited)", "in \u201cBandwidth limit\u201d below", "state the instrument's bandwidth", "state the scope's under \u201cBandwidth\u201d",
	"(band_limited = true in the sheet)", "and tick \u201cwith the 20 MHz limit on\u201d",
	"mode = \"common\"", "\u201cProbe across\u201d: both wires and earth",
	"anti_aliased = true in the sheet", "\u201cAnti-alias filter\u201d at the capture",
	"--coupling", "\u201cCoupling\u201d", "--mains", "\u201cMains\u201d",
)

// rangeText gives as many digits as tell the two ends apart.
func rangeText(lo, hi float64, unit string) string {
	top, span := max(math.Abs(lo), math.Abs(hi)), hi-lo
	digits := 3
	if span > 0 && top > 0 {
		digits = min(9, 2+max(1, int(math.Ceil(math.Log10(top/span)))))
	}
	return capture.SI(lo, unit, digits) + " to " + capture.SI(hi, unit, digits)
}
