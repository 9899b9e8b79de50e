package benchpage

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"
	"unicode"
	"unicode/utf8"

	"stillglow/cmd/stillglow/pipeline"
)

const (
	capturesDir   = "captures" // beside the sheet
	arriving      = ".arriving-"
	longestName   = 200             // bytes of a file's name
	deadUploadAge = 2 * time.Minute // an upload that has not grown for so long was left by a killed server
)

// A storeError tells why a dropped file is not kept.
type storeError struct {
	status int // of HTTP
	text   string
}

func (e *storeError) Error() string { return e.text }

// store keeps dropped files in the captures folder of a bench. It never writes
// over a file: the same bytes are recognised, the same name with other bytes gets
// a number. All access goes through root, which no name leads out of.
type store struct {
	root *os.Root // the bench folder
	most int64    // bytes of one file

	mu   sync.Mutex // held while a file is given its name
	sums map[string]summed
}

// summed is a file's hash as long as size and time stand.
type summed struct {
	size int64
	mod  time.Time
	sum  string
}

// stored is one kept file.
type stored struct {
	Name string // in the captures folder
	Same bool   // these bytes were there already, under this name
}

func newStore(root *os.Root, most int64) *store {
	return &store{root: root, most: most, sums: map[string]summed{}}
}

// device are the names that Windows keeps for devices, whatever ending they have.
var device = regexp.MustCompile(`(?i)^(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])[ ]*(\.|$)`)

// checkName refuses names that are not one plain file's on every system. Nothing
// is mended: a mended name would surprise its owner.
func checkName(name string) error {
	bad := func(found string) error {
		return &storeError{400, fmt.Sprintf("file name %q: found %s, expected a plain file name", name, found)}
	}
	switch {
	case name == "":
		return bad("nothing")
	case len(name) > longestName:
		return &storeError{400, fmt.Sprintf("a file name of %d bytes, expected at most %d", len(name), longestName)}
	case !utf8.ValidString(name):
		return bad("bytes that are not UTF-8")
	case name[0] == '.' || strings.HasSuffix(name, ".") || strings.TrimSpace(name) != name:
		return bad("a dot or a blank at its end")
	}
	if device.MatchString(name) {
		return bad("the name of a Windows device")
	}
	for _, r := range name {
		if strings.ContainsRune(`/\<>:"|?*`, r) || !unicode.IsPrint(r) {
			return bad(fmt.Sprintf("%q", r))
		}
	}
	return nil
}

// put keeps what r gives under a name. The file is there whole or not at all.
func (s *store) put(name string, r io.Reader) (stored, error) {
	if err := checkName(name); err != nil {
		return stored{}, err
	}
	if err := s.root.Mkdir(capturesDir, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return stored{}, cannotKeep(name, err)
	}
	tmp := path.Join(capturesDir, arriving+rand.Text())
	f, err := s.root.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return stored{}, cannotKeep(name, err)
	}
	defer func() { _ = s.root.Remove(tmp) }() // the name given is another link
	hash := sha256.New()
	n, err := io.Copy(io.MultiWriter(f, hash), io.LimitReader(r, s.most+1))
	if err == nil && n <= s.most {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	switch {
	case err != nil:
		return stored{}, cannotKeep(name, err)
	case n > s.most:
		return stored{}, tooLarge(name, s.most)
	case n == 0:
		return stored{}, &storeError{400, fmt.Sprintf("%s: an empty file, expected a capture", name)}
	}
	return s.place(tmp, name, n, hex.EncodeToString(hash.Sum(nil)))
}

func tooLarge(name string, most int64) error {
	return &storeError{413, fmt.Sprintf("%s: more than %d MB, expected a capture of one unit", name, most/1e6)}
}

func cannotKeep(name string, err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	fix := "drop it again"
	switch {
	case errors.Is(err, syscall.ENOSPC):
		fix = "free some space on the disk and drop it again"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		fix = "check that you can write to the bench folder, and drop it again"
	}
	return &storeError{500, fmt.Sprintf("%s: cannot be kept: %v; %s", name, err, fix)}
}

// place gives a whole file its name.
func (s *store) place(tmp, name string, size int64, sum string) (stored, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if same, ok := s.find(size, sum); ok {
		return stored{Name: same, Same: true}, nil
	}
	stem, ending := splitEnding(name)
	for k := 1; k < 10000; k++ {
		given := name
		if k > 1 {
			given = fmt.Sprintf("%s-%d%s", stem, k, ending)
		}
		err := s.link(tmp, path.Join(capturesDir, given))
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return stored{}, cannotKeep(name, err)
		}
		s.syncFolder()
		if info, err := s.root.Stat(path.Join(capturesDir, given)); err == nil {
			s.sums[given] = summed{info.Size(), info.ModTime(), sum}
		}
		return stored{Name: given}, nil
	}
	return stored{}, &storeError{500, fmt.Sprintf("%s: too many files of this name", name)}
}

// link gives a file a second name that must be free; where the file system has
// no links, an empty file holds the name until the other is moved over it.
func (s *store) link(from, to string) error {
	err := s.root.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	f, err := s.root.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), s.root.Rename(from, to))
}

// splitEnding keeps both parts of ".csv.gz" together.
func splitEnding(name string) (stem, ending string) {
	ending = path.Ext(name)
	if strings.EqualFold(ending, ".gz") {
		ending = path.Ext(strings.TrimSuffix(name, ending)) + ending
	}
	return strings.TrimSuffix(name, ending), ending
}

// find looks for a kept file of these bytes.
func (s *store) find(size int64, sum string) (name string, ok bool) {
	for _, f := range s.list() {
		if f.Size() != size {
			continue
		}
		if known, ok := s.sums[f.Name()]; !ok || known.size != size || !known.mod.Equal(f.ModTime()) {
			got, err := s.sum(f.Name())
			if err != nil {
				continue
			}
			s.sums[f.Name()] = summed{size, f.ModTime(), got}
		}
		if s.sums[f.Name()].sum == sum {
			return f.Name(), true
		}
	}
	return "", false
}

func (s *store) sum(name string) (string, error) {
	f, err := s.root.Open(path.Join(capturesDir, name))
	if err != nil {
		return "", err
	}
	defer f.Close()
	return pipeline.Sum(f)
}

// list gives the kept files by name, hidden ones left out.
func (s *store) list() []fs.FileInfo {
	entries, err := fs.ReadDir(s.root.FS(), capturesDir)
	if err != nil {
		return nil // no folder yet
	}
	var out []fs.FileInfo
	for _, e := range entries {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && !strings.HasPrefix(e.Name(), ".") {
			out = append(out, info)
		}
	}
	return out
}

// sweep takes away the beginnings of uploads that a killed server left.
func (s *store) sweep(now time.Time) {
	entries, err := fs.ReadDir(s.root.FS(), capturesDir)
	if err != nil {
		return
	}
	for _, e := range entries {
		if info, err := e.Info(); err == nil && strings.HasPrefix(e.Name(), arriving) && now.Sub(info.ModTime()) > deadUploadAge {
			_ = s.root.Remove(path.Join(capturesDir, e.Name()))
		}
	}
}

// syncFolder makes a new name last through a power cut, where the system can.
func (s *store) syncFolder() {
	if d, err := s.root.Open(capturesDir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}
