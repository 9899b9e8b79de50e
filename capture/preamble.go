package capture

import (
	"bytes"
	"regexp"
	"strings"
	"unicode"
)

// metaKey is one thing a preamble can state.
type metaKey uint8

const (
	metaNone metaKey = iota
	metaInterval
	metaRate
	metaStart
	metaPoints
	metaPerDivT   // seconds per division: shown only
	metaScale     // volts per count, or per division
	metaPerDiv    // volts per division
	metaZeroCode  // the code of zero volts
	metaOffset    // volts to add, or a code: by its unit
	metaPosition  // divisions
	metaProbe     // attenuation
	metaCoupling  // text
	metaBandwidth // hertz, or on and off
	metaTimeUnit  // text
	metaVoltUnit  // text
	metaSource    // text
	metaBits      // of the converter
	metaStep      // volts of one converter step
	metaTrueRate  // of the converter, before interpolation
)

// metaNames maps a key as normalised by normKey. The words are what scopes,
// loggers and their manuals commonly say in English, German and French.
var metaNames = map[string]metaKey{
	"sample interval": metaInterval, "sampling interval": metaInterval, "sample period": metaInterval, "sampling period": metaInterval, "sampling time": metaInterval,
	"time interval": metaInterval, "interval": metaInterval, "x increment": metaInterval, "xincrement": metaInterval, "xincr": metaInterval, "xinc": metaInterval, "x incr": metaInterval, "x inc": metaInterval, "increment": metaInterval,
	"dt": metaInterval, "delta t": metaInterval, "deltat": metaInterval, "delta time": metaInterval, "delta x": metaInterval, "deltax": metaInterval, "dx": metaInterval, "δt": metaInterval, "time delta": metaInterval,
	"time step": metaInterval, "timestep": metaInterval, "tstep": metaInterval, "time increment": metaInterval, "time per sample": metaInterval, "time resolution": metaInterval, "horizontal resolution": metaInterval, "h resolution": metaInterval, "hresolution": metaInterval, "horizontal interval": metaInterval, "horiz interval": metaInterval, "time per point": metaInterval, "seconds per sample": metaInterval, "seconds per point": metaInterval, "point spacing": metaInterval, "sample spacing": metaInterval, "xunitspersample": metaInterval, "x step": metaInterval, "t sample": metaInterval, "resolution x": metaInterval,
	"abtastintervall": metaInterval, "abtastzeit": metaInterval, "zeitschritt": metaInterval, "abtastperiode": metaInterval, "schrittweite": metaInterval, "zeitinkrement": metaInterval, "intervalle": metaInterval, "inkrement": metaInterval, "periode d échantillonnage": metaInterval,
	"sample rate": metaRate, "sampling rate": metaRate, "samplerate": metaRate, "samplingrate": metaRate, "sampling frequency": metaRate, "sample frequency": metaRate, "samplefrequency": metaRate, "samplingfrequency": metaRate, "sampling freq": metaRate, "sample freq": metaRate, "sampling speed": metaRate, "sample speed": metaRate, "acquisition rate": metaRate, "acq rate": metaRate, "fs": metaRate, "f s": metaRate, "srate": metaRate, "s rate": metaRate, "sps": metaRate, "samples per second": metaRate, "samples s": metaRate, "sa s": metaRate, "rate": metaRate, "data rate": metaRate, "scan rate": metaRate, "sample clock": metaRate, "sampling": metaRate, "sr": metaRate, "sa rate": metaRate, "points per second": metaRate, "horizontal sample rate": metaRate, "update rate": metaRate,
	"abtastrate": metaRate, "abtastfrequenz": metaRate, "fréquence d échantillonnage": metaRate, "frequence d echantillonnage": metaRate,
	"start": metaStart, "start time": metaStart, "starttime": metaStart, "t start": metaStart, "tstart": metaStart, "x origin": metaStart, "xorigin": metaStart, "xzero": metaStart, "x zero": metaStart, "x0": metaStart, "t0": metaStart, "first sample": metaStart, "first point": metaStart, "time of first sample": metaStart, "time of first point": metaStart, "time zero": metaStart, "x start": metaStart, "xstart": metaStart, "time origin": metaStart, "startzeit": metaStart,
	"record length": metaPoints, "recordlength": metaPoints, "points": metaPoints, "number of points": metaPoints, "number of samples": metaPoints, "no of points": metaPoints, "no of samples": metaPoints, "nr of points": metaPoints, "num points": metaPoints, "num samples": metaPoints, "numpoints": metaPoints, "numsamples": metaPoints, "samples": metaPoints, "n samples": metaPoints, "nsamples": metaPoints, "n points": metaPoints, "npoints": metaPoints, "data points": metaPoints, "datapoints": metaPoints, "sample count": metaPoints, "point count": metaPoints, "waveform points": metaPoints, "waveform length": metaPoints, "data length": metaPoints, "sample points": metaPoints, "nr pt": metaPoints, "record size": metaPoints, "length": metaPoints, "total samples": metaPoints, "total points": metaPoints, "samples per channel": metaPoints, "anzahl punkte": metaPoints, "anzahl werte": metaPoints, "punkte": metaPoints, "datenpunkte": metaPoints, "messpunkte": metaPoints, "aufzeichnungslänge": metaPoints, "nombre de points": metaPoints,
	"horizontal scale": metaPerDivT, "time base": metaPerDivT, "timebase": metaPerDivT, "time div": metaPerDivT, "s div": metaPerDivT, "sec div": metaPerDivT, "time per div": metaPerDivT, "zeitbasis": metaPerDivT,
	"y increment": metaScale, "yincrement": metaScale, "yincr": metaScale, "yinc": metaScale, "y inc": metaScale, "y incr": metaScale, "ymult": metaScale, "y mult": metaScale, "ymul": metaScale, "y multiplier": metaScale, "y scale": metaScale, "yscale": metaScale, "v per count": metaScale, "volts per count": metaScale, "volt per count": metaScale, "v count": metaScale, "volts count": metaScale, "mv per count": metaScale, "volts per code": metaScale, "v per code": metaScale, "volts per lsb": metaScale, "v per lsb": metaScale, "v lsb": metaScale, "volts per bit": metaScale, "volts per adc": metaScale, "volts per adc count": metaScale, "volts per step": metaScale, "v bit": metaScale, "volts lsb": metaScale, "volts bit": metaScale, "count scale": metaScale, "code scale": metaScale, "scale": metaScale, "scale factor": metaScale, "scaling": metaScale, "scaling factor": metaScale, "multiplier": metaScale, "conversion factor": metaScale, "adc scale": metaScale, "raw scale": metaScale, "vertical scale factor": metaScale, "skalierung": metaScale, "faktor": metaScale, "skalenfaktor": metaScale, "vertical increment": metaScale, "vertical step": metaScale, "volt scale": metaScale, "voltage scale": metaScale, "lsb value": metaScale, "lsb weight": metaScale, "lsb size": metaScale, "counts to volts": metaScale, "adc to volts": metaScale,
	"lsb": metaScale, "adc step": metaStep, "converter step": metaStep, "quantisation step": metaStep, "quantization step": metaStep, "vertical resolution": metaStep, "voltage resolution": metaStep, "adc resolution": metaStep,
	"vertical scale": metaPerDiv, "volts div": metaPerDiv, "volt div": metaPerDiv, "v div": metaPerDiv, "volts per division": metaPerDiv, "volts per div": metaPerDiv, "volt per div": metaPerDiv, "v per div": metaPerDiv, "mv div": metaPerDiv, "mv per div": metaPerDiv, "vertical volts div": metaPerDiv, "vertical sensitivity": metaPerDiv, "sensitivity": metaPerDiv, "vertical units per div": metaPerDiv, "scale per division": metaPerDiv, "scale div": metaPerDiv, "vdiv": metaPerDiv, "empfindlichkeit": metaPerDiv, "vertical v div": metaPerDiv, "vert scale": metaPerDiv, "v scale": metaPerDiv, "vertikale skala": metaPerDiv,
	"y reference": metaZeroCode, "yreference": metaZeroCode, "yref": metaZeroCode, "y ref": metaZeroCode, "zero code": metaZeroCode, "zero level": metaZeroCode, "zero count": metaZeroCode, "zero counts": metaZeroCode, "zero": metaZeroCode, "offset counts": metaZeroCode, "offset count": metaZeroCode, "offset codes": metaZeroCode, "offset code": metaZeroCode, "code of zero": metaZeroCode, "code at zero": metaZeroCode, "yoff": metaZeroCode, "y off": metaZeroCode, "ground level": metaZeroCode, "ground code": metaZeroCode, "mid code": metaZeroCode, "midscale": metaZeroCode, "mid scale": metaZeroCode, "zero offset": metaZeroCode, "adc offset": metaZeroCode, "adc zero": metaZeroCode, "code offset": metaZeroCode, "count offset": metaZeroCode, "raw offset": metaZeroCode, "raw zero": metaZeroCode, "nullpunkt": metaZeroCode,
	"offset": metaOffset, "vertical offset": metaOffset, "y origin": metaOffset, "yorigin": metaOffset, "yzero": metaOffset, "y zero": metaOffset, "y offset": metaOffset, "yoffset": metaOffset, "volts offset": metaOffset, "voltage offset": metaOffset, "offset v": metaOffset, "offset volts": metaOffset, "offset voltage": metaOffset, "dc offset": metaOffset, "channel offset": metaOffset, "vert offset": metaOffset, "intercept": metaOffset, "v offset": metaOffset,
	"vertical position": metaPosition, "position": metaPosition, "y position": metaPosition, "vert position": metaPosition,
	"probe": metaProbe, "probe attenuation": metaProbe, "probe atten": metaProbe, "probe factor": metaProbe, "probe ratio": metaProbe, "probe gain": metaNone, "attenuation": metaProbe, "probe setting": metaProbe, "probe scale": metaProbe, "probe div": metaProbe, "tastkopf": metaProbe, "teilerfaktor": metaProbe, "tastteiler": metaProbe, "tastkopf faktor": metaProbe, "tastkopffaktor": metaProbe, "sonde": metaProbe, "atten": metaProbe, "attn": metaProbe, "probe x": metaProbe, "probe type": metaProbe,
	"coupling": metaCoupling, "input coupling": metaCoupling, "channel coupling": metaCoupling, "vertical coupling": metaCoupling, "kopplung": metaCoupling, "eingangskopplung": metaCoupling, "couplage": metaCoupling, "ac dc": metaCoupling, "vert coupling": metaCoupling,
	"bandwidth": metaBandwidth, "bandwidth limit": metaBandwidth, "bw limit": metaBandwidth, "bwl": metaBandwidth, "bwlimit": metaBandwidth, "bw": metaBandwidth, "bandwidthlimit": metaBandwidth, "bandwidth limiting": metaBandwidth, "bandwidth filter": metaBandwidth, "bandbreite": metaBandwidth, "bandbreitenbegrenzung": metaBandwidth, "bandbreitenlimit": metaBandwidth, "input bandwidth": metaBandwidth, "channel bandwidth": metaBandwidth, "analog bandwidth": metaBandwidth, "analogue bandwidth": metaBandwidth, "instrument bandwidth": metaBandwidth, "scope bandwidth": metaBandwidth, "noise filter": metaNone,
	"horizontal units": metaTimeUnit, "horizontal unit": metaTimeUnit, "x units": metaTimeUnit, "x unit": metaTimeUnit, "xunit": metaTimeUnit, "xunits": metaTimeUnit, "time unit": metaTimeUnit, "time units": metaTimeUnit, "timeunit": metaTimeUnit, "zeiteinheit": metaTimeUnit, "horz units": metaTimeUnit, "unit of time": metaTimeUnit,
	"vertical units": metaVoltUnit, "vertical unit": metaVoltUnit, "y units": metaVoltUnit, "y unit": metaVoltUnit, "yunit": metaVoltUnit, "yunits": metaVoltUnit, "volt unit": metaVoltUnit, "voltage unit": metaVoltUnit, "voltage units": metaVoltUnit, "unit": metaVoltUnit, "units": metaVoltUnit, "channel unit": metaVoltUnit, "channel units": metaVoltUnit, "spannungseinheit": metaVoltUnit, "vert units": metaVoltUnit, "amplitude unit": metaVoltUnit, "amplitude units": metaVoltUnit, "data unit": metaVoltUnit, "einheit": metaVoltUnit, "data units": metaVoltUnit, "volts unit": metaVoltUnit,
	"source": metaSource, "channel": metaSource, "channel name": metaSource, "trace": metaSource, "trace name": metaSource, "signal": metaSource, "signal name": metaSource, "waveform source": metaSource, "kanal": metaSource, "label": metaSource, "source channel": metaSource,
	"adc bits": metaBits, "bits": metaBits, "adc resolution bits": metaBits, "bit depth": metaBits, "bits per sample": metaBits, "resolution bits": metaBits,
	"true sample rate": metaTrueRate, "real sample rate": metaTrueRate, "actual sample rate": metaTrueRate, "adc sample rate": metaTrueRate, "adc rate": metaTrueRate, "hardware sample rate": metaTrueRate, "converter rate": metaTrueRate, "real time sample rate": metaTrueRate, "adc sampling rate": metaTrueRate, "converter sample rate": metaTrueRate, "original sample rate": metaTrueRate,
	"manufacturer": metaNone,
}

// metaIsText tells the keys whose value is a word.
func metaIsText(k metaKey) bool {
	return k == metaCoupling || k == metaTimeUnit || k == metaVoltUnit || k == metaSource
}

// metaValue is one stated value.
type metaValue struct {
	text string
	num  float64
	ok   bool // num is a number
	unit unit // kind unitNone when none was written
	line int
	key  string // as written, for messages
	// channel is the lower-case channel the key names, "" for all; index
	// the place among several values side by side, -1 for one alone.
	channel string
	index   int
	of      int // how many stand side by side
}

// preamble is what stands above and left of the table.
type preamble struct {
	values map[metaKey][]metaValue
}

var keyUnit = regexp.MustCompile(`[(\[{]([^)\]}]*)[)\]}]`)

// normKey folds a key: lower case, words of letters and digits, unit in
// brackets apart.
func normKey(s string) (key, unitText string) {
	s = strings.TrimSpace(s)
	if m := keyUnit.FindStringSubmatchIndex(s); m != nil && m[0] > 0 {
		unitText = s[m[2]:m[3]]
		s = s[:m[0]] + " " + s[m[1]:]
	}
	var b strings.Builder
	blank := false
	for _, r := range strings.ToLower(s) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			if blank && b.Len() > 0 {
				b.WriteByte(' ')
			}
			blank = false
			b.WriteRune(r)
		} else {
			blank = true
		}
	}
	return b.String(), unitText
}

var sampledAt = regexp.MustCompile(`(?i)\bsampl\w*\b[^0-9]*\b(?:at|rate|with)\b[^0-9]*([0-9]+(?:[.,][0-9]+)? ?[kMG]?(?:Hz|Sa/s|S/s|sps))`)

var channelWord = regexp.MustCompile(`^(?:ch|chan|channel|kanal|voie|c)? ?([0-9]{1,2}|[a-h])$|^(?:ch|chan|channel|kanal|voie|c) ?([0-9a-z]{1,3})$`)

// lookupKey finds a key, also one with a channel before or behind it, as
// "CH1 probe", and with a trailing unit word as "sample rate hz".
func lookupKey(text string) (k metaKey, unitText, channel string) {
	if len(text) > 60 {
		return metaNone, "", ""
	}
	key, unitText := normKey(text)
	if key == "" {
		return metaNone, "", ""
	}
	if k, ok := metaNames[key]; ok {
		return k, unitText, ""
	}
	words := strings.Fields(key)
	for n := 1; n <= 2 && n < len(words); n++ {
		head, tail := strings.Join(words[:n], " "), strings.Join(words[n:], " ")
		if channelWord.MatchString(head) {
			if k, ok := metaNames[tail]; ok {
				return k, unitText, strings.ReplaceAll(head, " ", "")
			}
		}
		head, tail = strings.Join(words[:len(words)-n], " "), strings.Join(words[len(words)-n:], " ")
		if channelWord.MatchString(tail) {
			if k, ok := metaNames[head]; ok && !(len(tail) == 1 && tail[0] >= 'a') {
				return k, unitText, strings.ReplaceAll(tail, " ", "")
			}
		}
	}
	// "sample rate hz", "time interval s", "scale v count"
	for n := 1; n <= 2 && n < len(words); n++ {
		tail := strings.Join(words[len(words)-n:], "/")
		if _, ok := parseUnit(tail); ok {
			if k, ok := metaNames[strings.Join(words[:len(words)-n], " ")]; ok {
				// Letter case tells mHz from MHz: take it from the text.
				f := strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
				if len(f) >= n {
					tail = strings.Join(f[len(f)-n:], "/")
				}
				return k, tail, ""
			}
		}
	}
	return metaNone, "", ""
}

// add takes one key and its values, side by side.
func (p *preamble) add(key string, values []string, decimal byte, line int) bool {
	k, unitText, channel := lookupKey(strings.TrimRight(strings.TrimSpace(key), ":="))
	if k == metaNone {
		return false
	}
	var vs []metaValue
	for _, s := range values {
		s = strings.Trim(strings.TrimSpace(s), `"`)
		if s == "" {
			if len(vs) > 0 {
				break
			}
			continue
		}
		v := metaValue{text: s, line: line, key: strings.TrimRight(strings.TrimSpace(key), ":="), channel: channel, index: -1}
		v.num, v.unit, v.ok = readQuantity(s, decimal)
		// A value and its unit may stand in two cells.
		if len(vs) > 0 && !v.ok && !metaIsText(k) {
			last := &vs[len(vs)-1]
			if u, isUnit := parseUnit(s); isUnit && last.ok && last.unit.kind == unitNone {
				last.unit = u
				last.num *= u.factor
			}
			break
		}
		vs = append(vs, v)
	}
	if len(vs) == 0 {
		return false
	}
	if !metaIsText(k) && k != metaBandwidth && k != metaProbe && !vs[0].ok {
		return false
	}
	for i := range vs {
		if vs[i].ok && vs[i].unit.kind == unitNone && unitText != "" {
			if u, ok := parseUnit(unitText); ok {
				vs[i].unit = u
				vs[i].num *= u.factor
			}
		}
		if len(vs) > 1 {
			vs[i].index, vs[i].of = i, len(vs)
		}
	}
	p.values[k] = append(p.values[k], vs...)
	return true
}

// readQuantity reads a number with an optional unit, in the table's decimal
// mark or, preambles often keep it, the point.
func readQuantity(s string, decimal byte) (float64, unit, bool) {
	for _, d := range []byte{decimal, '.', ','} {
		v, rest, ok := splitQuantity(s, d)
		if !ok {
			continue
		}
		if rest == "" {
			return v, unit{factor: 1}, true
		}
		if u, ok := parseUnit(rest); ok {
			return v * u.factor, u, true
		}
		if f, ok := siPrefix[foldSigns(rest)]; ok {
			return v * f, unit{factor: f}, true
		}
		if w := strings.Fields(rest); len(w) > 0 && d == decimal {
			// "1.0 MSa/s per channel", "10 X"
			if u, ok := parseUnit(w[0]); ok && len(w) > 1 {
				return v * u.factor, u, true
			}
		}
	}
	return 0, unit{}, false
}

// readPreamble collects what the lines above the table state, and the cells
// left and right of the numbers in its first rows.
func readPreamble(h *textHead, t *table, header *header) *preamble {
	p := &preamble{values: map[metaKey][]metaValue{}}
	var above [][]cell // for keys over their values
	for i := range t.first {
		line := bytes.TrimSpace(h.line(i))
		if len(line) == 0 || header.uses(i) {
			continue
		}
		n := h.lines[i].number
		if isComment(line, t.delim) {
			line = uncomment(line)
		}
		cells := splitCells(line, t.delim, nil)
		p.line(line, cells, t, n)
		if len(above) > 0 {
			p.column(above[len(above)-1], cells, t, n)
		}
		above = append(above, cells)
	}
	// Beside the numbers in the first rows.
	isNum := map[int]bool{}
	for _, j := range t.numeric {
		isNum[j] = true
	}
	for i := t.first; i < min(t.first+sideRows, len(h.lines)); i++ {
		cells := splitCells(h.line(i), t.delim, nil)
		var side []cell
		for j, c := range cells {
			if isNum[j] {
				p.cells(side, t, h.lines[i].number)
				side = side[:0]
				continue
			}
			side = append(side, c)
		}
		p.cells(side, t, h.lines[i].number)
	}
	// Names over side cells: "Start,Increment" beside the channels.
	for _, row := range header.rows {
		for j, c := range row.cells {
			if isNum[j] || len(c.text) == 0 {
				continue
			}
			if p.pair(cellText(c.text), t, h.lines[row.line].number) {
				continue
			}
			if k, _, _ := lookupKey(cellText(c.text)); k == metaNone {
				continue
			}
			for i := row.line + 1; i < min(t.first+2, len(h.lines)); i++ {
				below := splitCells(h.line(i), t.delim, nil)
				if j < len(below) && len(below[j].text) > 0 {
					if p.add(cellText(c.text), []string{cellText(below[j].text)}, t.decimal, h.lines[i].number) {
						break
					}
				}
			}
		}
	}
	return p
}

// line reads one line above the table.
func (p *preamble) line(line []byte, cells []cell, t *table, n int) {
	if p.cells(cells, t, n) {
		return
	}
	// Several pairs "key=value" or "key: value" in one line.
	s := cellText(line)
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == ';' || r == '\t' || r == ',' && t.decimal != ',' || r == '|' }) {
		if !p.pair(part, t, n) && strings.Contains(part, "  ") {
			i := strings.Index(part, "  ")
			p.add(part[:i], []string{part[i:]}, t.decimal, n)
		}
	}
	if t.decimal == ',' || t.delim == ' ' {
		p.pair(s, t, n)
	}
	for _, sep := range []string{";", "\t", "|"} {
		if a, b, ok := strings.Cut(s, sep); ok && p.add(a, strings.Split(b, sep), t.decimal, n) {
			return
		}
	}
	// "sampled at 1 MHz"
	if m := sampledAt.FindStringSubmatch(s); m != nil && len(p.values[metaRate]) == 0 {
		p.add("sample rate", []string{m[1]}, t.decimal, n)
	}
	if t.delim == ' ' {
		// key and value apart by one blank: try each length of key
		w := strings.Fields(s)
		for k := min(4, len(w)-1); k >= 1; k-- {
			if p.add(strings.Join(w[:k], " "), []string{strings.Join(w[k:], " ")}, t.decimal, n) {
				return
			}
		}
	}
}

// pair reads "key=value" or "key: value".
func (p *preamble) pair(s string, t *table, n int) bool {
	for _, sep := range []string{"=", ":"} {
		if a, b, ok := strings.Cut(s, sep); ok {
			if p.add(a, []string{strings.Trim(strings.TrimSpace(b), `"`)}, t.decimal, n) {
				return true
			}
		}
	}
	return false
}

// cells reads a key cell and the values that follow it; further keys may
// stand in the same row.
func (p *preamble) cells(cells []cell, t *table, n int) (found bool) {
	for i := 0; i < len(cells); i++ {
		if len(cells[i].text) == 0 || len(cells[i].text) > 80 {
			continue
		}
		key := cellText(cells[i].text)
		if p.pair(key, t, n) {
			found = true
			continue
		}
		if i+1 == len(cells) {
			continue
		}
		k, _, _ := lookupKey(strings.TrimRight(key, ":= "))
		if k == metaNone {
			continue
		}
		var vals []string
		for j := i + 1; j < len(cells) && j <= i+33; j++ {
			s := cellText(cells[j].text)
			if len(vals) > 0 {
				if k2, _, _ := lookupKey(s); k2 != metaNone && !isUnitWord(s) {
					break
				}
			}
			vals = append(vals, s)
		}
		if p.add(key, vals, t.decimal, n) {
			found = true
			if !metaIsText(k) {
				continue
			}
			i++
		}
	}
	return found
}

func isUnitWord(s string) bool { _, ok := parseUnit(s); return ok }

// column pairs a row of keys with the row of values below it.
func (p *preamble) column(keys, vals []cell, t *table, n int) {
	known := 0
	for j, c := range keys {
		if j >= len(vals) || len(c.text) == 0 {
			continue
		}
		if readCell(c.text, t.decimal).kind != cellWords {
			return // a row of keys holds words only
		}
		if k, _, _ := lookupKey(cellText(c.text)); k != metaNone {
			known++
		}
	}
	if known == 0 {
		return
	}
	for j, c := range keys {
		if j < len(vals) && len(c.text) > 0 && len(vals[j].text) > 0 {
			if k, _, _ := lookupKey(cellText(vals[j].text)); k != metaNone {
				continue // a key itself: "Source,CH1" over "Coupling,DC"
			}
			if k, _, _ := lookupKey(cellText(c.text)); k != metaNone && !metaIsText(k) {
				p.add(cellText(c.text), []string{cellText(vals[j].text)}, t.decimal, n)
			}
		}
	}
}

// get finds the value of a key for the channel: the one that names it, then
// the one in its place among as many as there are channels, then one alone.
func (p *preamble) get(k metaKey, channel string, index, channels int) (metaValue, bool) {
	vs := p.values[k]
	name, _ := normKey(channel)
	name = strings.ReplaceAll(name, " ", "")
	for _, v := range vs {
		if v.channel != "" && shortChannel(v.channel) == shortChannel(name) {
			return v, true
		}
	}
	for _, v := range vs {
		if v.channel == "" && v.index == index && v.of == channels {
			return v, true
		}
	}
	// Several blocks, one per channel, in order.
	var plain []metaValue
	for _, v := range vs {
		if v.channel == "" && v.index <= 0 {
			plain = append(plain, v)
		}
	}
	if len(plain) == channels && channels > 1 && !same(plain) {
		return plain[index], true
	}
	if len(plain) > 0 {
		return plain[0], true
	}
	return metaValue{}, false
}

// shortChannel makes "ch1", "channel1" and "1" alike.
func shortChannel(s string) string {
	for _, pre := range []string{"channel", "kanal", "chan", "voie", "ch", "c"} {
		if t := strings.TrimPrefix(s, pre); t != s && t != "" {
			return t
		}
	}
	return s
}

func same(vs []metaValue) bool {
	for _, v := range vs[1:] {
		if v.text != vs[0].text {
			return false
		}
	}
	return true
}
