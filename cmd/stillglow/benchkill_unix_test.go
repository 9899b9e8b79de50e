//go:build unix

package main

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"stillglow/capture/sheet"
	"stillglow/capture/synth/testrun"
)

// benchClient is a page's requests without the page.
type benchClient struct {
	http.Client
	base string
}

func newBenchClient(address string) (*benchClient, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, err
	}
	c := &benchClient{base: "http://" + u.Host}
	if c.Jar, err = cookiejar.New(nil); err != nil {
		return nil, err
	}
	r, err := c.Get(address)
	if err != nil {
		return nil, err
	}
	return c, r.Body.Close()
}

// post reports whether the server said that it is done.
func (c *benchClient) post(path, kind string, body []byte) bool {
	r, err := http.NewRequest("POST", c.base+path, bytes.NewReader(body))
	if err != nil {
		return false
	}
	r.Header.Set("Origin", c.base)
	r.Header.Set("Content-Type", kind)
	got, err := c.Do(r)
	if err != nil {
		return false
	}
	got.Body.Close()
	return got.StatusCode == http.StatusCreated || got.StatusCode == http.StatusOK
}

// TestBenchKilledAnywhere kills the server at random instants while files arrive
// and the sheet is written: what it said is kept is there, whole, and the sheet
// reads. The full count runs in .ci/run.
func TestBenchKilledAnywhere(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: starts many processes")
	}
	bin, dir := buildTool(t), t.TempDir()
	rng := rand.New(rand.NewPCG(3, 4))
	kept := map[string][]byte{} // what the server said it has
	asked := map[string]bool{}
	title, next := -1, -1 // as acknowledged, and as last asked for
	for round := range max(1, *kills) {
		cmd := exec.Command(bin, "bench", "--no-open", "--no-cache")
		cmd.Dir = dir
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		address := ""
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if address = regexp.MustCompile(`http://\S+`).FindString(lines.Text()); address != "" {
				break
			}
		}
		c, err := newBenchClient(address)
		if err != nil {
			t.Fatal(err)
		}
		var mu sync.Mutex
		var wg sync.WaitGroup
		stop := make(chan struct{})
		for worker := range 3 {
			seed := rng.Uint64()
			wg.Go(func() {
				own := rand.New(rand.NewPCG(seed, 1))
				for k := 0; ; k++ {
					select {
					case <-stop:
						return
					default:
					}
					if worker == 0 {
						mu.Lock()
						next++
						n := next
						mu.Unlock()
						if c.post("/edit", "application/x-www-form-urlencoded", []byte(url.Values{"op": {"bench"}, "title": {fmt.Sprint("title ", n)}}.Encode())) {
							mu.Lock()
							title = n
							mu.Unlock()
						}
						continue
					}
					name := fmt.Sprintf("r%d-w%d-%d.csv", round, worker, k)
					var b bytes.Buffer
					b.WriteString("time,volts\n")
					for i := range 2000 + own.IntN(20000) {
						fmt.Fprintf(&b, "%d,%d\n", i, own.IntN(100))
					}
					mu.Lock()
					asked[name] = true
					mu.Unlock()
					if c.post("/captures?name="+name, "application/octet-stream", b.Bytes()) {
						mu.Lock()
						kept[name] = b.Bytes()
						mu.Unlock()
					}
				}
			})
		}
		time.Sleep(time.Duration(rng.IntN(900)) * time.Millisecond)
		_ = cmd.Process.Kill()
		close(stop)
		_ = cmd.Wait()
		wg.Wait()
		benchIsWhole(t, dir, kept, asked, title, next)
		if t.Failed() {
			t.Fatalf("after kill %d", round+1)
		}
	}
	if len(kept) == 0 || title < 0 {
		t.Errorf("%d files kept, title %d: nothing was tried", len(kept), title)
	}
	t.Logf("%d files kept, %d titles written over %d kills", len(kept), title+1, *kills)
}

// benchIsWhole checks a bench folder against what its server said.
func benchIsWhole(t *testing.T, dir string, kept map[string][]byte, asked map[string]bool, title, next int) {
	t.Helper()
	for name, want := range kept {
		if got, err := os.ReadFile(filepath.Join(dir, "captures", name)); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s: %v, %d bytes of %d", name, err, len(got), len(want))
		}
	}
	entries, _ := os.ReadDir(filepath.Join(dir, "captures"))
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !asked[e.Name()] {
			t.Errorf("%s: nobody sent it", e.Name())
		}
	}
	path := filepath.Join(dir, "bench.toml")
	if _, err := os.Stat(path); err != nil && title < 0 && len(kept) == 0 {
		return // killed before the first change
	}
	s, err := sheet.Read(path)
	if err != nil {
		t.Errorf("the sheet can't be read: %v", err)
		return
	}
	var n int
	if _, err := fmt.Sscanf(s.Title, "title %d", &n); title >= 0 && (err != nil || n < title || n > next) {
		t.Errorf("title %q, want the one of %d to %d", s.Title, title, next)
	}
	for _, c := range s.Loose {
		if _, err := os.Stat(c.Path); err != nil {
			t.Errorf("the sheet names %s: %v", c.File, err)
		}
	}
	named := map[string]bool{}
	for _, c := range s.Loose {
		named[filepath.Base(c.File)] = true
	}
	for name := range kept {
		if !named[name] {
			t.Errorf("%s was acknowledged and is not in the sheet", name)
		}
	}
}
