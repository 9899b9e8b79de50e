package cycle

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// A reader that goes to and fro gives what a fresh one gives of every stretch.
func TestReaderFindsItsPlace(t *testing.T) {
	const n = 5000
	r := rand.New(rand.NewPCG(3, 7))
	res := &Residue{RateHz: 1e6, Volts: make([]float64, n), Track: &Track{Kind: Bursting}, Model: &Model{Bins: 64, Smooth: make([]float64, 64)}}
	for i := range res.Volts {
		res.Volts[i] = r.NormFloat64()
	}
	for i := range res.Model.Smooth {
		res.Model.Smooth[i] = r.NormFloat64()
	}
	for from := 10.5; from < n-200; from += 200 {
		res.Track.Pieces = append(res.Track.Pieces, Piece{From: from, To: from + 120, Phase: from / 9, PerSample: 1 / 30.3})
	}
	for at := 3.2; at < n; at += 17 {
		res.Slow.At, res.Slow.V = append(res.Slow.At, at), append(res.Slow.V, r.NormFloat64())
	}
	reader := res.Reader()
	for range 2000 {
		from := r.IntN(n)
		to := min(from+r.IntN(300), n)
		got, want := reader.Append(nil, from, to), res.Reader().Append(nil, from, to)
		if len(got) != to-from || !slices.Equal(got, want) {
			t.Fatalf("samples %d to %d differ from a fresh reader's", from, to)
		}
	}
}
