package capture

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// check refuses options that no file can be read with.
func (o *Options) check() error {
	for _, c := range []struct {
		name string
		v    float64
	}{
		{"sample rate", o.RateHz}, {"volts at full scale", o.VoltsPerFullScale},
		{"probe factor", o.ProbeFactor}, {"bandwidth", o.BandwidthHz},
	} {
		if c.v < 0 || math.IsNaN(c.v) || math.IsInf(c.v, 0) {
			return fmt.Errorf("%s %v given, expected a number above zero", c.name, c.v)
		}
	}
	for _, c := range []struct {
		name string
		v    float64
	}{{"scale", o.Scale}, {"offset", o.OffsetV}} {
		if math.IsNaN(c.v) || math.IsInf(c.v, 0) {
			return fmt.Errorf("%s %v given, expected a number", c.name, c.v)
		}
	}
	if o.Segment < 0 {
		return fmt.Errorf("segment %d given, expected a whole number from 1", o.Segment)
	}
	if o.MaxSamples < 0 || o.Nth < 0 {
		return fmt.Errorf("limit of %d samples, channel number %d given, expected numbers from 0", o.MaxSamples, o.Nth)
	}
	for _, c := range []struct {
		name, v, expected string
		of                []string
	}{
		{"decimal mark", o.DecimalMark, ". or ,", []string{"", ".", ","}},
		{"delimiter", o.Delimiter, "\",\", \";\", \"|\", \"tab\" or \"space\"", []string{"", ",", ";", "tab", "\t", "space", " ", "|"}},
		{"coupling", string(o.Coupling), "dc or ac", []string{"", string(CouplingDC), string(CouplingAC)}},
		{"mode", string(o.Mode), "differential or common", []string{string(Differential), string(Common)}},
	} {
		if !slices.Contains(c.of, c.v) {
			return fmt.Errorf("%s %q given, expected %s", c.name, c.v, c.expected)
		}
	}
	if !unitOf(o.TimeUnit, unitSecond, unitIndex) {
		return fmt.Errorf("time unit %q given, expected s, ms, us, ns or samples", o.TimeUnit)
	}
	if !unitOf(o.VoltUnit, unitVolt, unitCount, unitDiv) {
		return fmt.Errorf("volt unit %q given, expected V, mV, uV, counts or div", o.VoltUnit)
	}
	return nil
}

// unitOf reports whether a text is none, or a unit of one of the kinds.
func unitOf(text string, kinds ...unitKind) bool {
	u, ok := parseUnit(text)
	return text == "" || ok && slices.Contains(kinds, u.kind)
}

func (t *Trace) assume(what Setting, value, why string) {
	t.Assumptions = append(t.Assumptions, Assumption{What: what, Value: value, Why: why})
}

func (t *Trace) caution(code, text, fix string) {
	t.Cautions = append(t.Cautions, Caution{Code: code, Text: text, Fix: fix})
}

// periodsForLow is how many periods must fit in the record for its lowest
// frequency to count as resolved.
const periodsForLow = 4

// How much of the sample rate a record shows: a scope's, whose own roll-off and
// folding spoil the top, and a recorder's whose filter is flat up to there (0.45 to
// 0.46 of the rate, common practice of audio converters' data sheets; from memory).
const (
	spanShare     = 0.4
	filteredShare = 0.4536 // 20 kHz at 44.1 kS/s, for which that rate was chosen
)

// applyInstrument fills what the options say of the instrument, the probe
// factor among it, and the span. The rate and the volts are set before; reach is the
// extent of these, and given back as the factor leaves it.
func (t *Trace) applyInstrument(opt Options, reach extent) (extent, error) {
	t.applyGiven(opt)
	recorder := t.AntiAliased
	if opt.AntiAliased != nil {
		t.AntiAliased = *opt.AntiAliased
		t.assume("anti-alias filter", onOff(t.AntiAliased), "given")
	}
	t.Decimates = recorder && t.AntiAliased
	if t.applyProbe(opt.ProbeFactor) {
		reach = extentOf(t.Volts)
	}
	if !(t.SampleRateHz >= minRateHz && t.SampleRateHz <= maxRateHz) || !(math.Abs(t.StartS) <= 1e12) {
		return extent{}, &ParseError{Path: t.File, Found: fmt.Sprintf("a sample rate of %g Hz from %g s", t.SampleRateHz, t.StartS), Expected: fmt.Sprintf("%g to %g Hz", minRateHz, maxRateHz), Fix: "check the time column, or give --rate"}
	}
	t.setSpan(recorder)
	if reach.lo >= -maxVolts && reach.hi <= maxVolts {
		return reach, nil
	}
	for i, v := range t.Volts {
		if !(v >= -maxVolts && v <= maxVolts) {
			return reach, &ParseError{Path: t.File, Found: fmt.Sprintf("sample %d of %g V", i+1, v), Expected: "volts below 1e9", Fix: "check the scale, the volt unit and the probe factor"}
		}
	}
	return reach, nil
}

// applyGiven takes coupling, mode and bandwidth where they are given.
func (t *Trace) applyGiven(opt Options) {
	if opt.Coupling != CouplingUnknown {
		t.Coupling = opt.Coupling
		t.assume(SettingCoupling, strings.ToUpper(string(t.Coupling)), "given")
	}
	if opt.Mode != Differential {
		t.Mode = opt.Mode
		t.assume(SettingMode, t.Mode.Word(), "given; the volts are those of both wires together, across 100 Ω to chassis or earth")
	}
	if opt.BandwidthHz > 0 {
		t.BandwidthHz = opt.BandwidthHz
		t.assume("bandwidth", SI(t.BandwidthHz, "Hz", 6), "given")
	}
	if opt.BandLimited != nil {
		t.BandLimited = *opt.BandLimited
		t.assume("bandwidth limit", onOff(t.BandLimited), "given")
	}
}

// applyProbe multiplies the volts by a factor that is given, 0 for none, and reports
// whether that changed them.
func (t *Trace) applyProbe(factor float64) bool {
	t.ProbeFactor = 1
	if factor <= 0 {
		return false
	}
	t.ProbeFactor = factor
	t.assume("probe factor", fmt.Sprintf("%g", factor), "given; the file's volts are multiplied by it")
	if factor == 1 {
		return false
	}
	for i := range t.Volts {
		t.Volts[i] *= factor
	}
	t.FullScaleMinV *= factor
	t.FullScaleMaxV *= factor
	t.StepV *= factor
	t.Levels.ResolutionV *= factor
	return true
}

// setSpan works out what frequencies the record shows; recorder tells that the
// file's own filter reaches up to half the rate.
func (t *Trace) setSpan(recorder bool) {
	if t.TrueRateHz == 0 {
		t.TrueRateHz = t.SampleRateHz
	}
	t.Span.LowHz = periodsForLow / t.DurationS()
	high := spanShare * t.TrueRateHz
	if recorder {
		high = filteredShare * t.TrueRateHz
	}
	if t.Span.HighHz > 0 {
		high = min(high, t.Span.HighHz)
	}
	if t.BandwidthHz > 0 {
		high = min(high, t.BandwidthHz)
	}
	t.Span.HighHz = high
}

// Sample rates that are believed.
const (
	minRateHz = 1e-3
	maxRateHz = 5e11 // the fastest scopes take 256 GS/s; beyond, a unit of time was read wrong
)

// maxVolts bounds a believable sample: sums of squares stay finite far below it.
const maxVolts = 1e9

func onOff(b bool) string {
	if b {
		return "on"
	}
	return "off"
}
