package report

import (
	"context"
	"fmt"
	"sync"

	"stillglow/report/canvas"
	"stillglow/report/pool"
)

// File is one file of a rendered report; Name is relative to its folder, with
// forward slashes.
type File struct {
	Name  string // within the folder, with slashes
	Bytes []byte // all of it
}

// RenderOptions shape a report's files. The zero value renders all of them.
type RenderOptions struct {
	NoPlots  bool                  // leave the plots folder out; the page keeps its own pictures
	Drawn    Drawn                 // files of pictures drawn before, nil: everything is drawn
	Progress func(done, total int) // told after each file or pair of files; may be called from several goroutines, one at a time
}

// Drawn keeps the files of pictures by the digest of what is drawn, for the build of
// the program that runs alone (see canvas.Drawing). It is used by several goroutines
// at once.
type Drawn interface {
	Picture(digest string) (raster, vector []byte, ok bool) // PNG and SVG
	KeepPicture(digest string, raster, vector []byte)
}

// renderJob makes one file, or a pair that is drawn together.
type renderJob struct {
	names []string
	make  func(context.Context, *canvas.Raster) ([][]byte, error)
}

// Render makes all files of a report in a fixed order. The same report gives
// the same bytes. It touches no file system; the caller writes the files.
func Render(ctx context.Context, r *Report, opt RenderOptions) ([]File, error) {
	jobs := r.renderJobs(!opt.NoPlots, opt.Drawn)
	total := 0
	first := make([]int, len(jobs)) // of a job's files
	for i, j := range jobs {
		first[i] = total
		total += len(j.names)
	}
	files := make([]File, total)
	var mu sync.Mutex
	done := 0
	err := pool.EachWith(ctx, len(jobs), 0, func() func(int) error {
		space := canvas.NewRaster()
		return func(i int) error {
			bs, err := jobs[i].make(ctx, space)
			if err != nil {
				return fmt.Errorf("rendering %s: %w", jobs[i].names[0], err)
			}
			for k, b := range bs {
				files[first[i]+k] = File{jobs[i].names[k], b}
			}
			if opt.Progress != nil {
				mu.Lock()
				defer mu.Unlock()
				done += len(jobs[i].names)
				opt.Progress(done, total)
			}
			return nil
		}
	})
	if err != nil {
		return nil, err
	}
	return files, nil
}

// renderJobs lists what there is to render, in the order of the files.
func (r *Report) renderJobs(plots bool, drawn Drawn) []renderJob {
	one := func(name string, render func() ([]byte, error)) renderJob {
		return renderJob{[]string{name}, func(context.Context, *canvas.Raster) ([][]byte, error) {
			b, err := render()
			return [][]byte{b}, err
		}}
	}
	jobs := []renderJob{
		{[]string{"index.html"}, func(ctx context.Context, _ *canvas.Raster) ([][]byte, error) {
			b, err := r.HTML(ctx)
			return [][]byte{b}, err
		}},
		one("buildlog.md", func() ([]byte, error) { return r.Markdown(), nil }),
		one("results.csv", r.CSV),
		one("results.json", r.JSON),
		one("results.schema.json", func() ([]byte, error) { return Schema(), nil }),
		one("labels.html", r.Labels),
	}
	if !plots {
		return jobs
	}
	for _, p := range r.plotList() {
		jobs = append(jobs, renderJob{[]string{"plots/" + p.name + ".png", "plots/" + p.name + ".svg"}, func(_ context.Context, r *canvas.Raster) ([][]byte, error) {
			raster, vector, err := drawFiles(p.figure(plotColumns), r, drawn)
			return [][]byte{raster, vector}, err
		}})
	}
	return jobs
}

// drawFiles makes a picture's two files, unless they are drawn already.
func drawFiles(f *canvas.Drawing, r *canvas.Raster, drawn Drawn) (raster, vector []byte, err error) {
	digest := ""
	if drawn != nil {
		digest = f.Digest()
		if raster, vector, ok := drawn.Picture(digest); ok {
			return raster, vector, nil
		}
	}
	if raster, err = f.PNG(r); err != nil {
		return nil, nil, err
	}
	vector = f.SVG()
	if drawn != nil {
		drawn.KeepPicture(digest, raster, vector)
	}
	return raster, vector, nil
}
