package benchpage

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// An edit is one thing that the page lets its user do to the sheet. It finds what
// it is about by name in the sheet as it stands, since another page or an editor
// may have changed it.
type edit func(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error

// edits are all of them, by the name that the page's forms give.
var edits = map[string]edit{
	"correct":       correct,
	"give":          give,
	"give-all":      giveAll,
	"take-back":     takeBack,
	"leave-out":     leaveOut,
	"use":           use,
	"baseline":      asBaseline,
	"baseline-away": baselineAway,
	"baseline-off":  baselineOff,
	"unit":          editUnit,
	"unit-remove":   removeUnit,
	"unit-new":      newUnit,
	"unit-again":    unitAgain,
	"reading":       addReading,
	"reading-away":  removeReading,
	"shown":         addShown,
	"shown-away":    removeShown,
	"hears":         editHears,
	"hears-away":    removeHears,
	"bench":         editBench,
	"instrument":    editInstrument,
	"heaters":       editHeaters,
	"valve":         addValve,
	"valve-change":  changeValve,
	"valve-away":    removeValve,
	"own-valve":     addOwnValve,
	"filter-try":    tryFilter,
	"filter-forget": forgetFilter,
}

// fieldError is a field of a form that doesn't do.
type fieldError struct{ field, text string }

func (e *fieldError) Error() string { return e.text }

var errGone = errors.New("that is no longer in the sheet, which was changed meanwhile; the page shows it as it is now")

var errSheetGone = errors.New("the bench sheet is gone: it was deleted, moved or renamed; undo puts it back as it was, and to begin again start \"stillglow bench\" again")

var errByPattern = errors.New("the sheet's pattern assigns this file to its unit: to correct it, write a [[unit.capture]] for it into the sheet")

// sheetGone reports whether there has been a sheet and is none now. What is done then
// would begin an empty one in its place.
func (b *bench) sheetGone() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.existed && b.file.Missing()
}

// change does one edit to the sheet.
func (b *bench) change(op string, form url.Values) error {
	if b.sheetGone() {
		return errSheetGone
	}
	do, ok := edits[op]
	if !ok {
		return &fieldError{"op", fmt.Sprintf("unknown edit %q", op)}
	}
	err := b.file.Change(func(t *sheet.Text) error {
		s, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		return do(b, t, s, form)
	})
	b.nudge()
	return err
}

// kind says how a typed value is written into the sheet.
type kind int

const (
	text     kind = iota
	num           // a number, its unit may stand behind it
	hertz         // 100M, 20 MHz
	whole         // 1M samples
	yesNo         // true, false
	day           // 2026-03-14
	prefixed      // a number that may have a prefix and a unit: 100 µF, 1.5k
)

// field is a key that the page lets be filled in.
type field struct {
	key  string
	kind kind
}

var (
	captureFields = []field{{"channel", text}, {"probe_factor", num}, {"coupling", text}, {"mode", text}, {"volt_unit", text}, {"band_limited", yesNo}, {"anti_aliased", yesNo},
		{"bandwidth_hz", hertz}, {"volts_per_full_scale", num}, {"time_unit", text}, {"rate_hz", hertz}, {"load_a", num}, {"note", text},
		{"scale", num}, {"segment", whole}}
	unitFields  = []field{{"brand", text}, {"model", text}, {"mark", text}, {"state", text}, {"date", day}, {"rated_v", num}, {"rated_a", num}, {"limit_a", num}, {"output_uf", num}, {"note", text}}
	shownFields = []field{{"plus_minus_percent", num}, {"load_a", num}, {"by", text}, {"band_limited", yesNo}}
	hearsFields = []field{{"cathode_ohm", prefixed}, {"bypass_f", prefixed}, {"valve", text}, {"source_ohm", prefixed}, {"heater_reference", text}, {"stage", text},
		{"mu", num}, {"gm_ma_per_v", num}, {"gain_before", num}, {"gain", num}, {"riaa", yesNo}, {"allowed_input_v", prefixed}}
	ratingFields     = []field{{"rated_v", num}, {"rated_a", num}}
	benchFields      = []field{{"title", text}, {"workshop", text}, {"date", text}, {"target", text}, {"mains_hz", num}, {"note", text}}
	instrumentFields = []field{{"name", text}, {"bandwidth_hz", hertz}, {"memory_samples", whole}, {"max_rate_hz", hertz}, {"coupling", text},
		{"probe_factor", num}, {"gain_percent", num}, {"volts_per_full_scale", num}}
	heaterFields = []field{{"supply_tolerance_percent", num}, {"part_tolerance_percent", num}, {"lead_ohm", num}, {"headroom_percent", num}, {"ambient_c", num}, {"series", text}}
	valveFields  = []field{{"type", text}, {"count", whole}, {"wiring", text}, {"string", text}, {"shunt_ohm", num}, {"cathode_v", num}}
	ownFields    = []field{{"type", text}, {"volts", num}, {"amps", num}, {"centre_tapped", yesNo}, {"source", text}}
)

// fill writes the fields that the form has into a table. An empty one is taken
// out of the sheet.
func fill(t *sheet.Text, table string, fields []field, form url.Values) error {
	for _, f := range fields {
		if !form.Has(f.key) {
			continue
		}
		key := f.key
		if table != "" {
			key = table + "." + f.key
		}
		typed := strings.TrimSpace(form.Get(f.key))
		if typed == "" {
			if t.Has(key) {
				if err := t.Remove(key); err != nil {
					return err
				}
			}
			continue
		}
		v, err := f.value(typed)
		if err != nil {
			return &fieldError{f.key, fmt.Sprintf("%s: %v", strings.ReplaceAll(f.key, "_", " "), err)}
		}
		if err := t.Set(key, v); err != nil {
			return err
		}
	}
	return nil
}

// value reads what was typed.
func (f field) value(typed string) (any, error) {
	switch f.kind {
	case num:
		return numberOf(f.key, typed)
	case hertz:
		return capture.ParseHertz(strings.Replace(typed, ",", ".", 1))
	case whole:
		v, err := capture.ParseHertz(strings.TrimSuffix(strings.TrimSpace(strings.TrimSuffix(typed, "samples")), "S"))
		if err != nil || v != float64(int(v)) {
			return nil, fmt.Errorf("found %q, expected a whole number such as 2, 10k or 1M", typed)
		}
		return int(v), nil
	case yesNo:
		v, err := strconv.ParseBool(typed)
		if err != nil {
			return nil, fmt.Errorf("found %q, expected true or false", typed)
		}
		return v, nil
	case prefixed:
		return scaled(typed, false)
	case day:
		if !sheet.ValidDate(typed) {
			return nil, fmt.Errorf("found %q, expected a day such as 2026-03-14", typed)
		}
	}
	if len(typed) > 400 {
		return nil, fmt.Errorf("a text of %d bytes, expected at most 400", len(typed))
	}
	return typed, nil
}

// keyUnits are the units that may stand behind a key's number, by the key's ending, with
// what they are in the key's own, as digits behind the number (940 mA is 0.94 A, exactly).
var keyUnits = []struct {
	ending, words string
	units         map[string]string
}{
	{"gm_ma_per_v", "mA/V", map[string]string{"ma/v": "", "ms": "", "µs": "e-3", "μs": "e-3"}},
	{"_v", "volts", map[string]string{"v": "", "mv": "e-3", "volt": "", "volts": ""}},
	{"volts", "volts", map[string]string{"v": "", "mv": "e-3", "volt": "", "volts": ""}},
	{"volts_per_full_scale", "volts", map[string]string{"v": "", "mv": "e-3"}},
	{"_a", "amps", map[string]string{"a": "", "ma": "e-3", "amp": "", "amps": ""}},
	{"amps", "amps", map[string]string{"a": "", "ma": "e-3", "amp": "", "amps": ""}},
	{"_ohm", "ohms", map[string]string{"ω": "", "ohm": "", "ohms": "", "mω": "e-3"}},
	{"_uf", "microfarads", map[string]string{"µf": "", "μf": "", "uf": "", "nf": "e-3"}},
	{"_uh", "microhenries", map[string]string{"µh": "", "μh": "", "uh": "", "nh": "e-3", "mh": "e3"}},
	{"_percent", "percent", map[string]string{"%": ""}},
	{"_c", "°C", map[string]string{"°c": "", "c": "", "°": ""}},
	{"_factor", "a factor", map[string]string{"x": "", "×": "", ":1": ""}},
	{"_hz", "hertz", map[string]string{"hz": ""}},
}

// numberOf reads a number for a key, with a unit of the key's kind behind it or none: volts
// typed for amps are refused.
func numberOf(key, typed string) (float64, error) {
	for _, k := range keyUnits {
		if key != strings.TrimPrefix(k.ending, "_") && !strings.HasSuffix(key, k.ending) {
			continue
		}
		digits, unit := unitApart(typed)
		power, ok := k.units[unit]
		if unit != "" && !ok {
			return 0, fmt.Errorf("found %q, expected %s", typed, k.words)
		}
		v, err := strconv.ParseFloat(strings.Replace(digits, ",", ".", 1)+power, 64)
		if err != nil {
			return 0, fmt.Errorf("found %q, expected a number", typed)
		}
		return v, nil
	}
	return number(typed)
}

// unitApart parts what was typed into its digits and the unit behind them, in small
// letters.
func unitApart(typed string) (digits, unit string) {
	s := strings.TrimSpace(typed)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-eE", r) })
	if end < 0 {
		end = len(s)
	}
	return s[:end], strings.ToLower(strings.TrimSpace(s[end:]))
}

// number reads "0.94", "0,94 A", "7 V", "10:1", "10x", "5 %", "0.1 Ω".
func number(typed string) (float64, error) {
	digits, unit := unitApart(typed)
	thousandth := ""
	switch unit {
	case "", "v", "a", "x", "×", ":1", "%", "ω", "ohm", "hz":
	case "mv", "ma", "mω":
		thousandth = "e-3" // by the digits, so that 940 mA is 0.94 A
	default:
		return 0, fmt.Errorf("found %q, expected a number", typed)
	}
	v, err := strconv.ParseFloat(strings.Replace(digits, ",", ".", 1)+thousandth, 64)
	if err != nil {
		return 0, fmt.Errorf("found %q, expected a number", typed)
	}
	return v, nil
}

func editBench(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "", benchFields, form)
}

// editHears says what the valve's stage is, so that the report can tell what is heard.
func editHears(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	if strings.TrimSpace(form.Get("cathode_ohm")) == "" {
		return &fieldError{"cathode_ohm", "found nothing, expected the first stage's cathode resistor, such as 1.5 kΩ"}
	}
	return fill(t, "hears", hearsFields, form)
}

func removeHears(_ *bench, t *sheet.Text, _ *sheet.Sheet, _ url.Values) error {
	return t.Remove("hears")
}

func editInstrument(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "instrument", instrumentFields, form)
}

// unquote gives a string as it was meant and any other value as it is written.
func unquote(literal string) string {
	if s, err := strconv.Unquote(literal); err == nil && strings.HasPrefix(literal, `"`) {
		return s
	}
	if len(literal) >= 2 && literal[0] == '\'' {
		return strings.Trim(literal, "'")
	}
	return literal
}

func asError[T error](err error, into *T) bool { return errors.As(err, into) }
