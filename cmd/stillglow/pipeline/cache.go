package pipeline

import (
	"bytes"
	"compress/flate"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/report"
)

// cacheSuffix ends the names of the tool's own entries in a cache folder.
const cacheSuffix = ".stillglow-measured"

// ownEntry are the names that the tool itself gives, to whole entries and to what a killed
// run left half written. Nothing else in the folder is ever read or deleted, a file of the
// user's with the same ending neither.
var ownEntry = regexp.MustCompile(`^(?:(?:[0-9]+-)?[0-9a-f]{64}|writing-[0-9]+)` + regexp.QuoteMeta(cacheSuffix) + `$`)

// Cache keeps measurements by content: the bytes of the capture, the settings
// it was opened and measured with, and the program that measured; the advice on
// post-filters that follows from them; and pictures, by what is drawn. A nil Cache
// keeps nothing.
type Cache struct {
	dir string
	// program is the hash of the running program, so that a newer build never
	// takes an older build's figures.
	program func() string

	mu        sync.Mutex
	baselines map[*analysis.Measurement]string // see baselineSum
	sizes     map[int64]bool                   // of the captures that there are entries of, see holdsSize; nil: not listed yet
}

// OpenCache uses the folder dir, or the user's own cache folder when dir is "";
// nil without an error when there is no such folder. The folder is made when
// something is first kept.
func OpenCache(dir string) (*Cache, error) {
	if dir == "" {
		base, err := os.UserCacheDir()
		if err != nil {
			return nil, nil // no home folder: work without a cache
		}
		dir = filepath.Join(base, "stillglow")
	}
	return &Cache{dir: dir, program: runningProgram()}, nil
}

// runningProgram gives the hash of the program that runs, "" when it can't be
// told, which turns the cache off. A newer build may take its file's place while
// it runs: Linux keeps the running file reachable, elsewhere it is read at once.
func runningProgram() func() string {
	if _, err := os.Stat(runningFile); err != nil {
		programSum()
	}
	return programSum
}

const runningFile = "/proc/self/exe"

// programSum reads the program once, however many caches a process opens.
var programSum = sync.OnceValue(func() string {
	path := runningFile
	if _, err := os.Stat(path); err != nil {
		if path, err = os.Executable(); err != nil {
			return ""
		}
	}
	sum, _ := fileSum(path)
	return sum
})

// lookup gives the kept measurement of a capture, if there is one.
func (c *Cache) lookup(path string, opt capture.Options, setup analysis.Setup) (got report.Capture, ok bool) {
	if c == nil || c.program() == "" {
		return got, false
	}
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return got, false // capture.Open says what is wrong
	}
	if !c.holdsSize(info.Size()) {
		return got, false // without reading the file for its hash: it is about to be read anyway
	}
	content, err := fileSum(path)
	if err != nil || !c.load(measuredKey(info.Size(), c.key(content, opt, setup)), &got) || got.M == nil || got.M.SHA256 != content {
		return report.Capture{}, false
	}
	return got, true
}

// measuredKey begins the key of a capture's measurement with the size of its file in
// bytes, so that a look at the folder tells what can't be in it; "" when key is.
func measuredKey(size int64, key string) string {
	if key == "" {
		return ""
	}
	return strconv.FormatInt(size, 10) + "-" + key
}

// holdsSize reports whether there may be a measurement of a file of that size. What
// another process files after the first look is not seen, and measured once more.
func (c *Cache) holdsSize(size int64) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.sizes == nil {
		c.sizes = map[int64]bool{}
		list, _ := os.ReadDir(c.dir) // no folder yet: no entries
		for _, e := range list {
			if digits, _, found := strings.Cut(e.Name(), "-"); found {
				if n, err := strconv.ParseInt(digits, 10, 64); err == nil {
					c.sizes[n] = true
				}
			}
		}
	}
	return c.sizes[size]
}

// load fills into from the sound entry of that name and reports whether there is
// one. An unreadable or damaged entry is as good as none, and so is one that was
// kept under another name.
func (c *Cache) load(key string, into any) bool {
	if c == nil || key == "" {
		return false
	}
	packed, err := readEntry(filepath.Join(c.dir, key+cacheSuffix))
	if err != nil {
		return false
	}
	sum, body, found := bytes.Cut(packed, []byte("\n"))
	if !found || string(sum) != entrySum(key, body) {
		return false
	}
	raw, err := io.ReadAll(flate.NewReader(bytes.NewReader(body)))
	return err == nil && gob.NewDecoder(bytes.NewReader(raw)).Decode(into) == nil
}

// entrySum is an entry's first line: the hash of its own key and the rest.
func entrySum(key string, body []byte) string {
	return hexSum(append([]byte(key+"\n"), body...))
}

// readEntry reads a regular file and nothing else: a pipe would wait for ever,
// and a link leads to what the cache did not write.
func readEntry(path string) ([]byte, error) {
	if info, err := os.Lstat(path); err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() {
		return nil, errors.New("not a regular file")
	}
	return os.ReadFile(path)
}

// store keeps a measurement of the capture at path under the content that was truly
// read, which is not what lookup hashed if the file changed in between.
func (c *Cache) store(path, content string, opt capture.Options, setup analysis.Setup, got report.Capture) {
	if c == nil || content == "" || c.program() == "" {
		return
	}
	info, err := os.Stat(path)
	if err != nil {
		return
	}
	c.save(measuredKey(info.Size(), c.key(content, opt, setup)), got)
	c.holdsSize(info.Size()) // has the folder listed
	c.mu.Lock()
	c.sizes[info.Size()] = true
	c.mu.Unlock()
}

// save files an entry. A cache that can't be written is no error: the next run
// works it out again.
func (c *Cache) save(key string, entry any) {
	var raw, packed bytes.Buffer
	if c == nil || key == "" || gob.NewEncoder(&raw).Encode(entry) != nil {
		return
	}
	z, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err != nil {
		return
	}
	if _, err := raw.WriteTo(z); err != nil || z.Close() != nil {
		return
	}
	if os.MkdirAll(c.dir, 0o755) != nil {
		return
	}
	f, err := os.CreateTemp(c.dir, "writing-*"+cacheSuffix)
	if err != nil {
		return
	}
	_, err = fmt.Fprintf(f, "%s\n%s", entrySum(key, packed.Bytes()), packed.Bytes())
	if cerr := f.Close(); err != nil || cerr != nil || os.Rename(f.Name(), filepath.Join(c.dir, key+cacheSuffix)) != nil {
		os.Remove(f.Name())
	}
}

// Dir is the cache's folder.
func (c *Cache) Dir() string { return c.dir }

// Entries lists the tool's own files in the cache folder and their size in bytes.
func (c *Cache) Entries() (paths []string, bytes int64, err error) {
	list, err := os.ReadDir(c.dir)
	if os.IsNotExist(err) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, err
	}
	for _, e := range list {
		if e.Type().IsRegular() && ownEntry.MatchString(e.Name()) {
			info, err := e.Info()
			if err != nil {
				if os.IsNotExist(err) {
					continue
				}
				return nil, 0, err
			}
			paths, bytes = append(paths, filepath.Join(c.dir, e.Name())), bytes+info.Size()
		}
	}
	return paths, bytes, nil
}
