package analysis

// source yields the samples of a trace, or of something derived from it (its
// residue after the ripple is subtracted), without the whole being stored.
type source interface {
	// Len is the number of samples.
	Len() int
	// Fill writes samples start to start+len(dst) to dst, in volts. It is only
	// called with 0 <= start and start+len(dst) <= Len(), mostly in ascending
	// order, but any order must work.
	Fill(dst []float64, start int)
}

// gatedSource also tells which samples carry information: an excised sample
// (inside a spike) has weight 0 and value 0, all others have weight 1.
type gatedSource interface {
	source
	FillWeights(w []float64, start int)
}

// sliceSource is a trace's own samples.
type sliceSource []float64

func (s sliceSource) Len() int                      { return len(s) }
func (s sliceSource) Fill(dst []float64, start int) { copy(dst, s[start:start+len(dst)]) }
