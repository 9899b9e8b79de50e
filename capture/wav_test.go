package capture

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestWAVOptions refuses options that a WAV has no place for, rather than pass
// over them, and says an offset that it adds.
func TestWAVOptions(t *testing.T) {
	data := make([]byte, 2000)
	for i := range data {
		data[i] = byte(i * 7)
	}
	file := string(wavFile(1, 1, 16, 48000, data))
	for words, opt := range map[string]Options{
		"--volts-per-full-scale, too": {OffsetV: 0.5},
		"give --volts-per-full-scale": {VoltUnit: "mV"},
		"leave --segment out":         {Segment: 2},
		"leave --scale out":           {Scale: 2, VoltsPerFullScale: 3},
	} {
		if _, err := Read(context.Background(), strings.NewReader(file), "x.wav", opt); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%+v: %v", opt, err)
		}
	}
	plain, err := Read(context.Background(), strings.NewReader(file), "x.wav", Options{VoltsPerFullScale: 2})
	if err != nil {
		t.Fatal(err)
	}
	moved, err := Read(context.Background(), strings.NewReader(file), "x.wav", Options{VoltsPerFullScale: 2, OffsetV: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, a := range moved.Assumptions {
		said = said || a.What == "offset"
	}
	if d := moved.Volts[7] - plain.Volts[7]; d != 0.5 || !said {
		t.Errorf("moved by %g, said: %t", d, said)
	}
}

// wavFile builds a WAV of the given format with the given data bytes.
func wavFile(tag, channels, bits int, rate uint32, data []byte) []byte {
	le := binary.LittleEndian
	var b []byte
	b = append(b, "RIFF\x00\x00\x00\x00WAVE"...)
	b = append(b, "junk\x03\x00\x00\x00abc\x00"...) // odd chunk with its pad byte
	b = append(b, "fmt \x10\x00\x00\x00"...)
	b = le.AppendUint16(b, uint16(tag))
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, rate)
	b = le.AppendUint32(b, rate*uint32(channels*bits/8))
	b = le.AppendUint16(b, uint16(channels*bits/8))
	b = le.AppendUint16(b, uint16(bits))
	b = append(b, "data"...)
	b = le.AppendUint32(b, uint32(len(data)))
	b = append(b, data...)
	if len(data)%2 == 1 {
		b = append(b, 0)
	}
	b = append(b, "LIST\x04\x00\x00\x00INFO"...)
	le.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

// encodeWAV writes fractions of full scale in one encoding.
func encodeWAV(tag, bits int, v float64) []byte {
	le := binary.LittleEndian
	switch {
	case tag == wavFloat && bits == 32:
		return le.AppendUint32(nil, math.Float32bits(float32(v)))
	case tag == wavFloat:
		return le.AppendUint64(nil, math.Float64bits(v))
	case bits == 8:
		return []byte{byte(int(v*128) + 128)}
	case bits == 16:
		return le.AppendUint16(nil, uint16(int16(v*(1<<15))))
	case bits == 24:
		x := uint32(int32(v * (1 << 23)))
		return []byte{byte(x), byte(x >> 8), byte(x >> 16)}
	}
	return le.AppendUint32(nil, uint32(int32(v*(1<<31))))
}

// Float samples beyond full scale were scaled by a program, or are volts already: volts at
// full scale that are given for them are doubted, but for 1, which reads them as volts.
func TestFloatsBeyondFullScale(t *testing.T) {
	for _, c := range []struct {
		times, fullScale float64
		doubted          bool
	}{{0.5, 2, false}, {1.05, 2, false}, {1.6, 2, true}, {1.6, 1, false}, {32768, 0.5, true}} {
		var data []byte
		for i := range 200 {
			data = append(data, encodeWAV(wavFloat, 32, c.times*math.Sin(float64(i)))...)
		}
		tr, err := Read(context.Background(), bytes.NewReader(wavFile(wavFloat, 1, 32, 48000, data)), "x.wav", Options{VoltsPerFullScale: c.fullScale})
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(codesOf(tr), CautionProbeFactor) != c.doubted {
			t.Errorf("%+v: %v", c, tr.Cautions)
		}
	}
}

func TestWAVEncodings(t *testing.T) {
	want := []float64{-1, -0.5, 0, 0.25, 0.5}
	for len(want) < 40 {
		want = append(want, want...)
	}
	want = want[:40]
	for _, c := range []struct{ tag, bits int }{{1, 8}, {1, 16}, {1, 24}, {1, 32}, {3, 32}, {3, 64}} {
		for _, channels := range []int{1, 2, 3} {
			var data []byte
			for _, v := range want {
				for ch := range channels {
					x := v
					if ch != channels-1 {
						x = 0.125
					}
					data = append(data, encodeWAV(c.tag, c.bits, x)...)
				}
			}
			ch := ""
			if channels > 1 {

				ch = string(rune('0' + channels))
			}
			tr, err := Read(context.Background(), bytes.NewReader(wavFile(c.tag, channels, c.bits, 96000, data)), "x.wav", Options{Channel: ch, VoltsPerFullScale: 2})
			if err != nil {
				t.Fatalf("%+v with %d channels: %v", c, channels, err)
			}
			if tr.SampleRateHz != 96000 || len(tr.Volts) != len(want) || !tr.Calibrated || tr.Coupling != CouplingAC {
				t.Errorf("%+v: %d samples at %g", c, len(tr.Volts), tr.SampleRateHz)
			}
			for i, v := range want {
				if tr.Volts[i] != 2*v {
					t.Fatalf("%+v with %d channels: sample %d is %g, want %g", c, channels, i, tr.Volts[i], 2*v)
				}
			}
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, "empty.csv")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(dir, "text.csv")
	if err := os.WriteFile(text, []byte("name,remark\nanna,hello\nbert,bye\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	nodata := filepath.Join(dir, "nodata.wav")
	if err := os.WriteFile(nodata, wavFile(1, 1, 16, 48000, nil), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{dir, empty, text, nodata, filepath.Join(dir, "missing.csv"), "/dev/null"} {
		_, err := Open(context.Background(), p, Options{})
		var pe *ParseError
		if !errors.As(err, &pe) || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), p) {
			t.Errorf("%s: %v", p, err)
		}
	}
}

func TestGzip(t *testing.T) {
	var rows bytes.Buffer
	rows.WriteString("time,volts\n")
	for i := range 100 {
		rows.WriteString(strings.Replace("0.0II,1.5\n", "II", string([]byte{byte('0' + i/10), byte('0' + i%10)}), 1))
	}
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	w.Write(rows.Bytes())
	w.Close()
	for _, b := range [][]byte{rows.Bytes(), z.Bytes()} {
		tr, err := Read(context.Background(), bytes.NewReader(b), "x", Options{})
		if err != nil || len(tr.Volts) != 100 || math.Abs(tr.SampleRateHz-1000) > 1e-6 || len(tr.SHA256) != 64 {
			t.Errorf("%v %+v", err, tr)
		}
	}
}
