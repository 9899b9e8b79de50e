package sheet

import (
	"reflect"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// nearest is the word closest to found by edit distance, "" when none is near
// enough to be meant.
func nearest(found string, words []string) string {
	if len(found) > maxWord {
		return ""
	}
	best, bestD := "", 1<<30
	low := strings.ToLower(found)
	for _, w := range words {
		d := levenshtein.ComputeDistance(low, strings.ToLower(w))
		if d < bestD {
			best, bestD = w, d
		}
	}
	if best == "" || bestD > max(2, min(len(best), len(low))/2) {
		return ""
	}
	return best
}

// keysOf lists the keys a table knows: the table is named by its keys without
// indices.
func keysOf(table []string) []string {
	t := reflect.TypeFor[rawSheet]()
	for _, k := range table {
		f, ok := fieldOf(t, k)
		if !ok {
			return nil
		}
		t = f.Type
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			return nil
		}
	}
	var keys []string
	for i := range t.NumField() {
		keys = append(keys, t.Field(i).Tag.Get("toml"))
	}
	slices.Sort(keys)
	return keys
}

// tablesWith names the tables that have the key, in the order of a sheet: "[heaters]",
// "[[unit]]", "the head of the sheet, above its first [table]".
func tablesWith(key string) []string {
	var found []string
	var walk func(t reflect.Type, path string, many bool)
	walk = func(t reflect.Type, path string, many bool) {
		for i := range t.NumField() {
			f := t.Field(i)
			name := f.Tag.Get("toml")
			if name == key {
				switch {
				case path == "":
					found = append(found, "the head of the sheet, above its first [table]")
				case many:
					found = append(found, "[["+path+"]]")
				default:
					found = append(found, "["+path+"]")
				}
			}
			inner, many := f.Type, false
			for inner.Kind() == reflect.Slice || inner.Kind() == reflect.Pointer {
				many = many || inner.Kind() == reflect.Slice
				inner = inner.Elem()
			}
			if inner.Kind() == reflect.Struct {
				walk(inner, strings.TrimPrefix(path+"."+name, "."), many)
			}
		}
	}
	walk(reflect.TypeFor[rawSheet](), "", false)
	return found
}

func fieldOf(t reflect.Type, key string) (reflect.StructField, bool) {
	for i := range t.NumField() {
		if strings.EqualFold(t.Field(i).Tag.Get("toml"), key) { // as the decoder does
			return t.Field(i), true
		}
	}
	return reflect.StructField{}, false
}
