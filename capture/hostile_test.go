package capture

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// checkTrace tells what every trace must hold, whatever the file was.
func checkTrace(tr *Trace) error {
	finite := func(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
	switch {
	case len(tr.Volts) < minSamples:
		return fmt.Errorf("%d samples", len(tr.Volts))
	case !(tr.SampleRateHz > 0) || !finite(tr.SampleRateHz):
		return fmt.Errorf("rate %g", tr.SampleRateHz)
	case !(tr.TrueRateHz > 0) || tr.TrueRateHz > tr.SampleRateHz*1.0001:
		return fmt.Errorf("true rate %g of %g", tr.TrueRateHz, tr.SampleRateHz)
	case !(tr.Span.LowHz > 0) || !(tr.Span.HighHz > 0) || !finite(tr.Span.LowHz) || !finite(tr.Span.HighHz):
		return fmt.Errorf("span %+v", tr.Span)
	case !finite(tr.StartS), !finite(tr.StepV), !finite(tr.FullScaleMinV), !finite(tr.FullScaleMaxV), !(tr.ProbeFactor > 0), !finite(tr.BandwidthHz), tr.BandwidthHz < 0, tr.StepV < 0:
		return fmt.Errorf("start %g, step %g, full scale %g to %g, probe %g", tr.StartS, tr.StepV, tr.FullScaleMinV, tr.FullScaleMaxV, tr.ProbeFactor)
	case tr.Layout == "" || len(tr.Channels) == 0 || len(tr.SHA256) != 64:
		return fmt.Errorf("layout %q, channels %q", tr.Layout, tr.Channels)
	}
	for i, v := range tr.Volts {
		if !finite(v) {
			return fmt.Errorf("sample %d is %g", i, v)
		}
	}
	return nil
}

// survive reads b and holds the reader to its promises: an error of one line
// that begins with the name, or a sound trace. A hang ends with go test's limit.
func survive(t *testing.T, b []byte) {
	t.Helper()
	tr, err := Read(context.Background(), bytes.NewReader(b), "f", Options{})
	if err != nil {
		if s := err.Error(); strings.ContainsAny(s, "\n\r") || !strings.HasPrefix(s, "f:") {
			t.Errorf("%q is not one line that begins with the file", s)
		}
		return
	}
	if err := checkTrace(tr); err != nil {
		t.Errorf("%v: %s %+v", err, tr.Layout, tr.Assumptions)
	}
}

// seedFiles are small captures of every kind, to be damaged.
func seedFiles() [][]byte {
	var files [][]byte
	for _, c := range slices.Concat(layoutCases, stackedCases, exportCases) {
		text := c.text
		if len(text) > 3000 {
			text = text[:3000]
		}
		files = append(files, []byte(text))
	}
	data := make([]byte, 240)
	for i := range data {
		data[i] = byte(i * 7)
	}
	for _, c := range []struct{ tag, ch, bits int }{{1, 1, 8}, {1, 1, 16}, {1, 1, 24}, {1, 2, 32}, {3, 1, 32}, {3, 1, 64}, {2, 1, 4}} {
		files = append(files, wavFile(c.tag, c.ch, c.bits, 48000, data))
	}
	files = append(files, rf64File(240, 240))
	return files
}

// rf64File has a ds64 chunk that states size bytes of data.
func rf64File(size uint64, have int) []byte {
	le := binary.LittleEndian
	b := []byte("RF64\xff\xff\xff\xffWAVEds64\x1c\x00\x00\x00")
	b = le.AppendUint64(b, size+80)
	b = le.AppendUint64(b, size)
	b = le.AppendUint64(b, size/2)
	b = le.AppendUint32(b, 0)
	b = append(b, "fmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00\x02\x00\x10\x00data\xff\xff\xff\xff"...)
	return append(b, make([]byte, have)...)
}

func zipped(b []byte) []byte {
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	w.Write(b)
	w.Close()
	return z.Bytes()
}

func TestTruncatedAnywhere(t *testing.T) {
	for i, f := range seedFiles() {
		stride := 1 + len(f)/testrun.Short(60, 6)
		if i%3 == 0 {
			f = zipped(f)
		}
		for n := 1 + i*7%stride; n < len(f); n += stride { // another place in every file
			survive(t, f[:n])
		}
	}
}

func TestDamagedAnywhere(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	marks := []byte("0123456789+-.,;eE\t \n\r\"#\x00\xff()=:")
	for _, f := range seedFiles() {
		for range testrun.Short(25, 2) {
			b := bytes.Clone(f)
			for range 1 + r.IntN(4) {
				at := r.IntN(len(b))
				if r.IntN(2) == 0 {
					at = r.IntN(min(len(b), 120))
				}
				switch r.IntN(3) {
				case 0:
					b[at] = marks[r.IntN(len(marks))]
				case 1:
					b = append(b[:at], append([]byte{marks[r.IntN(len(marks))]}, b[at:]...)...)
				default:
					b = append(b[:at], b[min(len(b), at+1+r.IntN(9)):]...)
				}
				if len(b) == 0 {
					b = []byte{'1'}
				}
			}
			survive(t, b)
		}
	}
}

func TestLyingHeaders(t *testing.T) {
	good := wavFile(1, 1, 16, 48000, make([]byte, 200))
	le := binary.LittleEndian
	at := bytes.Index(good, []byte("fmt "))
	data := bytes.Index(good, []byte("data"))
	for name, change := range map[string]func(b []byte){
		"no channels":      func(b []byte) { le.PutUint16(b[at+10:], 0) },
		"65535 channels":   func(b []byte) { le.PutUint16(b[at+10:], 65535) },
		"rate 0":           func(b []byte) { le.PutUint32(b[at+12:], 0) },
		"block 0":          func(b []byte) { le.PutUint16(b[at+20:], 0) },
		"0 bits":           func(b []byte) { le.PutUint16(b[at+22:], 0) },
		"17 bits in two":   func(b []byte) { le.PutUint16(b[at+22:], 17) },
		"fmt of 2^31":      func(b []byte) { le.PutUint32(b[at+4:], 1<<31) },
		"fmt of 4 bytes":   func(b []byte) { le.PutUint32(b[at+4:], 4) },
		"odd chunk 2^32-1": func(b []byte) { le.PutUint32(b[16:], math.MaxUint32) },
		"no data chunk":    func(b []byte) { copy(b[data:], "dat_") },
		"format 0":         func(b []byte) { le.PutUint16(b[at+8:], 0) },
		"not WAVE":         func(b []byte) { copy(b[8:], "AVI ") },
	} {
		b := bytes.Clone(good)
		change(b)
		_, err := Read(context.Background(), bytes.NewReader(b), "f", Options{})
		var pe *ParseError
		if !errors.As(err, &pe) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A data chunk that promises more than there is reads what is there.
	for _, b := range [][]byte{rf64File(1<<63-1, 200), rf64File(1<<40, 200), func() []byte { b := bytes.Clone(good); le.PutUint32(b[data+4:], 1<<31); return b }()} {
		tr, err := Read(context.Background(), bytes.NewReader(b), "f", Options{})
		if err != nil || len(tr.Volts) < 100 || len(tr.Volts) > 110 || tr.Cautions[0].Code != CautionTruncated {
			t.Errorf("%v %+v", err, tr)
		}
	}
	// Sizes of zero and 2^32-1 are what a recorder leaves that was cut off.
	for _, n := range []uint32{0, math.MaxUint32} {
		b := bytes.Clone(good)
		le.PutUint32(b[data+4:], n)
		tr, err := Read(context.Background(), bytes.NewReader(b), "f", Options{})
		if err != nil || len(tr.Volts) < 100 {
			t.Errorf("size %d: %v", n, err)
		}
	}
}

func TestGzipTrouble(t *testing.T) {
	rows := []byte("time,volts\n" + rowsOf(20000, tv(1e-6)))
	whole := zipped(rows)
	tr, err := Read(context.Background(), bytes.NewReader(whole[:len(whole)/2]), "f", Options{})
	if err != nil || len(tr.Volts) < 5000 || len(tr.Cautions) == 0 || tr.Cautions[0].Code != CautionTruncated {
		t.Errorf("half a gzip: %v", err)
	} else {
		for i, v := range tr.Volts {
			if math.Abs(v-wave(i)) > 1e-9 {
				t.Fatalf("half a gzip: sample %d of %d is %g", i, len(tr.Volts), v)
			}
		}
	}
	broken := bytes.Clone(whole)
	broken[len(broken)-6] ^= 1 // the checksum
	bomb := zipped(append([]byte("time,volts\n"), bytes.Repeat([]byte("0.000001,0\n"), 1<<20)...))
	for name, b := range map[string][]byte{"checksum": broken, "bomb": bomb, "zeros": zipped(make([]byte, 16<<20)), "gzip in gzip": zipped(whole), "nothing": zipped(nil), "header only": whole[:12]} {
		_, err := Read(context.Background(), bytes.NewReader(b), "f", Options{})
		var pe *ParseError
		if !errors.As(err, &pe) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestOddPlaces(t *testing.T) {
	dir := t.TempDir()
	loop := filepath.Join(dir, "loop.csv")
	if err := os.Symlink(loop, loop); err != nil {
		t.Skip("no symbolic links here")
	}
	_, err := Open(context.Background(), loop, Options{})
	var pe *ParseError
	if !errors.As(err, &pe) {
		t.Errorf("symlink loop: %v", err)
	}
	// Reading changes nothing.
	p := filepath.Join(dir, "x.csv")
	text := []byte(rowsOf(100, tv(1e-6)))
	if err := os.WriteFile(p, text, 0o400); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(context.Background(), p, Options{}); err != nil {
		t.Error(err)
	}
	if got, _ := os.ReadFile(p); !bytes.Equal(got, text) {
		t.Error("the file changed")
	}
}

func FuzzCSVLayout(f *testing.F) {
	for _, b := range seedFiles() {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<20 {
			return
		}
		survive(t, b)
	})
}

func FuzzWAV(f *testing.F) {
	for _, b := range seedFiles() {
		if bytes.HasPrefix(b, []byte("R")) {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 12 || len(b) > 1<<20 {
			return
		}
		b = append(append([]byte("RIFF"), b[4:8]...), append([]byte("WAVE"), b[12:]...)...)
		survive(t, b)
	})
}
