package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis/figure"
)

// figureDigits and seriesDigits are the significant digits of single figures
// and of curve points in JSON. Twelve digits hold any measured figure; five
// are far below what a scope resolves and keep results.json small.
const (
	figureDigits = 12
	seriesDigits = 5
)

// member is one key of a JSON object.
type member struct {
	key string
	val any
}

// object is a JSON object that keeps the order its keys were added in, so that
// a file reads from the important to the fine print and its bytes are stable.
//
// Note: struct tags can't take its place. The figures' keys come from walking the
// register, so that a figure is described once; a figure that is not measured is null
// with its reason in a side table, and one in volts null where the capture is not
// calibrated, so that a key's value depends on other fields; and numbers are written
// with figureDigits or seriesDigits, never as NaN.
type object []member

func (o *object) add(key string, val any) { *o = append(*o, member{key, val}) }

// MarshalJSON writes the members in order.
func (o object) MarshalJSON() ([]byte, error) { return appendJSON(nil, o) }

// objects is a list of objects that are made one after the other as they are written:
// those of a large report, all made at once, would take several times its size.
type objects iter.Seq2[object, error]

// appendJSON writes what a document is made of straight into one buffer:
// json.Marshal would check and copy nested objects once per level.
func appendJSON(b []byte, v any) ([]byte, error) {
	var err error
	switch v := v.(type) {
	case object:
		b = append(b, '{')
		for i, m := range v {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendString(b, m.key)
			b = append(b, ':')
			if b, err = appendJSON(b, m.val); err != nil {
				return nil, fmt.Errorf("%s: %w", m.key, err)
			}
		}
		return append(b, '}'), nil
	case []object:
		return appendJSON(b, objects(func(yield func(object, error) bool) {
			for _, o := range v {
				if !yield(o, nil) {
					return
				}
			}
		}))
	case objects:
		b = append(b, '[')
		first := true
		for o, err := range v {
			if err != nil {
				return nil, err
			}
			if !first {
				b = append(b, ',')
			}
			first = false
			if b, err = appendJSON(b, o); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case series:
		return v.append(b), nil
	case number:
		return appendNumber(b, float64(v), figureDigits), nil
	case string:
		return appendString(b, v), nil
	case bool:
		return strconv.AppendBool(b, v), nil
	case int:
		return strconv.AppendInt(b, int64(v), 10), nil
	case nil:
		return append(b, "null"...), nil
	default:
		x, err := json.Marshal(v)
		return append(b, x...), err
	}
}

// appendString writes a string as json.Marshal does, and most of them, which hold
// nothing to be escaped, without its detour.
func appendString(b []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || strings.IndexByte(`"\<>&`, c) >= 0 {
			x, _ := json.Marshal(s) // a string gives no error
			return append(b, x...)
		}
	}
	b = append(b, '"')
	b = append(b, s...)
	return append(b, '"')
}

// number is a float64 that JSON can always hold: null when it is not finite,
// figureDigits significant digits otherwise.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	return appendNumber(nil, float64(n), figureDigits), nil
}

// series is a curve in JSON.
type series []float64

func (s series) MarshalJSON() ([]byte, error) { return s.append(nil), nil }

func (s series) append(b []byte) []byte {
	b = append(b, '[')
	for i, v := range s {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendNumber(b, v, seriesDigits)
	}
	return append(b, ']')
}

func appendNumber(b []byte, v float64, digits int) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(b, "null"...)
	}
	if v == 0 {
		return append(b, '0') // also for -0
	}
	start := len(b)
	// Whole numbers stay readable: 50000, not 5e+04.
	if v == math.Trunc(v) && math.Abs(v) < 1e15 {
		if b = strconv.AppendFloat(b, v, 'f', -1, 64); len(b)-start <= digits+1 {
			return b
		}
		b = b[:start]
	}
	b = strconv.AppendFloat(b, v, 'g', digits, 64)
	mantissa, _, _ := bytes.Cut(b[start:], []byte("e"))
	if !bytes.Contains(mantissa, []byte(".")) {
		return b
	}
	short := bytes.TrimRight(bytes.TrimRight(mantissa, "0"), ".")
	return append(b[:start+len(short)], b[start+len(mantissa):]...)
}

// positive is v, or null when it is 0 for "unknown".
func positive(v float64) any {
	if v == 0 {
		return nil
	}
	return number(v)
}

// orNull is s, or null when empty.
func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// list is s, or an empty list instead of null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// doc builds one JSON object of figures together with the side tables that say
// what each figure is worth.
type doc struct {
	object
	missing     map[string]string
	uncertainty map[string]number
	lowerBounds []string
	upperBounds []string
	// uncalibrated: volts are fractions of full scale, so no key in volts may
	// carry a number.
	uncalibrated bool
}

const uncalibratedReason = "the capture holds fractions of full scale, not volts; give the volts at full scale"

func isVolts(key string) bool {
	return strings.HasSuffix(key, "_v") || strings.HasSuffix(key, "_vs") ||
		strings.HasSuffix(key, "_v_per_s") || strings.HasSuffix(key, "_v_per_rthz")
}

// figure adds a figure under key. path is the key's full name in the side
// tables: the key itself at the top level, dotted further down.
func (d *doc) figure(o *object, path, key string, f figure.Figure) {
	reason := ""
	switch {
	case !f.Known:
		if reason = f.Missing; reason == "" {
			reason = "not measured"
		}
	case math.IsNaN(f.Value) || math.IsInf(f.Value, 0):
		reason = "the capture gives no finite number"
	case d.uncalibrated && isVolts(key):
		reason = uncalibratedReason
	}
	if reason != "" {
		if d.missing == nil {
			d.missing = map[string]string{}
		}
		d.missing[path] = reason
		o.add(key, nil)
		return
	}
	o.add(key, number(f.Value))
	if f.U > 0 && !math.IsInf(f.U, 0) {
		if d.uncertainty == nil {
			d.uncertainty = map[string]number{}
		}
		d.uncertainty[path] = number(f.U)
	}
	if f.LowerBound {
		d.lowerBounds = append(d.lowerBounds, path)
	}
	if f.UpperBound {
		d.upperBounds = append(d.upperBounds, path)
	}
}

// fig adds a figure at the top level.
func (d *doc) fig(key string, f figure.Figure) { d.figure(&d.object, key, key, f) }

// close adds the side tables.
func (d *doc) close() {
	if d.missing == nil {
		d.missing = map[string]string{}
	}
	if d.uncertainty == nil {
		d.uncertainty = map[string]number{}
	}
	slices.Sort(d.lowerBounds)
	d.add("not_measured", d.missing)
	d.add("uncertainty", d.uncertainty)
	d.add("lower_bounds", list(d.lowerBounds))
	if len(d.upperBounds) > 0 {
		slices.Sort(d.upperBounds)
		d.add("upper_bounds", list(d.upperBounds))
	}
}
