package spectrum

// Source yields the samples of a trace, or of something derived from it (its
// residue after the ripple is subtracted), without the whole being stored.
type Source interface {
	// Len is the number of samples.
	Len() int
	// Fill writes samples start to start+len(dst) to dst, in volts. It is only
	// called with 0 <= start and start+len(dst) <= Len(), mostly in ascending
	// order, but any order must work.
	Fill(dst []float64, start int)
}

// Samples is a trace's own samples in volts, as a Source.
type Samples []float64

// Len is the number of samples.
func (s Samples) Len() int { return len(s) }

// Fill copies samples from start on to dst.
func (s Samples) Fill(dst []float64, start int) { copy(dst, s[start:start+len(dst)]) }

// stretch is n samples of src from start on, to be read only: its own where it has them.
func stretch(src Source, start, n int) []float64 {
	if s, ok := src.(Samples); ok {
		return s[start : start+n]
	}
	x := make([]float64, n)
	src.Fill(x, start)
	return x
}
