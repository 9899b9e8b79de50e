package heater

import "math"

// A time-lag fuse in the cold start, as one pole: it warms with the square of its current
// by the time constant fuseTauS, and is held to open where it gets as hot as fuseCarries
// times its rating makes it for good. The least times of IEC 60127-2, sheet 3 (0.6 s at
// 2.75, 0.15 s at 4, 20 ms at 10 times the rating, from memory) ask for 1.7, 0.99 and
// 0.88 s at least, so that no fuse of the standard opens sooner than this one.
const fuseTauS = 0.87

// startCarries is how many times its rating a fuse would carry for good as hot as a start
// may make it: less than fuseCarries, since every start wearies its wire (common practice,
// no source).
const startCarries = 1.2

// slowHeater is how many times the warm-up time a heater may take, since a fuse must
// carry a slow one's start too (common practice, no source).
const slowHeater = 1.5

// The simulated start: its steps, its end, and the first currents, over the warm one, that
// are told apart.
const (
	surgeStepS  = 0.05
	surgeEndS   = 120.0
	surgeLimits = 4
	surgeDigits = 50.0 // per unit of the ratio, rounded up
	leastSurge  = 1.02 // of the warm current: less is no surge
)

// starts simulates cold starts in front of fuses, each but once.
type starts struct {
	th   thermal
	o    Options
	seen map[[2]float64]float64
}

func newStarts(o Options) *starts {
	return &starts{th: newThermal(o), o: o, seen: map[[2]float64]float64{}}
}

// surgeA is the least fuse rating, A, that carries the start of heaters that draw coldA at
// the first instant and warmA at last, the supply holding the current at lowA to highA,
// whichever is worse. No more is asked for than what carries the first current for good.
func (s *starts) surgeA(coldA, warmA, lowA, highA float64) float64 {
	cold := math.Ceil(coldA/warmA*surgeDigits) / surgeDigits
	least := 1.0
	if cold > leastSurge {
		high := math.Min(cold, math.Ceil(highA/warmA*surgeDigits)/surgeDigits)
		low := math.Min(high, math.Max(leastSurge, lowA/warmA))
		for i := range surgeLimits {
			limit := high - (high-low)*float64(i)/(surgeLimits-1)
			if limit <= least { // the fuse gets no hotter than the most it carries makes it
				break
			}
			least = math.Max(least, s.hottest(cold, limit))
		}
	}
	return math.Min(warmA*least/startCarries, math.Max(warmA, math.Min(coldA, highA))/fuseCarries)
}

// hottest is the current, over the warm one, that would leave the fuse for good as hot as
// the start makes it. cold is the first current where nothing holds it, limit what the
// supply gives, both over the warm one.
func (s *starts) hottest(cold, limit float64) float64 {
	key := [2]float64{cold, limit}
	if i, ok := s.seen[key]; ok {
		return i
	}
	// The series resistance, over the hot heater's, that makes the first current cold.
	series := math.Max(0, (1-cold/s.o.ColdRatio)/(cold-1))
	amps := func(ohm float64) float64 { return math.Min(limit, (series+1)/(series+ohm)) }
	rate := func(x, ohm float64) float64 {
		i := amps(ohm)
		return s.th.rate(x, i*i*ohm) / (slowHeater * s.th.tauS)
	}
	x, fuse, decay := s.th.coldT, 0.0, -math.Expm1(-surgeStepS/fuseTauS)
	for t := 0.0; t < surgeEndS; t += surgeStepS {
		ohm := s.th.resistance(x)
		i := amps(ohm)
		if i*i <= fuse {
			break // it cools from here on
		}
		fuse += (i*i - fuse) * decay
		half := x + surgeStepS/2*rate(x, ohm)
		x += surgeStepS * rate(half, s.th.resistance(half))
	}
	s.seen[key] = math.Sqrt(fuse)
	return s.seen[key]
}
