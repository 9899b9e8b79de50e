package benchpage

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// quietLog keeps net/http from writing about clients that misbehave.
func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }

// handler is everything behind the guard.
func (b *bench) handler(root *os.Root, version string) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) { b.page(w, version) })
	mux.HandleFunc("GET /static/{file}", serveStatic)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.Handle("GET /events", b.hub)
	mux.HandleFunc("GET /part/{name}", b.servePart)
	mux.HandleFunc("GET /wave/{id}", b.serveWave)
	mux.HandleFunc("GET /valves", b.serveValves)
	mux.HandleFunc("GET /ranking.txt", b.serveTable)
	mux.HandleFunc("GET /guide.txt", b.serveGuide)
	mux.HandleFunc("GET /report/{file...}", func(w http.ResponseWriter, r *http.Request) { b.serveReport(root, w, r) })
	mux.HandleFunc("POST /captures", b.upload)
	mux.HandleFunc("POST /edit", b.serveEdit)
	mux.HandleFunc("POST /undo", b.serveStep)
	mux.HandleFunc("POST /report", b.serveWrite)
	mux.HandleFunc("POST /calibrate", b.serveCalibrate)
	mux.HandleFunc("POST /follow", func(w http.ResponseWriter, r *http.Request) { b.serveFollow(root, w, r) })
	return mux
}

// answer is what a form is told.
type answer struct {
	OK    bool   `json:"ok"`
	Error string `json:"error,omitempty"`
	Field string `json:"field,omitempty"` // the one that is wrong
	File  string `json:"file,omitempty"`  // the name a dropped file was given
	Same  bool   `json:"same,omitempty"`  // it was there already
	Said  string `json:"said,omitempty"`  // what came of it
}

func reply(w http.ResponseWriter, status int, a answer) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(a)
}

// fail tells a form what is wrong.
func fail(w http.ResponseWriter, err error) {
	a := answer{Error: onPage(capture.OneLine(err.Error()))}
	status := http.StatusConflict
	var field *fieldError
	var kept *storeError
	var size *http.MaxBytesError
	switch {
	case errors.As(err, &field):
		status, a.Field = http.StatusUnprocessableEntity, field.field
	case errors.As(err, &kept):
		status = kept.status
	case errors.As(err, &size):
		status = http.StatusRequestEntityTooLarge
	}
	if status >= 500 || status == http.StatusRequestEntityTooLarge {
		w.Header().Set("Connection", "close")
	}
	reply(w, status, a)
}

func (b *bench) upload(w http.ResponseWriter, r *http.Request) {
	got, err := b.store.put(r.URL.Query().Get("name"), r.Body)
	if err != nil {
		fail(w, err)
		return
	}
	// From here on nothing is lost: the file is on the disk, and shown even where
	// the sheet can't take it.
	if err := b.arrived([]string{path.Join(capturesDir, got.Name)}); err != nil {
		reply(w, http.StatusAccepted, answer{OK: true, File: got.Name, Same: got.Same, Error: "kept, but not entered in the sheet: " + capture.OneLine(err.Error())})
		return
	}
	reply(w, http.StatusCreated, answer{OK: true, File: got.Name, Same: got.Same})
}

// parse reads a form or says why it is none.
func parse(w http.ResponseWriter, r *http.Request) bool {
	if err := r.ParseForm(); err != nil {
		var size *http.MaxBytesError
		if !errors.As(err, &size) {
			err = &storeError{http.StatusBadRequest, "not a form: " + err.Error()}
		}
		fail(w, err)
		return false
	}
	return true
}

func (b *bench) serveEdit(w http.ResponseWriter, r *http.Request) {
	if !parse(w, r) {
		return
	}
	op := r.PostForm.Get("op")
	if err := b.change(op, r.PostForm); err != nil {
		fail(w, err)
		return
	}
	reply(w, http.StatusOK, answer{OK: true})
}

// serveStep goes a step back or forward.
func (b *bench) serveStep(w http.ResponseWriter, r *http.Request) {
	if !parse(w, r) {
		return
	}
	step := b.file.Undo
	if r.PostForm.Get("forward") != "" {
		step = b.file.Redo
	}
	err := step()
	b.nudge()
	if err != nil && !errors.Is(err, sheet.ErrNothing) {
		fail(w, err)
		return
	}
	reply(w, http.StatusOK, answer{OK: true})
}

// serveWrite writes the report folder.
func (b *bench) serveWrite(w http.ResponseWriter, r *http.Request) {
	if !parse(w, r) {
		return
	}
	b.mu.Lock()
	d, busy := b.decision, b.written.busy
	if d.report == nil || !d.full || d.running || busy || b.broken != nil {
		b.mu.Unlock()
		fail(w, errors.New("the ranking is still being worked out; write the report when it is done"))
		return
	}
	b.written = written{busy: true}
	b.mu.Unlock()
	b.hub.changed("leave")
	err := b.write(r.Context(), d.report)
	b.mu.Lock()
	b.written = written{at: time.Now(), basis: d.basis, err: err}
	b.mu.Unlock()
	b.hub.changed("leave", "bar")
	if err != nil {
		fail(w, err)
		return
	}
	reply(w, http.StatusOK, answer{OK: true})
}

// serveTable gives the ranking as the rank command prints it.
func (b *bench) serveTable(w http.ResponseWriter, _ *http.Request) {
	b.mu.Lock()
	r := b.decision.report
	b.mu.Unlock()
	if r == nil {
		http.Error(w, "nothing is decided yet", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_ = report.WriteTable(w, r, report.TableOptions{})
}

// serveGuide tells how to take the captures, as the guide command does.
func (b *bench) serveGuide(w http.ResponseWriter, _ *http.Request) {
	b.mu.Lock()
	s := b.sheet
	b.mu.Unlock()
	if s == nil || b.guide == nil {
		http.Error(w, "the bench sheet can't be read", http.StatusNotFound)
		return
	}
	text, err := b.guide(s)
	if err != nil {
		http.Error(w, capture.OneLine(err.Error()), http.StatusConflict)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = io.WriteString(w, text)
}

// write puts the report folder in its place, as the report command does. It is not
// broken off when the page is closed.
func (b *bench) write(ctx context.Context, r *report.Report) error {
	b.mu.Lock()
	s := b.sheet
	b.mu.Unlock()
	opt := pipeline.FolderOptions{Inputs: pipeline.Inputs(s), Cache: b.pipe.Cache}
	if err := pipeline.CheckFolder(b.folder, opt); err != nil {
		return err
	}
	_, err := pipeline.WriteReport(context.WithoutCancel(ctx), r, b.folder, opt)
	return err
}

// serveFollow follows a folder inside the bench folder. One elsewhere is for the
// command line to name.
func (b *bench) serveFollow(root *os.Root, w http.ResponseWriter, r *http.Request) {
	if !parse(w, r) {
		return
	}
	name := r.PostForm.Get("folder")
	if name == "" {
		b.follow.set(nil, "", false)
		b.keep()
		b.hub.changed("bring")
		reply(w, http.StatusOK, answer{OK: true})
		return
	}
	local := filepath.FromSlash(name)
	if !filepath.IsLocal(local) || filepath.Clean(local) == capturesDir {
		fail(w, &fieldError{"folder", "found " + strconv.Quote(name) + ", expected a folder inside the bench's own; start \"stillglow bench --folder\" for one elsewhere"})
		return
	}
	followed, err := root.OpenRoot(local)
	if err != nil {
		fail(w, &fieldError{"folder", "no folder " + strconv.Quote(name) + " in the bench's own"})
		return
	}
	b.follow.set(followed, name, true)
	b.keep()
	b.hub.changed("bring")
	b.nudge()
	reply(w, http.StatusOK, answer{OK: true})
}

// serveReport shows the written report, which has a policy of its own in each
// page. No name leads out of its folder.
func (b *bench) serveReport(root *os.Root, w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	if name == "" {
		http.Redirect(w, r, "/report/index.html", http.StatusSeeOther)
		return
	}
	folder, err := root.OpenRoot(filepath.Base(b.folder))
	if err != nil {
		http.Error(w, "no report has been written yet", http.StatusNotFound)
		return
	}
	defer folder.Close()
	data, err := folder.ReadFile(filepath.FromSlash(name))
	if err != nil {
		http.Error(w, "the report has no such file", http.StatusNotFound)
		return
	}
	types := map[string]string{".html": "text/html; charset=utf-8", ".png": "image/png", ".svg": "image/svg+xml", ".json": "application/json"}
	kind, known := types[filepath.Ext(name)]
	if !known {
		kind = "text/plain; charset=utf-8"
	}
	w.Header().Set("Content-Type", kind)
	// Whoever wrote it, it runs as a site of its own that can't reach this server.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src 'self'; base-uri 'none'; form-action 'none'; sandbox allow-scripts")
	_, _ = w.Write(data)
}

// waveColumns is how finely the small waveforms are drawn.
const waveColumns = 420

// serveWave gives a capture's record as columns of least and greatest volts.
func (b *bench) serveWave(w http.ResponseWriter, r *http.Request) {
	env, calibrated, ok := b.waveOf(r.PathValue("id"))
	if !ok {
		// The capture is being read anew, or was corrected since the page asked: the
		// part that replaces it asks again.
		w.WriteHeader(http.StatusNoContent)
		return
	}
	unit := "V"
	if !calibrated {
		unit = "FS"
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(struct {
		StartS float64   `json:"start_s"`
		StepS  float64   `json:"step_s"`
		Min    []float64 `json:"min"`
		Max    []float64 `json:"max"`
		Unit   string    `json:"unit"`
	}{env.StartS, env.StepS, env.MinV, env.MaxV, unit})
}

// waveOf finds a capture's record, also while it is being measured.
func (b *bench) waveOf(id string) (env analysis.Envelope, inVolts, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	i := slices.IndexFunc(b.entries, func(e entry) bool { return e.ID == id })
	if i < 0 || b.entries[i].reading == nil {
		return env, false, false
	}
	switch r := b.entries[i].reading; {
	case r.early != nil:
		return *r.early, r.inVolts, true
	case r.state == measured:
		return report.Reduced(r.got.M.Waveform, waveColumns), r.got.M.Calibrated, true
	}
	return env, false, false
}
