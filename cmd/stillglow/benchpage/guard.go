package benchpage

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"time"
)

// Bounds on what a request may ask for.
const (
	headerBytes    = 16 << 10
	headerTime     = 5 * time.Second
	formBytes      = 64 << 10
	formTime       = 15 * time.Second
	stallTime      = 30 * time.Second // an upload that brings nothing for so long is given up
	uploadsAtOnce  = 6
	listenersMost  = 24                   // pages that are told of events
	DefaultMaxFile = int64(4_000_000_000) // bytes of one dropped file
)

// policy allows the page's own files and nothing else: no inline script or style,
// no other host.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard stands before every handler. Only the page itself may reach the server:
// the address must be the loopback one that the server has (so that no other name
// that resolves to it will do), a request of another site is refused by its Origin
// and by what the browser says of its site, and a cookie that only the address
// with the token gives must come along.
type guard struct {
	hosts   []string // "127.0.0.1:1234", "localhost:1234"
	token   string   // in the address that is printed
	session string   // in the cookie
	cookie  string   // its name: cookies are shared by all ports of a host
	next    http.Handler
	uploads chan struct{}
	most    int64
}

func newGuard(address *net.TCPAddr, most int64, next http.Handler) *guard {
	port := strconv.Itoa(address.Port)
	return &guard{
		hosts: []string{net.JoinHostPort(address.IP.String(), port), "localhost:" + port},
		token: rand.Text(), session: rand.Text(), cookie: "stillglow-" + port,
		next: next, uploads: make(chan struct{}, uploadsAtOnce), most: most,
	}
}

func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if status, why := g.judge(r); status != 0 {
		if status == http.StatusMethodNotAllowed {
			h.Set("Allow", "GET, HEAD, POST")
		}
		h.Set("Connection", "close") // whatever body is on its way is not read
		http.Error(w, why, status)
		return
	}
	if t := r.URL.Query().Get("t"); t != "" {
		g.enter(w, r, t)
		return
	}
	c, err := r.Cookie(g.cookie)
	if err != nil || subtle.ConstantTimeCompare([]byte(c.Value), []byte(g.session)) != 1 {
		h.Set("Connection", "close")
		http.Error(w, "open the whole address that \"stillglow bench\" printed when it started", http.StatusForbidden)
		return
	}
	g.bound(w, r)
}

// judge refuses what can't come from the page.
func (g *guard) judge(r *http.Request) (status int, why string) {
	known := false
	for _, host := range g.hosts {
		known = known || r.Host == host
	}
	switch {
	case !known:
		return http.StatusMisdirectedRequest, "this server answers at its own address only"
	case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
		return http.StatusMethodNotAllowed, "GET and POST only"
	}
	origins := r.Header["Origin"]
	for _, o := range origins {
		if o != "http://"+r.Host {
			return http.StatusForbidden, "a request from another site"
		}
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && (site != "none" || r.Method == http.MethodPost) {
		return http.StatusForbidden, "a request from another site"
	}
	if r.Method == http.MethodPost && len(origins) != 1 {
		return http.StatusForbidden, "a request that does not say where it comes from"
	}
	return 0, ""
}

// enter takes the token for the cookie and leaves it out of the address.
func (g *guard) enter(w http.ResponseWriter, r *http.Request, token string) {
	if r.Method == http.MethodPost || r.URL.Path != "/" || subtle.ConstantTimeCompare([]byte(token), []byte(g.token)) != 1 {
		http.Error(w, "this address is from an earlier run: open the one that \"stillglow bench\" printed when it started", http.StatusForbidden)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// bound limits how much a request brings, how slowly, and how many files at once.
func (g *guard) bound(w http.ResponseWriter, r *http.Request) {
	refuse := func(status int, why string) {
		w.Header().Set("Connection", "close")
		http.Error(w, why, status)
	}
	rc := http.NewResponseController(w)
	switch {
	case r.Method != http.MethodPost:
		if r.ContentLength != 0 {
			refuse(http.StatusBadRequest, "a GET or HEAD request with a body")
			return
		}
	case r.URL.Path == "/captures":
		if r.ContentLength > g.most {
			refuse(http.StatusRequestEntityTooLarge, tooLarge(r.URL.Query().Get("name"), g.most).Error())
			return
		}
		select {
		case g.uploads <- struct{}{}:
			defer func() { <-g.uploads }()
		default:
			refuse(http.StatusTooManyRequests, fmt.Sprintf("%d files are arriving already; send the next when one is done", uploadsAtOnce))
			return
		}
		r.Body = &steady{r.Body, rc}
	default:
		if r.ContentLength > formBytes {
			refuse(http.StatusRequestEntityTooLarge, "more than a form holds")
			return
		}
		_ = rc.SetReadDeadline(time.Now().Add(formTime))
		r.Body = http.MaxBytesReader(w, r.Body, formBytes)
	}
	g.next.ServeHTTP(w, r)
}

// steady gives up on a body that stalls.
type steady struct {
	io.ReadCloser
	rc *http.ResponseController
}

func (s *steady) Read(p []byte) (int, error) {
	if err := s.rc.SetReadDeadline(time.Now().Add(stallTime)); err != nil {
		return 0, err
	}
	return s.ReadCloser.Read(p)
}
