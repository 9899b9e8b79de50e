package analysis

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// mayImport are the arrows between the project's packages, as the contributor guide
// draws them: what each may import beside libraries. Nothing flows back.
var mayImport = map[string][]string{
	"capture":                 {},
	"capture/sheet":           {"capture"},
	"capture/synth":           {"capture"},
	"capture/synth/demobench": {"capture/synth"},
	"capture/synth/testrun":   {},

	"analysis/figure":             {},
	"analysis/spectrum":           {"analysis/figure", "analysis/internal/spare", "capture"},
	"analysis/cycle":              {"analysis/figure", "analysis/internal/spare", "analysis/spectrum", "capture"},
	"analysis/spike":              {"analysis/figure", "analysis/spectrum", "analysis/cycle", "capture"},
	"analysis/bandlimit":          {"analysis/spectrum"},
	"analysis":                    {"analysis/figure", "analysis/spectrum", "analysis/cycle", "analysis/spike", "analysis/bandlimit", "capture"},
	"analysis/internal/reference": {},
	"analysis/internal/spare":     {},
	"analysis/heater":             {},
	"analysis/target":             {"analysis", "analysis/figure", "analysis/spectrum", "analysis/cycle", "capture"},
	"analysis/filter":             {"analysis", "analysis/figure", "analysis/spectrum", "analysis/cycle", "analysis/target", "analysis/heater", "capture"},

	"report/pool": {},

	"report/canvas": {"capture"},
	"report": {"analysis", "analysis/figure", "analysis/spectrum", "analysis/cycle", "analysis/spike", "analysis/target", "analysis/filter",
		"analysis/heater", "capture", "report/pool", "report/canvas"},

	"cmd/stillglow/pipeline":  {"analysis", "analysis/bandlimit", "analysis/target", "analysis/filter", "analysis/heater", "capture", "capture/sheet", "report/pool", "report"},
	"cmd/stillglow/benchpage": {"analysis", "analysis/target", "analysis/filter", "analysis/heater", "capture", "capture/sheet", "report", "cmd/stillglow/pipeline"},
	"cmd/stillglow": {"analysis", "analysis/bandlimit", "analysis/target", "analysis/filter", "analysis/heater", "capture", "capture/sheet",
		"capture/synth/demobench", "report", "cmd/stillglow/pipeline", "cmd/stillglow/benchpage"},
}

// Every package imports what the table allows and nothing else of the project. No
// cycle is worked around by an interface: the one that the rooms of analysis share is
// spectrum.Source, which trace, residue and gate implement.
func TestImportsPointOneWay(t *testing.T) {
	const module = "stillglow/"
	root := ".."
	seen := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root || d.Name() == "testdata" {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		from, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		from = filepath.ToSlash(from)
		allowed, known := mayImport[from]
		if !known && !seen[from] {
			t.Errorf("package %s is not in the table", from)
		}
		seen[from] = true
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		for _, i := range f.Imports {
			to, ours := strings.CutPrefix(strings.Trim(i.Path.Value, `"`), module)
			if ours && !slices.Contains(allowed, to) {
				t.Errorf("%s imports %s", path, to)
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.TypeSpec); ok && strings.HasPrefix(from, "analysis") {
				if _, is := s.Type.(*ast.InterfaceType); is && s.Name.Name != "Source" {
					t.Errorf("%s: interface %s: who implements it twice?", path, s.Name.Name)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range slices.Sorted(maps.Keys(mayImport)) {
		if !seen[p] {
			t.Errorf("package %s is in the table only", p)
		}
	}
}
