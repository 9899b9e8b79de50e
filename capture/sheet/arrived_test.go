package sheet

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

const arrivedSheet = `pattern = "{brand}-{mark}-{rest}.csv"
[instrument]
coupling = "ac"
[[unit]]
brand = "Alder Vale"
mark = "A1"
capture = [{ file = "alder-vale-a1-named.csv" }]
[[unit]]
brand = "Alder Vale"
mark = "A2"
[[capture]]
file = "alder-vale-a2-loose.csv"
`

// Files beside a sheet go to the unit whose words they bear, scope's and sound
// card's alike; what is named already, is a baseline, or fits nothing does not.
func TestTakeMatching(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"alder-vale-a1-named.csv", "alder-vale-a2-loose.csv",
		"alder-vale-a1-fast.csv", "aldervale-a1-card.WAV", "Alder_Vale-A2-slow.csv.gz", "alder vale-a2-slow.txt",
		"alder-vale-a2-baseline.csv", "alder-vale-a2-supply-off.csv", "alder-vale-a3-fast.csv", "notes.pdf", "alder-vale-a1-photo.png"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("1\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "alder-vale-a1-folder.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(t.TempDir(), "scope-7.csv")
	if err := os.WriteFile(outside, []byte("1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{"alder-vale-a1-linked.csv": outside, "alder-vale-a1-nowhere.csv": outside + "x", "alder-vale-a1-loop.csv": "alder-vale-a1-loop.csv"} {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Skip(err)
		}
	}
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, []byte(arrivedSheet), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	for _, c := range []struct{ sheet, folder string }{{path, ""}, {"bench.toml", ""}, {path, dir}, {"bench.toml", "."}} {
		s, err := Read(c.sheet)
		if err != nil {
			t.Fatal(err)
		}
		left, err := s.TakeMatching(c.folder)
		if err != nil {
			t.Fatal(err)
		}
		var got [2][]string
		for i, u := range s.Units {
			for _, cp := range u.Captures {
				got[i] = append(got[i], cp.File)
			}
			slices.Sort(got[i])
		}
		if want := []string{"alder-vale-a1-fast.csv", "alder-vale-a1-linked.csv", "alder-vale-a1-named.csv", "aldervale-a1-card.WAV"}; !slices.Equal(got[0], want) {
			t.Errorf("%v: A1 has %q, want %q", c, got[0], want)
		}
		if want := []string{"Alder_Vale-A2-slow.csv.gz", "alder vale-a2-slow.txt"}; !slices.Equal(got[1], want) {
			t.Errorf("%v: A2 has %q, want %q", c, got[1], want)
		}
		if want := []string{"alder-vale-a3-fast.csv"}; !slices.Equal(left.Names, want) {
			t.Errorf("%v: left %q, want %q", c, left.Names, want)
		}
		if want := []string{"alder-vale-a2-baseline.csv", "alder-vale-a2-supply-off.csv"}; !slices.Equal(left.Baselines, want) {
			t.Errorf("%v: baselines %q, want %q", c, left.Baselines, want)
		}
		if c := s.Units[0].Captures; c[1].Options.Coupling == "" {
			t.Errorf("%+v: without the instrument's coupling", c[1])
		}
	}
	// From another folder the same files, by a path that reads from here.
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	other := t.TempDir()
	if err := os.WriteFile(filepath.Join(other, "alder-vale-a2-x.csv"), []byte("1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := s.TakeMatching(other); err != nil || len(s.Units[1].Captures) != 1 || len(s.Units[0].Captures) != 1 {
		t.Errorf("from another folder: %v, %+v", err, s.Units)
	}
	if _, err := s.TakeMatching(filepath.Join(other, "gone")); err == nil {
		t.Error("no folder, and no error")
	}
}
