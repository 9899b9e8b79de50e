package sheet

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/agnivade/levenshtein"
	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/unicode/norm"

	"stillglow/capture"
)

// builder turns the raw sheet into a Sheet and keeps the first error.
type builder struct {
	path, dir string
	at        map[string]place
	err       error

	awaiting bool     // a missing file is no error
	awaited  []string // as written
}

// fail records an error at a key, or at the table that should hold it.
func (b *builder) fail(key, found, expected, fix string) {
	if b.err != nil {
		return
	}
	at := placeOf(b.at, key)
	b.err = &capture.ParseError{Path: b.path, Line: at.line, Column: at.column, Found: found, Expected: expected, Fix: fix}
}

func (b *builder) line(key string) int { return b.at[key].line }

func (b *builder) sheet(raw *rawSheet) *Sheet {
	printable(reflect.ValueOf(raw).Elem())
	b.numbers(reflect.ValueOf(raw).Elem(), "", "")
	if b.err != nil {
		return nil
	}
	s := &Sheet{
		Path: b.path, Dir: b.dir, Title: raw.Title, Workshop: raw.Workshop, Date: b.date("date", raw.Date),
		Note: raw.Note, Invented: raw.Invented, MainsHz: raw.MainsHz, Target: raw.Target,
		ReserveDB: raw.ReserveDB, Pattern: raw.Pattern, at: b.at,
	}
	if s.Title == "" {
		s.Title = strings.TrimSuffix(filepath.Base(b.path), filepath.Ext(b.path))
	}
	if raw.MainsHz != 0 && raw.MainsHz != 50 && raw.MainsHz != 60 {
		b.fail("mains_hz", fmt.Sprintf("mains_hz = %g", raw.MainsHz), "50 or 60", "leave it out to have it found")
	}
	b.limits(raw, s)
	b.instrument(&raw.Instrument, &s.Instrument)
	b.heaters(&raw.Heaters, &s.Heaters)
	b.hears(raw.Hears, s)
	if len(raw.Unit) > maxUnits {
		b.fail("unit", fmt.Sprintf("%d units", len(raw.Unit)), fmt.Sprintf("at most %d", maxUnits), "")
	}
	for i := range raw.Unit {
		if b.err == nil {
			s.Units = append(s.Units, b.unit(&raw.Unit[i], fmt.Sprintf("unit[%d]", i), &s.Instrument))
		}
	}
	for i := range raw.Capture {
		if c, ok := b.capture(&raw.Capture[i], fmt.Sprintf("capture[%d]", i), &s.Instrument); ok {
			s.Loose = append(s.Loose, c)
		}
	}
	b.unique(s)
	b.ofOneMode(s)
	s.leaveOtherProbes()
	b.ofOneSetup(s)
	if raw.Pattern != "" {
		if _, err := ParsePattern(raw.Pattern); err != nil {
			b.fail("pattern", err.Error(), "", "for example \"{brand}_{mark}_{rest}.csv\"")
		}
	}
	return s
}

// printable makes every text of the sheet printable, each letter in one character
// where there is one, but those that name a thing
// outside of it (tagged raw): they must stay what they are to find it.
func printable(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			printable(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).Tag.Get("text") != "raw" {
				printable(v.Field(i))
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			printable(v.Index(i))
		}
	case reflect.String:
		v.SetString(norm.NFC.String(capture.Printable(v.String())))
	}
}

// numbers checks every number against its rule tag: a value that is written in
// the sheet must be finite and within it.
func (b *builder) numbers(v reflect.Value, path, rule string) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			b.numbers(v.Elem(), path, rule)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			f := v.Type().Field(i)
			b.numbers(v.Field(i), join(path, f.Tag.Get("toml")), f.Tag.Get("rule"))
		}
	case reflect.Slice:
		for i := range v.Len() {
			b.numbers(v.Index(i), path+"["+strconv.Itoa(i)+"]", rule)
		}
	case reflect.Float64:
		b.inRange(path, rule, v.Float())
	case reflect.Int:
		b.inRange(path, rule, float64(v.Int()))
	}
}

// inRange checks a number that is written in the sheet against a rule tag.
func (b *builder) inRange(path, rule string, x float64) {
	if _, written := b.at[path]; !written {
		return
	}
	found := fmt.Sprintf("%s = %g", path[strings.LastIndexByte(path, '.')+1:], x)
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		b.fail(path, found, "a finite number", "")
	case rule == "positive" && x <= 0:
		b.fail(path, found, "a number over 0", "")
	case rule == "nonneg" && x < 0:
		b.fail(path, found, "0 or more", "")
	case math.Abs(x) > 1e15:
		b.fail(path, found, "a number within 1e15", "")
	}
	b.asMeant(path, found, x)
}

// asMeant refuses a number that its key's unit makes absurd, as a multiple of the unit
// written for the unit does. The bounds are our own: no heater supply comes near them,
// and no instrument falls under them.
func (b *builder) asMeant(path, found string, x float64) {
	key := path[strings.LastIndexByte(path, '.')+1:]
	most := func(limit, times float64, unit, of string) {
		if math.Abs(x) > limit {
			b.fail(path, found, fmt.Sprintf("%s, %g at most", unit, limit), fmt.Sprintf("for %g %s write %.6g", x, of, x*times))
		}
	}
	least := func(limit, times float64, unit, of string) {
		if x < limit {
			b.fail(path, found, fmt.Sprintf("%s, %g or more", unit, limit), fmt.Sprintf("for %g %s write %.6g", x, of, x*times))
		}
	}
	switch key {
	case "load_a", "rated_a", "limit_a", "amps":
		most(mostAmps, 1e-3, "amperes", "mA")
	case "rated_v", "volts", "volts_per_full_scale":
		most(mostVolts, 1e-3, "volts", "mV")
	case "bandwidth_hz", "max_rate_hz":
		least(leastBandHz, 1e6, "hertz", "MHz")
	case "memory_samples":
		least(leastMemory, 1e6, "samples", "million")
	case "cathode_ohm":
		least(leastCathodeOhm, 1e3, "ohms", "kΩ")
	case "heater_cathode_ohm":
		least(leastInsulationOhm, 1e6, "ohms", "MΩ")
	case "bypass_f", "reference_f":
		most(mostBypassF, 1e-6, "farads", "µF")
	case "heater_cathode_f", "heater_grid_f":
		most(mostStrayF, 1e-12, "farads", "pF")
	case "gm_ma_per_v":
		most(mostGm, 1e-3, "mA/V", "µS")
	case "allowed_input_v":
		most(mostInputV, 1e-9, "volts", "nV")
	case "output_uf":
		if x > 0 {
			least(leastOutputUF, 1e6, "microfarads", "F")
		}
	case "lead_ohm":
		most(mostLeadOhm, 1e-3, "ohms", "mΩ")
	case "lead_m":
		most(mostLeadM, 1e-2, "metres", "cm")
	}
	if strings.HasSuffix(key, "_percent") && x > mostPercent {
		b.fail(path, found, fmt.Sprintf("percent, %g at most", mostPercent), "")
	}
	if key == "ambient_c" && (x < leastAmbientC || x > mostAmbientC) {
		b.fail(path, found, fmt.Sprintf("°C, %g to %g", leastAmbientC, mostAmbientC), "")
	}
	if bound, ok := leastPercent[key]; ok && x > 0 && x < bound {
		b.fail(path, found, fmt.Sprintf("percent, %g or more", bound), fmt.Sprintf("for a share of %g write %.6g", x, 100*x))
	}
}

// leastPercent are the least percentages that are meant: less is a share of one.
var leastPercent = map[string]float64{
	"gain_percent":             0.1, // of a scope or a sound card
	"part_tolerance_percent":   0.1, // of the best resistors that carry a watt
	"supply_tolerance_percent": 0.1,
	"headroom_percent":         2, // of a supply's rating
	"volt_tolerance_percent":   1, // of a heater
	"amp_tolerance_percent":    0.5,
	"plus_minus_percent":       0.5, // of what is read off a screen or a meter
}

// What a sheet's numbers are believed to mean.
const (
	mostAmps    = 100.0 // of a heater load or a supply
	mostVolts   = 200.0 // of a supply
	leastBandHz = 1e3   // of a scope, or of a low-pass ahead of it
	leastMemory = 100.0 // samples of a record

	leastCathodeOhm    = 10.0 // of a cathode resistor in a preamp
	leastInsulationOhm = 1e4  // between heater and cathode of a valve that works at all
	mostBypassF        = 0.1  // of a capacitor across a resistor
	mostStrayF         = 1e-8 // between two electrodes of a valve
	mostGm             = 200.0
	mostInputV         = 0.01 // of noise that a preamp allows at its input
	leastOutputUF      = 0.01 // of a supply's own output capacitor
	mostPercent        = 100.0
	leastAmbientC      = -40.0
	mostAmbientC       = 100.0
	mostLeadOhm        = 10.0 // of the leads and sockets of heaters
	mostLeadM          = 20.0 // from a supply to its filter
)

// dateLayouts are those of ISO 8601 that a sheet may give its date in.
var dateLayouts = []string{"2006-01-02", "2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02T15:04Z07:00", "2006-01-02T15:04:05Z07:00"}

// ValidDate reports whether s is a day that there is, as 2026-03-14, with or
// without a time.
func ValidDate(s string) bool {
	s = strings.Replace(s, " ", "T", 1)
	return slices.ContainsFunc(dateLayouts, func(layout string) bool {
		_, err := time.Parse(layout, s)
		return err == nil
	})
}

// date takes a day, with or without a time, as text or as TOML's own.
func (b *builder) date(key string, v any) string {
	var s string
	switch d := v.(type) {
	case nil:
		return ""
	case string:
		s = d
	case toml.LocalDate:
		s = d.String()
	case toml.LocalDateTime:
		s = d.String()
	case time.Time:
		s = d.Format(time.RFC3339)
	default:
		s = strings.TrimSpace(fmt.Sprint(v))
	}
	if !ValidDate(s) {
		b.fail(key, fmt.Sprintf("date %q", shortened(s)), "a date like 2026-03-14", isoFix(s))
	}
	return s
}

var threeNumbers = regexp.MustCompile(`^\s*(\d{1,2})([./-])\s*(\d{1,2})[./-]\s*(\d{4}|\d{2})\s*$`)

// isoFix says how a date of day, month and year, or month, day and year, is written.
func isoFix(s string) string {
	m := threeNumbers.FindStringSubmatch(s)
	if m == nil {
		return ""
	}
	year := m[4]
	if len(year) == 2 {
		year = "20" + year
	}
	iso := func(month, day string) string { return fmt.Sprintf("%s-%02s-%02s", year, month, day) }
	a, c := iso(m[3], m[1]), iso(m[1], m[3])
	switch okA, okC := ValidDate(a), ValidDate(c); {
	case okA && (!okC || m[2] == "." || a == c):
		return "write " + a
	case okC && !okA:
		return "write " + c
	case okA:
		return fmt.Sprintf("write %s or %s, whichever is meant", a, c)
	}
	return ""
}

// dcKey is the one key of [limits] that takes a pair.
const dcKey = "heater_dc_v"

// mostLimit is from where on a limit can't be meant in volts: millivolts or
// microvolts were written. A common-mode limit may be of volts. The bounds are our
// own: no heater supply passes at a volt of ripple.
func mostLimit(key string) float64 {
	switch {
	case strings.HasSuffix(key, "_v_per_rthz"), strings.HasPrefix(key, "noise_density"):
		return 0.01
	case strings.HasPrefix(key, "mains_line"): // a bypassed cathode hears little of it
		return 10
	case strings.HasSuffix(key, "_v") && !strings.HasPrefix(key, "common"):
		return 1
	}
	return math.Inf(1)
}

// mostReading is the same for a figure read off a screen, which can only fail a unit.
func mostReading(key string) float64 {
	if most := mostLimit(key); !math.IsInf(most, 0) {
		return min(most, 1)
	}
	return mostLimit(key)
}

// limits takes [limits] and the mask.
func (b *builder) limits(raw *rawSheet, s *Sheet) {
	keys := make([]string, 0, len(raw.Limits))
	for k := range raw.Limits {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	if len(keys) > 0 {
		s.Limits = map[string]float64{}
	}
	for _, k := range keys {
		if pair, ok := raw.Limits[k].([]any); ok {
			b.band(k, pair, s)
			continue
		}
		x, ok := number(raw.Limits[k])
		found := fmt.Sprintf("%s = %v", k, raw.Limits[k])
		switch {
		case !ok || math.IsNaN(x) || math.IsInf(x, 0) || x < 0:
			if s, isText := raw.Limits[k].(string); isText {
				found = fmt.Sprintf("%s = %q", k, shortened(s))
			}
			fix := ""
			if strings.HasSuffix(k, "_v") {
				fix = "limits are in volts, without quotes or unit: for 20 mV write 0.02"
			}
			b.fail("limits."+k, found, "a number over 0, or 0 to leave the criterion out", fix)
		case k == dcKey:
			b.fail("limits."+k, found, "two numbers, [lowest, highest] volts", "")
		case x >= mostLimit(k):
			b.fail("limits."+k, found, fmt.Sprintf("less than %g, since limits are in volts", mostLimit(k)), fmt.Sprintf("for %g mV write %g, for %g µV write %g; a supply's own volts are %s = [lowest, highest]", x, x/1e3, x, x/1e6, dcKey))
		}
		s.Limits[k] = x
	}
	b.mask(raw.Mask, s)
}

// band takes a limit of two numbers.
func (b *builder) band(k string, pair []any, s *Sheet) {
	lo, okLo := number(first(pair, 0))
	hi, okHi := number(first(pair, 1))
	if k != dcKey || len(pair) != 2 || !okLo || !okHi || !(lo >= 0) || !(hi > lo) || math.IsInf(hi, 0) {
		b.fail("limits."+k, fmt.Sprintf("%s = %v", k, pair), "heater_dc_v = [lowest, highest] in volts, one number elsewhere", "")
		return
	}
	s.Limits[k], s.HeaterDCMinV = hi, lo
}

// mask takes the points of the density mask.
func (b *builder) mask(raw [][]float64, s *Sheet) {
	if len(raw) > maxMask {
		b.fail("mask", fmt.Sprintf("a mask of %d points", len(raw)), fmt.Sprintf("at most %d", maxMask), "")
		return
	}
	last := 0.0
	for i, p := range raw {
		key := fmt.Sprintf("mask[%d]", i)
		if len(p) != 2 {
			b.fail(key, fmt.Sprintf("a mask point of %d numbers", len(p)), "[hertz, V/√Hz]", "")
			return
		}
		if p[0] <= last {
			b.fail(key, fmt.Sprintf("%g Hz after %g Hz", p[0], last), "mask points by rising frequency", "")
			return
		}
		last = p[0]
		s.Mask = append(s.Mask, [2]float64{p[0], p[1]})
	}
	if len(raw) == 1 {
		b.fail("mask", "a mask of one point", "two points or more", "")
	}
}

func first(v []any, i int) any {
	if i < len(v) {
		return v[i]
	}
	return nil
}

func number(v any) (float64, bool) {
	switch x := v.(type) {
	case float64:
		return x, true
	case int64:
		return float64(x), true
	}
	return 0, false
}

// unique refuses two units of one name and one file named twice.
func (b *builder) unique(s *Sheet) {
	if b.err != nil {
		return
	}
	type samples struct {
		path, channel string
		segment       int
	}
	units := map[identity]int{}
	files := map[samples]int{}
	once := func(key string, c Capture) {
		id := samples{filepath.Clean(c.Path), c.Options.Channel, c.Options.Segment}
		if line, ok := files[id]; ok {
			b.fail(key+".file", fmt.Sprintf("%q again, first in line %d", c.File, line),
				"every capture named once", "give the channel or the segment when one file holds several")
		}
		files[id] = c.Line
	}
	for i, u := range s.Units {
		key := u.identity()
		if line, ok := units[key]; ok {
			b.fail(fmt.Sprintf("unit[%d].mark", i), fmt.Sprintf("unit %q again, first in line %d", u.Name(), line),
				"a mark of its own for every unit", "one unit measured in several states takes state = \"filter\" or \"dropper\", or a date, to tell them apart")
			return
		}
		units[key] = u.Line
		for j, c := range u.Captures {
			once(fmt.Sprintf("unit[%d].capture[%d]", i, j), c)
		}
	}
	for i, c := range s.Loose {
		once(fmt.Sprintf("capture[%d]", i), c)
	}
	s.eachBaseline(func(key string, _, base *Capture) {
		id := samples{filepath.Clean(base.Path), base.Options.Channel, base.Options.Segment}
		if line, ok := files[id]; ok {
			b.fail(key, fmt.Sprintf("baseline %q, which is a capture in line %d", base.File, line),
				"one of the same set-up with the supply off, the probe's tip on its own ground", "name that file, or write baseline = \"none\"")
		}
	})
	tellApart(s.Units)
}

// eachBaseline visits the instrument's baseline, with no capture, and each capture with
// the one that is its own or taken from the instrument.
func (s *Sheet) eachBaseline(visit func(key string, of, base *Capture)) {
	if s.Instrument.Baseline != nil {
		visit("instrument.baseline", nil, s.Instrument.Baseline)
	}
	each := func(key string, c *Capture) {
		if c.Baseline != nil {
			visit(key, c, c.Baseline)
		}
	}
	for i := range s.Units {
		for j := range s.Units[i].Captures {
			each(fmt.Sprintf("unit[%d].capture[%d].baseline", i, j), &s.Units[i].Captures[j])
		}
	}
	for i := range s.Loose {
		each(fmt.Sprintf("capture[%d].baseline", i), &s.Loose[i])
	}
}

// sameName is the share of a file's name, one letter in so many, that may be misspelt for
// another to be meant.
const sameName = 8

// nearFile says which file in the folder of path may be meant by its name in the sheet.
func nearFile(file, path string) string {
	if strings.Contains(file, `\`) && os.PathSeparator == '/' {
		return "write / between folders; paths are relative to the sheet's folder"
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return "the folder isn't there; paths are relative to the sheet's folder"
	}
	var names []string
	base := filepath.Base(path)
	for _, e := range entries {
		if e.IsDir() || len(names) >= maxUnits {
			continue
		}
		names = append(names, e.Name())
		if strings.EqualFold(e.Name(), base) || strings.HasPrefix(e.Name(), base+".") {
			return fmt.Sprintf("%q is there", capture.OneLine(e.Name()))
		}
	}
	if n := nearest(base, names); n != "" && levenshtein.ComputeDistance(strings.ToLower(n), strings.ToLower(base)) <= len(base)/sameName {
		return fmt.Sprintf("nearest there is %q", capture.OneLine(n))
	}
	return "paths are relative to the sheet's folder"
}

// exists reports whether the file is there, and fails unless it is and is no
// folder, or may be awaited.
func (b *builder) exists(key, file, path string) bool {
	info, err := os.Stat(path)
	switch {
	case err != nil && os.IsNotExist(err) && b.awaiting:
		b.awaited = append(b.awaited, capture.OneLine(file))
		return false
	case err != nil && os.IsNotExist(err):
		b.fail(key, fmt.Sprintf("no capture at %q", file), "", nearFile(file, path))
	case err != nil:
		b.fail(key, fmt.Sprintf("capture %q can't be reached", file), "a file", "check the path and its permissions")
	case info.IsDir():
		b.fail(key, fmt.Sprintf("%q is a folder", file), "a CSV or WAV file", "")
	}
	return b.err == nil
}
