package sheet

import (
	"path"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Guess is what a file's name seems to say of a capture. It is shown as a guess
// wherever it is used.
type Guess struct {
	Brand, Model, Mark string
	LoadA              string // with its unit, "0.94 A"
	Baseline           bool
}

var (
	loadWord = regexp.MustCompile(`(?i)^(\d+(?:[.,]\d+)?)\s*(m?)a$`)
	// What a scope's settings look like in a name: 20us, 50mV, 5MHz, 250MS.
	settingWord = regexp.MustCompile(`(?i)^\d+(?:[.,]\d+)?(?:[pnumµ]?s|[um]?v|[kmg]?hz|[kmg]sa?)$`)
	markWord    = regexp.MustCompile(`^#?\d{1,3}$|^(?i:nr|no|u)?[A-Za-z]?\d{1,3}[a-z]?$`)
)

// notNames are words in file names that tell of the capture and not of the unit.
var notNames = map[string]bool{
	"fast": true, "slow": true, "card": true, "scope": true, "audio": true, "ripple": true, "noise": true, "spike": true, "spikes": true,
	"ch": true, "ac": true, "dc": true, "csv": true, "wav": true, "wave": true, "capture": true, "trace": true, "loaded": true,
	"load": true, "full": true, "half": true, "heater": true, "heaters": true, "psu": true, "supply": true, "take": true, "export": true,
}

// GuessFrom reads a file's name: units that the sheet has already come first.
func GuessFrom(file string, units []Unit) Guess {
	stem := path.Base(file)
	if ending := path.Ext(stem); strings.EqualFold(ending, ".gz") {
		stem = strings.TrimSuffix(stem, ending)
	}
	stem = strings.TrimSuffix(stem, path.Ext(stem))
	words := strings.FieldsFunc(stem, func(r rune) bool { return r == '-' || r == '_' || r == ' ' || r == '+' })
	var g Guess
	var left []string
	for _, w := range words {
		low := strings.ToLower(w)
		switch {
		case low == "baseline" || low == "floor" || low == "ground" || low == "shorted":
			g.Baseline = true
		case loadWord.MatchString(w):
			m := loadWord.FindStringSubmatch(w)
			g.LoadA = strings.Replace(m[1], ",", ".", 1) + " " + m[2] + "A"
		case notNames[strings.TrimRight(low, "0123456789")] || settingWord.MatchString(w) || len(w) >= 6 && strings.Trim(w, "0123456789") == "": // a date or a running number
		default:
			left = append(left, w)
		}
	}
	if g.Baseline {
		return g
	}
	flat := Squash(stem)
	best := 0
	for _, u := range units {
		if n := len(Squash(u.Brand)); n > best && n > 1 && strings.HasPrefix(flat, Squash(u.Brand)) {
			best = n
			g.Brand, g.Model = u.Brand, ""
		}
	}
	skip := 0
	if g.Brand != "" {
		skip = len(strings.Fields(g.Brand))
	} else if len(left) > 0 {
		g.Brand, skip = capital(left[0]), 1
	}
	for _, w := range left[min(skip, len(left)):] {
		switch {
		case strings.HasPrefix(w, "#") && markWord.MatchString(w): // surely a mark: what passed for one is the model
			if g.Model == "" {
				g.Model = g.Mark
			}
			g.Mark = strings.TrimPrefix(w, "#")
		case g.Mark == "" && markWord.MatchString(w):
			g.Mark = strings.ToUpper(w)
		case g.Model == "":
			g.Model = w
		}
	}
	// The model that every unit of the brand and mark has, or every unit of the brand.
	for _, u := range units {
		if u.Brand == g.Brand && g.Model == "" && (strings.EqualFold(u.Mark, g.Mark) || g.Mark == "") {
			g.Model, g.Mark = u.Model, u.Mark
		}
	}
	for _, u := range units {
		if u.Brand == g.Brand && g.Model == "" {
			g.Model = u.Model
		}
	}
	return g
}

// Squash leaves the letters and digits of a name, in small letters.
func Squash(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// capital begins a word with a capital, if it has none of its own.
func capital(w string) string {
	if strings.ToLower(w) != w {
		return w
	}
	r, n := utf8.DecodeRuneInString(w)
	return string(unicode.ToUpper(r)) + w[n:]
}
