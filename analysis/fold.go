package analysis

import (
	"math"
	"slices"
)

// slowPart is what lies under the switching ripple: means over whole cycles,
// joined by straight lines. At whole cycles the ripple itself averages to its
// mean, so nothing of it is lost, and mains ripple or drift do not leak into
// the folded cycle.
type slowPart struct {
	at, v []float64 // sample, volts; ascending
}

// newSlowPart averages volts over whole cycles of the track, of at least
// minSamples, and over stretches as long where the supply rests.
func newSlowPart(volts []float64, t *cycleTrack) slowPart {
	const minSamples = 32
	var s slowPart
	n := float64(len(volts))
	if t == nil || len(t.pieces) == 0 {
		return s
	}
	// means over about step samples from a to b, carried on to the ends: the level
	// may jump where a packet begins
	region := func(from, to, step float64) {
		if to-from < 4 {
			return
		}
		k := int(max(math.Floor((to-from)/step+0.01), 1))
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
		s.at = append(append(append(s.at, math.Ceil(from)-0.49), at...), math.Ceil(to)-0.51)
		s.v = append(append(append(s.v, first), v...), last)
	}
	first := t.pieces[0]
	end := 0.0
	total := 0.0
	for _, p := range t.pieces {
		total += (p.to - p.from) * p.perSample
	}
	k := max(1, math.Ceil(minSamples*first.perSample))
	if t.kind != SwitchingBursting && total > 64*k {
		k = max(k, 4)
	}
	if t.kind == SwitchingBursting {
		for _, p := range t.pieces {
			step := k / p.perSample
			region(end, p.from, step)
			region(p.from, p.to, step)
			end = p.to
		}
		region(end, n, k/first.perSample)
		return s
	}
	// one joined line of phase: cut it at every k-th cycle
	want := math.Ceil(first.phase)
	var cuts []float64
	for _, p := range t.pieces {
		last := p.phase + p.perSample*(p.to-p.from)
		for want < last {
			cuts = append(cuts, p.from+(want-p.phase)/p.perSample)
			want += k
		}
	}
	for i := 1; i < len(cuts); i++ {
		s.at = append(s.at, (cuts[i]+cuts[i-1])/2-0.5)
		s.v = append(s.v, meanBetween(volts, cuts[i-1], cuts[i]))
	}
	return s
}

// thinned is the slow part through at most so many points, each the mean of its
// neighbours.
func (s slowPart) thinned(points int) slowPart {
	n := len(s.at)
	if n <= points {
		return s
	}
	var out slowPart
	for k := range points {
		a, b := k*n/points, (k+1)*n/points
		var x, v float64
		for i := a; i < b; i++ {
			x += s.at[i]
			v += s.v[i]
		}
		out.at = append(out.at, x/float64(b-a))
		out.v = append(out.v, v/float64(b-a))
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
	sum := volts[i] * (float64(i+1) - a)
	for _, v := range volts[i+1 : j] {
		sum += v
	}
	if j < len(volts) {
		sum += volts[j] * (b - float64(j))
	}
	return sum / (b - a)
}

// line is the straight line of the slow part around sample x: its value there,
// its slope and the sample up to which it holds.
func (s slowPart) line(x float64, hint int) (value, slope, until float64, index int) {
	n := len(s.at)
	switch n {
	case 0:
		return 0, 0, math.Inf(1), 0
	case 1:
		return s.v[0], 0, math.Inf(1), 0
	}
	i := hint
	for i > 0 && s.at[i] > x {
		i--
	}
	for i+2 < n && s.at[i+1] <= x {
		i++
	}
	slope = (s.v[i+1] - s.v[i]) / (s.at[i+1] - s.at[i])
	until = s.at[i+1]
	if i+2 >= n {
		until = math.Inf(1)
	}
	return s.v[i] + slope*(x-s.at[i]), slope, until, i
}

// stretch is a run of samples over which phase and slow part are both straight.
type stretch struct {
	from, to         int
	on               bool
	phase, perSample float64 // at from, in cycles
	slow, slowSlope  float64
}

// walk cuts the samples from..to into stretches.
func walk(from, to int, t *cycleTrack, s slowPart, visit func(stretch)) {
	pi := 0
	if t != nil {
		pi, _ = slices.BinarySearchFunc(t.pieces, float64(from), func(p piece, x float64) int {
			if p.to > x {
				return 1
			}
			return -1
		})
	}
	hint := 0
	if len(s.at) > 1 {
		at, _ := slices.BinarySearch(s.at, float64(from))
		hint = max(at-1, 0)
		hint = min(hint, len(s.at)-2)
	}
	for i := from; i < to; {
		x := float64(i)
		st := stretch{from: i, to: to}
		if t != nil {
			for pi < len(t.pieces) && t.pieces[pi].to <= x {
				pi++
			}
			if pi < len(t.pieces) {
				p := t.pieces[pi]
				if x >= p.from {
					st.on = true
					st.phase = p.phase + p.perSample*(x-p.from)
					st.perSample = p.perSample
					st.to = min(st.to, int(math.Ceil(p.to)))
				} else {
					st.to = min(st.to, int(math.Ceil(p.from)))
				}
			}
		}
		var until float64
		st.slow, st.slowSlope, until, hint = s.line(x, hint)
		if until < float64(st.to) {
			st.to = min(st.to, int(math.Ceil(until)))
		}
		if st.to <= i {
			st.to = i + 1
		}
		visit(st)
		i = st.to
	}
}

// fold is the record laid over one cycle, less the slow part.
type fold struct {
	bins     int
	n        []float64
	place    []float64 // mean place of the samples within the bin, 0 to 1
	mean     []float64 // volts; where n is 0 filled from the neighbours
	variance []float64 // within the bin
	sigma    float64   // robust standard deviation of single samples
	cycles   float64
}

// foldBins picks a number of bins: a power of two, several samples to a bin.
func foldBins(samplesOn, perSample float64) int {
	m := 64
	for m < 1<<14 && float64(m)*2 <= samplesOn/8 && float64(m) < max(1.5/perSample, 400) {
		m *= 2
	}
	return m
}

// foldTrace lays every sample over its place in the cycle.
func foldTrace(volts []float64, t *cycleTrack, s slowPart) *fold {
	f := foldOnly(volts, t, s)
	f.sigma = f.sampleSigma()
	f.fillGaps()
	return f
}

// foldOnly is foldTrace without sigma, and with holes where no sample fell:
// enough for its power.
func foldOnly(volts []float64, t *cycleTrack, s slowPart) *fold {
	on, per := 0.0, 0.0
	for _, p := range t.pieces {
		on += p.to - p.from
		per = p.perSample
	}
	m := foldBins(on, per)
	f := &fold{bins: m, n: make([]float64, m), place: make([]float64, m), mean: make([]float64, m), variance: make([]float64, m)}
	sum2 := f.variance
	size := float64(m)
	walk(0, len(volts), t, s, func(st stretch) {
		if !st.on {
			return
		}
		f.cycles += st.perSample * float64(st.to-st.from)
		ph := (st.phase - math.Floor(st.phase)) * size
		step := st.perSample * size
		base := st.slow
		for _, v := range volts[st.from:st.to] {
			i := int(ph)
			if i >= m {
				i -= m
				ph -= size
			}
			y := v - base
			f.n[i]++
			f.place[i] += ph - float64(i)
			f.mean[i] += y
			sum2[i] += y * y
			ph += step
			base += st.slowSlope
			for ph >= size {
				ph -= size
			}
		}
	})
	for i, n := range f.n {
		if n == 0 {
			continue
		}
		f.mean[i] /= n
		f.place[i] /= n
		f.variance[i] = max(sum2[i]/n-f.mean[i]*f.mean[i], 0)
	}
	return f
}

// sampleSigma is the median over the bins of their standard deviation, V; 0 when
// none holds four samples.
func (f *fold) sampleSigma() float64 {
	sd := make([]float64, 0, f.bins)
	for i, n := range f.n {
		if n >= 4 {
			sd = append(sd, math.Sqrt(f.variance[i]*n/(n-1)))
		}
	}
	if len(sd) == 0 {
		return 0
	}
	slices.Sort(sd)
	return sd[len(sd)/2]
}

// power is the mean square of the mean cycle in V², the share that the noise
// of the bins adds taken off.
func (f *fold) power() float64 {
	var p, noise, n float64
	for i, v := range f.mean {
		if f.n[i] > 1 {
			p += v * v * f.n[i]
			noise += f.variance[i] * f.n[i] / (f.n[i] - 1)
			n += f.n[i]
		}
	}
	if n == 0 {
		return 0
	}
	return max((p-noise)/n, 0)
}

// powerNoise is the standard deviation that the samples' noise gives power, V².
func (f *fold) powerNoise() float64 {
	n := f.samples()
	if n == 0 {
		return 0
	}
	return f.sigma * f.sigma * math.Sqrt(2*float64(len(f.mean))) / n
}

// samples is how many the fold holds.
func (f *fold) samples() float64 {
	n := 0.0
	for _, k := range f.n {
		n += k
	}
	return n
}

// fillGaps bridges empty bins by straight lines around the cycle.
func (f *fold) fillGaps() {
	first := -1
	for i, n := range f.n {
		if n > 0 {
			first = i
			break
		}
	}
	if first < 0 {
		return
	}
	m := f.bins
	last := first
	for k := 1; k <= m; k++ {
		i := (first + k) % m
		if f.n[i] == 0 {
			continue
		}
		gap := (i - last + m) % m
		if gap == 0 {
			gap = m
		}
		for j := 1; j < gap; j++ {
			u := float64(j) / float64(gap)
			f.mean[(last+j)%m] = f.mean[last]*(1-u) + f.mean[i]*u
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
