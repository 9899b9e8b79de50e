package cycle

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// weighing holds the stretch on which candidates for the switching frequency are
// held against each other: a candidate counts by what the record shows folded
// along its track, which no comb of chance lines and no correlation of a few spikes
// can imitate.
type weighing struct {
	x             []float64
	rateHz        float64
	lowHz, highHz float64 // candidates beyond are not weighed
	done          []weighed
}

// weighed is a candidate with the power that its folds explain, V² over the whole
// stretch: in fine bins, which show pulses that last less than a sample, and in bins
// as wide as a sample. Both are 0 where the fine fold holds no more than noise.
type weighed struct {
	coarseSwitching
	fineV2, wideV2 float64
	noiseV2        float64 // what the fine fold's noise may add, as a standard deviation
	track          *Track
	slow           SlowPart
}

// weigh tracks one candidate and folds it, once for all that refine to one frequency: a
// comb, the lines in it and its multiples' parts come to the same ones.
func (w *weighing) weigh(c coarseSwitching) weighed {
	if !(c.hz >= w.lowHz) || c.hz > w.highHz {
		return weighed{}
	}
	g := w.weighedAs(c)
	if g == nil {
		w.ahead([]coarseSwitching{c})
		g = &w.done[len(w.done)-1]
	}
	if g.fineV2 == 0 {
		return weighed{}
	}
	out := *g
	out.coarseSwitching = c
	return out
}

// weighedAs is what was weighed before and is the same candidate, nil where none is.
func (w *weighing) weighedAs(c coarseSwitching) *weighed {
	for i := range w.done {
		if w.same(c, w.done[i].coarseSwitching) {
			return &w.done[i]
		}
	}
	return nil
}

// same reports whether two candidates refine to the same frequency.
func (w *weighing) same(a, b coarseSwitching) bool {
	return a.coherent == b.coherent && math.Abs(a.hz-b.hz)*float64(len(w.x)) < sameCycles*w.rateHz
}

// ahead weighs candidates side by side that weigh is going to be asked for.
func (w *weighing) ahead(list []coarseSwitching) {
	var fresh []coarseSwitching
	for _, c := range list {
		if !(c.hz >= w.lowHz) || c.hz > w.highHz || w.weighedAs(c) != nil || slices.ContainsFunc(fresh, func(o coarseSwitching) bool { return w.same(c, o) }) {
			continue
		}
		fresh = append(fresh, c)
	}
	from := len(w.done)
	w.done = append(w.done, make([]weighed, len(fresh))...)
	var wait sync.WaitGroup
	for i, c := range fresh {
		wait.Go(func() { w.done[from+i] = w.fold(c) })
	}
	wait.Wait()
}

// fold is weigh without a look at what was weighed before.
func (w *weighing) fold(c coarseSwitching) weighed {
	none := weighed{coarseSwitching: c}
	t := trackSwitching(w.x, 0, w.rateHz, c)
	if t == nil || len(t.Pieces) == 0 {
		return none
	}
	wide := max(int(w.rateHz/c.hz), leastBins)
	fine := leastBins
	for fine < finestBins && 2*fine <= max(wide, len(w.x)/samplesInBin) {
		fine *= 2
	}
	slow := newSlowPart(w.x, t)
	f := foldInto(fine, w.x, t, slow)
	f.SigmaV = f.sampleSigma()
	if f.Power() < repeatSigmas*f.powerNoise() {
		return none
	}
	on := t.onShare(len(w.x))
	return weighed{c, f.Power() * on, foldInto(min(wide, finestBins), w.x, t, slow).Power() * on, f.powerNoise() * on, t, slow}
}

// explains reports whether the candidate explains more than times what another does.
// Where a period and the sample's are as whole numbers, cycles never meet in fine
// bins, and any other such period explains as much there; in wide ones all cycles
// meet, and it explains little. It can't explain far more than the true one, so that
// one is known by that alone where only pulses shorter than a sample show.
func (g weighed) explains(times float64, other weighed) bool {
	return g.fineV2 > times*other.fineV2 && (g.wideV2 >= wideKept*other.wideV2 || g.fineV2 > farMore*other.fineV2)
}

// onShare is the share of n samples in which the supply switches.
func (t *Track) onShare(n int) float64 {
	on := 0.0
	for _, p := range t.Pieces {
		on += p.To - p.From
	}
	return on / float64(n)
}

// choose gives the candidate that explains most, and of its multiples the highest at
// which cycles are still alike: folded at half its frequency a cycle explains no
// less, and more only where alternate cycles differ. first stands unless another
// explains clearly more.
func (w *weighing) choose(first coarseSwitching, others []coarseSwitching) coarseSwitching {
	others = slices.DeleteFunc(others, func(c coarseSwitching) bool { return c.hz > candidateTopHz })
	w.ahead(append([]coarseSwitching{first}, others...))
	held := w.weigh(first)
	best := held
	for _, c := range others {
		if g := w.weigh(c); g.explains(1, best) {
			best = g
		}
	}
	w.ahead([]coarseSwitching{best.times(1. / 2), best.times(1. / 3), best.times(1. / 5)})
	for _, k := range [...]float64{2, 3, 5} {
		if g := w.weigh(best.times(1 / k)); g.explains(chosenGain, best) {
			best = g
		}
	}
	if !best.explains(chosenGain, held) {
		best = held
	}
	if best.fineV2 == 0 {
		return first
	}
	for range 2 {
		was := best
		for _, k := range [...]float64{5, 3, 2} {
			if k*best.hz > max(candidateTopHz, first.hz) {
				continue
			}
			g := w.weigh(best.times(k))
			if w.alike(best, g, int(k)) {
				best = g
				break
			}
		}
		if best.hz == was.hz {
			break // a second look would find no more
		}
	}
	return best.coarseSwitching
}

// alike reports whether cycles of the candidate are alike from one to the next, so that
// its multiple by k is the cycle. Power alone doesn't tell: a ring near one of the
// multiple's harmonics may hold nearly all of it. Nor do fine bins: in bins wider than
// what a fast ring does, cycles of the wrong period may meet where those of the true
// one blur; in wide ones they don't.
func (w *weighing) alike(g, multiple weighed, k int) bool {
	nearly := multiple.explains(nearlyAll, g)
	if !nearly && (multiple.fineV2 <= g.fineV2/farMore || multiple.wideV2 < nearlyAll*g.wideV2) {
		return false
	}
	if stand, ok := w.linesBetween(g.track, g.slow, k); ok {
		return !stand
	}
	return nearly && g.fineV2-multiple.fineV2 <= repeatSigmas*g.noiseV2
}

// times is the candidate's multiple.
func (c coarseSwitching) times(k float64) coarseSwitching {
	c.hz *= k
	return c
}

// strongest are the strongest lines as candidates, the second converter's frequency
// not looked for.
func strongest(peaks []peakBin, most int) []coarseSwitching {
	by := slices.Clone(peaks)
	slices.SortStableFunc(by, func(a, b peakBin) int { return cmp.Compare(b.power, a.power) })
	var out []coarseSwitching
	for _, p := range by[:min(len(by), most)] {
		out = append(out, coarseSwitching{hz: p.hz, coherent: true})
	}
	return out
}
