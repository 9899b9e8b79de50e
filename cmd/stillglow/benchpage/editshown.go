package benchpage

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// addShown takes a figure that was read off a screen or a meter, where there is no
// file. Only what the target limits is offered: nothing else would count.
func addShown(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	goal, _, err := pipeline.Target(s)
	if err != nil {
		return err
	}
	k := slices.IndexFunc(goal.Limits, func(l target.Limit) bool { return readable(l) && string(l.Criterion) == form.Get("on") })
	if k < 0 {
		return &fieldError{"on", fmt.Sprintf("found %q, expected a figure that the target limits", form.Get("on"))}
	}
	v, err := scaled(form.Get("value"), strings.Contains(goal.Limits[k].Unit, "V"))
	if err != nil || v <= 0 {
		if err == nil {
			err = fmt.Errorf("found %q, expected a figure over 0", form.Get("value"))
		}
		return &fieldError{"value", err.Error()}
	}
	if p := strings.TrimSpace(form.Get("plus_minus_percent")); p != "" {
		if x, err := numberOf("plus_minus_percent", p); err != nil || x <= 0 || x >= 100 {
			return &fieldError{"plus_minus_percent", fmt.Sprintf("found %q, expected a number over 0 and under 100", p)}
		}
	}
	at, err := t.Append(unitPath(i)+".reading", sheet.Fields{{Key: "on", Value: form.Get("on")}, {Key: "value", Value: v}})
	if err != nil {
		return err
	}
	return fill(t, at, shownFields, form)
}

// readable reports whether a limit's figure may be read off a screen: volts have the
// meter readings, and a mask is no figure.
func readable(l target.Limit) bool {
	return l.Criterion != target.HeaterDC && l.Criterion != target.Mask
}

func removeShown(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	n, err := strconv.Atoi(form.Get("n"))
	if i < 0 || err != nil || n < 0 || n >= len(s.Units[i].Shown) || s.Units[i].Shown[n].On != form.Get("was") {
		return errGone
	}
	return t.Remove(s.Units[i].Shown[n].Key)
}

// scaledWords are a number, a prefix of ten and a unit: "60 mV p-p", "150 nV/√Hz",
// "47k", "100 µF".
var scaledWords = regexp.MustCompile(`^([+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*([pnuµμmkM]?)\s*(V|Ω|ohms?|F|A|/s|per second)?\s*(?:/\s*(?:√|rt|sqrt)\s*\(?Hz\)?)?\s*(?:p-?p|rms|peak)?$`)

var tens = map[string]string{"p": "e-12", "n": "e-9", "u": "e-6", "µ": "e-6", "μ": "e-6", "m": "e-3", "k": "e3", "M": "e6"}

// scaled reads a quantity. With told its unit or prefix must be typed: 60 read off a
// screen is 60 mV as a rule, and 60 V if taken at its word.
func scaled(typed string, told bool) (float64, error) {
	m := scaledWords.FindStringSubmatch(strings.TrimSpace(typed))
	if m == nil {
		return 0, fmt.Errorf("found %q, expected a number with its unit, such as 60 mV", typed)
	}
	if told && m[2] == "" && m[3] == "" {
		return 0, fmt.Errorf("found %q, expected its unit too: %s mV, or V", typed, m[1])
	}
	number := strings.Replace(m[1], ",", ".", 1)
	if ten := tens[m[2]]; ten != "" && !strings.ContainsAny(number, "eE") {
		number += ten // by the digits, so that 60 mV is 0.06 V
	} else if ten != "" {
		return 0, fmt.Errorf("found %q, expected either a power of ten or a prefix", typed)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, fmt.Errorf("found %q, expected a number", typed)
	}
	return v, nil
}
