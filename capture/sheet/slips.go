package sheet

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"

	"stillglow/capture"
)

// slip is a way of writing that TOML does not have, but people do.
type slip struct {
	at *regexp.Regexp // what group 1 matches was found
	// say tells what was expected instead of found, and what to do; ok is false where
	// it is something else after all.
	say func(found string, line string) (expected, fix string, ok bool)
}

// mostFix bounds the advice, which may repeat a part of the line.
const mostFix = 160

func always(expected, fix string) func(string, string) (string, string, bool) {
	return func(string, string) (string, string, bool) { return expected, fix, true }
}

// slips are looked for in the line that the decoder stumbles over, in this order.
var slips = []slip{
	{regexp.MustCompile(`([“”„‟«»‘’‚])`), always(`a straight quotation mark, "`, "type it again; word processors and phones put such marks in its place")},
	{regexp.MustCompile(`=\s*("[^"]*\\[^"]*")`), func(found, _ string) (string, string, bool) {
		return "a forward slash", "write " + strings.ReplaceAll(found, `\`, "/"), true
	}},
	{regexp.MustCompile(`=\s*([-+]?[0-9]+,[0-9]+)\s*(?:[,}\]#]|$|[A-Za-z])`), func(found, _ string) (string, string, bool) {
		return "a decimal point", "write " + strings.Replace(found, ",", ".", 1), true
	}},
	{regexp.MustCompile(`^\s*([A-Za-z_]+\s*:)\s*\S`), func(found, _ string) (string, string, bool) {
		key := strings.TrimSpace(strings.TrimSuffix(found, ":"))
		return "an equals sign", fmt.Sprintf("write %s = ...", key), true
	}},
	{regexp.MustCompile(`=\s*(0[0-9]+(?:\.[0-9]+)?)\b`), func(found, _ string) (string, string, bool) {
		number := strings.TrimLeft(found, "0")
		if strings.HasPrefix(number, ".") {
			number = "0" + number
		}
		return "a number without leading zeros", "write " + number, strings.Trim(found, "0") != ""
	}},
	{regexp.MustCompile(`=\s*([-+]?\.[0-9]+)`), func(found, _ string) (string, string, bool) {
		return "a digit before the point", "write " + strings.Replace(found, ".", "0.", 1), true
	}},
	{regexp.MustCompile(`=\s*([-+]?[0-9]+\.)(?:\D|$)`), func(found, _ string) (string, string, bool) {
		return "a digit after the point", "write " + found + "0", true
	}},
	{regexp.MustCompile(`=\s*([-+]?[0-9][0-9.eE+-]*\s*(?:[munpkMGµμ]?(?:V|A|Hz|F|W|S/s|Sa/s)|volts?|amps?|ohms?|Ω|%|dB|m|x|X))\s*(?:[,}\]#]|$)`), func(found, line string) (string, string, bool) {
		return "the number alone", "leave the unit out" + unitOfKey(line), true
	}},
	{regexp.MustCompile(`=\s*(?i)(yes|no|on|off|true|false|ja|nein|oui|non|wahr|falsch)\s*(?:#|$)`), func(found, _ string) (string, string, bool) {
		switch strings.ToLower(found) {
		case "yes", "on", "true", "ja", "oui", "wahr":
			return "true or false in small letters", "write true", true
		}
		return "true or false in small letters", "write false", true
	}},
	{regexp.MustCompile(`(//|/\*|;).*$`), func(found, line string) (string, string, bool) {
		return "# before a comment", "write # for " + found, strings.Count(beforeOf(line, found), `"`)%2 == 0
	}},
	{regexp.MustCompile(`=\s*(?:"[^"]*"|[^,\[{"]*[^,\s])(,)\s*(?:#.*)?$`), always("the end of the line", "leave the comma out")},
	{regexp.MustCompile(`^\s*(\[\[[^\]]*\])\s*(?:#.*)?$`), func(found, _ string) (string, string, bool) {
		return "two brackets at either end", "write " + found + "]", true
	}},
	{regexp.MustCompile(`^\s*(\[[^\[\]]*\]\])`), func(found, _ string) (string, string, bool) {
		return "two brackets at either end", "write [" + found, true
	}},
	{regexp.MustCompile(`=\s*("[^"]*)$`), func(found, _ string) (string, string, bool) {
		return "a quotation mark at its end", "write " + strings.TrimSpace(found) + `"`, true
	}},
	{regexp.MustCompile(`=\s*(#.*|)$`), always("a value", "write one, or leave the line out")},
	{regexp.MustCompile(`^\s*(?:file|baseline)\s*=\s*([^\s"'\[{].*\.[A-Za-z0-9]+)\s*$`), func(found, _ string) (string, string, bool) {
		return "text in quotes", fmt.Sprintf("write %q", strings.ReplaceAll(found, `\`, "/")), true
	}},
	{regexp.MustCompile(`=\s*([^\s"'\[{0-9+.#-][^,}#]*)`), func(found, _ string) (string, string, bool) {
		return "text in quotes", fmt.Sprintf("write %q", strings.TrimSpace(found)), true
	}},
}

func beforeOf(line, found string) string {
	before, _, _ := strings.Cut(line, found)
	return before
}

// unitOfKey says in which unit the first key of a line is, ": load_a is in amperes", or "".
func unitOfKey(line string) string {
	key, _, _ := strings.Cut(line, "=")
	key = strings.TrimSpace(key)
	if i := strings.LastIndexAny(key, "{, \t"); i >= 0 {
		key = key[i+1:]
	}
	for _, u := range keyUnits {
		if key == u.ending[1:] || strings.HasSuffix(key, u.ending) {
			return fmt.Sprintf(": %s is in %s", key, u.words)
		}
	}
	return ""
}

// keyUnits are the units of keys by their endings.
var keyUnits = []struct{ ending, words string }{
	{"_v_per_rthz", "V/√Hz"}, {"_hz", "hertz"}, {"_a", "amperes"}, {"_v", "volts"}, {"_uf", "µF"}, {"_ohm", "ohms"}, {"_percent", "percent"}, {"_db", "dB"}, {"_m", "metres"}, {"_f", "farads"},
}

// explain puts an error of TOML's grammar into the words of a bench: what was found in the
// line, what belongs there, and what to write. Where it knows no better it leaves the error.
func explain(e *capture.ParseError, data []byte) *capture.ParseError {
	lines := bytes.Split(data, []byte{'\n'})
	if e.Line < 1 || e.Line > len(lines) {
		return e
	}
	line := strings.TrimRight(string(lines[e.Line-1]), "\r")
	if strings.Contains(line, `"""`) || strings.Contains(line, `'''`) || len(line) > 2000 {
		return e
	}
	for _, s := range slips {
		m := s.at.FindStringSubmatchIndex(line)
		if m == nil {
			continue
		}
		found := line[m[2]:m[3]]
		expected, fix, ok := s.say(found, line)
		if !ok {
			continue
		}
		out := *e
		out.Column = m[2] + 1
		out.Found, out.Expected, out.Fix = shortened(capture.Printable(strings.TrimSpace(found))), expected, capture.Printable(fix)
		if len(out.Fix) > mostFix {
			out.Fix = ""
		}
		if out.Found == "" {
			out.Found = "nothing after the equals sign"
		}
		return &out
	}
	switch {
	case strings.Contains(e.Found, "already exists as an array"):
		name := strings.Trim(strings.TrimSpace(line), "[]")
		e.Found, e.Expected, e.Fix = "["+shortened(name)+"]", "two brackets at either end, as further up, since there are several", "write [["+shortened(name)+"]]"
	case strings.Contains(e.Found, "already defined"):
		e.Expected, e.Fix = "every key once in its table", "take one of the two out"
	case strings.Contains(e.Found, "should be an array table"):
		// the table stands in single brackets further up
		name := strings.Trim(strings.TrimSpace(line), "[]")
		for i, l := range lines[:e.Line-1] {
			if strings.TrimSpace(string(l)) == "["+name+"]" {
				e.Line, e.Column = i+1, bytes.IndexByte(l, '[')+1
				e.Found, e.Expected, e.Fix = "["+name+"]", "two brackets at either end, since there may be several", "write [["+name+"]]"
				break
			}
		}
	default:
		e.Expected = "key = value, as TOML writes it"
	}
	return e
}
