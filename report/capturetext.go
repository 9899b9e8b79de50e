package report

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// textWidth is where WriteCapture breaks its lines.
const textWidth = 100

// WriteCapture writes one capture's figures for a terminal: name, value with
// its expanded uncertainty (k = 2), and a remark; what could not be measured with
// the reason; then the cautions, each with what to change.
func WriteCapture(w io.Writer, c Capture) error {
	m := c.M
	if m == nil {
		return errors.New("report: capture without a measurement")
	}
	t := captureText{w: w}
	name := m.File
	if m.Channel != "" {
		name += ", channel " + m.Channel
	}
	t.line("%s", clean(name))
	t.wrapped("  ", fmt.Sprintf("%s; %d samples at %s, %s, %s; covers %s to %s",
		orWord(clean(c.Layout), "capture"), m.Samples, eng(m.SampleRateHz, "S/s"), eng(m.DurationS, "s"),
		couplingText(m.Coupling)+commonWord(m.Mode), target.HzText(m.Span.LowHz), target.HzText(m.Span.HighHz)))

	for _, row := range analysis.Register() {
		if !row.Shown(figure.Terminal) {
			continue
		}
		name, remark := row.Name, ""
		if as, ok := terminalRows[row.Key]; ok {
			name = as.name
			if as.remark != nil {
				remark = as.remark(m)
			}
		} else if quantity, ok := strings.CutSuffix(row.Name, ", rms"); ok {
			name, remark = quantity, "rms"
		}
		t.row(name, row.Read(m), terminalUnit(row.Unit, m.Calibrated), remark)
	}
	for _, missing := range t.missing {
		t.wrapped("  not measured: ", strings.Join(missing.names, "; ")+" ("+missing.why+")")
	}
	for _, c := range m.Cautions {
		words := c.Text
		if c.Fix != "" {
			words += "; " + c.Fix
		}
		t.wrapped("  caution: ", clean(words))
	}
	return t.err
}

// terminalUnit is a figure's unit, where no volts are known its fraction of full
// scale.
func terminalUnit(unit string, calibrated bool) string {
	if tail, volts := strings.CutPrefix(unit, "V"); volts && !calibrated {
		return "of full scale" + tail
	}
	return unit
}

// terminalRow is how the terminal names a figure, which has less room than the
// page, and what it says beside it.
type terminalRow struct {
	name   string
	remark func(*analysis.Measurement) string
}

// says is a remark that is always the same.
func says(words string) func(*analysis.Measurement) string {
	return func(*analysis.Measurement) string { return words }
}

// terminalRows are the figures that the terminal words otherwise than the
// register; the others stand under their own name.
var terminalRows = map[string]terminalRow{
	"ac_rms_v":                    {"AC rms", says("full span, DC removed")},
	"pp_v":                        {"peak-to-peak", says("all samples, full span")},
	"pp_20mhz_v":                  {"peak-to-peak, 20 MHz", func(m *analysis.Measurement) string { return m.PP20MHzFilter }},
	"pp_20mhz_999_v":              {"  for 99.9 % of the time", nil},
	"switching_hz":                {"switching frequency", func(m *analysis.Measurement) string { return string(m.Kind) }},
	"ripple_pp_v":                 {"average-cycle ripple", says("peak-to-peak, without spikes and noise")},
	"switching_fundamental_rms_v": {"switching fundamental", says("rms")},
	"mains_line_rms_v":            {"mains ripple", mainsRemark},
	"spikes_per_s":                {"spikes per second", nil},
	"spike_peak_median_v":         {"spike peak (median)", nil},
	"spike_peak_p95_v":            {"spike peak (95th percentile)", nil},
	"ring_hz":                     {"ring frequency", func(m *analysis.Measurement) string { return ringRemark(&m.Spikes) }},
	"noise_density_v_per_rthz":    {"noise density", func(m *analysis.Measurement) string { return noiseRemark(&m.Noise) }},
}

// captureText keeps the first write error and the figures that are missing.
type captureText struct {
	w       io.Writer
	err     error
	missing []missingFigures
}

// missingFigures are those that one reason keeps from being measured.
type missingFigures struct {
	why   string
	names []string
}

func (t *captureText) miss(name, why string) {
	for i := range t.missing {
		if t.missing[i].why == why {
			t.missing[i].names = append(t.missing[i].names, name)
			return
		}
	}
	t.missing = append(t.missing, missingFigures{why, []string{name}})
}

func (t *captureText) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format+"\n", args...)
	}
}

// wrapped writes words behind a lead, broken at spaces, later lines under the
// first word.
func (t *captureText) wrapped(lead, words string) {
	indent := strings.Repeat(" ", text.StringWidthWithoutEscSequences(lead))
	for i, l := range WrapUnits(words, textWidth-len(indent)) {
		if i == 0 {
			t.line("%s%s", lead, l)
			continue
		}
		t.line("%s%s", indent, strings.TrimSpace(l))
	}
}

func (t *captureText) row(name string, f figure.Figure, unit, remark string) {
	if !f.Known {
		if f.Missing != "" {
			t.miss(strings.TrimSpace(name), clean(f.Missing))
		}
		return
	}
	t.line("  %-28s %s", name, strings.TrimSpace(text.Pad(figureWithU(f, unit), 24, ' ')+" "+clean(remark)))
}

func orWord(s, word string) string {
	if s == "" {
		return word
	}
	return s
}

func mainsRemark(m *analysis.Measurement) string {
	if !m.MainsLineHz.Known {
		return "rms"
	}
	return "rms at " + eng(m.MainsLineHz.Value, "Hz")
}

func ringRemark(s *analysis.SpikeSummary) string {
	if !s.RingQ.Known {
		return ""
	}
	return fmt.Sprintf("Q %.1f", s.RingQ.Value)
}

func noiseRemark(n *spectrum.NoiseFloor) string {
	words := ""
	if n.AtHz.Known {
		words = "near " + eng(n.AtHz.Value, "Hz")
	}
	if n.AtInstrument {
		words += ", at the instrument's floor"
	}
	return strings.TrimPrefix(words, ", ")
}

// couplingText is "AC", "DC" or "unknown".
func couplingText(c capture.Coupling) string {
	if c == capture.CouplingAC || c == capture.CouplingDC {
		return strings.ToUpper(string(c))
	}
	return orWord(string(c), "unknown")
}

// commonWord marks a common-mode capture behind its coupling.
func commonWord(m capture.Mode) string {
	if m == capture.Common {
		return " coupling, common mode"
	}
	return " coupling"
}
