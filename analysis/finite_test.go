package analysis

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"testing"

	"stillglow/analysis/figure"
)

// checkFinite fails on any NaN or infinity anywhere in the measurement, and on
// a figure that is neither known nor says why not.
func checkFinite(t *testing.T, m *Measurement) {
	t.Helper()
	var walk func(path string, v reflect.Value)
	walk = func(path string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Float64:
			if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
				t.Errorf("%s is %v (%d samples)", path, x, m.Samples)
			}
		case reflect.Struct:
			if f, ok := v.Interface().(figure.Figure); ok && !f.Known && f.Missing == "" {
				t.Errorf("%s is not measured without a reason (%d samples)", path, m.Samples)
			}
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(path+"."+v.Type().Field(i).Name, v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(path, v.Index(i))
			}
		case reflect.Pointer:
			if !v.IsNil() {
				walk(path, v.Elem())
			}
		}
	}
	walk("Measurement", reflect.ValueOf(*m))
}

// dump writes every number of a measurement out exactly.
func dump(m *Measurement) string {
	c, own := *m, "" // the map holds pointers, which differ from one to the next
	for _, key := range slices.Sorted(maps.Keys(m.Own)) {
		own += fmt.Sprintf(" %s: %#v", key, *m.Own[key])
	}
	c.Own = nil
	return fmt.Sprintf("%#v", c) + own
}
