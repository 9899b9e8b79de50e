package benchpage

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// hub tells every open page which of its parts are no longer as it shows them.
type hub struct {
	mu     sync.Mutex
	pages  map[chan string]map[string]bool // what each has yet to be told
	closed bool
}

func newHub() *hub { return &hub{pages: map[chan string]map[string]bool{}} }

// changed marks parts as changed for every page.
func (h *hub) changed(parts ...string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for ch, owed := range h.pages {
		for _, p := range parts {
			owed[p] = true
		}
		select {
		case ch <- "":
		default: // told already, and will look at what it is owed
		}
	}
}

func (h *hub) join() (chan string, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed || len(h.pages) >= listenersMost {
		return nil, false
	}
	ch := make(chan string, 1)
	h.pages[ch] = map[string]bool{}
	return ch, true
}

func (h *hub) leave(ch chan string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.pages, ch)
}

// owed takes what a page has yet to be told.
func (h *hub) owed(ch chan string) []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	var out []string
	for p := range h.pages[ch] {
		out = append(out, p)
	}
	clear(h.pages[ch])
	slices.Sort(out)
	return out
}

// How events are gathered: what changes together is told together, and a page is
// not told more often than it can draw.
const (
	eventGather = 20 * time.Millisecond
	eventPause  = 150 * time.Millisecond // between two events of one page, at least
)

// ServeHTTP sends a page the names of its changed parts as they change
// (server-sent events), until the page or the server goes.
func (h *hub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	ch, ok := h.join()
	if !ok {
		http.Error(w, "too many pages are open; close one", http.StatusServiceUnavailable)
		return
	}
	defer h.leave(ch)
	w.Header().Set("Content-Type", "text/event-stream")
	rc := http.NewResponseController(w)
	send := func(text string) bool {
		_ = rc.SetWriteDeadline(time.Now().Add(stallTime))
		if _, err := fmt.Fprint(w, text); err != nil {
			return false
		}
		return rc.Flush() == nil
	}
	if !send("retry: 1000\n\nevent: hello\ndata: \n\n") {
		return
	}
	alive := time.NewTicker(15 * time.Second)
	defer alive.Stop()
	var told time.Time
	for {
		select {
		case <-r.Context().Done():
			return
		case <-alive.C:
			if !send(": alive\n\n") {
				return
			}
		case <-ch:
			time.Sleep(max(eventGather, eventPause-time.Since(told)))
			told = time.Now()
			if parts := h.owed(ch); len(parts) > 0 && !send("event: changed\ndata: "+strings.Join(parts, " ")+"\n\n") {
				return
			}
		}
	}
}
