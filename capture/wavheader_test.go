package capture

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// chunk is a chunk of a WAV file without its pad byte.
func chunk(id string, body []byte) []byte {
	return append(binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body))), body...)
}

// fmtBody is the body of a fmt chunk of one channel at 48 kS/s; valid bits of 0 make it plain
// PCM, others WAVE_FORMAT_EXTENSIBLE.
func fmtBody(bits, frame, valid int) []byte {
	le, tag := binary.LittleEndian, uint16(wavPCM)
	if valid > 0 {
		tag = wavExtensible
	}
	b := le.AppendUint16(nil, tag)
	b = le.AppendUint16(b, 1)
	b = le.AppendUint32(b, 48000)
	b = le.AppendUint32(b, uint32(48000*frame))
	b = le.AppendUint16(b, uint16(frame))
	b = le.AppendUint16(b, uint16(bits))
	if valid > 0 {
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(valid))
		b = le.AppendUint32(b, 4)
		b = le.AppendUint16(b, wavPCM)
		b = append(b, guidTail[:]...)
	}
	return b
}

// container writes codes in so many bytes each.
func container(bytes int, codes []int) []byte {
	var b []byte
	for _, c := range codes {
		for k := range bytes {
			b = append(b, byte(c>>(8*k)))
		}
	}
	return b
}

func riff(chunks ...[]byte) []byte {
	body := slices.Concat(append([][]byte{[]byte("WAVE")}, chunks...)...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// The samples of containers with more bits than are used stand at the left by the
// specification (Microsoft and IBM 1991; Microsoft 2001). A writer that puts them at the
// right has its volts wrong by a power of two, which only the samples show.
func TestBitsOfTheContainer(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	// codes are samples of so many bits, moved to the left of a container of others.
	want := make([]float64, 400)
	for i := range want {
		want[i] = 0.6*math.Sin(float64(i)/7) + 0.01*r.NormFloat64()
	}
	codes := func(bits, container int) (c []int) {
		for _, v := range want {
			c = append(c, int(math.Round(v*math.Ldexp(1, bits-1)))<<(container-bits))
		}
		return c
	}
	dithered := codes(24, 32)
	for i := range dithered {
		dithered[i] += r.IntN(256)
	}
	for _, c := range []struct {
		name    string
		format  []byte
		data    []byte
		bits    int     // of the step
		times   float64 // of the truth that the samples are
		doubted bool
	}{
		{"20 of 24 bits, extensible", fmtBody(24, 3, 20), container(3, codes(20, 24)), 20, 1, false},
		{"24 of 32 bits, extensible", fmtBody(32, 4, 24), container(4, codes(24, 32)), 24, 1, false},
		{"20 bits in three bytes", fmtBody(20, 3, 0), container(3, codes(20, 24)), 20, 1, false},
		{"12 bits in two bytes", fmtBody(12, 2, 0), container(2, codes(12, 16)), 12, 1, false},
		{"24 bits in four bytes", fmtBody(24, 4, 0), container(4, codes(24, 32)), 24, 1, false},
		{"24 bits at the right of 32, extensible", fmtBody(32, 4, 24), container(4, codes(24, 24)), 32, 1. / 256, true},
		{"24 bits at the right of four bytes", fmtBody(24, 4, 0), container(4, codes(24, 24)), 32, 1. / 256, true},
		{"20 bits at the right of 24", fmtBody(24, 3, 20), container(3, codes(20, 20)), 24, 1. / 16, true},
		{"all 32 bits used where 24 are stated", fmtBody(32, 4, 24), container(4, dithered), 32, 1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := Read(context.Background(), bytes.NewReader(riff(chunk("fmt ", c.format), chunk("data", c.data))), "x.wav", Options{VoltsPerFullScale: 2})
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range want {
				if math.Abs(tr.Volts[i]-2*c.times*v) > 2*math.Ldexp(1, -min(c.bits, 20)) {
					t.Fatalf("sample %d is %g V, want %g", i, tr.Volts[i], 2*c.times*v)
				}
			}
			if step := 2 * math.Ldexp(1, 1-c.bits); tr.StepV != step {
				t.Errorf("step %g, want %g", tr.StepV, step)
			}
			if slices.Contains(codesOf(tr), CautionProbeFactor) != c.doubted {
				t.Errorf("cautions %v", tr.Cautions)
			}
		})
	}
}

// Chunks without their pad byte are read on, and samples behind the stated ones are told.
func TestChunksAroundTheSamples(t *testing.T) {
	codes := make([]int, 6000)
	for i := range codes {
		codes[i] = i % 101 * 100
	}
	format, data := chunk("fmt ", fmtBody(16, 2, 0)), chunk("data", container(2, codes))
	half := chunk("data", container(2, codes))
	binary.LittleEndian.PutUint32(half[4:], 6000)
	list := chunk("LIST", []byte("INFO12345"))
	for _, c := range []struct {
		name     string
		file     []byte
		n        int
		cautions string
	}{
		{"an odd chunk with its pad byte", riff(list, []byte{0}, format, data), 6000, ""},
		{"an odd chunk without it", riff(list, format, data), 6000, ""},
		{"odd chunks without it between", riff(format, list, list, data), 6000, ""},
		{"a list behind", riff(format, data, list, []byte{0}), 6000, ""},
		{"a second data chunk", riff(format, data, data), 6000, CautionTruncated},
		{"a size that states half", riff(format, half), 3000, CautionTruncated},
		{"zeros up to a block's end behind", riff(format, data, make([]byte, 512)), 6000, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := Read(context.Background(), bytes.NewReader(c.file), "x.wav", Options{VoltsPerFullScale: 1})
			if err != nil {
				t.Fatal(err)
			}
			if len(tr.Volts) != c.n || tr.Volts[1] != 100./32768 || tr.Volts[c.n-1] != float64(codes[c.n-1])/32768 {
				t.Errorf("%d samples, the last %g", len(tr.Volts), tr.Volts[len(tr.Volts)-1])
			}
			if got := strings.Join(codesOf(tr), " "); got != c.cautions {
				t.Errorf("cautions %v", tr.Cautions)
			}
		})
	}
	b := rf64File(1000, 1000)
	copy(b[bytes.Index(b, []byte("data"))+4:], "\x00\x00\x00\x00")
	if tr, err := Read(context.Background(), bytes.NewReader(b), "x.wav", Options{}); err != nil || len(tr.Volts) != 500 {
		t.Errorf("an RF64 file that states its size in the ds64 chunk alone: %v", err)
	}
}

// Noise of a recording is resampled to a higher rate by zeros behind its spectrum, which is
// exact for a periodic record. What a program leaves at the top, its rounding alone, bounds
// the span; noise of plain records, sloping and with lines, doesn't.
func TestResampledRecording(t *testing.T) {
	const n, rate = 1 << 15, 192e3
	noise := func(seed uint64, pole float64) []float64 {
		r := rand.New(rand.NewPCG(seed, 9))
		x, low := make([]float64, n), 0.0
		for i := range x {
			low += (0.03*r.NormFloat64() - low) * pole
			x[i] = low + 0.2*math.Sin(2*math.Pi*100/rate*float64(i)) + 0.05*math.Sin(2*math.Pi*30.1e3/rate*float64(i))
		}
		return x
	}
	cut := func(x []float64, hz float64) []float64 {
		f := fourier.NewFFT(n)
		c := f.Coefficients(nil, x)
		clear(c[int(hz/rate*n):])
		y := f.Sequence(nil, c)
		for i := range y {
			y[i] /= n
		}
		return y
	}
	for _, c := range []struct {
		name  string
		pole  float64
		endHz float64 // 0: plain
		bits  int
	}{
		{"plain", 1, 0, 24}, {"plain, 16 bits", 1, 0, 16}, {"plain, a pole at 6 kHz", 0.2, 0, 24}, {"plain, a pole at 600 Hz", 0.02, 0, 24},
		{"its own filter's end", 1, 88e3, 24},
		{"from 48 kS/s", 1, 21.8e3, 24}, {"from 48 kS/s, 16 bits", 1, 21.8e3, 16}, {"from 96 kS/s", 1, 43e3, 24}, {"from 44.1 kS/s, a pole", 0.2, 20e3, 24}, {"a codec's top", 1, 16e3, 24},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(3) {
				x := noise(seed, c.pole)
				if c.endHz > 0 {
					x = cut(x, c.endHz)
				}
				step := math.Ldexp(1, 1-c.bits)
				for i, v := range x {
					x[i] = math.Round(v/step) * step
				}
				tr := &Trace{Volts: x, SampleRateHz: rate, StepV: step, Span: Span{1, filteredShare * rate}}
				tr.findBandEnd()
				if c.endHz == 0 || c.endHz > bandEndTop*rate/2 {
					if len(tr.Cautions) > 0 || tr.Span.HighHz != filteredShare*rate {
						t.Errorf("seed %d: %v", seed, tr.Cautions)
					}
					continue
				}
				if hz := tr.Span.HighHz; len(tr.Cautions) != 1 || hz > 1.01*c.endHz || hz < 0.97*c.endHz {
					t.Errorf("seed %d: to %g Hz, want %g: %v", seed, hz, c.endHz, tr.Cautions)
				}
			}
		})
	}
}
