package cycle

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"stillglow/capture"
)

// SlowPart is what lies under the switching ripple: means over whole cycles,
// joined by straight lines. At whole cycles the ripple itself averages to its
// mean, so nothing of it is lost, and mains ripple or drift do not leak into
// the folded cycle.
type SlowPart struct {
	At, V []float64 // sample, volts; ascending
}

// newSlowPart averages volts over whole cycles of the track, of at least
// minSamples, and over stretches as long where the supply rests.
func newSlowPart(volts []float64, t *Track) SlowPart {
	const minSamples = 32
	var s SlowPart
	n := float64(len(volts))
	if t == nil || len(t.Pieces) == 0 {
		return s
	}
	// means over about step samples from a to b, carried on to the ends: the level
	// may jump where a packet begins
	region := func(from, to, step float64) {
		if to-from < slowSamples {
			return
		}
		k := int(max(math.Floor((to-from)/step+wholeSlack), 1))
		var at, v []float64
		for i := range k {
			a, b := from+float64(i)*(to-from)/float64(k), from+float64(i+1)*(to-from)/float64(k)
			at = append(at, (a+b)/2-0.5)
			v = append(v, meanBetween(volts, a, b))
		}
		first, last := v[0], v[k-1]
		if k > 1 {
			first -= (v[1] - v[0]) / 2
			last += (v[k-1] - v[k-2]) / 2
		}
		// a sample belongs to the region that it lies in
		s.At = append(append(append(s.At, math.Ceil(from)-0.49), at...), math.Ceil(to)-0.51)
		s.V = append(append(append(s.V, first), v...), last)
	}
	first := t.Pieces[0]
	end := 0.0
	total := 0.0
	for _, p := range t.Pieces {
		total += (p.To - p.From) * p.PerSample
	}
	k := max(1, math.Ceil(minSamples*first.PerSample))
	if t.Kind != Bursting && total > slowManyCycles*k {
		k = max(k, slowCycles)
	}
	if t.Kind == Bursting {
		for _, p := range t.Pieces {
			step := k / p.PerSample
			region(end, p.From, step)
			region(p.From, p.To, step)
			end = p.To
		}
		region(end, n, k/first.PerSample)
		return s
	}
	// one joined line of phase: cut it at every k-th cycle
	want := math.Ceil(first.Phase)
	var cuts []float64
	for _, p := range t.Pieces {
		last := p.Phase + p.PerSample*(p.To-p.From)
		for want < last {
			cuts = append(cuts, p.From+(want-p.Phase)/p.PerSample)
			want += k
		}
	}
	if len(cuts) < 2 {
		return s
	}
	s.At, s.V = make([]float64, len(cuts)-1), make([]float64, len(cuts)-1)
	each := func(from, to int) {
		for i := from; i < to; i++ {
			s.At[i] = (cuts[i+1]+cuts[i])/2 - 0.5
			s.V[i] = meanBetween(volts, cuts[i], cuts[i+1])
		}
	}
	if half := len(s.At) / 2; len(volts) < leastHalved {
		each(0, len(s.At))
	} else {
		both(func() { each(half, len(s.At)) }, func() { each(0, half) })
	}
	return s
}

// Thinned is the slow part through at most n points, each the mean of its
// neighbours.
func (s SlowPart) Thinned(points int) SlowPart {
	n := len(s.At)
	if n <= points {
		return s
	}
	var out SlowPart
	for k := range points {
		a, b := k*n/points, (k+1)*n/points
		var x, v float64
		for i := a; i < b; i++ {
			x += s.At[i]
			v += s.V[i]
		}
		out.At = append(out.At, x/float64(b-a))
		out.V = append(out.V, v/float64(b-a))
	}
	return out
}

// meanBetween is the mean of the samples from a to b, each sample standing for
// the stretch from itself to the next; the ends count by their share.
func meanBetween(volts []float64, a, b float64) float64 {
	a, b = max(a, 0), min(b, float64(len(volts)))
	if b <= a {
		return volts[min(max(int(a), 0), len(volts)-1)]
	}
	i, j := int(a), int(b)
	if i == j {
		return volts[i]
	}
	sum := volts[i]*(float64(i+1)-a) + floats.Sum(volts[i+1:j])
	if j < len(volts) {
		sum += volts[j] * (b - float64(j))
	}
	return sum / (b - a)
}

// Line is the straight line of the slow part around sample x: its value there,
// its slope and the sample up to which it holds.
func (s SlowPart) Line(x float64, hint int) (value, slope, until float64, index int) {
	n := len(s.At)
	switch n {
	case 0:
		return 0, 0, math.Inf(1), 0
	case 1:
		return s.V[0], 0, math.Inf(1), 0
	}
	i := hint
	for i > 0 && s.At[i] > x {
		i--
	}
	for i+2 < n && s.At[i+1] <= x {
		i++
	}
	slope = (s.V[i+1] - s.V[i]) / (s.At[i+1] - s.At[i])
	until = s.At[i+1]
	if i+2 >= n {
		until = math.Inf(1)
	}
	return s.V[i] + slope*(x-s.At[i]), slope, until, i
}

// Stretch is a run of samples over which phase and slow part are both straight.
type Stretch struct {
	From, To         int     // samples, To not among them
	On               bool    // whether the supply switches in it
	Phase, PerSample float64 // at from, in cycles
	Slow, SlowSlope  float64 // of the slow part at From, V, and a sample
}

// Walk cuts the samples from..to into stretches.
func Walk(from, to int, t *Track, s SlowPart, visit func(Stretch)) {
	new(cursor).walk(from, to, t, s, visit)
}

// cursor is where in a track and in a slow part a walk is. The next walk along both
// that starts near its end finds its place at once.
type cursor struct{ piece, line int }

// seek finds the piece and the line of a sample.
func (c *cursor) seek(from int, t *Track, s SlowPart) {
	x := float64(from)
	if t != nil {
		n := len(t.Pieces)
		p := min(c.piece, n)
		for range cursorSteps {
			if p < n && t.Pieces[p].To <= x {
				p++
			}
		}
		if p > 0 && t.Pieces[p-1].To > x || p < n && t.Pieces[p].To <= x {
			p, _ = slices.BinarySearchFunc(t.Pieces, x, func(p Piece, x float64) int {
				if p.To > x {
					return 1
				}
				return -1
			})
		}
		c.piece = p
	}
	if n := len(s.At); n > 1 {
		i := min(c.line, n-2)
		for range cursorSteps {
			if i+2 < n && s.At[i+1] <= x {
				i++
			}
		}
		if i > 0 && s.At[i] > x || i+2 < n && s.At[i+1] <= x {
			at, _ := slices.BinarySearch(s.At, x)
			i = min(max(at-1, 0), n-2)
		}
		c.line = i
	}
}

// walk is Walk from where the cursor is.
func (c *cursor) walk(from, to int, t *Track, s SlowPart, visit func(Stretch)) {
	c.seek(from, t, s)
	pi, hint := c.piece, c.line
	for i := from; i < to; {
		x := float64(i)
		st := Stretch{From: i, To: to}
		if t != nil {
			for pi < len(t.Pieces) && t.Pieces[pi].To <= x {
				pi++
			}
			if pi < len(t.Pieces) {
				p := t.Pieces[pi]
				if x >= p.From {
					st.On = true
					st.Phase = p.Phase + p.PerSample*(x-p.From)
					st.PerSample = p.PerSample
					st.To = min(st.To, int(math.Ceil(p.To)))
				} else {
					st.To = min(st.To, int(math.Ceil(p.From)))
				}
			}
		}
		var until float64
		st.Slow, st.SlowSlope, until, hint = s.Line(x, hint)
		if until < float64(st.To) {
			st.To = min(st.To, int(math.Ceil(until)))
		}
		if st.To <= i {
			st.To = i + 1
		}
		visit(st)
		i = st.To
	}
	c.piece, c.line = pi, hint
}

// Fold is the record laid over one cycle, minus the slow part.
type Fold struct {
	Bins       int       // places that the cycle is divided into
	Count      []float64 // samples in the bin
	place      []float64 // mean place of the samples within the bin, 0 to 1
	Mean       []float64 // volts; where n is 0 filled from the neighbours
	VarianceV2 []float64 // within the bin
	SigmaV     float64   // robust standard deviation of single samples
	Cycles     float64   // switching cycles laid over each other
}

// foldBins picks a number of bins: a power of two, several samples to a bin.
func foldBins(samplesOn, perSample float64) int {
	m := foldLeast
	for m < foldMost && float64(m)*2 <= samplesOn/samplesInFold && float64(m) < max(foldFiner/perSample, foldEnough) {
		m *= 2
	}
	return m
}

// foldTrace lays every sample over its place in the cycle.
func foldTrace(volts []float64, t *Track, s SlowPart) *Fold {
	f := foldOnly(volts, t, s)
	f.SigmaV = f.sampleSigma()
	f.fillGaps()
	return f
}

// foldOnly is foldTrace without sigma, and with holes where no sample fell:
// enough for its power.
func foldOnly(volts []float64, t *Track, s SlowPart) *Fold {
	on, per := 0.0, 0.0
	for _, p := range t.Pieces {
		on += p.To - p.From
		per = p.PerSample
	}
	return foldInto(foldBins(on, per), volts, t, s)
}

// foldInto is foldOnly with a number of bins given.
func foldInto(m int, volts []float64, t *Track, s SlowPart) *Fold {
	f := &Fold{Bins: m, Count: make([]float64, m), place: make([]float64, m), Mean: make([]float64, m), VarianceV2: make([]float64, m)}
	bins := make([]foldBin, m)
	if half := len(volts) / 2; half < leastHalved {
		f.Cycles = foldStretch(bins, volts, 0, len(volts), t, s)
	} else {
		later, cycles := make([]foldBin, m), 0.0
		both(func() { cycles = foldStretch(later, volts, half, len(volts), t, s) },
			func() { f.Cycles = foldStretch(bins, volts, 0, half, t, s) })
		f.Cycles += cycles
		for i, b := range later {
			a := &bins[i]
			a.n, a.place, a.sum, a.square = a.n+b.n, a.place+b.place, a.sum+b.sum, a.square+b.square
		}
	}
	for i, b := range bins {
		if b.n == 0 {
			continue
		}
		f.Count[i], f.Mean[i], f.place[i] = b.n, b.sum/b.n, b.place*inBinUnit/b.n
		f.VarianceV2[i] = max(b.square/b.n-f.Mean[i]*f.Mean[i], 0)
	}
	return f
}

// foldBin are a bin's sums, side by side in memory; that of the places is in inBinUnit.
type foldBin struct{ n, place, sum, square float64 }

// foldStretch adds samples from..to to the bins and gives the cycles that they hold.
func foldStretch(bins []foldBin, volts []float64, from, to int, t *Track, s SlowPart) (cycles float64) {
	size := uint64(len(bins))
	Walk(from, to, t, s, func(st Stretch) {
		if !st.On {
			return
		}
		cycles += st.PerSample * float64(st.To-st.From)
		ph, step := NewPhase(st.Phase), NewPhase(st.PerSample)
		base := st.Slow
		for _, v := range volts[st.From:st.To] {
			i, within := ph.inBin(size)
			y := v - base
			b := &bins[i]
			b.n++
			b.place += float64(within)
			b.sum += y
			b.square += y * y
			ph += step
			base += st.SlowSlope
		}
	})
	return cycles
}

// sampleSigma is the median over the bins of their standard deviation, V; 0 when
// none holds four samples.
func (f *Fold) sampleSigma() float64 {
	sd := make([]float64, 0, f.Bins)
	for i, n := range f.Count {
		if n >= sigmaSamples {
			sd = append(sd, math.Sqrt(f.VarianceV2[i]*n/(n-1)))
		}
	}
	if len(sd) == 0 {
		return 0
	}
	return capture.Ranked(sd, len(sd)/2)
}

// Power is the mean square of the mean cycle in V², the share that the noise
// of the bins adds taken off.
func (f *Fold) Power() float64 {
	var p, noise, n float64
	for i, v := range f.Mean {
		if f.Count[i] > 1 {
			p += v * v * f.Count[i]
			noise += f.VarianceV2[i] * f.Count[i] / (f.Count[i] - 1)
			n += f.Count[i]
		}
	}
	if n == 0 {
		return 0
	}
	return max((p-noise)/n, 0)
}

// powerNoise is the standard deviation that the samples' noise gives power, V².
func (f *Fold) powerNoise() float64 {
	n := f.samples()
	if n == 0 {
		return 0
	}
	return f.SigmaV * f.SigmaV * math.Sqrt(2*float64(len(f.Mean))) / n
}

// samples is how many the fold holds.
func (f *Fold) samples() float64 {
	n := 0.0
	for _, k := range f.Count {
		n += k
	}
	return n
}

// fillGaps bridges empty bins by straight lines around the cycle.
func (f *Fold) fillGaps() {
	first := -1
	for i, n := range f.Count {
		if n > 0 {
			first = i
			break
		}
	}
	if first < 0 {
		return
	}
	m := f.Bins
	last := first
	for k := 1; k <= m; k++ {
		i := (first + k) % m
		if f.Count[i] == 0 {
			continue
		}
		gap := (i - last + m) % m
		if gap == 0 {
			gap = m
		}
		for j := 1; j < gap; j++ {
			u := float64(j) / float64(gap)
			f.Mean[(last+j)%m] = f.Mean[last]*(1-u) + f.Mean[i]*u
		}
		last = i
	}
}

// runningMedian is the circular median of y over 2*half+1 places.
func runningMedian(y []float64, half int) []float64 {
	m := len(y)
	half = min(half, (m-1)/2)
	out := make([]float64, m)
	win := make([]float64, 0, 2*half+1)
	for j := -half; j <= half; j++ {
		win = append(win, y[(j+m)%m])
	}
	slices.Sort(win)
	for i := range out {
		out[i] = win[half]
		drop, add := y[(i-half+m)%m], y[(i+half+1)%m]
		d, _ := slices.BinarySearch(win, drop)
		a, _ := slices.BinarySearch(win, add)
		if a > d {
			copy(win[d:a-1], win[d+1:a])
			win[a-1] = add
		} else {
			copy(win[a+1:d+1], win[a:d])
			win[a] = add
		}
	}
	return out
}
