package capture

import (
	"bytes"
	"math"
	"strings"
)

// mostChannels is the greatest number by which a channel is named.
const mostChannels = 64

var (
	timeName  = newPattern(`^(time|zeit|temps|时间|時間|время|время с|čas|cas|aika|idő|ido|zaman|vreme|χρόνος|שעה|czas|tempo|tiempo|czas|t|x|tijd|tid|x ?axis|x ?achse|seconds?|secs?|s|ms|us|ns|msecs?|usecs?|nsecs?|millis|micros|timestamp|time ?stamp|elapsed( time)?|milliseconds|microseconds|nanoseconds|sekunden|clock|date ?time|date|uhrzeit|zeitstempel)$|^(rel|relative|abs|absolute|sample|trigger|corrected|record|capture)? ?time\b|^time |^zeit |^t \w+$|^x \w*$|^messzeit|\btime( (stamp|axis|base|vector|ms|us|ns|s|sec|secs|seconds))?$|(時間|时间|время)`)
	indexName = newPattern(`^(n|no|nr|idx|index|samples?|sample ?(no|num|nr|index|number|count|id)|points?|point ?(no|nr|index|number)|pts?|sequence|seq|row|i|k|record|messpunkt|num|number|line|count|counter|data point|punkt|abtastwert|step|datapoint|item)$`)
	rawName   = newPattern(`\b(raw|adc|codes?|counts|lsb|digits?|hex|dac|rohwert\w*|rohdaten|quantised|quantized|unscaled)\b`)
	segName   = newPattern(`^(segment|seg|frame|acquisition|acq|burst|block|sweep|shot|trigger ?(no|nr|number|index)|waveform ?(no|nr|number)|segment ?(no|nr|number|index|id)|frame ?(no|nr|number|index|id)|history ?(no|nr|number|index)?)$`)
	anyAxis   = newPattern(`^x( ?(axis|achse|values?|data))?$`)
	subFrame  = newPattern(`^sub ?frame$`)
	freqName  = newPattern(`^(frequency|freq|frequenz|f|fréquence|frequence|frequency \w+)$`)
	ampName   = newPattern(`^(current|strom|courant|i|amps?|amperes?|i ?(out|in|load|rms)?|load current|current \w+)$`)
	// settingName begins a line of settings that states nothing of use here.
	settingName = newPattern(`^(firmware|fw|software|sw|model|serial|sn|version|instrument|device|manufacturer|made by|date|note|notes|comment|remark|title|file|filename|user|operator|trigger|horizontal|vertical|display|waveform|pt fmt|memory|math|record|format|type|status)\b`)
	otherName   = newPattern(`^(phi|theta|angle|time ?intervals?|durations?|winkel|distance|displacement|wavelength|lambda|temp|temperature|temperatur|power|leistung|humidity|marker|flags?|status|valid|quality|digital.*|logic.*|pod ?\d*|d\d{1,2}|battery|pressure|phase|gain|note|comment|remark|trigger|trig|event|fft.*|spectrum.*|magnitude|power (factor|m?w|watts?|dbm|total|apparent|active|reactive|loss|meter|dens\w*|spectr\w*|ch ?\d)|math ?\d? fft|dio ?\d+|din ?\d+|bit ?\d+|bus ?\d*|rpm|speed|torque|force|resistance|capacitance|humidity \w+|digital|logic|slope|steigung|dv dt|di dt|d dt.*|derivative.*|integral.*|([a-z]+\d? )?d\d{1,2}( d\d{1,2})?)$`)
	// currentWord and otherWord find in a longer name what it can only be, in the
	// languages that exports come in: "CorrenteReal", "accel_x", "force_N".
	currentWord = newPattern(`(^|[ .:])(corriente|corrente|courant|intensidad|stromst)|(^| )(strom|stroom|prad|prąd|proud|ток|current|i [a-z0-9]{1,3})( |$)|电流|電流`)
	otherWord   = newPattern(`(^| )(velocity|velocidad|acceleration|accel|gyro|position|rotation|quaternion|pos [xyz]|weg|kraft|fuerza|force|flux|torque|mass|flow|distance|dist|length|height|displacement|angle|winkel|encoder|altitude|latitude|longitude|heading|pitch|roll|yaw)( |$)|(^|[ .:])([aâá]ngulo)`)
	// currentSymbol is a current's symbol, by its capitals: "iL", "Ia", not "In".
	currentSymbol = newPattern(`^(i[A-Z][A-Za-z0-9]{0,3}|I[a-mo-z][0-9]?|I(in|out|load))$`)
	voltWord      = newPattern(`volt|напряж|spannung|tens[iã]o|tensione|napi[eę]|電圧|电压|(^| )u( |$)|(^| )v( |$)`)
	// resultName is a measurement's result for each row.
	resultName = newPattern(`(^|[a-z0-9] )(v ?pp|v ?p p|v ?pk ?pk|pk ?pk|pkpk|pk to pk|peak to peak|p p|v ?rms|rms|ac ?rms|v ?ac|ac ?v|acv|volts? ac|ac volts?|ac voltage|voltage ac|true rms|cyc(le)? rms|v ?ss|v ?eff|std ?dev|v ?amp|v ?top|v ?base|duty( cycle)?|rise time|fall time|overshoot)$`)
	// quantityUnit is a unit of one letter behind a name of what it measures.
	quantityUnit = newPattern(`\b(power|leistung|puissance|energy|energie)\b.* w$|\b(temp|temperature|temperatur)\b.* [ckf]$|\b(accel|acceleration)\b.* g$`)
)

// unitsRow reports whether every filled cell over a number is a unit.
func (t *table) unitsRow(cells []cell) bool {
	n := 0
	for _, c := range cells[:min(t.numeric[0], len(cells))] {
		if len(c.text) > 0 && !isUnitWord(cellText(c.text)) {
			return false // a key with a unit for each channel
		}
	}
	if len(t.numeric) == 1 && len(cells) == 2 && cells[0].keyOfSetting() && readCell(cells[1].text, t.decimal).kind == cellNumber {
		return false // a key that reads as a unit, and its value: "Volts/LSB,0.002"
	}
	for _, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		u, ok := parseUnit(unnumbered(cells, j))
		if !ok {
			return false
		}
		if u.kind == unitIndex && len(t.numeric) == 1 {
			return false // "Points,300" above a column of volts
		}
		// A row of A, B, C names channels.
		if u.kind == unitAmpere && len(cellText(cells[j].text)) == 1 && j > 0 && j+1 < len(cells) && string(cells[j+1].text) == "B" {
			return false
		}
		n++
	}
	return n > 0 && (n == len(t.numeric) || n >= 2)
}

var numbered = newPattern(`^(.*[^0-9.])\.?[0-9]{1,2}$`)

// unnumbered is the text of cell j without the number that data frames put
// behind a text that stands in the row already: "Volt", "Volt.1".
func unnumbered(cells []cell, j int) string {
	text := cellText(cells[j].text)
	if m := numbered.FindStringSubmatch(text); m != nil {
		for _, c := range cells[:j] {
			if cellText(c.text) == m[1] {
				return m[1]
			}
		}
	}
	return text
}

// namesRow reports whether a row names the columns: words over the numbers,
// and no key of a preamble with its value.
func (t *table) namesRow(cells []cell) bool {
	over, ok := t.wordsOver(cells)
	if !ok {
		return false
	}
	first, filled := firstOf(cells)
	if 2*over < len(t.numeric) || filled == 1 && len(t.numeric) > 1 && !t.namesVoltsOnly(cells) || filled > 1 && t.cells == 1 || pairText(first) {
		return false
	}
	if k, _, _ := lookupKey(first); filled == 2 && (k == metaInterval || k == metaRate) && t.holdsNumber(cells) {
		return false // "Time per point (us),10"
	}
	name, _, _ := splitNameUnit(first)
	name, _ = normKey(name)
	if timeName.MatchString(name) || indexName.MatchString(name) {
		return true
	}
	if filled == 2 && settingName.MatchString(name) {
		return false
	}
	k, _, _ := lookupKey(first)
	isSetting := k != metaNone && (metaIsText(k) || filled == 2) && len(t.numeric) > 1
	return !isSetting || t.unitNames(cells)
}

// namesVoltsOnly reports whether a row leaves the first of two columns without a
// name, and names the other: ",CH1".
func (t *table) namesVoltsOnly(cells []cell) bool {
	return len(t.numeric) == 2 && t.numeric[1] < len(cells) && len(cells[t.numeric[0]].text) == 0 && len(cells[t.numeric[1]].text) > 0
}

// firstOf gives the first filled cell and how many there are.
func firstOf(cells []cell) (first string, filled int) {
	for _, c := range cells {
		if len(c.text) > 0 {
			if first == "" {
				first = cellText(c.text)
			}
			filled++
		}
	}
	return first, filled
}

// wordsOver counts the filled cells over numbers. ok is false where none of
// them is a word, or one is a number that names no channel.
func (t *table) wordsOver(cells []cell) (n int, ok bool) {
	words, last := 0, 0.0
	for _, j := range t.numeric {
		if j >= len(cells) || len(cells[j].text) == 0 {
			continue
		}
		n++
		v := readCell(cells[j].text, t.decimal)
		if !v.numeric() {
			words++
			continue
		}
		// Channels may be named 1, 2, 4 behind a name for the time.
		most := float64(mostChannels)
		if bytes.ContainsAny(cells[j].text, "([") {
			most = math.Inf(1) // "101 (VDC)" of a switch unit
		}
		if v.num.v != math.Trunc(v.num.v) || v.num.v < max(last+1, 1) || v.num.v > most || !indexLike(cells) && !t.namesTime(cells) {
			return n, false
		}
		last = v.num.v
	}
	return n, words > 0
}

// amount is a number and what it counts: "300 samples", as no column is called behind a
// colon.
var amount = newPattern(`^ *[-+]?[0-9][0-9.,]* +\pL`)

// pairText tells "key: value" and "key=value" of a known key or with an amount, and any
// text that ends as a key does.
func pairText(s string) bool {
	for _, sep := range []string{":", "="} {
		if a, b, ok := strings.Cut(s, sep); ok {
			if k, _, _ := lookupKey(a); k != metaNone || amount.MatchString(b) {
				return true
			}
		}
	}
	return strings.HasSuffix(s, ":") || strings.HasSuffix(s, "=")
}

// indexLike reports whether a row begins with a name for time or sample number.
func indexLike(cells []cell) bool {
	for _, c := range cells {
		if len(c.text) > 0 {
			name, _, _ := splitNameUnit(cellText(c.text))
			name, _ = normKey(name)
			return timeName.MatchString(name) || indexName.MatchString(name)
		}
	}
	return false
}

// groupRow is a row of fewer names above the names: one per pair of columns.
func (t *table) groupRow(cells []cell) bool {
	if len(t.numeric) < 3 {
		return false
	}
	n := 0
	for j, c := range cells {
		if len(c.text) == 0 {
			continue
		}
		if readCell(c.text, t.decimal).numeric() || j > t.numeric[len(t.numeric)-1] {
			return false
		}
		key, _ := normKey(cellText(c.text))
		if k, _, _ := lookupKey(cellText(c.text)); n == 0 && (k != metaNone || settingName.MatchString(key) || pairText(cellText(c.text))) {
			return false
		}
		n++
	}
	return n >= 2
}

// splitNameUnit takes the unit off a column's name: "CH1 (mV)", "t/ms",
// "U in V", "time_us", "Voltage, V". A name that is a unit as a whole keeps
// its text.
func splitNameUnit(s string) (name, unitText string, ok bool) {
	s = strings.TrimSpace(s)
	if u, isUnit := parseUnit(s); isUnit && u.kind != unitAmpere && u.kind != unitOther && u.factor != 60 {
		return s, s, true
	}
	if name, unitText, ok = unitInBrackets(s); ok {
		return name, unitText, true
	}
	for _, sep := range []string{" in ", "/", ",", ":", " ", "_", "-", "."} {
		i := strings.LastIndex(s, sep)
		if i <= 0 || i+len(sep) >= len(s) {
			continue
		}
		u, isUnit := parseUnit(s[i+len(sep):])
		if !isUnit || u.factor == 60 { // "CH1 Min" is no time in minutes
			continue
		}
		if unitBehind(s, sep, s[i+len(sep):], u) {
			return strings.TrimRight(s[:i], " _-,:"), strings.TrimSpace(s[i+len(sep):]), true
		}
	}
	if u := unitWithin(s); u != "" {
		return s, u, true
	}
	return s, "", false
}

// withinUnits are the units that a word within a name can only be: "vout_mV_filtered",
// "ms_elapsed". Letter case counts.
var withinUnits = map[string]bool{
	"mA": true, "uA": true, "µA": true, "μA": true, "nA": true,
	"ms": true, "us": true, "µs": true, "μs": true, "ns": true, "msec": true, "usec": true, "nsec": true,
}

// nameBreaks part the words of a name, and unitBreaks those in brackets and quotes too.
const nameBreaks, unitBreaks = " _-.,", " _-.,;:()[]{}<>|\"'=*"

// unitWithin finds the one unit that stands as a word of its own in a name, or at its end
// without a break.
func unitWithin(s string) string {
	found := ""
	take := func(w string) bool {
		other := found != "" && found != w
		found = w
		return !other
	}
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(nameBreaks, r) }) {
		if withinUnits[w] && !take(w) {
			return ""
		}
	}
	timed := strings.Contains(strings.ToLower(s), "time")
	ahead := "" // a number ahead of volts is a range: "500 mV"
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(unitBreaks, r) }) {
		if (partOfVolts(w) || withinUnits[w] && timed) && !allDigits(ahead) && !take(w) {
			return ""
		}
		ahead = w
	}
	if m := unitAtEnd.FindStringSubmatch(s); found == "" && m != nil {
		if found = strings.ToLower(m[1] + m[2] + m[3]); m[1] == "kV" {
			found = "kV"
		}
	}
	return found
}

// partOfVolts reports whether a word is a unit of thousandths, millionths or thousands of a
// volt: "mV", "mv", "millivolts".
func partOfVolts(w string) bool {
	u, ok := parseUnit(w)
	return ok && u.kind == unitVolt && u.factor != 1
}

// unitAtEnd is such a unit, or one of time behind a word for it, without a break ahead of it:
// "CH1mV", "voltageMv", "timeMs".
var unitAtEnd = newPattern(`(?:[a-z0-9)](mV|Mv|MV|[uµμ]V|Uv|kV|(?:[Mm]illi|[Mm]icro)[Vv]olts?)|[0-9](mv|uv)|(?:[Tt]ime|[Ss]tamp|[Ee]lapsed)(Ms|ms|[Uu]s|µs|Ns|ns|(?:[Mm]illi|[Mm]icro|[Nn]ano)[Ss]ec(?:ond)?s?))$`)

// unitInBrackets is splitNameUnit for units in brackets.
func unitInBrackets(s string) (name, unitText string, ok bool) {
	n := len(s)
	if n <= 2 {
		return s, "", false
	}
	if p := strings.IndexByte(")]}>", s[n-1]); p >= 0 {
		if i := strings.LastIndexByte(s, "([{<"[p]); i >= 0 {
			in := strings.TrimPrefix(strings.TrimSpace(s[i+1:n-1]), "in ")
			if _, isUnit := parseUnit(in); isUnit || strangeUnit(in) || (symbolUnits[in] || in == "C" && s[i] == '[') && i > 1 { // "V(in)" is a circuit's node
				return strings.TrimRight(s[:i], " _-"), in, true
			}
		}
	}
	// Unit in brackets, then more words: "Time (s) relative"
	if m := keyUnit.FindStringSubmatchIndex(s); m != nil && m[0] > 0 {
		u, isUnit := parseUnit(s[m[2]:m[3]])
		if isUnit && (u.kind == unitSecond || u.kind == unitVolt || channelLike(s[:m[0]])) {
			return strings.TrimSpace(strings.TrimSpace(s[:m[0]]) + " " + strings.TrimSpace(s[m[1]:])), s[m[2]:m[3]], true
		}
	}
	return s, "", false
}

// unitBehind reports whether the text behind sep, the unit u, is that of the name
// s rather than a part of it: single letters may name a channel or a phase.
func unitBehind(s, sep, text string, u unit) bool {
	marked := sep == "/" || sep == " in "
	switch u.kind {
	case unitSecond, unitVolt, unitHertz, unitCount, unitDiv:
		return true
	case unitAmpere:
		return marked || u.factor != 1
	case unitOther: // "load_power_W", "r_ohm"
		word := strings.TrimSpace(text)
		if sep == "." || sep == "-" || channelLike(word) {
			return false
		}
		if sep == " " && len(word) <= 3 && word == strings.ToUpper(word) && word != strings.ToLower(word) {
			return false // "Brick MT": capitals name rather than measure
		}
		folded, _ := normKey(s)
		return marked || len([]rune(word)) > 1 || quantityUnit.MatchString(folded)
	}
	return false
}
