package pipeline

import (
	"bytes"
	"compress/flate"
	"encoding/gob"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/report"
)

// cacheSuffix marks the tool's own entries in a cache folder; nothing else in
// the folder is ever read or deleted.
const cacheSuffix = ".stillglow-measured"

// Cache keeps measurements by content: the bytes of the capture, the settings
// it was opened and measured with, and the program that measured; and the advice
// on post-filters that follows from them. A nil Cache keeps nothing.
type Cache struct {
	dir string
	// program is the hash of the running program, so that a newer build never
	// takes an older build's figures.
	program func() string

	mu        sync.Mutex
	baselines map[*analysis.Measurement]string // see baselineSum
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
	return &Cache{dir: dir, program: sync.OnceValue(programSum)}, nil
}

// programSum hashes the running program; "" turns the cache off.
func programSum() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	sum, err := fileSum(path)
	if err != nil {
		return ""
	}
	return sum
}

// lookup gives the kept measurement of a capture, if there is one.
func (c *Cache) lookup(path string, opt capture.Options, setup analysis.Setup) (got report.Capture, ok bool) {
	if c == nil || c.program() == "" {
		return got, false
	}
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return got, false // capture.Open says what is wrong
	}
	content, err := fileSum(path)
	if err != nil || !c.load(c.key(content, opt, setup), &got) || got.M == nil {
		return report.Capture{}, false
	}
	return got, true
}

// load fills into from the sound entry of that name and tells whether there is
// one. An unreadable or damaged entry is as good as none.
func (c *Cache) load(key string, into any) bool {
	if c == nil || key == "" {
		return false
	}
	packed, err := os.ReadFile(filepath.Join(c.dir, key+cacheSuffix))
	if err != nil {
		return false
	}
	// The first line is the hash of the rest.
	sum, body, found := bytes.Cut(packed, []byte("\n"))
	if !found || string(sum) != hexSum(body) {
		return false
	}
	raw, err := io.ReadAll(flate.NewReader(bytes.NewReader(body)))
	return err == nil && gob.NewDecoder(bytes.NewReader(raw)).Decode(into) == nil
}

// store keeps a measurement under the content that was truly read, which is not
// what lookup hashed if the file changed in between.
func (c *Cache) store(content string, opt capture.Options, setup analysis.Setup, got report.Capture) {
	if c == nil || content == "" || c.program() == "" {
		return
	}
	c.save(c.key(content, opt, setup), got)
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
	_, err = fmt.Fprintf(f, "%s\n%s", hexSum(packed.Bytes()), packed.Bytes())
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
		if e.Type().IsRegular() && strings.HasSuffix(e.Name(), cacheSuffix) {
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
