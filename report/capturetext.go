package report

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
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
	unit := "V"
	density := "V/√Hz"
	if !m.Calibrated {
		unit, density = "of full scale", "of full scale/√Hz"
	}
	t := captureText{w: w}
	name := m.File
	if m.Channel != "" {
		name += ", channel " + m.Channel
	}
	t.line("%s", clean(name))
	t.wrapped("  ", fmt.Sprintf("%s; %d samples at %s, %s, %s coupling; shows %s to %s",
		orWord(clean(c.Layout), "capture"), m.Samples, eng(m.SampleRateHz, "S/s"), eng(m.DurationS, "s"),
		orWord(string(m.Coupling), "unknown"), eng(m.Span.LowHz, "Hz"), eng(m.Span.HighHz, "Hz")))

	t.row("DC", m.DCV, unit, "")
	t.row("varying part", m.ACRMSV, unit, "rms")
	t.row("peak-to-peak", m.PPV, unit, "all samples, full span")
	t.row("peak-to-peak, 20 MHz", m.PP20MHzV, unit, m.PP20MHzFilter)
	t.row("  99.9 % of the time", m.PP20MHz999V, unit, "")
	kind := string(m.Kind)
	if m.Kind == cycle.Unknown {
		kind = ""
	}
	t.row("switching", m.SwitchingHz, "Hz", kind)
	t.row("ripple, folded cycle", m.RipplePPV, unit, "peak-to-peak, without spikes and noise")
	t.row("  fundamental", m.SwitchingFundamentalRMSV, unit, "rms")
	t.row("mains line", m.MainsLineRMS, unit, mainsRemark(m))
	s := &m.Spikes
	t.row("spikes", s.PerS, "1/s", "")
	t.row("  median peak", s.PeakMedianV, unit, "")
	t.row("  95th percentile", s.PeakP95V, unit, "")
	t.row("  ring", s.RingHz, "Hz", ringRemark(s))
	t.row("noise density", m.Noise.DensityVPerRtHz, density, noiseRemark(&m.Noise))
	for i := range m.Bands {
		t.row(m.Bands[i].Name, m.Bands[i].RMSV, unit, "rms")
	}
	t.row("converter step", m.ADCStepV, unit, "")
	for _, missing := range t.missing {
		t.wrapped("  not measured: ", missing)
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

// captureText keeps the first write error and the figures that are missing.
type captureText struct {
	w       io.Writer
	err     error
	missing []string
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
	for i, l := range strings.Split(text.WrapSoft(words, textWidth-len(indent)), "\n") {
		if i == 0 {
			t.line("%s%s", lead, strings.TrimRight(l, " "))
			continue
		}
		t.line("%s%s", indent, strings.TrimSpace(l))
	}
}

func (t *captureText) row(name string, f figure.Figure, unit, remark string) {
	if !f.Known {
		if f.Missing != "" {
			t.missing = append(t.missing, strings.TrimSpace(name)+" ("+clean(f.Missing)+")")
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
