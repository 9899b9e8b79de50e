package spectrum

import (
	"math"
)

// bandDensity is the level of the random part where the trade's criterion reads
// it, DensityLowHz to DensityHighHz.
type bandDensity struct {
	power    float64 // V²/Hz: the median over the band by the logarithm of frequency
	relative float64 // its standard deviation as a share
	atHz     float64 // the frequency whose level it is
	members  []int   // third octaves it rests on, ascending
	partial  bool    // the record does not hold the middle of the band
}

// densityInBand reads the level in the criterion's band from the third octaves
// there; ok is false where the record holds none that says anything.
//
// The median over a band is the level at its geometric middle wherever the density
// runs along a power law, white and 1/f noise among them: there the law is
// fitted to all of the band. A hump of loop noise follows none, and the median is
// taken as it is.
func densityInBand(oct []ThirdOctave, levels []octaveLevel) (d bandDensity, ok bool) {
	const third = 0.1 // decades
	for i, o := range oct {
		if o.CentreHz > DensityLowHz*(1-centreOff) && o.CentreHz < DensityHighHz*(1+centreOff) && levels[i].relative < densityMember {
			d.members = append(d.members, i)
		}
	}
	if len(d.members) == 0 {
		return d, false
	}
	middle := math.Sqrt(DensityLowHz * DensityHighHz)
	lowest, highest := oct[d.members[0]].CentreHz, oct[d.members[len(d.members)-1]].CentreHz
	d.atHz = middle
	if lowest > middle*math.Pow(10, third/2) || highest < middle*math.Pow(10, -third/2) {
		d.partial = true
		d.atHz = math.Sqrt(lowest * highest)
	}
	law := fitLaw(oct, levels, d.fitted(oct, levels), d.atHz)
	if !d.settle(law, levels) && len(d.members) > 1 && !d.partial {
		// what the band's ends are short of, the median does not know of
		missing := math.Log(lowest/DensityLowHz) - math.Log(highest/DensityHighHz)
		d.relative = math.Hypot(d.relative, math.Abs(law.slope)*math.Max(missing, 0)/2)
	}
	return d, true
}

// fitted are the members, and in a short record those just above them, which help.
func (d *bandDensity) fitted(oct []ThirdOctave, levels []octaveLevel) []int {
	list := d.members
	if oct[list[0]].CentreHz < DensityLowHz*(1+centreOff) {
		return list
	}
	for i := list[len(list)-1] + 1; i < len(oct) && oct[i].CentreHz < densityHelpHz*(1+centreOff); i++ {
		if levels[i].relative < densityMember {
			list = append(list[:len(list):len(list)], i)
		}
	}
	return list
}

// settle takes the level from a law where that fits, else the members' median.
func (d *bandDensity) settle(l law, levels []octaveLevel) (fits bool) {
	if l.misfit <= lawMisfit {
		d.power, d.relative = math.Exp(l.level), l.sigma*math.Max(1, math.Sqrt(l.misfit))
		return true
	}
	d.power, d.relative = logMedian(levels, d.members)
	return false
}

// law is a power law through third octaves: its logarithm at a frequency, V²/Hz.
type law struct {
	level, sigma float64 // natural logarithm of the power, and its standard deviation
	slope        float64 // of the logarithms
	misfit       float64 // chi squared over the degrees of freedom, 0 where there are none
}

// fitLaw fits a power law by weighted least squares. Of one or two third octaves
// only the level is taken.
func fitLaw(oct []ThirdOctave, levels []octaveLevel, members []int, atHz float64) law {
	var s, sx, sy, sxx, sxy float64
	weight := func(i int) float64 { return 1 / (sq(levels[i].relative) + sq(lawScatter)) }
	for _, i := range members {
		w, x, y := weight(i), math.Log(oct[i].CentreHz/atHz), math.Log(levels[i].power)
		s, sx, sy, sxx, sxy = s+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y
	}
	l := law{level: sy / s, sigma: 1 / math.Sqrt(s)}
	free := len(members) - 1
	if det := s*sxx - sx*sx; len(members) > 2 && det > 0 {
		l.slope = (s*sxy - sx*sy) / det
		l.level, l.sigma = (sy-l.slope*sx)/s, math.Sqrt(sxx/det)
		free--
	}
	if free > 0 {
		for _, i := range members {
			off := math.Log(levels[i].power) - l.level - l.slope*math.Log(oct[i].CentreHz/atHz)
			l.misfit += off * off * weight(i) / float64(free)
		}
	}
	return l
}

// logMedian is the median power over third octaves of equal width in the
// logarithm, those at the ends counting by half, read between them, and its
// standard deviation as a share.
func logMedian(levels []octaveLevel, members []int) (power, relative float64) {
	n := len(members)
	power = weightedMedian(n, func(k int) (float64, float64) {
		w := 1.0
		if n > 2 && (k == 0 || k == n-1) {
			w = 0.5
		}
		return levels[members[k]].power, w
	})
	// a median of n has π/2 of a mean's variance; beside it the gap to the
	// neighbours, within which it may lie
	variance, gap := 0.0, math.Inf(1)
	for _, i := range members {
		variance += sq(levels[i].relative)
		if d := math.Abs(levels[i].power/power - 1); d > 0 {
			gap = min(gap, d)
		}
	}
	relative = math.Sqrt(math.Pi/2*variance) / float64(n)
	if !math.IsInf(gap, 1) {
		relative = math.Hypot(relative, gap/2)
	}
	return power, relative
}

func sq(x float64) float64 { return x * x }

// localLevel is a plateau's level at one place of it, for records that do not hold
// the criterion's band: the members within two third octaves of the middle one.
func localLevel(oct []ThirdOctave, levels []octaveLevel, p plateau) (d bandDensity) {
	at := p.members[len(p.members)/2]
	for _, i := range p.members {
		if i >= at-2 && i <= at+2 {
			d.members = append(d.members, i)
		}
	}
	d.atHz = oct[at].CentreHz
	d.settle(fitLaw(oct, levels, d.members, d.atHz), levels)
	return d
}
