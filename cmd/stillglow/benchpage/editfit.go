package benchpage

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/capture/sheet"
)

func editHeaters(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "heaters", heaterFields, form)
}

// ownValves are the sheet's own valves as the heater room knows them.
func ownValves(s *sheet.Sheet) []heater.Valve {
	var own []heater.Valve
	for _, v := range s.Heaters.OwnValves {
		own = append(own, heater.Valve{Type: v.Type, Volts: v.Volts, Amps: v.Amps, CentreTapped: v.CentreTapped, Pins: v.Pins, Base: v.Base, Source: v.Source})
	}
	return own
}

func addValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	valve, err := heater.Lookup(form.Get("type"), ownValves(s))
	if err != nil {
		return &fieldError{"type", err.Error()}
	}
	if !form.Has("count") {
		form.Set("count", "1")
	}
	at, err := t.Append("heaters.valve", sheet.Fields{{Key: "type", Value: valve.Type}})
	if err != nil {
		return err
	}
	return fill(t, at, valveFields[1:], form)
}

func valveAt(s *sheet.Sheet, form url.Values) (string, error) {
	n, err := strconv.Atoi(form.Get("n"))
	if err != nil || n < 0 || n >= len(s.Heaters.Groups) || s.Heaters.Groups[n].Type != form.Get("was") {
		return "", errGone
	}
	return "heaters.valve[" + strconv.Itoa(n) + "]", nil
}

func changeValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	at, err := valveAt(s, form)
	if err != nil {
		return err
	}
	return fill(t, at, valveFields[1:], form)
}

func removeValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	at, err := valveAt(s, form)
	if err != nil {
		return err
	}
	return t.Remove(at)
}

func addOwnValve(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	name := strings.TrimSpace(form.Get("type"))
	if name == "" {
		return &fieldError{"type", "a valve without a name, expected its type"}
	}
	at, err := t.Append("heaters.own_valve", sheet.Fields{{Key: "type", Value: name}})
	if err != nil {
		return err
	}
	return fill(t, at, ownFields[1:], form)
}

// tryFilter shows what a circuit would leave of a unit. It is no part of the sheet,
// and is kept beside it.
func tryFilter(b *bench, _ *sheet.Text, s *sheet.Sheet, form url.Values) error {
	name := form.Get("unit")
	if unitOf(s, name) < 0 {
		return errGone
	}
	c, err := circuitOf(form)
	if err != nil {
		return err
	}
	typed := map[string]string{}
	for _, k := range filterFields {
		typed[k] = form.Get(k)
	}
	b.try(name, &tried{circuit: c, typed: typed})
	return nil
}

// filterFields are the fields of the form that tries a post-filter.
var filterFields = []string{"topology", "r_ohm", "l_uh", "c_uf", "kind"}

// try takes up a circuit for a unit, nil none.
func (b *bench) try(unit string, t *tried) {
	b.mu.Lock()
	if t == nil {
		delete(b.tried, unit)
	} else {
		if old := b.tried[unit]; old != nil {
			t.parts = old.parts // shown until the new ones are there
		}
		b.tried[unit] = t
	}
	b.mu.Unlock()
	b.hub.changed("fit")
	b.keep()
}

func forgetFilter(b *bench, _ *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	b.try(form.Get("unit"), nil)
	return nil
}

// leastPart are the least capacitor in µF and coil in µH that a post-filter has: less was
// typed in farads or henries.
var leastPart = map[string]float64{"c_uf": 1e-2, "l_uh": 1e-3}

// circuitOf reads the parts of a post-filter with their usual parasitics.
func circuitOf(form url.Values) (filter.Circuit, error) {
	c := filter.Circuit{Topology: filter.Topology(form.Get("topology"))}
	part := func(key string, scale float64) (float64, error) {
		v, err := numberOf(key, form.Get(key))
		if err != nil || v <= 0 {
			return 0, &fieldError{key, fmt.Sprintf("found %q, expected a number over 0", form.Get(key))}
		}
		if least := leastPart[key]; v < least {
			return 0, &fieldError{key, fmt.Sprintf("found %q, expected %g or more", form.Get(key), least)}
		}
		return v * scale, nil
	}
	farads, err := part("c_uf", 1e-6)
	if err != nil {
		return c, err
	}
	if c.C1, err = filter.NewCapacitor(form.Get("kind"), farads); err != nil {
		return c, &fieldError{"kind", err.Error()}
	}
	if form.Get("r_ohm") != "" {
		if c.ROhm, err = part("r_ohm", 1); err != nil {
			return c, err
		}
	}
	if c.Topology != filter.RC {
		henries, err := part("l_uh", 1e-6)
		if err != nil {
			return c, err
		}
		if c.L, err = filter.NewInductor(henries); err != nil {
			return c, &fieldError{"l_uh", err.Error()}
		}
	}
	if c.Topology == filter.CLC {
		c.C2 = c.C1
	}
	return c, nil
}
