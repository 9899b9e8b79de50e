package heater

import (
	"fmt"
	"math"
	"strings"
)

// Where a small supply limits its current, over its rating (common practice, no
// source). What must survive a short is held against the most, and what a short must
// open against the least: one in the middle would promise either too much.
const (
	leastLimit = 1.2
	mostLimit  = 1.8
)

// limit is where the supply holds or cuts its current, A, at a share of its rating where
// its own limit is not told; 0 where nothing is known of it.
func (s Supply) limit(share float64) float64 {
	if s.LimitA > 0 {
		return s.LimitA
	}
	return share * s.RatedA
}

// hotShort is the point at which one shorted heater of element elem in strand k heats the
// dropping part most: the supply at its highest volts and limit, and the part at the end
// of its tolerance that is worse, which is the lower one where its resistance holds the
// current and the higher one where the supply does.
func (l layout) hotShort(s Supply, o Options, k, elem int) solved {
	var worst solved
	for i, part := range []float64{-o.partTol(), o.partTol()} {
		if l.diodes > 0 {
			part = math.Copysign(1, part)
		}
		p := l.solve(s, o.Exponent, scenario{shorted: true, strand: k, elem: elem, supply: s.TolFrac, part: part, limitsAt: mostLimit})
		if i == 0 || p.maxW() > worst.maxW() {
			worst = p
		}
	}
	return worst
}

// weakShort is the same with the least current through the short, which a fuse must
// still open at.
func (l layout) weakShort(s Supply, o Options, k, elem int) solved {
	part := o.partTol()
	if l.diodes > 0 {
		part = 1
	}
	return l.solve(s, o.Exponent, scenario{shorted: true, strand: k, elem: elem, supply: -s.TolFrac, part: part, limitsAt: leastLimit})
}

// faultNote says what the supply does about a shorted heater. That it shuts down
// is said only where it would.
func (s Supply) faultNote(c Corner) string {
	head := ""
	switch {
	case c.AllOff && c.PartW > 0:
		head = "no heater is lit, the dropper takes all the volts; "
	case c.AllOff:
		head = "no heater is lit; "
	}
	switch {
	case c.Limited && s.LimitA > 0:
		return head + fmt.Sprintf("the supply holds its current at about %s here, or shuts down and retries", amps(s.LimitA))
	case c.Limited:
		return head + fmt.Sprintf("the supply holds its current at up to %s here (%g to %g times its rating is usual), or shuts down and retries", amps(s.limit(mostLimit)), leastLimit, mostLimit)
	case s.RatedA == 0:
		return head + "whether the supply shuts down is not known: its rating is not given"
	case c.LoadA <= s.RatedA:
		return head + fmt.Sprintf("%s is within the supply's rating: it does not shut down", amps(c.LoadA))
	}
	return head + fmt.Sprintf("%s is over the supply's rating but under its current limit: it may keep running", amps(c.LoadA))
}

// UnsureFault ends what is said of a rating that stands a shorted heater.
const UnsureFault = "which no fuse is sure to clear"

// largestFaultW is the greatest rating that is fitted only to stand a fault.
const largestFaultW = 25

// Fuse is what to fit ahead of one branch, or why no value does.
type Fuse struct {
	For     string  `json:"for"`      // "all heaters", "each 12AU7"
	Count   int     `json:"count"`    // fuses needed
	RatingA float64 `json:"rating_a"` // time-lag (T), 0: no value clears the short and carries the cold start
	SteadyA float64 `json:"steady_a"` // the most it carries warm
	ColdA   float64 `json:"cold_a"`   // the most at the first instant
	SurgeA  float64 `json:"surge_a"`  // the least rating that carries the cold start while it lasts
	ShortA  float64 `json:"short_a"`  // with a heater shorted, the least of the branch's over the supply's tolerance and limit; 0: only the supply's unknown limit
	MostA   float64 `json:"most_a"`   // the same, at the most
	Sure    bool    `json:"sure"`     // it opens at ShortA too; else only a supply that limits late opens it
	Why     string  `json:"why"`      // in a sentence
}

// fuseRatings are those of IEC 60127 that are sold, A (from memory).
var fuseRatings = []float64{0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10}

// A time-lag fuse of IEC 60127-2, sheet 3, from memory: it carries 1.5 times its
// rating for an hour and opens at 2.1 times within two minutes. Loading it to
// 3/4 of its rating is common practice, no source.
const (
	fuseCarries = 1.5
	fuseOpens   = 2.1
	fuseLoad    = 0.75
)

// fuseTimes are within what a time-lag fuse opens at so many times its rating
// (IEC 60127-2, sheet 3, from memory), and how many times its own rating a wirewound
// resistor stands that long: 10 times for 5 s is usual in data sheets, and half of it for
// twice as long the same heat, from memory; over two minutes, and how many times its
// rated current a diode stands that long, common practice, no source.
var fuseTimes = []struct {
	times         float64
	within        string
	stands, diode float64
}{{fuseOpens, "two minutes", 2, 1}, {2.75, "10 s", 5, 1}, {4, "3 s", 10, 2}, {10, "0.3 s", 10, 5}}

// overloadW is the steady rating that stands a short of at most w, which is what MostA
// leaves in the resistor, until the fuse opens; 0 where there is no fuse. Of the currents
// that the short may have, one just under a step of the times is worst.
func (f Fuse) overloadW(w float64) float64 {
	if f.RatingA == 0 || f.MostA == 0 {
		return 0
	}
	worst := 0.0
	for i, step := range fuseTimes {
		amps := f.MostA
		if i+1 < len(fuseTimes) {
			amps = math.Min(amps, fuseTimes[i+1].times*f.RatingA)
		}
		if amps >= step.times*f.RatingA && amps >= f.ShortA {
			worst = math.Max(worst, w*math.Pow(amps/f.MostA, 2)/step.stands)
		}
	}
	return worst
}

// fuseFor picks the smallest rating that carries the warm current and the cold start, for
// which it must be surgeA at least, if the greatest short opens it.
func fuseFor(steadyA, surgeA, mostA float64) (ratingA, leastA float64) {
	leastA = math.Max(steadyA/fuseLoad, surgeA)
	for _, r := range fuseRatings {
		if r >= leastA*(1-rounding) {
			if mostA == 0 || mostA >= fuseOpens*r {
				return r, r
			}
			return 0, r
		}
	}
	return 0, leastA
}

// fuses sizes one fuse ahead of a shared part, or one a branch.
func (z sizing) fuses(l layout) []Fuse {
	common, own := z.bothFuses(l)
	if l.sharedOhm > 0 || l.diodes > 0 {
		return []Fuse{common}
	}
	return own
}

// bothFuses sizes one fuse ahead of all heaters, and one for each branch.
func (z sizing) bothFuses(l layout) (common Fuse, own []Fuse) {
	type sums struct{ steady, cold, surge, short, most float64 }
	branches := make([]sums, len(l.strands))
	var all sums
	for _, sc := range z.spreads() {
		s := l.solve(z.supply, z.opt.Exponent, sc)
		all.steady = math.Max(all.steady, s.totalA)
		for k := range branches {
			branches[k].steady = math.Max(branches[k].steady, s.branchA[k])
		}
	}
	part := -z.opt.partTol()
	if l.diodes > 0 {
		part = -1
	}
	cold := l.solve(z.supply, z.opt.Exponent, scenario{cold: z.opt.ColdRatio, supply: z.supply.TolFrac, part: part})
	warm := l.solve(z.supply, z.opt.Exponent, scenario{supply: z.supply.TolFrac, part: part})
	low, high := z.supply.limit(leastLimit), z.supply.limit(mostLimit)
	if high == 0 { // anything may be
		high = math.Inf(1)
	}
	// The heaters that draw most are taken to draw as much more while they are cold.
	surge := func(coldA, warmA, steadyA float64) float64 {
		share := warmA / warm.totalA
		return math.Max(1, steadyA/warmA) * z.starts.surgeA(coldA, warmA, low*share, high*share)
	}
	all.cold = math.Min(cold.totalA, high)
	all.surge = surge(cold.totalA, warm.totalA, all.steady)
	all.short = math.Inf(1)
	for k, st := range l.strands {
		branches[k].cold, branches[k].short = cold.branchA[k], math.Inf(1)
		branches[k].surge = surge(cold.branchA[k], warm.branchA[k], branches[k].steady)
		for j := range st.elems {
			weak, hot := l.weakShort(z.supply, z.opt, k, j), l.hotShort(z.supply, z.opt, k, j)
			if weak.unlimited {
				continue
			}
			branches[k].short = math.Min(branches[k].short, weak.shortA)
			branches[k].most = math.Max(branches[k].most, hot.shortA)
			all.short, all.most = math.Min(all.short, weak.totalA), math.Max(all.most, hot.totalA)
		}
	}
	fuse := func(what string, count int, b sums) Fuse {
		if math.IsInf(b.short, 1) {
			b.short = 0
		}
		f := Fuse{For: what, Count: count, SteadyA: b.steady, ColdA: b.cold, SurgeA: b.surge, ShortA: b.short, MostA: b.most}
		rating, least := fuseFor(b.steady, b.surge, b.most)
		f.RatingA, f.Sure = rating, rating > 0 && (b.short == 0 || b.short >= fuseOpens*rating)
		carries := fmt.Sprintf("it carries %s warm and the cold start of %s", amps(b.steady), amps(b.cold))
		switch {
		case rating > 0 && b.short == 0:
			f.Why = fmt.Sprintf("%s; it opens if the supply gives %s or more into a short", carries, amps(fuseOpens*rating))
		case rating > 0 && z.supply.limit(leastLimit) == 0:
			f.Why = fmt.Sprintf("%s; it opens at %s; a shorted heater draws up to %s if the supply can deliver that (its rating is not given)", carries, amps(fuseOpens*rating), amps(b.most))
		case f.Sure:
			f.Why = fmt.Sprintf("%s, and a shorted heater draws %s or more", carries, amps(b.short))
		case rating > 0:
			f.Why = fmt.Sprintf("%s; it needs %s to open, and a shorted heater draws %s to %s, by the supply's volts and limit: it may hold", carries, amps(fuseOpens*rating), amps(b.short), amps(b.most))
		default:
			f.Why = fmt.Sprintf("no fuse value clears this: one that carries %s warm and the cold start of %s is T %s or more and needs %s to open, but a shorted heater draws only %s",
				amps(b.steady), amps(b.cold), amps(least), amps(fuseOpens*least), amps(b.most))
		}
		return f
	}
	for k, st := range l.strands {
		what := "each " + st.name
		if st.string {
			what = st.describe()
		}
		own = append(own, fuse(what, st.count, branches[k]))
	}
	return fuse("all heaters", 1, all), own
}

// fusedApart says what fuses behind a shared resistor would do where one ahead of it is not
// sure: "" where they are not sure either, or there is but one valve.
func (z sizing) fusedApart(p Part) string {
	if p.layout.sharedOhm == 0 || p.layout.valves() < 2 {
		return ""
	}
	_, own := z.bothFuses(p.layout)
	c := p.Set[0]
	fit, needs := c.BuyW, 0.0
	var words []string
	for _, f := range own {
		if !f.Sure || f.ShortA == 0 {
			return ""
		}
		needs = math.Max(needs, f.overloadW(c.FaultW)/derated(z.opt.airC()))
		words = append(words, fmt.Sprintf("T %s for %s", amps(f.RatingA), f.For))
	}
	fit = math.Max(fit, buyWatts(needs, 1))
	if survives := faultWatts(c.heldW, z.opt.airC()) > 0; survives && fit >= c.FitW || needs > fit || fit > largestFaultW {
		return ""
	}
	return fmt.Sprintf("; or fit fuses behind the resistor (%s), which are sure to open, and the %s rating, which stands it that long; a short between resistor and fuses they do not clear, so keep that wire short", strings.Join(words, ", "), watts(fit))
}

// Overrun is what too many volts do to a heater. Common practice, no source.
type Overrun string

// Overruns by how far over the rating.
const (
	OverrunWears   Overrun = "wears"     // up to 15 %
	OverrunDamages Overrun = "damages"   // up to 30 %
	OverrunBurns   Overrun = "burns out" // above
)

// Words say it to the builder.
func (o Overrun) Words() string {
	switch o {
	case OverrunWears:
		return "it runs hotter and its life is shorter; nothing fails at once"
	case OverrunDamages:
		return "the cathode wears out in a fraction of its normal life, and leakage from heater to cathode rises with the heat"
	case OverrunBurns:
		return "the heater may burn out within minutes, and the cathode is damaged at once"
	}
	return ""
}

// overrun grades a relative error over the limit.
func overrun(relErr float64) Overrun {
	switch {
	case relErr <= wearsOver:
		return OverrunWears
	case relErr <= damagesOver:
		return OverrunDamages
	}
	return OverrunBurns
}
