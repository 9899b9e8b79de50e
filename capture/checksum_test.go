package capture

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"testing"
)

// TestChecksum compares a trace's checksum with the standard library's over
// the whole file, for records of one chunk and of many, and whatever stands
// around the rows. Not asked for one, the trace is the same without it.
func TestChecksum(t *testing.T) {
	rows := func(n int) string {
		var b bytes.Buffer
		for i := range n {
			fmt.Fprintf(&b, "%.8e,%.4e\n", float64(i)*1e-6, 6.3+0.001*float64(i*7919%101))
		}
		return b.String()
	}
	packed := func(s string) string {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		z.Write([]byte(s))
		z.Close()
		return b.String()
	}
	many := rows(60_000)
	if len(many) < 4*chunkBytes {
		t.Fatalf("%d bytes make too few chunks", len(many))
	}
	var shuffled bytes.Buffer // needs a second pass
	lines := bytes.SplitAfter([]byte(many), []byte("\n"))
	for i := range 50_000 {
		shuffled.Write(lines[i^1])
	}
	for name, text := range map[string]string{
		"one chunk":           rows(100),
		"many chunks":         many,
		"header":              "time (s),volts (V)\n" + many,
		"byte order mark":     "\xef\xbb\xbftime (s),volts (V)\n" + many,
		"cut in the last row": many[:len(many)-4],
		"notes behind":        many + "end of record\n\n\n",
		"gzip":                packed(many),
		"times out of order":  "time (s),volts (V)\n" + shuffled.String(),
	} {
		t.Run(name, func(t *testing.T) {
			tr, err := Read(context.Background(), bytes.NewReader([]byte(text)), "record", Options{})
			if err != nil {
				t.Fatal(err)
			}
			if want := sha256.Sum256([]byte(text)); tr.SHA256 != hex.EncodeToString(want[:]) {
				t.Errorf("got %s, want %x", tr.SHA256, want)
			}
			without, err := Read(context.Background(), bytes.NewReader([]byte(text)), "record", Options{NoSHA256: true})
			if err != nil {
				t.Fatal(err)
			}
			if tr.SHA256 = ""; !reflect.DeepEqual(without, tr) {
				t.Errorf("not asked for a checksum, it gives %q, or another record", without.SHA256)
			}
		})
	}
}
