package main

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// writeSine writes half a second of a 1 kHz sine of a third of full scale with noise
// of the given share of it, as a 16-bit WAV.
func writeSine(t *testing.T, noise float64) string {
	t.Helper()
	const rate, n = 48000, 24000
	r := rand.New(rand.NewPCG(7, 1))
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt ")
	b = binary.LittleEndian.AppendUint32(b, 16)
	for _, v := range []uint16{1, 1} {
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	b = binary.LittleEndian.AppendUint32(b, rate)
	b = binary.LittleEndian.AppendUint32(b, 2*rate)
	b = binary.LittleEndian.AppendUint16(b, 2)
	b = binary.LittleEndian.AppendUint16(b, 16)
	b = binary.LittleEndian.AppendUint32(append(b, "data"...), 2*n)
	for i := range n {
		v := math.Sin(2*math.Pi*1000*float64(i)/rate)*(1-min(1, noise)) + noise*r.NormFloat64()
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(math.Max(-32768, math.Min(32767, v*10900)))))
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	path := filepath.Join(t.TempDir(), "sine.wav")
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// A figure comes from a clean sine only: noise gives none, whatever line of it
// stands highest.
func TestCalibrateRefusesNoise(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		noise float64
		ok    bool
	}{{0.001, true}, {0.2, false}, {1, false}} {
		out, errs, code := command(t, "calibrate", "--volts-rms", "0.5", writeSine(t, c.noise))
		if got := strings.Contains(out, "volts_per_full_scale"); got != c.ok || (code == exitDone) != c.ok {
			t.Errorf("noise of %g: exit %d, %q %q", c.noise, code, out, errs)
		}
		if !c.ok && !strings.Contains(errs, "clean sine") {
			t.Errorf("noise of %g: %q says nothing of a clean sine", c.noise, errs)
		}
	}
}
