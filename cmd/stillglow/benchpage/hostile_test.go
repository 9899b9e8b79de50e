package benchpage

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/capture/synth/testrun"
)

// served is a page of a bench of its own.
type served struct {
	dir, address, host, token string
	cookie                    string
}

// serve starts a page in a new folder; it ends with the test.
func serve(t testing.TB, opt Options) *served {
	t.Helper()
	s := &served{dir: t.TempDir()}
	if opt.Sheet == "" {
		opt.Sheet = filepath.Join(s.dir, "bench.toml")
	}
	if opt.Take == nil {
		opt.Take = func([]target.Limit, sheet.Instrument) []Take { return nil }
	}
	ready := make(chan string, 1)
	opt.Ready = func(address string) { ready <- address }
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- Serve(ctx, opt) }()
	select {
	case s.address = <-ready:
	case err := <-ended:
		t.Fatalf("no page: %v", err)
	}
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the page ended with %v", err)
		}
	})
	u, err := url.Parse(s.address)
	if err != nil {
		t.Fatal(err)
	}
	s.host, s.token = u.Host, u.Query().Get("t")
	r, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Get(s.address)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	c := r.Cookies()
	if r.StatusCode != http.StatusSeeOther || len(c) != 1 || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("%s, cookies %v", r.Status, c)
	}
	s.cookie = c[0].Name + "=" + c[0].Value
	return s
}

// raw sends bytes as they are and gives the status, 0 where the connection is
// closed without an answer.
func (s *served) raw(t *testing.T, request string) int {
	t.Helper()
	conn, err := net.Dial("tcp", s.host)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := io.WriteString(conn, request); err != nil {
		return 0
	}
	r, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		return 0
	}
	r.Body.Close()
	return r.StatusCode
}

// request is an honest request but for what a test changes in it.
func (s *served) request(method, path, body string, headers ...string) string {
	all := map[string]string{"Host": s.host, "Cookie": s.cookie, "Connection": "close"}
	if method == "POST" {
		all["Origin"] = "http://" + s.host
		all["Content-Type"] = "application/x-www-form-urlencoded"
		all["Content-Length"] = fmt.Sprint(len(body))
	}
	for _, h := range headers {
		k, v, _ := strings.Cut(h, ": ")
		if all[k] = v; v == "" {
			delete(all, k)
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s HTTP/1.1\r\n", method, path)
	for k, v := range all {
		fmt.Fprintf(&b, "%s: %s\r\n", k, v)
	}
	return b.String() + "\r\n" + body
}

// Requests that the page never makes are refused, each with its status, and leave
// nothing behind.
func TestHostileRequests(t *testing.T) {
	s := serve(t, Options{MaxFile: 1 << 20})
	big := strings.Repeat("x", 70_000)
	for _, c := range []struct {
		what    string
		status  int
		request string
	}{
		{"an honest question", 200, s.request("GET", "/", "")},
		{"an honest file", 201, s.request("POST", "/captures?name=ok.csv", "t,v\n0,1\n1,2\n")},
		// where it comes from
		{"a foreign Host", 421, s.request("GET", "/", "", "Host: evil.example")},
		{"a name that resolves here", 421, s.request("GET", "/", "", "Host: evil.example:"+portOf(s.host))},
		{"another port's Host", 421, s.request("GET", "/", "", "Host: 127.0.0.1:1")},
		{"the Host without a port", 421, s.request("GET", "/", "", "Host: 127.0.0.1")},
		{"no Host", 400, s.request("GET", "/", "", "Host: ")},
		{"two Hosts", 400, strings.Replace(s.request("GET", "/", ""), "\r\n", "\r\nHost: evil.example\r\n", 1)},
		{"a foreign Origin reads", 403, s.request("GET", "/part/check", "", "Origin: http://evil.example")},
		{"a foreign Origin writes", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: http://evil.example")},
		{"an Origin of null", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: null")},
		{"the Origin by https", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: https://"+s.host)},
		{"no Origin on a change", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: ")},
		{"a link of another site", 403, s.request("GET", "/", "", "Sec-Fetch-Site: cross-site")},
		{"a frame of the same site's other port", 403, s.request("GET", "/events", "", "Sec-Fetch-Site: same-site")},
		{"a name that begins like the address", 421, s.request("GET", "/", "", "Host: 127.0.0.1.evil.example:"+portOf(s.host))},
		{"the address in short", 421, s.request("GET", "/", "", "Host: 127.1:"+portOf(s.host))},
		{"the address as a number", 421, s.request("GET", "/", "", "Host: 2130706433:"+portOf(s.host))},
		{"any address", 421, s.request("GET", "/", "", "Host: 0.0.0.0:"+portOf(s.host))},
		{"the loopback of IPv6", 421, s.request("GET", "/", "", "Host: [::1]:"+portOf(s.host))},
		{"the address within IPv6", 421, s.request("GET", "/", "", "Host: [::ffff:127.0.0.1]:"+portOf(s.host))},
		{"localhost with a dot", 421, s.request("GET", "/", "", "Host: localhost.:"+portOf(s.host))},
		{"a name below localhost", 421, s.request("GET", "/", "", "Host: evil.localhost:"+portOf(s.host))},
		{"another host in the request line", 421, strings.Replace(s.request("GET", "/", ""), "GET / ", "GET http://evil.example/ ", 1)},
		{"two Origins", 403, strings.Replace(s.request("POST", "/edit", "op=bench&title=x"), "\r\n", "\r\nOrigin: http://evil.example\r\n", 1)},
		{"the Origin of localhost at the address", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: http://localhost:"+portOf(s.host))},
		{"a form of another site, cookie and all", 403, s.request("POST", "/edit", "op=bench&title=x", "Origin: http://"+s.host, "Sec-Fetch-Site: cross-site")},
		// who asks
		{"no cookie", 403, s.request("GET", "/", "", "Cookie: ")},
		{"no cookie, the events", 403, s.request("GET", "/events", "", "Cookie: ")},
		{"no cookie, a waveform", 403, s.request("GET", "/wave/c0", "", "Cookie: ")},
		{"no cookie, the report", 403, s.request("GET", "/report/index.html", "", "Cookie: ")},
		{"no cookie, the ranking", 403, s.request("GET", "/ranking.txt", "", "Cookie: ")},
		{"no cookie, the page's own script", 403, s.request("GET", "/static/bench.js", "", "Cookie: ")},
		{"the cookie of another port", 403, s.request("GET", "/", "", "Cookie: stillglow-1="+strings.SplitN(s.cookie, "=", 2)[1])},
		{"the token for the cookie", 403, s.request("GET", "/", "", "Cookie: stillglow-"+portOf(s.host)+"="+s.token)},
		{"the cookie for the token", 403, s.request("GET", "/?t="+strings.SplitN(s.cookie, "=", 2)[1], "", "Cookie: ")},
		{"no cookie, a change", 403, s.request("POST", "/edit", "op=bench&title=x", "Cookie: ")},
		{"a made-up cookie", 403, s.request("GET", "/", "", "Cookie: stillglow-"+portOf(s.host)+"=AAAAAAAAAAAAAAAAAAAAAAAAAA")},
		{"a wrong token", 403, s.request("GET", "/?t=AAAAAAAAAAAAAAAAAAAAAAAAAA", "", "Cookie: ")},
		{"half of the token", 403, s.request("GET", "/?t="+s.token[:13], "", "Cookie: ")},
		{"the token at another place", 403, s.request("GET", "/part/check?t="+s.token, "", "Cookie: ")},
		{"the token on a change", 403, s.request("POST", "/edit?t="+s.token, "op=bench&title=x", "Cookie: ")},
		// where it leads
		{"a path out of the report", 404, s.request("GET", "/report/..%2f..%2f..%2fetc%2fpasswd", "")},
		{"a path out of the report, plain", 404, s.request("GET", "/report/%2e%2e/bench.toml", "")},
		{"a part that isn't", 404, s.request("GET", "/part/..%2fpage", "")},
		{"a file that isn't the page's", 404, s.request("GET", "/static/page.html", "")},
		{"a name with a path", 400, s.request("POST", "/captures?name=..%2f..%2fbench.toml", "x")},
		{"a name with a path of Windows", 400, s.request("POST", "/captures?name=..%5cbench.toml", "x")},
		{"a device's name", 400, s.request("POST", "/captures?name=CON", "x")},
		{"a device's name with an ending", 400, s.request("POST", "/captures?name=nul.csv", "x")},
		{"a name of the server's", 400, s.request("POST", "/captures?name=.htaccess", "x")},
		{"a name that is too long", 400, s.request("POST", "/captures?name="+strings.Repeat("a", 5000), "x")},
		{"a NUL in a name", 400, s.request("POST", "/captures?name=a%00.csv", "x")},
		{"a name that is no UTF-8", 400, s.request("POST", "/captures?name=%ff%fe.csv", "x")},
		{"a name of nothing visible", 400, s.request("POST", "/captures?name=%E2%80%8B.csv", "x")},
		{"a stream behind a name", 400, s.request("POST", "/captures?name=a.csv%3Ax", "x")},
		{"a path twice coded", 400, s.request("POST", "/captures?name=..%252f..%252f%00", "x")},
		{"a report's file out of it by backslashes", 404, s.request("GET", "/report/..%5c..%5cbench.toml", "")},
		{"the folder of the report itself", 303, s.request("GET", "/report/", "")},
		{"a hidden name", 400, s.request("POST", "/captures?name=.bashrc", "x")},
		{"no name", 400, s.request("POST", "/captures", "x")},
		{"markup in a name", 400, s.request("POST", "/captures?name=%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E.csv", "x")},
		{"a turned name", 400, s.request("POST", "/captures?name=a%E2%80%AEvsc.exe", "x")},
		{"a line break in a name", 400, s.request("POST", "/captures?name=a%0d%0ab.csv", "x")},
		{"a folder elsewhere to follow", 422, s.request("POST", "/follow", "folder=..%2f..")},
		{"the sheet's own history to follow", 422, s.request("POST", "/follow", "folder=captures%2f..%2f..")},
		{"a device to follow", 422, s.request("POST", "/follow", "folder=NUL%00")},
		{"an absolute folder to follow", 422, s.request("POST", "/follow", "folder=%2fetc")},
		// how much
		{"10 GB claimed", 413, s.request("POST", "/captures?name=big.csv", "x", "Content-Length: 10000000000")},
		{"more than is allowed, in chunks", 413, s.request("POST", "/captures?name=big.csv", chunked(2<<20), "Content-Length: ", "Transfer-Encoding: chunked")},
		{"a large form", 413, s.request("POST", "/edit", "op=bench&title="+big)},
		{"large headers", 431, s.request("GET", "/", "", "X-Big: "+big)},
		{"a question with a body", 400, s.request("GET", "/", "x", "Content-Length: 1")},
		{"two lengths", 400, strings.Replace(s.request("POST", "/edit", "op=bench&title=x"), "\r\n", "\r\nContent-Length: 3\r\n", 1)},
		{"a length and chunks", 501, s.request("POST", "/edit", "0\r\n\r\nGET / HTTP/1.1\r\n", "Transfer-Encoding: chunked, identity")},
		{"a negative length", 400, s.request("POST", "/captures?name=a.csv", "", "Content-Length: -1")},
		{"an empty capture", 400, s.request("POST", "/captures?name=a.csv", "")},
		{"a long search", 400, s.request("GET", "/valves?q="+strings.Repeat("1", 100), "")},
		// how
		{"PUT", 405, s.request("PUT", "/captures?name=a.csv", "")},
		{"DELETE", 405, s.request("DELETE", "/captures?name=ok.csv", "")},
		{"OPTIONS", 405, s.request("OPTIONS", "/edit", "")},
		{"TRACE", 405, s.request("TRACE", "/", "")},
		{"CONNECT", 421, "CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example:443\r\n\r\n"},
		{"a change by GET", 405, s.request("GET", "/edit?op=bench&title=x", "")},
		{"an upload by GET", 405, s.request("GET", "/captures?name=a.csv", "")},
		{"a calibration by a capture that isn't", 409, s.request("POST", "/calibrate", "id=cffff&volts_rms=1V")},
		{"an unknown edit", 422, s.request("POST", "/edit", "op=delete-everything")},
		{"no form", 400, s.request("POST", "/edit", "op=%zz")},
		{"no HTTP", 400, "hello\r\n\r\n"},
	} {
		if got := s.raw(t, c.request); got != c.status {
			t.Errorf("%s: status %d, want %d", c.what, got, c.status)
		}
	}
	entries, err := os.ReadDir(filepath.Join(s.dir, capturesDir))
	if err != nil || len(entries) != 1 || entries[0].Name() != "ok.csv" {
		t.Errorf("left in captures: %v, %v", entries, err)
	}
	if data, err := os.ReadFile(filepath.Join(s.dir, "bench.toml")); err != nil || strings.Count(string(data), "title") != 1 || !strings.Contains(string(data), "ok.csv") {
		t.Errorf("the sheet: %v\n%s", err, data)
	}
}

func portOf(host string) string { _, port, _ := net.SplitHostPort(host); return port }

func chunked(n int) string {
	return fmt.Sprintf("%x\r\n%s\r\n0\r\n\r\n", n, strings.Repeat("1,2\n", n/4))
}

// No edit names a file outside the bench folder.
func TestNoEditLeavesTheFolder(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "a.csv", 7)
	id := s.id(t, "a.csv")
	s.must(t, "give", "id", id, "brand", "Murrowfen")
	for _, pairs := range [][]string{
		{"correct", "id", id, "baseline", "../../../etc/passwd", "file", "/etc/passwd", "note", "x"},
		{"give", "id", id, "brand", "Murrowfen", "mark", "2", "file", "/etc/passwd"},
		{"unit", "unit", "Murrowfen", "capture", "/etc/passwd"},
		{"bench", "pattern", "../{brand}.csv", "title", "x"},
		{"instrument", "baseline", "/etc/passwd", "name", "x"},
	} {
		s.edit(t, pairs[0], pairs[1:]...) // taken or refused, but for the path
	}
	text, err := os.ReadFile(filepath.Join(s.dir, "bench.toml"))
	if err != nil || strings.Contains(string(text), "passwd") || strings.Contains(string(text), "pattern") {
		t.Errorf("%v\n%s", err, text)
	}
}

// Headers that dribble in are not waited for.
func TestSlowHeaders(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for the server's patience to end")
	}
	s := serve(t, Options{})
	conn, err := net.Dial("tcp", s.host)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for _, part := range []string{"GET / HTTP/1.1\r\n", "Host: " + s.host + "\r\n"} {
		if _, err := io.WriteString(conn, part); err != nil {
			t.Fatal(err)
		}
	}
	answer, err := io.ReadAll(conn)
	if err != nil || strings.Contains(string(answer), " 200 ") {
		t.Errorf("after slow headers: %q, %v; want the connection closed", answer, err)
	}
}

// Every answer forbids what the page doesn't need, and nothing that a file or the
// sheet says is ever markup.
func TestNothingIsMarkup(t *testing.T) {
	s := serve(t, Options{})
	nasty := `<script>alert(1)</script>"'&<img src=x onerror=alert(1)>`
	put := func(path string, form url.Values) {
		t.Helper()
		if got := s.raw(t, s.request("POST", path, form.Encode())); got != 200 {
			t.Errorf("%s %v: status %d", path, form, got)
		}
	}
	put("/edit", url.Values{"op": {"bench"}, "title": {nasty}, "workshop": {nasty}, "note": {nasty}})
	put("/edit", url.Values{"op": {"instrument"}, "name": {nasty}})
	if got := s.raw(t, s.request("POST", "/captures?name="+url.QueryEscape("a & b'c.csv"), "nasty "+nasty+"\n")); got != 201 {
		t.Errorf("a nasty file: %d", got)
	}
	for _, path := range []string{"/", "/part/bar", "/part/bring", "/part/check", "/part/whose", "/part/decided", "/part/fit", "/part/leave", "/static/bench.js"} {
		conn, err := net.Dial("tcp", s.host)
		if err != nil {
			t.Fatal(err)
		}
		_, _ = io.WriteString(conn, s.request("GET", path, ""))
		r, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(r.Body)
		conn.Close()
		if strings.Contains(string(body), "<script>alert") || strings.Contains(string(body), "<img src=x") {
			t.Errorf("%s has the text as markup", path)
		}
		for k, want := range map[string]string{"Content-Security-Policy": policy, "X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Cache-Control": "no-store"} {
			if got := r.Header.Get(k); got != want {
				t.Errorf("%s: %s is %q, want %q", path, k, got, want)
			}
		}
		if strings.Contains(string(body), " style=") || strings.Contains(string(body), " onclick=") {
			t.Errorf("%s has styles or scripts of its own", path)
		}
	}
}

// A broken sheet is told with line and column, nothing is lost, and undo leads out.
func TestBrokenSheet(t *testing.T) {
	s := serve(t, Options{})
	sheetPath := filepath.Join(s.dir, "bench.toml")
	s.post(t, "/edit", url.Values{"op": {"bench"}, "title": {"Good"}})
	if err := os.WriteFile(sheetPath, []byte("title = \"Good\"\ntarget = \n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.until(t, "/part/bar", "bench.toml:2:")
	if a := s.post(t, "/edit", url.Values{"op": {"bench"}, "title": {"Lost"}}); a.OK || !strings.Contains(a.Error, ":2:") {
		t.Errorf("a broken sheet is edited: %+v", a)
	}
	if a := s.post(t, "/undo", nil); !a.OK {
		t.Errorf("undo: %+v", a)
	}
	data, err := os.ReadFile(sheetPath)
	if err != nil || !strings.Contains(string(data), `title  = "Good"`) {
		t.Errorf("after undo: %v\n%s", err, data)
	}
}

func (s *served) post(t testing.TB, path string, form url.Values) answer {
	t.Helper()
	r, err := http.NewRequest("POST", "http://"+s.host+path, strings.NewReader(form.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Origin", "http://"+s.host)
	r.Header.Set("Cookie", s.cookie)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	var a answer
	if err := json.NewDecoder(got.Body).Decode(&a); err != nil {
		t.Fatalf("%s: %s, %v", path, got.Status, err)
	}
	return a
}

func (s *served) get(t testing.TB, path string) string {
	t.Helper()
	r, err := http.NewRequest("GET", "http://"+s.host+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Cookie", s.cookie)
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	body, err := io.ReadAll(got.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// until waits for a part of the page to hold a text.
func (s *served) until(t *testing.T, path, text string) string {
	t.Helper()
	var body string
	waitFor(t, func() (bool, string) {
		body = s.get(t, path)
		return strings.Contains(body, text), path + " never holds " + text + ":\n" + body
	})
	return body
}

// waitFor looks again and again until what a test waits for is there. It has no
// limit of its own, since a busy machine may be as slow as it likes: shortly before
// go test would end everything it fails with what was seen last.
func waitFor(t *testing.T, look func() (there bool, seen string)) {
	t.Helper()
	for out := testrun.Ends(t); ; {
		there, seen := look()
		if there {
			return
		}
		select {
		case <-out:
			t.Fatal(seen)
		case <-time.After(20 * time.Millisecond):
		}
	}
}
