package benchpage

import (
	"path"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"stillglow/capture/sheet"
)

// guess is what a file's name seems to say of the capture. The page shows it as a
// guess.
type guess struct {
	Brand, Model, Mark, LoadA string
	Baseline                  bool
}

var (
	loadWord = regexp.MustCompile(`(?i)^(\d+(?:[.,]\d+)?)\s*(m?)a$`)
	markWord = regexp.MustCompile(`^#?\d{1,3}$|^(?i:nr|no|u)?[A-Za-z]?\d{1,3}[a-z]?$`)
)

// notNames are words in file names that tell of the capture and not of the unit.
var notNames = map[string]bool{
	"fast": true, "slow": true, "card": true, "scope": true, "audio": true, "ripple": true, "noise": true, "spike": true, "spikes": true,
	"ch1": true, "ch2": true, "ac": true, "dc": true, "csv": true, "wav": true, "wave": true, "capture": true, "trace": true, "loaded": true,
	"load": true, "full": true, "half": true, "heater": true, "heaters": true, "psu": true, "supply": true, "take": true, "export": true,
}

// guessFrom reads a file's name: units that the sheet has already come first.
func guessFrom(file string, units []sheet.Unit) guess {
	stem, _ := splitEnding(path.Base(file))
	words := strings.FieldsFunc(stem, func(r rune) bool { return r == '-' || r == '_' || r == ' ' || r == '+' })
	var g guess
	var left []string
	for _, w := range words {
		low := strings.ToLower(w)
		switch {
		case low == "baseline" || low == "floor" || low == "ground" || low == "shorted":
			g.Baseline = true
		case loadWord.MatchString(w):
			m := loadWord.FindStringSubmatch(w)
			g.LoadA = strings.Replace(m[1], ",", ".", 1) + " " + m[2] + "A"
		case notNames[low] || len(w) >= 6 && strings.Trim(w, "0123456789") == "": // a date or a running number
		default:
			left = append(left, w)
		}
	}
	if g.Baseline {
		return g
	}
	flat := squash(stem)
	best := 0
	for _, u := range units {
		if n := len(squash(u.Brand)); n > best && n > 1 && strings.HasPrefix(flat, squash(u.Brand)) {
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

// squash leaves the letters and digits of a name.
func squash(s string) string {
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
