package capture

import (
	"fmt"
	"math"
)

// check refuses options that no file can be read with.
func (o *Options) check() error {
	for _, c := range []struct {
		name string
		v    float64
	}{
		{"sample rate", o.RateHz}, {"volts per full scale", o.VoltsPerFullScale},
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
	switch o.DecimalMark {
	case "", ".", ",":
	default:
		return fmt.Errorf("decimal mark %q given, expected . or ,", o.DecimalMark)
	}
	switch o.Delimiter {
	case "", ",", ";", "tab", "\t", "space", " ", "|":
	default:
		return fmt.Errorf("delimiter %q given, expected \",\", \";\", \"|\", \"tab\" or \"space\"", o.Delimiter)
	}
	switch o.Coupling {
	case CouplingUnknown, CouplingDC, CouplingAC:
	default:
		return fmt.Errorf("coupling %q given, expected dc or ac", o.Coupling)
	}
	switch o.Mode {
	case Differential, Common:
	default:
		return fmt.Errorf("mode %q given, expected differential or common", string(o.Mode))
	}
	if o.TimeUnit != "" {
		if u, ok := parseUnit(o.TimeUnit); !ok || (u.kind != unitSecond && u.kind != unitIndex) {
			return fmt.Errorf("time unit %q given, expected s, ms, us, ns or samples", o.TimeUnit)
		}
	}
	if o.VoltUnit != "" {
		if u, ok := parseUnit(o.VoltUnit); !ok || (u.kind != unitVolt && u.kind != unitCount && u.kind != unitDiv) {
			return fmt.Errorf("volt unit %q given, expected V, mV, uV, counts or div", o.VoltUnit)
		}
	}
	return nil
}

func (t *Trace) assume(what, value, why string) {
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
// factor among it, and the span. The rate and the volts are set before.
func (t *Trace) applyInstrument(opt Options) error {
	if opt.Coupling != CouplingUnknown {
		t.Coupling = opt.Coupling
		t.assume("coupling", string(t.Coupling), "given")
	}
	if opt.Mode != Differential {
		t.Mode = opt.Mode
		t.assume("mode", t.Mode.Word(), "given; the volts are those of both wires together, across 100 Ω to chassis or earth")
	}
	if opt.BandwidthHz > 0 {
		t.BandwidthHz = opt.BandwidthHz
		t.assume("bandwidth", SI(t.BandwidthHz, "Hz", 6), "given")
	}
	if opt.BandLimited != nil {
		t.BandLimited = *opt.BandLimited
		t.assume("bandwidth limit", onOff(t.BandLimited), "given")
	}
	recorder := t.AntiAliased
	if opt.AntiAliased != nil {
		t.AntiAliased = *opt.AntiAliased
		t.assume("anti-alias filter", onOff(t.AntiAliased), "given")
	}
	t.ProbeFactor = 1
	if opt.ProbeFactor > 0 {
		t.ProbeFactor = opt.ProbeFactor
		t.assume("probe factor", fmt.Sprintf("%g", opt.ProbeFactor), "given; the file's volts are multiplied by it")
		if opt.ProbeFactor != 1 {
			for i := range t.Volts {
				t.Volts[i] *= opt.ProbeFactor
			}
			t.FullScaleMinV *= opt.ProbeFactor
			t.FullScaleMaxV *= opt.ProbeFactor
			t.StepV *= opt.ProbeFactor
			t.Levels.ResolutionV *= opt.ProbeFactor
		}
	}
	if !(t.SampleRateHz >= minRateHz && t.SampleRateHz <= maxRateHz) || !(math.Abs(t.StartS) <= 1e12) {
		return &ParseError{Path: t.File, Found: fmt.Sprintf("a sample rate of %g Hz from %g s", t.SampleRateHz, t.StartS), Expected: fmt.Sprintf("%g to %g Hz", minRateHz, maxRateHz), Fix: "check the time column, or give --rate"}
	}
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
	for i, v := range t.Volts {
		if !(v >= -maxVolts && v <= maxVolts) {
			return &ParseError{Path: t.File, Found: fmt.Sprintf("sample %d of %g V", i+1, v), Expected: "volts below 1e9", Fix: "check the scale, the volt unit and the probe factor"}
		}
	}
	return nil
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
