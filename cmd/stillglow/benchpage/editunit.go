package benchpage

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"stillglow/capture/sheet"
)

// unitOf finds a unit by its name, -1 where there is none.
func unitOf(s *sheet.Sheet, name string) int {
	name = strings.Join(strings.Fields(name), " ")
	return slices.IndexFunc(s.Units, func(u sheet.Unit) bool { return strings.EqualFold(u.Name(), name) })
}

// unitOfParts finds a unit by what a form says of it, as the sheet tells units apart.
// Where no day is said, the last one in the sheet is meant.
func unitOfParts(s *sheet.Sheet, form url.Values) int {
	same := func(a, b string) bool {
		return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
	}
	state, date := cmp.Or(form.Get("state"), sheet.Bare), strings.TrimSpace(form.Get("date"))
	for i, u := range slices.Backward(s.Units) {
		if same(u.Brand, form.Get("brand")) && same(u.Model, form.Get("model")) && same(u.Mark, form.Get("mark")) &&
			u.State == state && (date == "" || u.Date == date) {
			return i
		}
	}
	return -1
}

func unitPath(i int) string { return "unit[" + strconv.Itoa(i) + "]" }

// give puts a capture into a unit, which is made where it is new.
func give(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	brand := strings.Join(strings.Fields(form.Get("brand")), " ")
	if brand == "" {
		return &fieldError{"brand", "a unit without a brand: type one, or \"unbranded\""}
	}
	i := unitOfParts(s, form)
	if i < 0 {
		i = t.Count("unit")
		if err := beginUnit(t, form); err != nil {
			return err
		}
	}
	return move(t, c, unitPath(i)+".capture", form)
}

// beginUnit writes a new unit as a form has it.
func beginUnit(t *sheet.Text, form url.Values) error {
	brand := strings.Join(strings.Fields(form.Get("brand")), " ")
	if brand == "" {
		return &fieldError{"brand", "a unit without a brand: type one, or \"unbranded\""}
	}
	at, err := t.Append("unit", sheet.Fields{{Key: "brand", Value: brand}})
	if err != nil {
		return err
	}
	return fill(t, at, unitFields[1:], bareUnsaid(form))
}

// bareUnsaid leaves out the state that goes without saying.
func bareUnsaid(form url.Values) url.Values {
	if form.Get("state") == sheet.Bare {
		form.Set("state", "")
	}
	return form
}

// newUnit begins a unit that has no capture yet, such as one of which a screen's
// readings are all there is.
func newUnit(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	if unitOfParts(s, form) >= 0 {
		return &fieldError{"mark", "the sheet has this unit already, expected a mark of its own, another state or another day"}
	}
	return beginUnit(t, form)
}

// unitAgain begins the same supply in another state or on another day.
func unitAgain(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	u, state, date := s.Units[i], cmp.Or(form.Get("state"), sheet.Bare), strings.TrimSpace(form.Get("date"))
	for _, o := range s.Units {
		if o.Brand == u.Brand && o.Model == u.Model && o.Mark == u.Mark && o.State == state && o.Date == date {
			return &fieldError{"state", "the sheet has this unit in this state on this day already, expected another state or another day"}
		}
	}
	var same sheet.Fields
	for _, f := range t.Fields(unitPath(i)) {
		if slices.Contains([]string{"brand", "model", "mark", "rated_v", "rated_a", "limit_a", "output_uf"}, f.Key) {
			same = append(same, f)
		}
	}
	at, err := t.Append("unit", same)
	if err != nil {
		return err
	}
	return fill(t, at, []field{{"state", text}, {"date", day}}, bareUnsaid(form))
}

// move takes a capture's table with all its keys somewhere else.
func move(t *sheet.Text, c sheet.Capture, array string, form url.Values) error {
	fields := t.Fields(c.Key)
	if len(fields) == 0 {
		return errGone
	}
	if err := t.Remove(c.Key); err != nil {
		return err
	}
	at, err := t.Append(array, fields)
	if err != nil {
		return err
	}
	return fill(t, at, []field{{"load_a", num}}, form)
}

// giveAll gives every loose capture to the unit that its form names: the fields
// carry the capture's ID behind a dot.
func giveAll(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	given := 0
	for _, id := range form["id"] {
		one := url.Values{"id": {id}}
		for _, k := range []string{"brand", "model", "mark", "state", "date", "load_a"} {
			if form.Has(k + "." + id) {
				one.Set(k, form.Get(k+"."+id))
			}
		}
		if strings.TrimSpace(one.Get("brand")) == "" {
			continue
		}
		if strings.TrimSpace(one.Get("load_a")) == "" {
			one.Set("load_a", form.Get("load_rest"))
		}
		if err := give(b, t, s, one); err != nil {
			return err
		}
		var err error
		if s, err = t.Sheet(b.file.Path()); err != nil {
			return err
		}
		given++
	}
	if given == 0 {
		return &fieldError{"brand", "no capture has a brand typed beside it"}
	}
	return nil
}

// takeBack makes a unit's capture loose again.
func takeBack(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	return move(t, c, "capture", nil)
}

// editUnit changes a unit's label; with "all" its rating is that of every other one
// of its brand and model.
func editUnit(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	if form.Has("brand") && strings.TrimSpace(form.Get("brand")) == "" {
		return &fieldError{"brand", "a unit without a brand: type one, or \"unbranded\""}
	}
	if form.Get("all") != "" {
		for _, k := range alikeUnits(s, i) {
			if err := fill(t, unitPath(k), ratingFields, form); err != nil {
				return err
			}
		}
	}
	if form.Get("state") == s.Units[i].State {
		form.Del("state") // as it is written, or goes without saying
	}
	if err := fill(t, unitPath(i), unitFields, bareUnsaid(form)); err != nil {
		return err
	}
	after, err := t.Sheet(b.file.Path())
	if err != nil {
		return err
	}
	b.renamed(s.Units[i].Name(), after.Units[i].Name())
	return nil
}

// alikeUnits lists the other units of a unit's brand and model.
func alikeUnits(s *sheet.Sheet, i int) (others []int) {
	for k, u := range s.Units {
		if k != i && strings.EqualFold(u.Brand, s.Units[i].Brand) && strings.EqualFold(u.Model, s.Units[i].Model) {
			others = append(others, k)
		}
	}
	return others
}

// removeUnit takes a unit away; its captures become loose.
func removeUnit(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	for range s.Units[i].Captures {
		now, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		if err := move(t, now.Units[i].Captures[0], "capture", nil); err != nil {
			return err
		}
	}
	return t.Remove(unitPath(i))
}

func addReading(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	load, err := numberOf("load_a", form.Get("load_a"))
	if err != nil {
		return &fieldError{"load_a", "load: " + err.Error()}
	}
	v, err := numberOf("v", form.Get("v"))
	if err != nil {
		return &fieldError{"v", "volts: " + err.Error()}
	}
	_, err = appendTo(t, unitPath(i)+".readings", sheet.Fields{{Key: "load_a", Value: load}, {Key: "v", Value: v}})
	return err
}

// appendTo begins an inline array where there is none.
func appendTo(t *sheet.Text, array string, fields sheet.Fields) (string, error) {
	if !t.Has(array) && t.Count(array) == 0 {
		return array + "[0]", t.Set(array, []sheet.Fields{fields})
	}
	return t.Append(array, fields)
}

func removeReading(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	n, err := strconv.Atoi(form.Get("n"))
	if i < 0 || err != nil || n < 0 || n >= len(s.Units[i].Readings) {
		return errGone
	}
	array := unitPath(i) + ".readings"
	if len(s.Units[i].Readings) == 1 && t.Has(array) {
		return t.Remove(array)
	}
	return t.Remove(array + "[" + strconv.Itoa(n) + "]")
}
