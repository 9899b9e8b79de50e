package pipeline

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"stillglow/report"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// tree is every file below dir with its bytes, every folder with its mode.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		if e.IsDir() {
			info, err := e.Info()
			if err != nil {
				return err
			}
			out[rel+"/"] = info.Mode().String()
			return nil
		}
		data, err := os.ReadFile(path)
		out[rel] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// sumsOf is a list as sha256sum writes it.
func sumsOf(files map[string]string) string {
	var b bytes.Buffer
	for name, text := range files {
		fmt.Fprintf(&b, "%x  %s\n", sha256.Sum256([]byte(text)), name)
	}
	return b.String()
}

// A folder with a list of sums of its owner's own is no report: nothing in it
// is ever lost, with or without force, whatever the list is called.
func TestAUsersListIsNoReport(t *testing.T) {
	mine := map[string]string{"unit1.csv": "0,1\n", "index.html": "my own page", "raw/unit2.csv": "0,2\n"}
	ours := listOf([]report.File{{Name: "unit1.csv", Bytes: []byte("0,1\n")}})
	for name, list := range map[string]struct{ file, text string }{
		"sha256sum's own":            {"SHA256SUMS", sumsOf(mine)},
		"under our name":             {ListFile, sumsOf(mine)},
		"our head, their lines":      {ListFile, listHead + "\n" + sumsOf(mine)},
		"ours, a line put in":        {ListFile, string(ours.bytes()) + sumsOf(mine)},
		"ours, cut":                  {ListFile, string(ours.bytes()[:len(ours.bytes())-1])},
		"a list that leads outside":  {"SHA256SUMS", sumsOf(map[string]string{"../unit1.csv": "0,1\n"})},
		"a list in a folder of ours": {"plots/SHA256SUMS", sumsOf(mine)},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "bench")
			for file, text := range mine {
				write(t, filepath.Join(dir, filepath.FromSlash(file)), text)
			}
			write(t, filepath.Join(dir, filepath.FromSlash(list.file)), list.text)
			before := tree(t, dir)
			if err := put(dir, someFiles("report"), false); err == nil {
				t.Fatal("written without --force")
			}
			if after := tree(t, dir); fmt.Sprint(after) != fmt.Sprint(before) {
				t.Fatalf("a refused run changed the folder: %v", after)
			}
			for range 3 {
				if err := put(dir, someFiles("report"), true); err != nil {
					t.Fatal(err)
				}
			}
			wantContent(t, filepath.Join(dir, "index.html"), "report")
			after := tree(t, dir)
			for file, text := range before {
				if after[file] != text && after[file+".kept"] != text {
					t.Errorf("%s is lost or changed: %q", file, after[file])
				}
			}
		})
	}
}

// The inputs of the run stay where they are, even where they are files that a
// report wrote.
func TestInputsStay(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	if err := put(dir, someFiles("one"), false); err != nil {
		t.Fatal(err)
	}
	spare := append(someFiles("one"), report.File{Name: "unit.csv", Bytes: []byte("0,1\n")})
	if err := put(dir, spare, false); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Skip(err)
	}
	for _, in := range []string{filepath.Join(dir, "unit.csv"), filepath.Join(link, "unit.csv")} {
		for _, force := range []bool{false, true} {
			_, err := WriteFolder(dir, someFiles("two"), FolderOptions{Force: force, Inputs: []string{in}})
			if (err == nil) != force {
				t.Errorf("%s, force %v: %v", in, force, err)
			}
			wantContent(t, in, "0,1\n")
		}
	}
	// Where the report itself would take its place, not even force helps.
	for _, name := range []string{"index.html", "plots/1-spectrum.svg"} {
		in := filepath.Join(link, filepath.FromSlash(name))
		before := tree(t, dir)
		_, err := WriteFolder(dir, someFiles("three"), FolderOptions{Force: true, Inputs: []string{in}})
		if err == nil || !strings.Contains(err.Error(), filepath.FromSlash(name)) {
			t.Errorf("%s: %v", name, err)
		}
		if after := tree(t, dir); fmt.Sprint(after) != fmt.Sprint(before) {
			t.Errorf("%s: a refused run changed the folder", name)
		}
	}
}

// Force leaves other people's folders, their modes and the folder itself alone.
func TestForceLeavesTheRestAlone(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no modes")
	}
	dir := filepath.Join(t.TempDir(), "bench")
	write(t, filepath.Join(dir, "private", "key"), "secret")
	write(t, filepath.Join(dir, "plots", "mine.png"), "png")
	for _, folder := range []string{"empty", "private/deep/empty"} {
		if err := os.MkdirAll(filepath.Join(dir, folder), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for folder, mode := range map[string]os.FileMode{"": 0o750, "plots": 0o700, "private": 0o700} {
		if err := os.Chmod(filepath.Join(dir, folder), mode); err != nil {
			t.Fatal(err)
		}
	}
	before := tree(t, dir)
	self, err := os.Stat(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"one", "two"} {
		if err := put(dir, someFiles(text), true); err != nil {
			t.Fatal(err)
		}
	}
	after := tree(t, dir)
	for path, was := range before {
		if after[path] != was {
			t.Errorf("%s: %q, was %q", path, after[path], was)
		}
	}
	if now, err := os.Stat(dir); err != nil || !os.SameFile(self, now) {
		t.Errorf("the folder is another one: %v", err)
	}
}

// A folder that is replaced keeps its mode; one without write permission too.
func TestReplacedFolderKeepsItsMode(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no modes")
	}
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	if err := put(dir, someFiles("one"), false); err != nil {
		t.Fatal(err)
	}
	for _, mode := range []os.FileMode{0o700, 0o555} {
		if err := os.Chmod(dir, mode); err != nil {
			t.Fatal(err)
		}
		if err := put(dir, someFiles(mode.String()), false); err != nil {
			t.Fatal(err)
		}
		wantContent(t, filepath.Join(dir, "index.html"), mode.String())
		if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != mode {
			t.Errorf("mode %v, want %v: %v", info.Mode(), mode, err)
		}
		wantOnly(t, parent, "out")
	}
	_ = os.Chmod(dir, 0o755)
}

// The current folder stays the one the shell is in.
func TestWriteIntoTheCurrentFolder(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	here, err := os.Open(".")
	if err != nil {
		t.Fatal(err)
	}
	defer here.Close()
	for _, text := range []string{"one", "two"} {
		if err := put(".", someFiles(text), false); err != nil {
			t.Fatal(err)
		}
		was, err := here.Stat()
		if err != nil {
			t.Fatal(err)
		}
		if now, err := os.Stat(dir); err != nil || !os.SameFile(was, now) {
			t.Fatalf("the folder is another one: %v", err)
		}
		wantContent(t, "index.html", text)
		wantOnly(t, dir, "index.html", "plots", ListFile)
	}
	// Files that the next report hasn't are gone, and folders with them.
	if err := put(".", someFiles("three")[:1], false); err != nil {
		t.Fatal(err)
	}
	wantOnly(t, dir, "index.html", ListFile)
	// A run that was stopped between the two reports left files of both.
	held, err := survey(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	fresh := t.TempDir()
	if err := held.writeList(fresh, listOf(someFiles("four")).and(held.list)); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "plots", "1-spectrum.svg"), "<svg>four</svg>")
	if err := put(".", someFiles("five"), false); err != nil {
		t.Fatal(err)
	}
	wantContent(t, "index.html", "five")
	wantOnly(t, dir, "index.html", "plots", ListFile)
}

// A link in the place of a folder of the report is never followed.
func TestLinksInTheReportsPlace(t *testing.T) {
	elsewhere := t.TempDir()
	dir := filepath.Join(t.TempDir(), "out")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(elsewhere, filepath.Join(dir, "plots")); err != nil {
		t.Skip(err)
	}
	if err := put(dir, someFiles("one"), false); err == nil {
		t.Error("written without --force")
	}
	if err := put(dir, someFiles("one"), true); err != nil {
		t.Fatal(err)
	}
	wantOnly(t, elsewhere)
	wantOnly(t, dir, "index.html", "plots", "plots.kept", ListFile)
}

// A file where a folder is wanted is named in the error.
func TestErrorNamesThePath(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	write(t, file, "")
	for _, dir := range []string{file, filepath.Join(file, "x"), filepath.Join(file, "x", "y")} {
		if err := put(dir, someFiles("x"), true); err == nil || !strings.Contains(err.Error(), dir) {
			t.Errorf("%s: %v", dir, err)
		}
	}
}

// What the user writes or changes in the folder while the report is staged is kept.
func TestFilesThatComeWhileStaging(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	write(t, filepath.Join(dir, "mine.txt"), "mine")
	files := someFiles("one")
	if err := put(dir, files, true); err != nil {
		t.Fatal(err)
	}
	fresh, err := stage(dir+string(filepath.Separator), someFiles("two"))
	if err != nil {
		t.Fatal(err)
	}
	edited, came := filepath.Join(dir, "index.html"), filepath.Join(dir, "results.csv")
	write(t, edited, "edited meanwhile")
	write(t, came, "came meanwhile")
	next := append(someFiles("two"), report.File{Name: "results.csv", Bytes: []byte("two")})
	if err := place(dir, fresh, next, FolderOptions{}); err == nil {
		t.Error("written over what is there without --force")
	}
	if err := os.WriteFile(filepath.Join(fresh, "results.csv"), []byte("two"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := place(dir, fresh, next, FolderOptions{Force: true}); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"index.html.kept": "edited meanwhile", "results.csv.kept": "came meanwhile", "mine.txt": "mine", "results.csv": "two"} {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(got) != want {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
}
