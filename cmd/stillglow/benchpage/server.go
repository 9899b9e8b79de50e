package benchpage

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// Options of a page.
type Options struct {
	Sheet   string // path of the sheet; one that isn't there is made by the first change
	Port    int    // 0: a free one
	Folder  string // followed from the start, "" none; it may lie anywhere
	MaxFile int64  // bytes of one dropped file, 0: DefaultMaxFile
	// Pipeline shapes measuring and deciding: the same as the commands'.
	Pipeline pipeline.Options
	// Take plans the captures that would cover limits with that instrument.
	Take func([]target.Limit, sheet.Instrument) []Take
	// Guide is how to take the captures of a sheet, as text; nil leaves it out.
	Guide func(*sheet.Sheet) (string, error)
	// Ready is told the address to open once the server listens.
	Ready func(address string)
}

// blankSheet is a bench before anything is done on it.
const blankSheet = `# Bench sheet. The page of "stillglow bench" writes here what is done on it; go on by
# hand as you like: comments, order and what you write yourself stay as they are.

title  = "Heater supplies"
target = "line-preamp"
`

// Serve runs the page until ctx ends. Only programs of this machine reach it.
func Serve(ctx context.Context, opt Options) error {
	if opt.MaxFile <= 0 {
		opt.MaxFile = DefaultMaxFile
	}
	b, root, err := open(opt)
	if err != nil {
		return err
	}
	defer root.Close()
	if opt.Folder != "" {
		followed, err := os.OpenRoot(opt.Folder)
		if err != nil {
			return fmt.Errorf("%s: no such folder, expected the one where the scope's files arrive", opt.Folder)
		}
		b.follow.set(followed, opt.Folder, false)
	}
	listener, err := net.Listen("tcp4", fmt.Sprintf("127.0.0.1:%d", opt.Port))
	if err != nil {
		return fmt.Errorf("port %d can't be used: %w; leave --port out to take a free one", opt.Port, err)
	}
	g := newGuard(listener.Addr().(*net.TCPAddr), opt.MaxFile, b.handler(root, opt.Pipeline.Version))
	server := &http.Server{
		Handler: g, ReadHeaderTimeout: headerTime, IdleTimeout: time.Minute, MaxHeaderBytes: headerBytes,
		BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog:    quietLog(),
	}
	work, stop := context.WithCancel(ctx)
	defer stop()
	var done sync.WaitGroup
	done.Go(func() { b.run(work) })
	done.Go(func() { b.follow.run(work) })
	if opt.Ready != nil {
		opt.Ready("http://" + listener.Addr().String() + "/?t=" + g.token)
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	select {
	case err = <-failed:
	case <-ctx.Done():
		// Uploads on their way may end; pages that listen are let go.
		shut, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
		defer cancel()
		if server.Shutdown(shut) != nil {
			_ = server.Close()
		}
		err = nil
	}
	stop()
	done.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// open takes up the bench that the sheet and the folder it stands in make.
func open(opt Options) (*bench, *os.Root, error) {
	dir := filepath.Dir(opt.Sheet)
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: no such folder, expected the one the bench sheet is or will be in", dir)
	}
	file, err := sheet.OpenFile(opt.Sheet, []byte(blankSheet))
	if err != nil {
		_ = root.Close()
		return nil, nil, err
	}
	base := filepath.Base(opt.Sheet)
	b := &bench{
		file: file, dir: dir, store: newStore(root, opt.MaxFile), hub: newHub(), pipe: opt.Pipeline, take: opt.Take, guide: opt.Guide,
		folder: filepath.Join(dir, strings.TrimSuffix(base, filepath.Ext(base))+"-report"),
		wake:   make(chan struct{}, 1), slot: make(chan struct{}, workers()),
		readings: map[string]*reading{}, tried: map[string]*tried{}, layouts: map[string]string{},
	}
	b.follow = &follower{b: b}
	b.store.sweep(time.Now())
	b.recall(root)
	return b, root, nil
}
