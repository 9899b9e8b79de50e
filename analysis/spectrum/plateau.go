package spectrum

import (
	"math"
	"slices"

	"stillglow/analysis/figure"
)

// plateau is the white part of a noise floor.
type plateau struct {
	power    float64 // V²/Hz, what is left of the 1/f part taken off
	members  []int   // the third octaves it rests on, ascending; never empty
	cornerHz float64 // where a 1/f part equals it, 0: none shows
	rises    bool    // something rises towards low frequencies, but not as 1/f
}

// corner states where the 1/f part equals the white one; lowestHz is the lowest
// third octave of the record.
func (p plateau) corner(lowestHz float64) figure.Figure {
	switch {
	case p.cornerHz > 0:
		return figure.Known(p.cornerHz)
	case p.rises:
		return figure.NotMeasured("the noise rises towards low frequencies, but not as 1/f")
	}
	return figure.NotMeasured("the noise is white down to " + hertz(lowestHz) + ", the lowest third octave of the record")
}

// findPlateau looks for the lowest level that holds over most of a decade. Above
// it lie the 1/f part and what spikes leave where they could not be gated out,
// humps of several octaves; nothing but chance lies below. All third octaves
// that agree with that level then count. oct and levels are not empty.
func findPlateau(oct []ThirdOctave, levels []octaveLevel) plateau {
	var p plateau
	for range plateauRounds { // the corner and the level depend on each other
		level := func(i int) float64 { return levels[i].power / (1 + p.cornerHz/oct[i].CentreHz) }
		first := 0
		for first < len(oct)-plateauLeast && oct[first].CentreHz < 2*p.cornerHz {
			first++
		}
		p.power, p.members = lowestLevel(first, levels, level)
		corner := cornerUnder(oct, levels, &p)
		if math.Abs(corner-p.cornerHz) < cornerSettled*corner {
			p.cornerHz = corner
			break
		}
		p.cornerHz = corner
	}
	return p
}

// lowestLevel is the lowest weighted median over eight neighbouring third
// octaves, then refined over all that agree with it within 1 dB and their own
// spread.
func lowestLevel(first int, levels []octaveLevel, level func(i int) float64) (power float64, members []int) {
	const width = plateauWidth
	weight := func(i int) float64 { return 1 / math.Max(levels[i].relative, leastRelative) }
	spread := func(a int) float64 {
		inverse := 0.0
		for i := a; i < min(a+width, len(levels)); i++ {
			inverse += 1 / (levels[i].relative * levels[i].relative)
		}
		return 1 / math.Sqrt(inverse)
	}
	// a window of few values is low by chance now and then, and next to the
	// record's lowest frequency something may have been taken off with the drift:
	// only windows good to 5 % in power may compete, or else the best one
	most := math.Inf(1)
	for a := first; a == first || a+width <= len(levels); a++ {
		most = min(most, spread(a))
	}
	most = max(plateauSpread, most)
	best := math.Inf(1)
	for a := first; a == first || a+width <= len(levels); a++ {
		s := spread(a)
		if s > most {
			continue
		}
		end := min(a+width, len(levels))
		med := weightedMedian(end-a, func(k int) (float64, float64) { return level(a + k), weight(a + k) })
		if rank := med * (1 + 2*s); rank < best {
			best, power = rank, med
		}
	}
	for i := first; i < len(levels); i++ {
		if levels[i].relative < plateauMember && math.Abs(level(i)/power-1) < plateauAgree+2*levels[i].relative {
			members = append(members, i)
		}
	}
	if len(members) == 0 {
		members = []int{len(levels) - 1}
	}
	power = weightedMedian(len(members), func(k int) (float64, float64) { return level(members[k]), weight(members[k]) })
	return power, members
}

// cornerUnder is the frequency at which a 1/f part equals the plateau, from the
// third octaves below it that stand out; 0 when fewer than four do or they do
// not follow 1/f.
func cornerUnder(oct []ThirdOctave, levels []octaveLevel, p *plateau) float64 {
	p.rises = false
	var corners []float64
	end := p.members[len(p.members)/2]
	for i := range end {
		if over := levels[i].power/p.power - 1; over > cornerOver+2*levels[i].relative {
			corners = append(corners, over*oct[i].CentreHz)
		} else if len(corners) == 0 {
			return 0 // it must stand out at the lowest frequencies of all
		}
	}
	if len(corners) < minCornerLevels {
		return 0
	}
	slices.Sort(corners)
	n := len(corners)
	corner := (corners[(n-1)/2] + corners[n/2]) / 2
	if corners[n/cornerTrim] < corner/cornerScatter || corners[n-1-n/cornerTrim] > corner*cornerScatter {
		p.rises = true
		return 0
	}
	return corner
}
