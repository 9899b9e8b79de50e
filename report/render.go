package report

import (
	"context"
	"fmt"
	"runtime"
	"sync"
)

// File is one file of a rendered report; Name is relative to its folder, with
// forward slashes.
type File struct {
	Name  string
	Bytes []byte
}

// RenderOptions shape a report's files. The zero value renders all of them.
type RenderOptions struct {
	NoPlots  bool                  // leave the plots folder out; the page keeps its own pictures
	Progress func(done, total int) // told after each file; may be called from several goroutines, one at a time
}

// Render makes all files of a report in a fixed order. The same report gives
// the same bytes. It touches no file system; the caller writes the files.
func Render(ctx context.Context, r *Report, opt RenderOptions) ([]File, error) {
	type job struct {
		name string
		make func() ([]byte, error)
	}
	jobs := []job{
		{"index.html", r.HTML},
		{"buildlog.md", func() ([]byte, error) { return r.Markdown(), nil }},
		{"results.csv", r.CSV},
		{"results.json", r.JSON},
		{"results.schema.json", func() ([]byte, error) { return Schema(), nil }},
		{"labels.html", r.Labels},
	}
	if !opt.NoPlots {
		for _, p := range r.plotList() {
			jobs = append(jobs,
				job{"plots/" + p.name + ".png", func() ([]byte, error) { return p.figure(plotColumns).png() }},
				job{"plots/" + p.name + ".svg", func() ([]byte, error) { return p.figure(plotColumns).svg() }})
		}
	}
	files := make([]File, len(jobs))
	errs := make([]error, len(jobs))
	next := make(chan int)
	var wg sync.WaitGroup
	var mu sync.Mutex
	done := 0
	for range min(runtime.GOMAXPROCS(0), len(jobs)) {
		wg.Go(func() {
			for i := range next {
				b, err := jobs[i].make()
				if err != nil {
					errs[i] = fmt.Errorf("rendering %s: %w", jobs[i].name, err)
				}
				files[i] = File{jobs[i].name, b}
				mu.Lock()
				done++
				if opt.Progress != nil {
					opt.Progress(done, len(jobs))
				}
				mu.Unlock()
			}
		})
	}
	for i := range jobs {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return files, nil
}
