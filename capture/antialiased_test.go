package capture

import (
	"bytes"
	"context"
	"encoding/binary"
	"strings"
	"testing"
)

// What was told of a filter ahead of the scope is on the trace, and leaves its
// span that of a scope.
func TestAntiAliasedIsGiven(t *testing.T) {
	text := "time,volts\n0,1\n0.001,1.5\n0.002,1\n0.003,1.5\n0.004,1.2\n0.005,1\n0.006,1.5\n0.007,1\n0.008,1.1\n0.009,1.3\n0.010,1\n0.011,1.5\n0.012,1\n0.013,1.5\n0.014,1.2\n0.015,1\n0.016,1.5\n0.017,1\n"
	for _, given := range []bool{false, true} {
		tr, err := Read(context.Background(), strings.NewReader(text), "a.csv", Options{AntiAliased: &given})
		if err != nil {
			t.Fatal(err)
		}
		if tr.AntiAliased != given || tr.Span.HighHz != spanShare*tr.SampleRateHz {
			t.Errorf("given %v: filter %v, span to %v Hz", given, tr.AntiAliased, tr.Span.HighHz)
		}
	}
}

// A recorder with a filter of its own shows the audio band to its end at every
// rate that sound cards are made with: 44.1 kS/s was chosen for 20 kHz.
func TestEveryCardHoldsTheAudioBand(t *testing.T) {
	for _, rate := range []uint32{44100, 48000, 88200, 96000, 192000} {
		tr, err := Read(context.Background(), bytes.NewReader(silence(rate, 44100)), "card.wav", Options{VoltsPerFullScale: 1})
		if err != nil {
			t.Fatal(err)
		}
		if tr.Span.HighHz < 20e3 || tr.Span.HighHz > 0.46*float64(rate) {
			t.Errorf("%d S/s: a span to %g Hz", rate, tr.Span.HighHz)
		}
	}
}

// silence is a mono WAVE file of 16 bits whose samples are 0, 1, 0, -1 in turn.
func silence(rate uint32, samples int) []byte {
	var b bytes.Buffer
	put := func(v any) { binary.Write(&b, binary.LittleEndian, v) }
	b.WriteString("RIFF")
	put(uint32(36 + 2*samples))
	b.WriteString("WAVEfmt ")
	put(uint32(16))
	put([]uint16{1, 1})
	put(rate)
	put(2 * rate)
	put([]uint16{2, 16})
	b.WriteString("data")
	put(uint32(2 * samples))
	for i := range samples {
		put(int16([]int{0, 1, 0, -1}[i%4]))
	}
	return b.Bytes()
}
