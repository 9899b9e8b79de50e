package benchpage

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"stillglow/analysis"
	"stillglow/capture"
)

// benchCSV is a capture of n rows; seed tells captures apart.
func benchCSV(n, seed int) []byte {
	var b bytes.Buffer
	b.WriteString("time,volts\n")
	for i := range n {
		fmt.Fprintf(&b, "%.9f,%.6f\n", float64(i)*8e-9, 7+0.004*math.Sin(float64(i)/200)+0.001*math.Sin(float64(i*(i+seed))))
	}
	return b.Bytes()
}

// drop sends a file and waits until its figures are on the page.
func (s *served) drop(b *testing.B, name string, data []byte) {
	b.Helper()
	r, err := http.NewRequest("POST", "http://"+s.host+"/captures?name="+url.QueryEscape(name), bytes.NewReader(data))
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Origin", "http://"+s.host)
	r.Header.Set("Cookie", s.cookie)
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		b.Fatal(err)
	}
	got.Body.Close()
	if got.StatusCode != http.StatusCreated {
		b.Fatal(got.Status)
	}
}

// BenchmarkDropToFigure is the time from a dropped file of a million rows to its
// figures on the page; the metric is how many times as long as opening and
// measuring the same file takes by itself.
func BenchmarkDropToFigure(b *testing.B) {
	s := serve(b, Options{})
	var page, alone time.Duration
	for i := 0; b.Loop(); i++ {
		data, name := benchCSV(1_000_000, i), fmt.Sprint("big-", i, ".csv")
		begun := time.Now()
		s.drop(b, name, data)
		s.untilDone(b, name)
		page += time.Since(begun)
		path := filepath.Join(s.dir, capturesDir, name)
		begun = time.Now()
		tr, err := capture.Open(context.Background(), path, capture.Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := analysis.Measure(context.Background(), tr, analysis.Setup{}); err != nil {
			b.Fatal(err)
		}
		alone += time.Since(begun)
		if err := os.Remove(path); err != nil { // the sheet awaits it from now on
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(page)/float64(alone), "times-measure")
}

// untilDone waits for a capture's figures as an open page does: it is told of events
// and then asks for the part that they name.
func (s *served) untilDone(b *testing.B, name string) {
	b.Helper()
	r, err := http.NewRequest("GET", "http://"+s.host+"/events", nil)
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Cookie", s.cookie)
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		b.Fatal(err)
	}
	defer got.Body.Close()
	done := regexp.MustCompile(`class="card done" id="[^"]*" aria-label="Capture ` + regexp.QuoteMeta(name) + `"`)
	for events := bufio.NewScanner(got.Body); events.Scan(); {
		data, ok := strings.CutPrefix(events.Text(), "data: ")
		if ok && (data == "" || strings.Contains(data, "check")) && done.MatchString(s.get(b, "/part/check")) { // "": the first, to begin with
			return
		}
	}
	b.Fatalf("%s is never measured", name)
}

// BenchmarkClickWhileFortyArrive is how long a change made on the page takes to be
// answered while forty captures that were dropped at once are taken and measured.
func BenchmarkClickWhileFortyArrive(b *testing.B) {
	for b.Loop() {
		s := serve(b, Options{})
		arrived := make(chan struct{})
		go func() {
			defer close(arrived)
			for i := range 40 {
				s.drop(b, fmt.Sprint("f", i, ".csv"), benchCSV(100_000, i))
			}
		}()
		var worst, sum time.Duration
		n := 0
		for busy := true; busy; {
			select {
			case <-arrived:
				busy = false
			default:
			}
			begun := time.Now()
			if a := s.edit(b, "bench", "note", fmt.Sprint("click ", n)); !a.OK {
				b.Fatal(a.Error)
			}
			took := time.Since(begun)
			worst, sum, n = max(worst, took), sum+took, n+1
			time.Sleep(20 * time.Millisecond)
		}
		b.ReportMetric(float64(worst.Milliseconds()), "worst-ms")
		b.ReportMetric(float64(sum.Milliseconds())/float64(n), "mean-ms")
	}
}
