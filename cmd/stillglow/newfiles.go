package main

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/capture/sheet"
)

// newUnit is one unit of a sheet that "new" writes.
type newUnit struct {
	brand, model, mark string
	state, date        string // as the sheet has them, "" where the names tell none
	captures           []newCapture
}

// newCapture is a file of a unit.
type newCapture struct {
	file  string
	loadA float64
}

// sortedFiles is what became of the captures that lie beside the sheet.
type sortedFiles struct {
	units     []newUnit
	baselines []string
	loose     []string // captures for sure whose names tell no unit
}

// capturesBeside lists the captures in the sheet's folder by name, nil when it
// can't be read.
func capturesBeside(sheetPath string) []string {
	const most = 2000
	entries, err := os.ReadDir(filepath.Dir(sheetPath))
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		if e.Type().IsRegular() && sheet.CaptureName(e.Name()) && len(out) < most {
			out = append(out, e.Name())
		}
	}
	return out
}

// brandsFound are the brands that the files' names tell, with commas between.
func (f *newFlags) brandsFound() string {
	var brands []string
	for _, file := range f.files {
		g := sheet.GuessFrom(file, nil)
		known := slices.ContainsFunc(brands, func(b string) bool { return strings.EqualFold(b, g.Brand) })
		if !g.Baseline && g.Mark != "" && len(g.Brand) > 2 && !known && !strings.ContainsAny(g.Brand, "0123456789,") {
			brands = append(brands, g.Brand)
		}
	}
	return strings.Join(brands, ", ")
}

// sort gives the files to units of the brands that were answered: one for each
// brand and mark that a name tells.
func (f *newFlags) sort() sortedFiles {
	var out sortedFiles
	brands := listed(f.brand)
	var known []sheet.Unit
	for _, b := range brands {
		known = append(known, sheet.Unit{Brand: b})
	}
	loadA, _ := leadingNumber(f.loadA)
	for _, file := range f.files {
		g := sheet.GuessFrom(file, known)
		at := slices.IndexFunc(brands, func(b string) bool { return strings.EqualFold(b, g.Brand) })
		if at < 0 && len(brands) == 1 && !g.Baseline { // the one brand's name is left out of its files'
			g = sheet.GuessFrom(brands[0]+"-"+file, known)
			at = 0
		}
		if g.Baseline {
			out.baselines = append(out.baselines, file)
			continue
		}
		if at < 0 || g.Mark == "" {
			if sheet.OnlyCapture(file) {
				out.loose = append(out.loose, file)
			}
			continue
		}
		model := g.Model
		if given := f.modelOf(at); given != "" {
			model = given
		}
		c := newCapture{file, loadA}
		if amps, ok := ampsOf(g.LoadA); ok {
			c.loadA = amps
		}
		k := slices.IndexFunc(out.units, func(u newUnit) bool {
			return u.brand == brands[at] && strings.EqualFold(u.mark, g.Mark) && u.state == stateKey(g.State) && u.date == g.Date
		})
		if k < 0 {
			out.units = append(out.units, newUnit{brand: brands[at], model: model, mark: g.Mark, state: stateKey(g.State), date: g.Date})
			k = len(out.units) - 1
		}
		u := &out.units[k]
		if u.model != model { // a word that only one file has is no model
			u.model = ""
		}
		u.captures = append(u.captures, c)
	}
	slices.SortStableFunc(out.units, func(a, b newUnit) int {
		return slices.Index(brands, a.brand) - slices.Index(brands, b.brand)
	})
	return out
}

// stateKey is a state as a sheet is given it: bare goes without saying.
func stateKey(state string) string {
	if state == sheet.Bare {
		return ""
	}
	return state
}

// modelOf is the model answered for a brand, by its place; "" when none is.
func (f *newFlags) modelOf(brand int) string {
	models := listed(f.model)
	switch {
	case len(models) == 1:
		return models[0]
	case brand < len(models):
		return models[brand]
	}
	return ""
}

// unitsToCount reports whether a brand has no files that show how many units it has.
func (f *newFlags) unitsToCount() bool {
	got := f.sort()
	return slices.ContainsFunc(listed(f.brand), func(b string) bool { return !got.has(b) })
}

func (s *sortedFiles) has(brand string) bool {
	return slices.ContainsFunc(s.units, func(u newUnit) bool { return u.brand == brand })
}

// allUnits are the units of the files, and those of the brands without any.
func (f *newFlags) allUnits(got sortedFiles) []newUnit {
	n, _ := strconv.Atoi(f.units)
	var out []newUnit
	for at, brand := range listed(f.brand) {
		if !got.has(brand) {
			for i := range max(1, n) {
				out = append(out, newUnit{brand: brand, model: f.modelOf(at), mark: strconv.Itoa(i + 1)})
			}
			continue
		}
		for _, u := range got.units {
			if u.brand == brand {
				out = append(out, u)
			}
		}
	}
	return out
}

// heaterAmps is the heaters' summed current, from the valves that were answered.
func (f *newFlags) heaterAmps() string {
	load, err := heater.ParseLoad(f.valves, nil)
	if err != nil {
		return ""
	}
	return strconv.FormatFloat(load.NominalA(), 'f', 2, 64)
}

// ampsOf reads "0.94 A" and "940 mA".
func ampsOf(s string) (float64, bool) {
	words := strings.Fields(s)
	if len(words) != 2 {
		return 0, false
	}
	v, err := finite(words[0])
	if words[1] == "mA" || words[1] == "MA" {
		v /= 1000
	}
	return v, err == nil
}

// pattern is what "watch" and the others find files by, with the gap that the
// files have between brand and mark.
func (s *sortedFiles) pattern() string {
	under := 0
	for _, u := range s.units {
		for _, c := range u.captures {
			under += strings.Count(c.file, "_") - strings.Count(c.file, "-")
		}
	}
	if under > 0 {
		return "{brand}_{mark}_{rest}.csv"
	}
	return "{brand}-{mark}-{rest}.csv"
}
