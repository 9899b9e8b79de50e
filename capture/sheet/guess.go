package sheet

import (
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Guess is what a file's name seems to say of a capture. It is shown as a guess
// wherever it is used.
type Guess struct {
	Brand, Model, Mark string // "": none found
	State              string // Bare, BehindFilter or BehindDropper, "" where the name tells none
	Date               string // ISO 8601
	LoadA              string // with its unit, "0.94 A"
	Baseline           bool   // it is the instrument's own
}

var (
	loadWord = regexp.MustCompile(`(?i)^(\d+(?:[.,]\d+)?)\s*(m?)a$`)
	// What a scope's settings look like in a name: 20us, 50mV, 5MHz, 250MS.
	settingWord = regexp.MustCompile(`(?i)^\d+(?:[.,]\d+)?(?:[pnumµ]?s|[um]?v|[kmg]?hz|[kmg]sa?)$`)
	markWord    = regexp.MustCompile(`^#?\d{1,3}$|^(?i:nr|no|u)?[A-Za-z]?\d{1,3}[a-z]?$`)
	numbered    = regexp.MustCompile(`(?i)^(?:nr|no)\.?(\d{1,3})$`)
	isoDate     = regexp.MustCompile(`(?:^|[^0-9])(\d{4}-\d{2}-\d{2})(?:[^0-9]|$)`)
	runWord     = regexp.MustCompile(`^\pL*\d+$`) // what scopes name their files: letters and a running number
)

// notNames are words in file names that tell of the capture and not of the unit.
var notNames = map[string]bool{
	"fast": true, "slow": true, "card": true, "scope": true, "audio": true, "ripple": true, "noise": true, "spike": true, "spikes": true,
	"common": true, "commonmode": true, "cm": true, "ch": true, "ac": true, "dc": true, "csv": true, "wav": true, "wave": true, "capture": true, "trace": true, "loaded": true,
	"load": true, "full": true, "half": true, "heater": true, "heaters": true, "psu": true, "supply": true, "take": true, "export": true,
	"file": true, "data": true, "new": true, "untitled": true, "waveform": true, "screen": true, "behind": true, "sine": true, "calibration": true,
}

// fileNames are those of notNames that name a file by itself: a number behind one counts
// captures, as scope_01 and wave 3, and not units, as psu 3.
var fileNames = map[string]bool{
	"scope": true, "csv": true, "wav": true, "wave": true, "capture": true, "trace": true, "take": true, "export": true,
	"file": true, "data": true, "new": true, "untitled": true, "waveform": true, "screen": true,
}

// stateOf are the words in file names that tell a unit's state.
var stateOf = map[string]string{"bare": Bare, "filter": BehindFilter, "filtered": BehindFilter, "dropper": BehindDropper, "dropped": BehindDropper}

// GuessFrom reads a file's name: units that the sheet has already come first.
func GuessFrom(file string, units []Unit) Guess {
	stem := path.Base(file)
	if ending := path.Ext(stem); strings.EqualFold(ending, ".gz") {
		stem = strings.TrimSuffix(stem, ending)
	}
	stem = strings.TrimSuffix(stem, path.Ext(stem))
	date := ""
	if m := isoDate.FindStringSubmatch(stem); m != nil && ValidDate(m[1]) {
		date, stem = m[1], strings.Replace(stem, m[1], "", 1)
	}
	g, left := telling(strings.FieldsFunc(stem, func(r rune) bool { return r == '-' || r == '_' || r == ' ' || r == '+' }))
	g.Date = date
	if g.Baseline {
		return g
	}
	g.Brand = brandIn(stem, units)
	switch {
	case g.Brand != "":
		left = behind(left, Squash(g.Brand))
	case len(left) == 0 || len(left) == 1 && runWord.MatchString(left[0]):
		return g // a running number tells nothing of the unit
	default:
		g.Brand, left = capital(left[0]), left[1:]
	}
	g.label(left)
	g.fromUnits(units)
	return g
}

// NamedAfter names the unit of the sheet that a capture's file is named after where that
// is another than unit, to which the sheet gives it, or the other brand where none of its
// units has the file's mark; "" where neither.
func (s *Sheet) NamedAfter(unit int, file string) string {
	own, g := &s.Units[unit], GuessFrom(file, s.Units)
	brand, mark := Squash(g.Brand), Squash(g.Mark)
	of := func(u *Unit) bool {
		return Squash(u.Brand) == brand && (g.Mark == "" || u.Mark == "" || Squash(u.Mark) == mark)
	}
	if g.Brand == "" || of(own) {
		return ""
	}
	named := ""
	for i := range s.Units {
		switch u := &s.Units[i]; {
		case of(u):
			return u.Name()
		case Squash(u.Brand) == brand && brand != Squash(own.Brand):
			named = u.Brand
		}
	}
	return named
}

// telling takes the words that tell of the capture out of a name.
func telling(words []string) (g Guess, left []string) {
	for i, w := range words {
		low := strings.ToLower(w)
		switch {
		case i > 0 && strings.Trim(w, "0123456789") == "" && fileNames[strings.ToLower(words[i-1])]: // a running number
		case low == "baseline" || low == "floor" || low == "ground" || low == "shorted":
			g.Baseline = true
		case stateOf[low] != "":
			g.State = stateOf[low]
		case loadWord.MatchString(w):
			m := loadWord.FindStringSubmatch(w)
			g.LoadA = strings.Replace(m[1], ",", ".", 1) + " " + m[2] + "A"
		case notNames[strings.TrimRight(low, "0123456789")] || settingWord.MatchString(w) || len(w) >= 6 && strings.Trim(w, "0123456789") == "": // a date or a running number
		default:
			left = append(left, w)
		}
	}
	return g, left
}

// brandIn is the longest brand of the sheet's that a name begins with.
func brandIn(stem string, units []Unit) (brand string) {
	flat, longest := Squash(stem), 1
	for _, u := range units {
		if name := Squash(u.Brand); len(name) > longest && strings.HasPrefix(flat, name) {
			brand, longest = u.Brand, len(name)
		}
	}
	return brand
}

// behind are the words after those that a brand, squashed, takes at their start, however
// many the name writes it in; one that goes on behind the brand tells nothing.
func behind(words []string, brand string) []string {
	for brand != "" && len(words) > 0 {
		rest, ok := strings.CutPrefix(brand, Squash(words[0]))
		if !ok {
			rest = ""
		}
		brand, words = rest, words[1:]
	}
	return words
}

// label takes the words behind the brand for a model and a mark.
func (g *Guess) label(words []string) {
	for _, w := range words {
		switch {
		case strings.HasPrefix(w, "#") && markWord.MatchString(w): // surely a mark: what passed for one is the model
			if g.Model == "" {
				g.Model = g.Mark
			}
			g.Mark = strings.TrimPrefix(w, "#")
		case g.Mark == "" && numbered.MatchString(w):
			g.Mark = numbered.FindStringSubmatch(w)[1]
		case g.Mark == "" && markWord.MatchString(w):
			g.Mark = strings.ToUpper(w)
		case g.Model == "":
			g.Model = w
		}
	}
}

// fromUnits completes a guess by the sheet's units of the brand: the model by the
// unit of the same mark or by any, the mark only where the brand has one unit.
func (g *Guess) fromUnits(units []Unit) {
	var own []Unit
	for _, u := range units {
		if u.Brand == g.Brand {
			own = append(own, u)
		}
	}
	if len(own) == 0 || g.Model != "" {
		return
	}
	at := max(0, slices.IndexFunc(own, func(u Unit) bool { return g.Mark != "" && strings.EqualFold(u.Mark, g.Mark) }))
	g.Model = own[at].Model
	if g.Mark == "" && len(own) == 1 {
		g.Mark = own[at].Mark
	}
}

// Squash leaves the letters and digits of a name, in small letters and one way of
// writing each: a file's name may have an ö as an o with a mark after it.
func Squash(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, norm.NFKC.String(s))
}

// capital begins a word with a capital, if it has none of its own.
func capital(w string) string {
	if strings.ToLower(w) != w {
		return w
	}
	r, n := utf8.DecodeRuneInString(w)
	return string(unicode.ToUpper(r)) + w[n:]
}
