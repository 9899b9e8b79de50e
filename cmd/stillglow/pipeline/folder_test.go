package pipeline

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/report"
)

func someFiles(text string) []report.File {
	return []report.File{
		{Name: "index.html", Bytes: []byte(text)},
		{Name: "plots/1-spectrum.svg", Bytes: []byte("<svg>" + text + "</svg>")},
	}
}

// put writes a report without inputs; notes are errors.
func put(dir string, files []report.File, force bool) error {
	notes, err := WriteFolder(dir, files, FolderOptions{Force: force})
	if err == nil && len(notes) > 0 {
		err = errors.New(notes[0])
	}
	return err
}

func wantContent(t *testing.T, path, want string) {
	t.Helper()
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Errorf("%s holds %q, want %q", path, got, want)
	}
}

func wantOnly(t *testing.T, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("%s holds %q, want %q", dir, got, want)
	}
}

func TestWriteFolderReplacesItsOwn(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	for _, text := range []string{"one", "two"} {
		if err := put(dir, someFiles(text), false); err != nil {
			t.Fatal(err)
		}
		wantContent(t, filepath.Join(dir, "index.html"), text)
		wantOnly(t, parent, "out")
		wantOnly(t, dir, "index.html", "plots", ListFile)
	}
}

func TestWriteFolderRefusesOthersFiles(t *testing.T) {
	for name, prepare := range map[string]func(dir string) (path, text string){
		"a capture of somebody": func(dir string) (string, string) { return filepath.Join(dir, "unit3.csv"), "0,1\n" },
		"a report file edited":  func(dir string) (string, string) { return filepath.Join(dir, "index.html"), "my notes" },
		"a file in a subfolder": func(dir string) (string, string) { return filepath.Join(dir, "plots", "mine.png"), "png" },
	} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "out")
			if err := put(dir, someFiles("one"), false); err != nil {
				t.Fatal(err)
			}
			path, text := prepare(dir)
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			err := put(dir, someFiles("two"), false)
			if err == nil || !strings.Contains(err.Error(), "--force") || strings.Contains(err.Error(), "\n") {
				t.Fatalf("want one line that names --force, got %v", err)
			}
			wantContent(t, path, text)
			wantContent(t, filepath.Join(dir, "plots/1-spectrum.svg"), "<svg>one</svg>")
			wantOnly(t, parent, "out")

			if err := put(dir, someFiles("two"), true); err != nil {
				t.Fatal(err)
			}
			wantContent(t, filepath.Join(dir, "index.html"), "two")
			if filepath.Base(path) == "index.html" {
				path += ".kept"
			}
			wantContent(t, path, text)
			wantOnly(t, parent, "out")
		})
	}
}

func TestWriteFolderStaysInside(t *testing.T) {
	parent := t.TempDir()
	for _, name := range []string{"../evil", "/evil", "plots/../../evil", ""} {
		err := put(filepath.Join(parent, "out"), []report.File{{Name: name, Bytes: []byte("x")}}, true)
		if err == nil {
			t.Errorf("%q was written", name)
		}
	}
	wantOnly(t, parent)
}

func TestWriteFolderOddPlaces(t *testing.T) {
	parent := t.TempDir()
	file := filepath.Join(parent, "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	dangling := filepath.Join(parent, "dangling")
	if err := os.Symlink(filepath.Join(parent, "nowhere"), dangling); err != nil {
		t.Skip(err)
	}
	for _, dir := range []string{file, dangling, filepath.Join(file, "sub")} {
		if err := put(dir, someFiles("x"), true); err == nil {
			t.Errorf("%s was written", dir)
		}
	}
	// A link to a folder stays a link.
	real := filepath.Join(parent, "real")
	link := filepath.Join(parent, "link")
	if err := os.Mkdir(real, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(real, link); err != nil {
		t.Fatal(err)
	}
	if err := put(link, someFiles("x"), false); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v %v", info, err)
	}
	wantContent(t, filepath.Join(real, "index.html"), "x")
}

// A run that dies leaves a working folder; the next run clears it, and where
// the report itself is missing puts the old one back first. A folder that only
// looks like a leftover keeps what is in it.
func TestWriteFolderAfterAKill(t *testing.T) {
	const dead = "999999999"
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	if err := put(dir, someFiles("one"), false); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(dir, filepath.Join(parent, ".out.stillglow-old-"+dead+"-1")); err != nil {
		t.Fatal(err)
	}
	killed, err := stage(filepath.Join(parent, ".out"), someFiles("half"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(killed, "index.html"), 1); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(killed, filepath.Join(parent, ".out.stillglow-new-"+dead+"-2")); err != nil {
		t.Fatal(err)
	}
	someones := filepath.Join(parent, ".out.stillglow-new-"+dead+"-3")
	write(t, filepath.Join(someones, "mine.csv"), "0,1\n")
	sweepLeftovers(dir)
	wantContent(t, filepath.Join(dir, "index.html"), "one")
	wantContent(t, filepath.Join(someones, "mine.csv"), "0,1\n")
	wantOnly(t, parent, filepath.Base(someones), "out")
}

func TestSwapByTwoRenames(t *testing.T) {
	parent := t.TempDir()
	for i, text := range []string{"one", "two"} {
		fresh := filepath.Join(parent, "fresh")
		if err := os.Mkdir(fresh, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := writeSynced(filepath.Join(fresh, "f"), []byte(text)); err != nil {
			t.Fatal(err)
		}
		old, err := swapByTwoRenames(fresh, filepath.Join(parent, "out"), filepath.Join(parent, "aside"))
		if err != nil {
			t.Fatal(err)
		}
		wantContent(t, filepath.Join(parent, "out", "f"), text)
		if i == 1 {
			wantContent(t, filepath.Join(old, "f"), "one")
		} else if old != "" {
			t.Errorf("old folder %q where there was none", old)
		}
	}
}
