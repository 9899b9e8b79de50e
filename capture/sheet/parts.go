package sheet

import (
	"fmt"
	"path/filepath"
	"strings"

	"stillglow/capture"
)

// micro writes the prefix as a sheet's words do, in u: both signs of Unicode for it.
var micro = strings.NewReplacer("µ", "u", "μ", "u")

// oneOf checks a word against the words allowed ("" is allowed too).
func (b *builder) oneOf(key, found string, words ...string) string {
	if found == "" {
		return ""
	}
	plain := micro.Replace(found)
	for _, w := range words {
		if strings.EqualFold(plain, w) {
			return w
		}
	}
	b.fail(key, fmt.Sprintf("%s = %q", key[strings.LastIndexByte(key, '.')+1:], found), "one of "+strings.Join(words, ", "), "")
	return ""
}

func (b *builder) instrument(raw *rawInstrument, in *Instrument) {
	*in = Instrument{
		Name: raw.Name, Channel: b.channel("instrument.channel", raw.Channel), Scale: raw.Scale,
		VoltUnit:    b.oneOf("instrument.volt_unit", raw.VoltUnit, voltUnits...),
		ProbeFactor: raw.ProbeFactor, BandwidthHz: raw.BandwidthHz, BandLimited: raw.BandLimited, AntiAliased: raw.AntiAliased,
		Coupling:    capture.Coupling(b.oneOf("instrument.coupling", raw.Coupling, "ac", "dc")),
		GainPercent: raw.GainPercent, VoltsPerFullScale: raw.VoltsPerFullScale, MemorySamples: raw.MemorySamples, MaxRateHz: raw.MaxRateHz,
		LowPass: b.oneOf("instrument.low_pass", raw.LowPass, "first-order", "butterworth4", "gaussian", "ideal", "none"),
	}
	if raw.Baseline != nil {
		if c, ok := b.capture(raw.Baseline, "instrument.baseline", in); ok {
			in.Baseline = &c
		}
	}
}

// wirings are the ways to wire a group; the words with volts mean the same. ""
// leaves the choice to the rail.
var wirings = map[string]string{
	"": "", "parallel": "parallel", "6.3 v parallel": "parallel",
	"series": "series", "12.6 v series": "series",
	"string": "string", "string of series": "string of series",
}

func (b *builder) heaters(raw *rawHeaters, h *Heaters) {
	*h = Heaters{Exponent: raw.Exponent, SupplyTolPercent: raw.SupplyTolPercent, PartTolPercent: raw.PartTolPercent,
		LeadOhm: raw.LeadOhm, LeadM: raw.LeadM, HeadroomPercent: raw.HeadroomPercent, AmbientC: raw.AmbientC, Series: b.oneOf("heaters.series", raw.Series, "E6", "E12", "E24", "E48", "E96")}
	if raw.Exponent != 0 && (raw.Exponent < 0.3 || raw.Exponent > 1) {
		b.fail("heaters.exponent", fmt.Sprintf("exponent = %g", raw.Exponent), "0.3 to 1 (heaters lie near 0.6)", "")
	}
	for _, list := range []struct {
		key string
		n   int
	}{{"heaters.valve", len(raw.Valve)}, {"heaters.own_valve", len(raw.OwnValve)}} {
		if list.n > maxGroup {
			b.fail(fmt.Sprintf("%s[%d]", list.key, maxGroup), fmt.Sprintf("%d entries of [[%s]]", list.n, list.key), fmt.Sprintf("at most %d", maxGroup), "give valves of one type one entry with a count")
			return
		}
	}
	for i, v := range raw.Valve {
		h.Groups = append(h.Groups, b.group(v, fmt.Sprintf("heaters.valve[%d]", i)))
	}
	for i, v := range raw.OwnValve {
		if strings.TrimSpace(v.Type) == "" || v.Volts == 0 || v.Amps == 0 {
			b.fail(fmt.Sprintf("heaters.own_valve[%d]", i), "a valve of your own without type, volts or amps", "type, volts and amps from its data sheet", "")
		}
		h.OwnValves = append(h.OwnValves, OwnValve(v))
	}
}

// group takes one line of the heater load.
func (b *builder) group(v rawGroup, key string) HeaterGroup {
	if strings.TrimSpace(v.Type) == "" {
		b.fail(key, "a valve without a type", "type = \"12AU7\" or the like", "")
	}
	count := 1
	if v.Count != nil {
		count = *v.Count
	}
	if count > 1000 {
		b.fail(key+".count", fmt.Sprintf("count = %d", count), "at most 1000", "")
	}
	w, ok := wirings[strings.ToLower(strings.Join(strings.Fields(v.Wiring), " "))]
	if !ok {
		b.fail(key+".wiring", fmt.Sprintf("wiring = %q", v.Wiring),
			"\"parallel\" (6.3 V), \"series\" (a centre-tapped heater at 12.6 V), \"string\" (in series) or \"string of series\"", "")
	}
	if v.String != "" && !strings.HasPrefix(w, "string") {
		b.fail(key+".string", fmt.Sprintf("string = %q with wiring %q", v.String, w), "wiring = \"string\"", "")
	}
	if v.ShuntOhm > 0 && !strings.HasPrefix(w, "string") {
		b.fail(key+".shunt_ohm", fmt.Sprintf("shunt_ohm = %g with wiring %q", v.ShuntOhm, w), "wiring = \"string\"", "side by side a shunt only takes current: leave it out")
	}
	return HeaterGroup{Type: v.Type, Count: count, Wiring: w, String: v.String, ShuntOhm: v.ShuntOhm, CathodeV: v.CathodeV, Line: b.line(key)}
}

func (b *builder) hears(raw *rawHears, s *Sheet) {
	if raw == nil {
		return
	}
	h := Hears(*raw)
	h.Stage = b.oneOf("hears.stage", raw.Stage, "first", "second")
	h.HeaterReference = b.oneOf("hears.heater_reference", raw.HeaterReference, "one end", "centre tap", "elevated")
	if raw.ReferenceF > 0 && h.HeaterReference != "elevated" {
		b.fail("hears.reference_f", "reference_f without heater_reference = \"elevated\"", "the capacitor of an elevated heater's divider", "")
	}
	if raw.CathodeOhm == 0 {
		b.fail("hears", "[hears] without cathode_ohm", "the first stage's cathode resistor in ohms", "")
	}
	if raw.BypassESROhm > 0 && raw.BypassF == 0 {
		b.fail("hears.bypass_esr_ohm", "bypass_esr_ohm without bypass_f", "the bypass capacitor in farads beside it", "")
	}
	s.Hears = &h
}

func (b *builder) unit(raw *rawUnit, key string, in *Instrument) Unit {
	u := Unit{Brand: strings.TrimSpace(raw.Brand), Model: strings.TrimSpace(raw.Model), Mark: strings.TrimSpace(raw.Mark),
		State: b.oneOf(key+".state", raw.State, Bare, BehindFilter, BehindDropper), Date: b.date(key+".date", raw.Date),
		RatedV: raw.RatedV, RatedA: raw.RatedA, LimitA: raw.LimitA, OutputUF: raw.OutputUF, Note: raw.Note, Line: b.line(key)}
	if u.State == "" {
		u.State = Bare
	}
	if u.Brand == "" {
		b.fail(key, "a unit without a brand", "brand = \"...\"", "write \"unbranded\" when there is none")
	}
	for i, r := range raw.Readings {
		at := fmt.Sprintf("%s.readings[%d]", key, i)
		if r.LoadA == nil || r.V == nil {
			b.fail(at, "a reading without load_a or v", "{ load_a = 0.64, v = 7.02 }", "")
			return u
		}
		u.Readings = append(u.Readings, Reading{*r.LoadA, *r.V})
	}
	for i := range raw.Shown {
		u.Shown = append(u.Shown, b.shown(&raw.Shown[i], fmt.Sprintf("%s.reading[%d]", key, i), in))
	}
	for i := range raw.Capture {
		if c, ok := b.capture(&raw.Capture[i], fmt.Sprintf("%s.capture[%d]", key, i), in); ok {
			u.Captures = append(u.Captures, c)
		}
	}
	return u
}

// shown takes a figure that was read off a screen or a meter.
func (b *builder) shown(raw *rawShown, key string, in *Instrument) Shown {
	s := Shown{On: strings.TrimSpace(raw.On), LoadA: raw.LoadA, By: raw.By, PlusMinusPercent: UsualPlusMinusPercent, Key: key}
	switch {
	case s.On == "":
		b.fail(key, "a reading without on", "on = \"ripple_pp_20mhz_v\" or another criterion, see \"stillglow target\"", "")
	case s.On == "heater_dc_v":
		b.fail(key+".on", "a reading on heater_dc_v", "readings = [{ load_a = 0.94, v = 7.02 }] for the supply volts", "")
	case raw.Value == nil:
		b.fail(key, "a reading without value", "value = 0.060, in volts or the criterion's own unit", "")
	default:
		s.Value = *raw.Value
		if most := mostReading(s.On); s.Value >= most {
			b.fail(key+".value", fmt.Sprintf("value = %g on %s", s.Value, s.On), fmt.Sprintf("less than %g, since readings are in volts", most),
				fmt.Sprintf("for %g mV write %g, for %g µV write %g; where it truly is so much, %g fails alike", s.Value, s.Value/1e3, s.Value, s.Value/1e6, 0.99*most))
		}
	}
	if p := raw.PlusMinusPercent; p != nil {
		if *p >= 100 {
			b.fail(key+".plus_minus_percent", fmt.Sprintf("plus_minus_percent = %g", *p), "a number under 100", "leave the reading out: it shows nothing")
		}
		s.PlusMinusPercent = *p
	}
	limited := raw.BandLimited
	if limited == nil {
		limited = in.BandLimited
	}
	s.BandLimited = limited != nil && *limited || in.BandwidthHz > 0 && in.BandwidthHz <= 20e6
	return s
}

// capture resolves one file and fills in the instrument's settings. A WAV takes
// only volts_per_full_scale from the instrument: the probe, the bandwidth and
// the coupling written there are the scope's. ok is false when the file is not
// there.
func (b *builder) capture(raw *rawCapture, key string, in *Instrument) (c Capture, ok bool) {
	c = Capture{File: capture.OneLine(raw.File), LoadA: raw.LoadA, Note: raw.Note, Line: b.line(key), Key: key}
	if raw.File == "" {
		b.fail(key, "a capture without a file", "file = \"...\"", "")
		return c, false
	}
	c.Path = b.resolve(raw.File)
	there := b.exists(key+".file", raw.File, c.Path)
	o := &c.Options
	*o = capture.Options{
		Channel:     b.channel(key+".channel", raw.Channel),
		TimeUnit:    b.oneOf(key+".time_unit", raw.TimeUnit, "s", "ms", "us", "ns", "samples"),
		VoltUnit:    b.oneOf(key+".volt_unit", raw.VoltUnit, voltUnits...),
		Delimiter:   b.oneOf(key+".delimiter", raw.Delimiter, ",", ";", "tab", "space"),
		DecimalMark: b.oneOf(key+".decimal_mark", raw.DecimalMark, ".", ","),
		RateHz:      raw.RateHz, Scale: raw.Scale, OffsetV: raw.OffsetV,
		VoltsPerFullScale: raw.VoltsPerFullScale, ProbeFactor: raw.ProbeFactor,
		BandwidthHz: raw.BandwidthHz, BandLimited: raw.BandLimited, AntiAliased: raw.AntiAliased,
		Coupling: capture.Coupling(b.oneOf(key+".coupling", raw.Coupling, "ac", "dc")),
		Segment:  raw.Segment, MaxSamples: raw.MaxSamples,
		Mode: b.mode(key+".mode", raw.Mode),
	}
	c.SupplyOff = b.supply(raw, key)
	b.fromInstrument(o, key, isWAV(raw.File), in)
	c.Baseline = b.baseline(raw.Baseline, key, &c, in)
	return c, there
}

// fromInstrument fills in what a capture leaves to the instrument. What is written
// for the capture, if only as "", is its own.
func (b *builder) fromInstrument(o *capture.Options, key string, wav bool, in *Instrument) {
	if o.VoltsPerFullScale == 0 {
		o.VoltsPerFullScale = in.VoltsPerFullScale
	}
	if wav {
		return
	}
	own := func(k string) bool { _, written := b.at[key+"."+k]; return written }
	if !own("channel") {
		o.Channel = in.Channel
	}
	if !own("volt_unit") {
		o.VoltUnit, o.VoltUnitUsual = in.VoltUnit, in.VoltUnit != ""
	}
	if !own("scale") {
		o.Scale = in.Scale
	}
	if o.ProbeFactor == 0 {
		o.ProbeFactor = in.ProbeFactor
	}
	if o.BandwidthHz == 0 {
		o.BandwidthHz = in.BandwidthHz
	}
	if o.BandLimited == nil {
		o.BandLimited = in.BandLimited
	}
	if o.AntiAliased == nil {
		o.AntiAliased = in.AntiAliased
	}
	if o.Coupling == "" {
		o.Coupling = in.Coupling
	}
}

// voltUnits are the units that a file's numbers may be in.
var voltUnits = []string{"V", "mV", "uV", "counts", "div"}

// baseline is the capture's own, which has its mode, or the instrument's when both
// are of one kind and one mode.
func (b *builder) baseline(file, key string, c *Capture, in *Instrument) *Capture {
	switch {
	case key == "instrument.baseline" && file != "":
		b.fail(key+".baseline", "a baseline with a baseline", "file = \"...\"", "")
	case file == "none":
	case file != "":
		base := Capture{File: capture.OneLine(file), Path: b.resolve(file), Options: c.Options, Line: b.line(key + ".baseline")}
		if b.exists(key+".baseline", file, base.Path) {
			return &base
		}
	case in.Baseline != nil && isWAV(in.Baseline.File) == isWAV(c.File) && in.Baseline.Options.Mode == c.Options.Mode:
		return in.Baseline
	}
	return nil
}

func (b *builder) channel(key string, v any) string {
	switch c := v.(type) {
	case nil:
		return ""
	case string:
		return c
	case int64:
		if c > 0 {
			return fmt.Sprint(c)
		}
	}
	b.fail(key, fmt.Sprintf("channel = %v", v), "a channel's name, or its number from 1", "")
	return ""
}

// Add gives unit the capture at file, with the instrument's settings, as if the
// sheet named it. The file must exist. One with the word common or cm in its name is a
// common-mode capture. loadA is in amperes, 0 unknown.
func (s *Sheet) Add(unit int, file string, loadA float64) error {
	b := builder{path: s.Path, dir: s.Dir, at: s.at}
	c, _ := b.capture(&rawCapture{File: file, LoadA: loadA, Mode: string(ModeOfName(file))}, "pattern", &s.Instrument)
	if b.err != nil {
		return b.err
	}
	u := &s.Units[unit]
	u.Captures = append(u.Captures[:len(u.Captures):len(u.Captures)], c)
	return nil
}

func (b *builder) resolve(file string) string {
	file = filepath.FromSlash(file)
	if filepath.IsAbs(file) {
		return file
	}
	return filepath.Join(b.dir, file)
}

// isWAV tells a sound card's file by its name, gzipped or not.
func isWAV(file string) bool {
	if ending := filepath.Ext(file); strings.EqualFold(ending, ".gz") {
		file = strings.TrimSuffix(file, ending)
	}
	return strings.EqualFold(filepath.Ext(file), ".wav")
}
