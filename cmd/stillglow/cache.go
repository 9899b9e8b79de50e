package main

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// cacheSuffix marks the tool's own entries in a cache folder; nothing else in
// the folder is ever read or deleted.
const cacheSuffix = ".stillglow-measured"

// cache keeps measurements by content: the bytes of the capture, the settings
// it was opened and measured with, and the program that measured; and the advice
// on post-filters that follows from them. A nil cache keeps nothing.
type cache struct {
	dir string
	// program is the hash of the running program, so that a newer build never
	// takes an older build's figures.
	program func() string

	mu        sync.Mutex
	baselines map[*analysis.Measurement]string // see baselineSum
}

// newCache uses the folder dir, or the user's own cache folder when dir is "".
func newCache(dir string) (*cache, error) {
	if dir == "" {
		base, err := os.UserCacheDir()
		if err != nil {
			return nil, nil // no home folder: work without a cache
		}
		dir = filepath.Join(base, "stillglow")
	}
	return &cache{dir: dir, program: sync.OnceValue(programSum)}, nil
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
func (c *cache) lookup(path string, opt capture.Options, setup analysis.Setup) (got report.Capture, ok bool) {
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
func (c *cache) load(key string, into any) bool {
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

// key names an entry; "" when the settings can't be written down.
func (c *cache) key(content string, opt capture.Options, setup analysis.Setup) string {
	opt.Progress = nil
	baseline := ""
	if setup.Baseline != nil {
		if baseline = c.baselineSum(setup.Baseline); baseline == "" {
			return ""
		}
		setup.Baseline = nil
	}
	settings, err := json.Marshal([]any{content, baseline, setup, optionsKey(opt), c.program()})
	if err != nil {
		return ""
	}
	return hexSum(settings)
}

// baselineSum tells baselines apart by their figures, since the same file opened
// otherwise is another baseline. Not by their gob, which numbers types by what
// the process happened to write before.
func (c *cache) baselineSum(m *analysis.Measurement) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	sum, known := c.baselines[m]
	if !known {
		if text, err := json.Marshal(m); err == nil {
			sum = hexSum(text)
		}
		if c.baselines == nil {
			c.baselines = make(map[*analysis.Measurement]string)
		}
		c.baselines[m] = sum
	}
	return sum
}

// optionsKey is the options without what can't be written down, as JSON.
func optionsKey(opt capture.Options) string {
	// All fields but Progress, so that one added to Options is never forgotten.
	// The numbers are finite: the sheet and the flags see to it.
	type plain capture.Options
	text, err := json.Marshal(struct {
		plain
		Progress bool
	}{plain: plain(opt)})
	if err != nil {
		return fmt.Sprintf("%+v", opt) // with Progress's address: no other set's key
	}
	return string(text)
}

// store keeps a measurement under the content that was truly read, which is not
// what lookup hashed if the file changed in between.
func (c *cache) store(content string, opt capture.Options, setup analysis.Setup, got report.Capture) {
	if c == nil || content == "" || c.program() == "" {
		return
	}
	c.save(c.key(content, opt, setup), got)
}

// save files an entry. A cache that can't be written is no error: the next run
// works it out again.
func (c *cache) save(key string, entry any) {
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

// adviceKey names the post-filter advice on a unit, u in the sheet, by all that it
// follows from; "" when that can't be written down.
func (c *cache) adviceKey(in filter.Input, u sheet.Unit, opt filter.Options) string {
	if c == nil || c.program() == "" {
		return ""
	}
	captures := make([]string, len(u.Captures))
	for i, m := range in.Unit.Captures {
		captures[i] = c.key(m.SHA256, u.Captures[i].Options, in.Setups[i])
		if m.SHA256 == "" || captures[i] == "" {
			return ""
		}
	}
	in.Unit.Captures, in.Unit.Index = nil, 0
	settings, err := json.Marshal([]any{"post-filter", captures, in.Unit, in.Target, opt})
	if err != nil {
		return ""
	}
	return hexSum(settings)
}

func fileSum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func hexSum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// entries lists the tool's own files in the cache folder and their size.
func (c *cache) entries() (paths []string, bytes int64, err error) {
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

// cacheFlags is how commands let the user place or leave out the cache.
type cacheFlags struct {
	dir string
	off bool
}

func (f *cacheFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.dir, "cache", "", "folder for results of unchanged captures (default: stillglow in the user's cache folder)")
	cmd.Flags().BoolVar(&f.off, "no-cache", false, "measure every capture afresh and keep nothing")
}

func (f *cacheFlags) open() (*cache, error) {
	if f.off {
		return nil, nil
	}
	return newCache(f.dir)
}

func newCacheCmd() *cobra.Command {
	var dir string
	// kept hands on the cache and its entries; without a home folder there is
	// no cache and nothing to say.
	kept := func(say func(c *cache, paths []string, megabytes float64) error) error {
		c, err := newCache(dir)
		if err != nil || c == nil {
			return err
		}
		paths, size, err := c.entries()
		if err != nil {
			return err
		}
		return say(c, paths, float64(size)/1e6)
	}
	cmd := &cobra.Command{
		Use:   "cache",
		Short: "Show where results are kept, or delete them",
		Long: `Measurements of captures, and the post-filters found for near misses, are kept by
content and settings, so that a report of unchanged captures is quick. This shows
the folder and what it holds; "cache clear" deletes the tool's own entries in it
and nothing else.`,
		Example: "  stillglow cache\n  stillglow cache clear",
		Args:    wantArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return kept(func(c *cache, paths []string, megabytes float64) error {
				fmt.Fprintf(cmd.OutOrStdout(), "%s: %d results, %.1f MB\n", c.dir, len(paths), megabytes)
				return nil
			})
		},
	}
	cmd.PersistentFlags().StringVar(&dir, "cache", "", "the folder (default: stillglow in the user's cache folder)")
	cmd.AddCommand(&cobra.Command{
		Use:     "clear",
		Short:   "Delete the kept results",
		Example: "  stillglow cache clear",
		Args:    wantArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return kept(func(c *cache, paths []string, megabytes float64) error {
				for _, p := range paths {
					if err := os.Remove(p); err != nil && !os.IsNotExist(err) {
						return err
					}
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: deleted %d results, %.1f MB\n", c.dir, len(paths), megabytes)
				return nil
			})
		},
	})
	return cmd
}
