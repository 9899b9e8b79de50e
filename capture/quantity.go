package capture

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// unitKind is what a unit measures.
type unitKind uint8

const (
	unitNone unitKind = iota
	unitSecond
	unitVolt
	unitAmpere
	unitHertz // also samples per second
	unitCount // converter codes
	unitDiv   // screen divisions
	unitIndex // sample number
	unitVoltPerDiv
	unitVoltPerCount
	unitSecondPerDiv
	unitOther // known, but neither time nor volts: dB, W, degrees, percent
)

// unit is a parsed unit: Factor brings a value to the SI base unit.
type unit struct {
	kind   unitKind
	factor float64
	// guessed says that the letter case was wrong for SI (MV for millivolts).
	guessed bool
}

var siPrefix = map[string]float64{
	"": 1, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9,
	"femto": 1e-15, "pico": 1e-12, "nano": 1e-9, "micro": 1e-6, "mikro": 1e-6, "milli": 1e-3, "kilo": 1e3, "mega": 1e6, "giga": 1e9,
	"毫": 1e-3, "微": 1e-6, "纳": 1e-9, "奈": 1e-9, "ミリ": 1e-3, "マイクロ": 1e-6, "ナノ": 1e-9,
}

// baseUnits are tried longest suffix first, so that "samples/s" wins over "s".
var baseUnits = []struct {
	text string
	kind unitKind
}{
	{"samples/second", unitHertz}, {"samples/sec", unitHertz}, {"samples/s", unitHertz}, {"sample/s", unitHertz},
	{"Samples/s", unitHertz}, {"pts/s", unitHertz}, {"Sa/s", unitHertz}, {"sa/s", unitHertz}, {"SA/s", unitHertz}, {"S/s", unitHertz}, {"Sps", unitHertz}, {"SPS", unitHertz}, {"sps", unitHertz}, {"Hz", unitHertz}, {"hz", unitHertz}, {"HZ", unitHertz},
	{"hertz", unitHertz}, {"Hertz", unitHertz}, {"1/s", unitHertz},
	{"seconds", unitSecond}, {"second", unitSecond}, {"sekunden", unitSecond}, {"sekunde", unitSecond}, {"Sekunden", unitSecond}, {"secondes", unitSecond}, {"secondi", unitSecond}, {"segundos", unitSecond},
	{"secs", unitSecond}, {"sec", unitSecond}, {"sek", unitSecond}, {"Sek", unitSecond}, {"Sec", unitSecond}, {"秒", unitSecond}, {"s", unitSecond},
	{"VDC", unitVolt}, {"Vdc", unitVolt}, {"V DC", unitVolt}, {"volts", unitVolt}, {"volt", unitVolt}, {"V", unitVolt}, {"v", unitVolt}, {"伏特", unitVolt}, {"伏", unitVolt}, {"ボルト", unitVolt},
	{"amperes", unitAmpere}, {"ampere", unitAmpere}, {"amps", unitAmpere}, {"amp", unitAmpere}, {"A", unitAmpere},
}

// wordUnits are whole words without a prefix, compared in lower case.
var wordUnits = map[string]unitKind{
	"count": unitCount, "counts": unitCount, "code": unitCount, "codes": unitCount, "lsb": unitCount, "lsbs": unitCount,
	"adc": unitCount, "raw": unitCount, "digit": unitCount, "digits": unitCount, "adu": unitCount, "adc counts": unitCount, "adc codes": unitCount, "adc code": unitCount, "raw counts": unitCount, "adc count": unitCount, "bits": unitCount,
	"div": unitDiv, "divs": unitDiv, "division": unitDiv, "divisions": unitDiv, "screen divisions": unitDiv,
	"sample": unitIndex, "samples": unitIndex, "sequence": unitIndex, "point": unitIndex, "points": unitIndex, "pts": unitIndex, "index": unitIndex, "#": unitIndex, "n": unitIndex, "sample number": unitIndex, "sa": unitIndex,
	"db": unitOther, "dbv": unitOther, "dbm": unitOther, "dbfs": unitOther, "w": unitOther, "watt": unitOther, "%": unitOther, "°c": unitOther, "degc": unitOther, "ohm": unitOther, "ω": unitOther, "deg": unitOther, "°": unitOther,
	"v/√hz": unitOther, "v/rthz": unitOther, "v/rt(hz)": unitOther, "v/hz": unitOther, "v²/hz": unitOther,
	"dbuv": unitOther, "dbmv": unitOther, "dba": unitOther, "dbc": unitOther, "dbu": unitOther, "dbvrms": unitOther, "db(v)": unitOther, "decibel": unitOther, "decibels": unitOther,
	"v²": unitOther, "v^2": unitOther, "v*v": unitOther, "vv": unitOther, "a²": unitOther, "a^2": unitOther, "v*a": unitOther, "va": unitOther, "var": unitOther, "vs": unitOther, "v*s": unitOther, "v·s": unitOther, "v/s": unitOther, "a/s": unitOther, "s²": unitOther,
	"watts": unitOther, "mw": unitOther, "kw": unitOther, "uw": unitOther, "mj": unitOther, "wh": unitOther, "mwh": unitOther, "ah": unitOther, "mah": unitOther,
	"k": unitOther, "kelvin": unitOther, "°f": unitOther, "degf": unitOther, "℃": unitOther, "celsius": unitOther, "degree": unitOther, "degrees": unitOther, "rad": unitOther, "grad": unitOther, "rpm": unitOther, "1/min": unitOther, "u/min": unitOther,
	"bar": unitOther, "mbar": unitOther, "ubar": unitOther, "pa": unitOther, "hpa": unitOther, "kpa": unitOther, "mpa": unitOther, "psi": unitOther, "torr": unitOther, "mmhg": unitOther, "atm": unitOther,
	"ohms": unitOther, "kohm": unitOther, "kω": unitOther, "mohm": unitOther, "mω": unitOther, "siemens": unitOther, "%rh": unitOther, "percent": unitOther, "ppm": unitOther,
	"g": unitOther, "m/s": unitOther, "m/s²": unitOther, "m/s^2": unitOther, "mm": unitOther, "um": unitOther, "nm": unitOther, "kg": unitOther, "newton": unitOther, "lux": unitOther, "lx": unitOther, "lm": unitOther, "tesla": unitOther, "mt": unitOther, "ut": unitOther, "gauss": unitOther,
	// Results of a measurement, one a row, are no samples.
	"vpp": unitOther, "mvpp": unitOther, "uvpp": unitOther, "vp-p": unitOther, "mvp-p": unitOther, "v p-p": unitOther, "v pp": unitOther, "vpk-pk": unitOther, "vss": unitOther, "mvss": unitOther,
	"vac": unitOther, "mvac": unitOther, "v ac": unitOther, "mv ac": unitOther, "acv": unitOther, "vrms": unitOther, "mvrms": unitOther, "uvrms": unitOther, "v rms": unitOther, "veff": unitOther, "mveff": unitOther, "vpk": unitOther, "vpeak": unitOther, "arms": unitOther, "app": unitOther,
	"normalized": unitOther, "normalised": unitOther, "p.u": unitOther, "pu": unitOther, "a.u": unitOther, "arb": unitOther, "arb. unit": unitOther, "arb. units": unitOther, "arb.u": unitOther, "dimensionless": unitOther,
	"digital": unitOther, "logic": unitOther, "bool": unitOther, "boolean": unitOther,
}

// longTimes are units of time above the second, in lower case, in seconds.
var longTimes = map[string]float64{"min": 60, "minutes": 60, "h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600, "stunden": 3600, "days": 86400}

// symbolUnits are symbols of units that name no channel when they stand in
// brackets behind its name.
var symbolUnits = map[string]bool{"N": true, "kN": true, "J": true, "T": true, "Nm": true, "N·m": true, "N m": true, "m": true, "cm": true, "km": true, "l": true, "mol": true, "cd": true, "Wb": true, "lb": true, "lbs": true, "in": true, "ft": true, "mph": true, "pF": true, "nF": true, "uF": true, "µF": true, "mH": true, "uH": true, "µH": true, "u": true, "µ": true, "μ": true}

// cleanUnit folds the two micro signs, brackets and blanks.
func cleanUnit(s string) string {
	s = strings.TrimSpace(s)
	for len(s) >= 2 {
		if p := strings.IndexByte("([{<", s[0]); p >= 0 && s[len(s)-1] == ")]}>"[p] {
			s = strings.TrimSpace(s[1 : len(s)-1])
			continue
		}
		break
	}
	return strings.TrimSuffix(latinUnit(foldSigns(s)), ".")
}

// cyrillicUnit brings units written in Cyrillic to SI's letters, longest first.
var cyrillicUnit = strings.NewReplacer("вольт", "volt", "Вольт", "volt", "секунды", "seconds", "сек", "s", "мк", "u", "Гц", "Hz", "м", "m", "н", "n", "к", "k", "М", "M", "Г", "G", "с", "s", "В", "V", "А", "A")

// misreadUnit is what units of Windows-1251 look like when taken for Latin-1, and those with a
// micro sign of UTF-8, of the IBM PC's code pages, GBK, EUC-KR and Shift-JIS.
var misreadUnit = map[string]string{
	"Âus": "us", "ÂuV": "uV", "Î¼s": "us", "Î¼V": "uV", "æs": "us", "æV": "uV", "¦Ìs": "us", "¦ÌV": "uV", "¥ìs": "us", "¥ìV": "uV", "\u0083Ês": "us", "\u0083ÊV": "uV",
	"ñ": "s", "ìñ": "ms", "ìêñ": "us", "íñ": "ns", "Â": "V", "ìÂ": "mV", "ìêÂ": "uV", "êÂ": "kV", "À": "A", "ìÀ": "mA",
}

// latinUnit gives a unit in SI's letters.
func latinUnit(s string) string {
	for _, r := range s {
		switch {
		case r < 0x80:
			continue
		case r >= 0x400 && r < 0x500:
			return cyrillicUnit.Replace(s)
		}
		if u, ok := misreadUnit[s]; ok {
			return u
		}
		return s
	}
	return s
}

// signFold makes one sign of each look-alike: the two micro signs, dashes for
// minus, and the blanks that typography knows.
var signFold = strings.NewReplacer("µ", "u", "μ", "u", "−", "-", "–", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ")

func foldSigns(s string) string {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return signFold.Replace(s)
		}
	}
	return s
}

// parseUnit reads a unit such as mV, µs, MSa/s, V/div or counts.
func parseUnit(s string) (unit, bool) {
	s = cleanUnit(s)
	if s == "" || len(s) > 40 {
		return unit{}, false
	}
	low := strings.ToLower(s)
	if k, ok := wordUnits[low]; ok {
		return unit{kind: k, factor: 1}, true
	}
	if pre, ok := strings.CutSuffix(s, "Sa"); ok { // "500 kSa", the second left out
		if f := siPrefix[pre]; f >= 1e3 {
			return unit{kind: unitHertz, factor: f}, true
		}
	}
	switch s {
	case "S", "mS", "uS", "nS", "pS": // seconds in capitals, as handhelds write them
		return unit{kind: unitSecond, factor: siPrefix[s[:len(s)-1]]}, true
	}
	if f := longTimes[low]; f != 0 && (len(s) > 3 || s == low) { // "Min" is the least
		return unit{kind: unitSecond, factor: f}, true
	}
	if over, per, ok := strings.Cut(s, "/"); ok && over != "" {
		if u, ok := unitPer(over, per); ok {
			return u, true
		}
	}
	if u, ok := prefixedUnit(s); ok {
		return u, true
	}
	// A header in capitals: MV and MS can only be thousandths at this bench.
	if s == strings.ToUpper(s) {
		if u, ok := prefixedUnit(low); ok {
			u.guessed = s != low && len(s) > 1
			return u, true
		}
	}
	if u, ok := prefixedUnit(low); ok && len(s) > 3 { // Volts, Milliseconds
		return u, true
	}
	if strangeUnit(s) {
		return unit{kind: unitOther, factor: 1}, true
	}
	return unit{}, false
}

// unitPer reads a unit of time, volts or amperes per something: V/div, V/count,
// s/sample, V/us.
func unitPer(over, per string) (unit, bool) {
	u, ok := parseUnit(over)
	if !ok {
		return u, false
	}
	word := strings.ToLower(strings.TrimSpace(per))
	kind := wordUnits[word]
	switch {
	case u.kind == unitVolt && kind == unitDiv:
		u.kind = unitVoltPerDiv
		return u, true
	case u.kind == unitVolt && (kind == unitCount || word == "bit"):
		u.kind = unitVoltPerCount
		return u, true
	case u.kind == unitSecond && kind == unitDiv:
		u.kind = unitSecondPerDiv
		return u, true
	case u.kind == unitSecond && (kind == unitIndex || word == "pt"):
		return u, true
	case u.kind == unitVolt || u.kind == unitAmpere:
		p, ok := parseUnit(per)
		return unit{kind: unitOther, factor: 1}, ok && (p.kind == unitSecond || u.kind == unitVolt && p.kind == unitAmpere) // a slope, or a probe's ratio
	}
	return u, false
}

// strangeUnit knows by its signs what can be a unit only, and none of time or
// volts.
func strangeUnit(s string) bool {
	if len(s) > 12 || strings.HasPrefix(s, "t/") || strings.ContainsAny(s, "0123456789 ") && !strings.ContainsAny(s, "^") {
		return false
	}
	return strings.ContainsAny(s, "%°²³^Ω√Ω℃") || strings.Count(s, "/") == 1 && strings.Trim(s, "/") == s && len(s) <= 6 && s == strings.ToLower(s) && s != "n/a" && s != "ac/dc"
}

func prefixedUnit(s string) (unit, bool) {
	for _, b := range baseUnits {
		pre, ok := strings.CutSuffix(s, b.text)
		if !ok {
			continue
		}
		pre = strings.TrimSpace(pre)
		f, ok := siPrefix[pre]
		if !ok {
			continue
		}
		u := unit{kind: b.kind, factor: f}
		if pre == "M" && (b.kind == unitSecond || b.kind == unitVolt || b.kind == unitAmpere) {
			u.factor, u.guessed = 1e-3, true // nobody has megavolts here
		}
		return u, true
	}
	return unit{}, false
}

// splitQuantity takes a leading number off s and gives the rest as unit text.
// decimal is '.' or ','.
func splitQuantity(s string, decimal byte) (v float64, rest string, ok bool) {
	s = strings.TrimSpace(s)
	n := numberPrefix(s, decimal)
	if n == 0 {
		return 0, s, false
	}
	v, ok = parseSlow(s[:n], decimal)
	return v, strings.TrimSpace(s[n:]), ok
}

// numberPrefix is the length of the longest plain decimal number s begins with.
func numberPrefix(s string, decimal byte) int {
	i := signLen(s)
	whole := digitsLen(s[i:])
	i += whole
	frac := 0
	if i < len(s) && s[i] == decimal {
		frac = digitsLen(s[i+1:])
		i += 1 + frac
	}
	if whole+frac == 0 {
		return 0
	}
	if i < len(s) && s[i]|0x20 == 'e' {
		sign := signLen(s[i+1:])
		if n := digitsLen(s[i+1+sign:]); n > 0 {
			i += 1 + sign + n
		}
	}
	return i
}

// signLen is 1 where s begins with a sign.
func signLen(s string) int {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		return 1
	}
	return 0
}

// digitsLen counts the digits at the start of s.
func digitsLen(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}

// parseSlow reads a plain decimal number with the given decimal mark.
func parseSlow(s string, decimal byte) (float64, bool) {
	if decimal == ',' {
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, false
	}
	return v, true
}

// ParseHertz reads a frequency or sample rate in hertz: "48000", "48k",
// "2.5 MHz", "1 MSa/s". The result is finite and above zero.
func ParseHertz(text string) (float64, error) {
	v, rest, ok := splitQuantity(text, '.')
	if ok && rest != "" {
		if f, isPrefix := siPrefix[rest]; isPrefix && rest != "m" && rest != "u" && rest != "n" && rest != "p" && rest != "f" {
			v *= f
		} else if u, isUnit := parseUnit(rest); isUnit && u.kind == unitHertz {
			v *= u.factor
		} else {
			ok = false
		}
	}
	if !ok || v <= 0 || math.IsInf(v, 0) {
		return 0, fmt.Errorf("found %q, expected a frequency above zero such as 48000, 48k or 2.5MHz", text)
	}
	return v, nil
}
