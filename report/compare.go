package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// Comparison is a before and an after: two captures, or two results of the same
// bench, unit by unit.
type Comparison struct {
	A, B     string            // names of the two sides as given
	Invented bool              // a side is marked as invented data
	Changes  []Change          // of two captures
	Units    []UnitChange      // of two results, in the order of the after side
	OnlyA    []string          // units that only the before side has
	OnlyB    []string          // units that only the after side has
	Notes    []string          // what makes the two sides unlike
	curves   [2][]densityCurve // for the plot, when each side is one capture or one unit
}

// Change is one figure on both sides. A negative DB is a quieter after.
type Change struct {
	Key, Name, Unit string   // of the figure, the register's
	Before, After   *float64 // nil: not measured
	DB              *float64 // 20 log10(after/before); nil where that has no meaning
	UDB             float64  // expanded uncertainty (k = 2) of DB in dB; 0 unknown

	BeforeIs, AfterIs Bound // what each side proves
	DBIs              Bound // and what follows for DB
}

// Bound tells what a figure proves where it isn't the true one.
type Bound string

// Bounds.
const (
	Exact   Bound = ""
	AtLeast Bound = "at least"
	AtMost  Bound = "at most"
	NoBound Bound = "open" // of a change between two bounds: it may be more or less
)

// boundsOf are the keys of a document's figures that are bounds.
type boundsOf map[string]Bound

func newBounds(lower, upper []string) boundsOf {
	b := boundsOf{}
	for _, key := range lower {
		b[key] = AtLeast
	}
	for _, key := range upper {
		b[key] = AtMost
	}
	return b
}

// bounded is the change with what its sides prove: where the before is at least what it
// says, the change is at most so.
func (x Change) bounded(before, after Bound) Change {
	x.BeforeIs, x.AfterIs = before, after
	turned := map[Bound]Bound{AtLeast: AtMost, AtMost: AtLeast}[before]
	switch {
	case turned == Exact || turned == after:
		x.DBIs = after
	case after == Exact:
		x.DBIs = turned
	default:
		x.DBIs = NoBound
	}
	return x
}

// UnitChange is one unit on both sides.
type UnitChange struct {
	Key                       string   // of the unit
	VerdictBefore, Verdict    string   // on the two sides
	MarginBeforeDB, MarginDB  *float64 // worst margin, positive is inside
	Changes                   []Change // of its figures
	curvesBefore, curvesAfter []densityCurve
}

// densityCurve is a density curve read from JSON.
type densityCurve struct {
	FrequencyHz []float64 `json:"frequency_hz"`
	VPerRtHz    []float64 `json:"v_per_rthz"`
}

// Side is one side of a comparison: results.json, or one capture's object.
type Side struct {
	name    string
	results *resultsFile
	capture map[string]json.RawMessage
	several []map[string]json.RawMessage // of a file that holds more than one capture, in its order
}

type resultsFile struct {
	Invented bool `json:"invented"`
	Target   struct {
		Name   string `json:"name"`
		Limits []struct {
			Criterion, Name, Unit string
		} `json:"limits"`
	} `json:"target"`
	Units []resultsUnit `json:"units"`
}

type resultsUnit struct {
	Key           string             `json:"key"`
	Brand         string             `json:"brand"`
	Model         string             `json:"model"`
	Mark          string             `json:"mark"`
	Verdict       string             `json:"verdict"`
	WorstMarginDB *float64           `json:"worst_margin_db"`
	Uncertainty   map[string]float64 `json:"uncertainty"`
	LowerBounds   []string           `json:"lower_bounds"`
	UpperBounds   []string           `json:"upper_bounds"`
	Margins       []struct {
		Criterion string   `json:"criterion"`
		Unit      string   `json:"unit"`
		Figure    *float64 `json:"figure"`
	} `json:"margins"`
	Captures []struct {
		Calibrated bool          `json:"calibrated"`
		Spectrum   *densityCurve `json:"spectrum"`
	} `json:"captures"`
}

// ReadSide reads one side from JSON: a results.json, or the object of one capture
// or of several, one behind the other as measure --json prints them. name is used
// in messages only.
func ReadSide(name string, b []byte) (*Side, error) {
	var all []json.RawMessage
	for d := json.NewDecoder(bytes.NewReader(b)); ; {
		var one json.RawMessage
		if d.Decode(&one) != nil {
			break // the end, or what readSide says is wrong
		}
		all = append(all, one)
	}
	if len(all) < 2 {
		return readSide(name, b)
	}
	s := &Side{name: name}
	for i, one := range all {
		x, err := readSide(fmt.Sprintf("%s: object %d", name, i+1), one)
		if err != nil {
			return nil, err
		}
		if x.capture == nil {
			return nil, fmt.Errorf("%s: object %d is a bench's results, expected captures where there are several", name, i+1)
		}
		s.several = append(s.several, x.capture)
	}
	return s, nil
}

// readSide reads one object.
func readSide(name string, b []byte) (*Side, error) {
	var probe struct {
		SchemaVersion string          `json:"schema_version"`
		Units         json.RawMessage `json:"units"`
		SampleRateHz  *float64        `json:"sample_rate_hz"`
	}
	bad := func(found string) error {
		return fmt.Errorf("%s: %s, expected a results.json or a line of measure --json", name, found)
	}
	if err := json.Unmarshal(b, &probe); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			return nil, bad(fmt.Sprintf("no JSON at byte %d (%v)", syntax.Offset, err))
		}
		return nil, bad("JSON of another kind")
	}
	if v := probe.SchemaVersion; v != "" && !strings.HasPrefix(v, "1.") {
		return nil, fmt.Errorf("%s: schema version %q, expected 1.x; write it again with this version of stillglow", name, v)
	}
	s := &Side{name: name}
	switch {
	case probe.SchemaVersion == "":
		return nil, bad("no schema_version")
	case probe.Units != nil:
		s.results = &resultsFile{}
		if err := json.Unmarshal(b, s.results); err != nil {
			return nil, bad("results that do not read: " + err.Error())
		}
	case probe.SampleRateHz != nil:
		if err := json.Unmarshal(b, &s.capture); err != nil {
			return nil, bad("a capture that can't be read: " + err.Error())
		}
	default:
		return nil, bad("neither units nor a sample rate")
	}
	return s, nil
}

// SideOf is one side from a capture just measured.
func SideOf(c Capture) (*Side, error) {
	b, err := CaptureJSON(c)
	if err != nil {
		return nil, err
	}
	return ReadSide(c.M.File, b)
}

// Compare sets two sides of the same kind against each other.
func Compare(a, b *Side) (*Comparison, error) {
	c := &Comparison{A: clean(a.name), B: clean(b.name)}
	switch {
	case a.capture != nil && b.capture != nil:
		c.compareCaptures(a.capture, b.capture)
	case a.results != nil && b.results != nil:
		c.compareResults(a.results, b.results)
		if len(c.Units) == 0 {
			return nil, fmt.Errorf("%s and %s: no unit of the same name on both sides, expected two results of the same bench", a.name, b.name)
		}
	case a.captures() != nil && b.captures() != nil:
		c.compareSeveral(a.captures(), b.captures())
		if len(c.Units) == 0 {
			return nil, fmt.Errorf("%s and %s: no capture of the same name and channel on both sides, and not as many on each", a.name, b.name)
		}
	default:
		return nil, fmt.Errorf("%s and %s: one is a capture and one a bench's results, expected two of a kind", a.name, b.name)
	}
	return c, nil
}

// captures are those of a side, nil for a bench's results.
func (s *Side) captures() []map[string]json.RawMessage {
	if s.capture != nil {
		return []map[string]json.RawMessage{s.capture}
	}
	return s.several
}

// captureName names a capture by its file, without the folder, and channel.
func captureName(m map[string]json.RawMessage) string {
	name := clean(path.Base(strings.ReplaceAll(field[string](m, "file"), "\\", "/")))
	if channel := clean(field[string](m, "channel")); channel != "" {
		name += ", " + channel
	}
	return name
}

// compareSeveral pairs captures by name and channel; where no name is on both
// sides and each has as many, in their order.
func (c *Comparison) compareSeveral(a, b []map[string]json.RawMessage) {
	left := map[string][]map[string]json.RawMessage{}
	for _, m := range a {
		left[captureName(m)] = append(left[captureName(m)], m)
	}
	matched := false
	for _, m := range b {
		matched = matched || len(left[captureName(m)]) > 0
	}
	pair := func(name string, before, after map[string]json.RawMessage) {
		one := &Comparison{}
		one.compareCaptures(before, after)
		c.Units = append(c.Units, UnitChange{Key: name, Changes: one.Changes})
		for _, n := range one.Notes {
			c.Notes = append(c.Notes, name+": "+n)
		}
	}
	if !matched && len(a) == len(b) {
		for i := range a {
			pair(captureName(a[i])+" and "+captureName(b[i]), a[i], b[i])
		}
		c.Notes = append(c.Notes, "no capture has the same name on both sides: they are compared in their order")
		return
	}
	for _, m := range b {
		name := captureName(m)
		if len(left[name]) == 0 {
			c.OnlyB = append(c.OnlyB, name)
			continue
		}
		pair(name, left[name][0], m)
		left[name] = left[name][1:]
	}
	for _, m := range a {
		if name := captureName(m); len(left[name]) > 0 {
			c.OnlyA = append(c.OnlyA, name)
			left[name] = left[name][1:]
		}
	}
}

func field[T any](m map[string]json.RawMessage, key string) T {
	var v T
	_ = json.Unmarshal(m[key], &v) // absent or null: the zero value
	return v
}

// figureIn reads a figure of a capture's object by its key in the register: at the
// top level, "object.key" or "list.id.key". It is nil when it was not measured.
func figureIn(m map[string]json.RawMessage, key string) *float64 {
	at, rest, nested := strings.Cut(key, ".")
	if !nested {
		return field[*float64](m, key)
	}
	id, last, inList := strings.Cut(rest, ".")
	if !inList {
		return field[*float64](field[map[string]json.RawMessage](m, at), rest)
	}
	for _, x := range field[[]map[string]json.RawMessage](m, at) {
		if field[string](x, "id") == id {
			return field[*float64](x, last)
		}
	}
	return nil
}

func (c *Comparison) compareCaptures(a, b map[string]json.RawMessage) {
	ua, ub := field[map[string]float64](a, "uncertainty"), field[map[string]float64](b, "uncertainty")
	ba := newBounds(field[[]string](a, "lower_bounds"), field[[]string](a, "upper_bounds"))
	bb := newBounds(field[[]string](b, "lower_bounds"), field[[]string](b, "upper_bounds"))
	for _, row := range analysis.Register() {
		if !row.Shown(figure.Compare) {
			continue
		}
		before, after := figureIn(a, row.Key), figureIn(b, row.Key)
		if before != nil || after != nil {
			c.Changes = append(c.Changes, change(row.Key, row.Name, row.Unit, before, after, ua[row.Key], ub[row.Key]).bounded(ba[row.Key], bb[row.Key]))
		}
	}
	c.unlike(a, b)
	for i, side := range []map[string]json.RawMessage{a, b} {
		if s := field[*densityCurve](side, "spectrum"); s != nil && field[bool](side, "calibrated") {
			c.curves[i] = append(c.curves[i], *s)
		}
	}
}

// couplingWord is "AC" for the document's "ac".
func couplingWord(s string) string {
	if s == "ac" || s == "dc" {
		return strings.ToUpper(s)
	}
	return s
}

// unlike notes what makes a before and an after hard to compare.
func (c *Comparison) unlike(a, b map[string]json.RawMessage) {
	for _, f := range []struct {
		key, what, unit string
		ratio           float64 // told apart from this ratio on
	}{{"span_high_hz", "highest frequency", "Hz", 1.2}, {"load_a", "load", "A", 1.05}, {"duration_s", "record", "s", 2}} {
		x, y := field[float64](a, f.key), field[float64](b, f.key)
		if x > 0 && y > 0 && (x/y > f.ratio || y/x > f.ratio) {
			c.Notes = append(c.Notes, fmt.Sprintf("the captures differ in %s: %s before, %s after", f.what, eng(x, f.unit), eng(y, f.unit)))
		}
	}
	for _, f := range []struct{ key, what string }{{"mode", "mode"}, {"coupling", "coupling"}, {"pp_20mhz_filter", "20 MHz low-pass"}} {
		if x, y := field[string](a, f.key), field[string](b, f.key); x != y && x != "" && y != "" {
			c.Notes = append(c.Notes, fmt.Sprintf("the captures differ in %s: %s before, %s after", f.what, couplingWord(clean(x)), couplingWord(clean(y))))
		}
	}
	if x, y := field[string](a, "sha256"), field[string](b, "sha256"); x != "" && x == y && field[string](a, "channel") == field[string](b, "channel") {
		c.Notes = append(c.Notes, "before and after are the same bytes: one of the two names another file than was meant")
	}
	c.Notes = append(c.Notes, scaleApart(a, b)...)
	c.Notes = append(c.Notes, doubtedAlone(a, b, "before")...)
	c.Notes = append(c.Notes, doubtedAlone(b, a, "after")...)
	if !field[bool](a, "calibrated") || !field[bool](b, "calibrated") {
		c.Notes = append(c.Notes, "a side holds fractions of full scale, not volts; give the volts at full scale to compare volts")
	}
}

// scaleApart doubts two sides whose DC lie a power of ten apart, as a probe factor or a
// unit does: no dropper makes a tenth of a heater supply's volts.
func scaleApart(a, b map[string]json.RawMessage) []string {
	x, y := figureIn(a, "dc_v"), figureIn(b, "dc_v")
	if x == nil || y == nil || *x == 0 || *y == 0 {
		return nil
	}
	decades := math.Log10(math.Abs(*y / *x))
	whole := math.Round(decades)
	if whole == 0 || math.Abs(decades-whole) > decadeOff {
		return nil
	}
	return []string{fmt.Sprintf("the DC is %s before and %s after, about a factor of %.6g: a probe factor or a unit is wrong on one side, and every change in volts is off by %.0f dB", eng(*x, "V"), eng(*y, "V"), math.Pow(10, math.Abs(whole)), 20*math.Abs(whole))}
}

// decadeOff is how far from a whole number of decades two DC values may lie that are
// taken for one: 15 %, as a dropper's or a load's change adds to the slip.
const decadeOff = 0.06

// doubtedAlone are the cautions of one side that the other has not: they move the change,
// where those of both may cancel.
func doubtedAlone(side, other map[string]json.RawMessage, name string) []string {
	type caution struct{ Code, Text string }
	there := map[string]bool{}
	for _, k := range field[[]caution](other, "cautions") {
		there[k.Code] = true
	}
	var notes []string
	for _, k := range field[[]caution](side, "cautions") {
		if !there[k.Code] {
			notes = append(notes, fmt.Sprintf("caution on the %s side alone: %s", name, clean(k.Text)))
		}
	}
	return notes
}

// change words one figure. A change in dB is given for amounts above zero.
func change(key, name, unit string, before, after *float64, ub, ua float64) Change {
	x := Change{Key: key, Name: name, Unit: unit, Before: before, After: after}
	if before == nil || after == nil || !(*before > 0) || !(*after > 0) {
		return x
	}
	db := 20 * math.Log10(*after / *before)
	x.DB = &db
	if ub > 0 && ua > 0 {
		// Independent relative uncertainties add in squares.
		x.UDB = 20 * math.Log10(1+math.Hypot(ub / *before, ua / *after))
	}
	return x
}

func (c *Comparison) compareResults(a, b *resultsFile) {
	c.Invented = a.Invented || b.Invented
	if a.Target.Name != b.Target.Name {
		c.Notes = append(c.Notes, fmt.Sprintf("the targets differ: %s before, %s after; margins and verdicts follow each side's own", clean(a.Target.Name), clean(b.Target.Name)))
	}
	names := map[string]string{}
	for _, l := range b.Target.Limits {
		names[l.Criterion] = clean(l.Name)
	}
	before := map[unitIdentity]*resultsUnit{}
	for i := range a.Units {
		before[a.Units[i].identity()] = &a.Units[i]
	}
	for i := range b.Units {
		after := &b.Units[i]
		was, ok := before[after.identity()]
		if !ok {
			c.OnlyB = append(c.OnlyB, clean(after.Key))
			continue
		}
		delete(before, after.identity())
		c.Units = append(c.Units, unitChange(was, after, names))
	}
	for i := range a.Units {
		if _, left := before[a.Units[i].identity()]; left {
			c.OnlyA = append(c.OnlyA, clean(a.Units[i].Key))
		}
	}
	if len(c.Units) == 1 {
		c.curves = [2][]densityCurve{c.Units[0].curvesBefore, c.Units[0].curvesAfter}
	}
}

// unitIdentity tells units of two reports apart. The key is for people and says
// the same of two units now and then.
type unitIdentity struct{ brand, model, mark string }

func (u *resultsUnit) identity() unitIdentity {
	if u.Brand == "" && u.Model == "" && u.Mark == "" {
		return unitIdentity{brand: u.Key}
	}
	return unitIdentity{u.Brand, u.Model, u.Mark}
}

func unitChange(was, is *resultsUnit, names map[string]string) UnitChange {
	u := UnitChange{Key: clean(is.Key), VerdictBefore: clean(was.Verdict), Verdict: clean(is.Verdict),
		MarginBeforeDB: was.WorstMarginDB, MarginDB: is.WorstMarginDB}
	for _, m := range is.Margins {
		for _, w := range was.Margins {
			if w.Criterion != m.Criterion || w.Figure == nil && m.Figure == nil {
				continue
			}
			name := names[m.Criterion]
			if name == "" {
				name = clean(m.Criterion)
			}
			k := "margins." + m.Criterion
			x := change(m.Criterion, name, clean(m.Unit), w.Figure, m.Figure, was.Uncertainty[k], is.Uncertainty[k])
			u.Changes = append(u.Changes, x.bounded(newBounds(was.LowerBounds, was.UpperBounds)[k], newBounds(is.LowerBounds, is.UpperBounds)[k]))
		}
	}
	for _, x := range was.Captures {
		if x.Spectrum != nil && x.Calibrated {
			u.curvesBefore = append(u.curvesBefore, *x.Spectrum)
		}
	}
	for _, x := range is.Captures {
		if x.Spectrum != nil && x.Calibrated {
			u.curvesAfter = append(u.curvesAfter, *x.Spectrum)
		}
	}
	return u
}
