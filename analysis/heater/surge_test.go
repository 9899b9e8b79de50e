package heater

import (
	"math"
	"testing"
)

// How hot a start makes a fuse, as the current that would for good, over the warm one:
// testdata/reference/heater/surge.py, scipy's solve_ivp on the same laws written out apart
// (R ~ T^1.2, 1/6 of it cold, a loss that makes the steady current V^0.6, 16.5 s to 80 %
// of its volts from four times them through three times its ohms; the fuse one pole of
// 0.87 s).
func TestSurgeThroughAFuse(t *testing.T) {
	s := newStarts(defaults(t))
	for _, c := range []struct{ cold, limit, want float64 }{
		{6, 6, 2.8224}, {6, 3, 2.6275}, {4, 4, 2.5143}, {2, 2, 1.7643}, {3, 1.5, 1.4999}, {1.5, 1.5, 1.4234},
	} {
		near(t, "hottest", s.hottest(c.cold, c.limit), c.want, 0.03*c.want)
	}
	// The fuse of 0.87 s carries what IEC 60127-2, sheet 3, has every time-lag fuse carry:
	// 0.6 s at 2.75, 0.15 s at 4 and 20 ms at 10 times its rating, from memory.
	for times, seconds := range map[float64]float64{2.75: 0.6, 4: 0.15, 10: 0.02} {
		if opens := -fuseTauS * math.Log(1-fuseCarries*fuseCarries/(times*times)); opens > seconds {
			t.Errorf("at %g times its rating it opens after %.3g s, a fuse of the standard not before %g s", times, opens, seconds)
		}
	}
	// 0.3 A straight on its volts: 0.3 x 2.8224 / 1.2 = 0.706 A, less than 1.8 A over 1.5.
	near(t, "rating", s.surgeA(1.8, 0.3, 100, 100), 0.3*2.8224/1.2, 0.03*0.706)
	near(t, "rating where nothing surges", s.surgeA(0.3, 0.3, 100, 100), 0.3/1.5, 1e-9)
}

// What a resistor must be rated to stand a short until its fuse opens, by hand: within two
// minutes twice its rating, 10 s five times, 3 s and less ten times.
func TestOverloadUntilTheFuseOpens(t *testing.T) {
	for _, c := range []struct {
		f       Fuse
		w, want float64
	}{
		{Fuse{RatingA: 1, ShortA: 2.2, MostA: 2.2}, 10, 5},
		{Fuse{RatingA: 1, ShortA: 3, MostA: 3}, 10, 2},
		{Fuse{RatingA: 1, ShortA: 3, MostA: 5}, 25, 16.0 / 5}, // just under 4 times: 16 W for 10 s
		{Fuse{RatingA: 1, ShortA: 20, MostA: 20}, 30, 3},
		{Fuse{RatingA: 1, ShortA: 0, MostA: 2}, 4, 0}, // it never opens: what it holds decides
		{Fuse{}, 10, 0},
	} {
		near(t, "W", c.f.overloadW(c.w), c.want, 1e-9)
	}
}
