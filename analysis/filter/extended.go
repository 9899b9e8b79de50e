package filter

import "math"

// extended is a record with its mirror image as one period, so that its ends meet without
// a step. For the first samples beyond either end the image is turned about the end point
// as well, which keeps the slope, or a capacitor's ESL would ring on the kink.
type extended struct {
	v      []float64 // two samples and more
	meanV  float64
	period int // 2*len(v)+2 and more; between record and image stands v[0]
}

// at is the record at any place, its mean taken off.
func (e extended) at(i int) float64 {
	n := len(e.v)
	i = e.place(i)
	if i < n {
		return e.v[i] - e.meanV
	}
	x := e.v[0]
	if i < 2*n {
		x = e.v[2*n-1-i]
	}
	turn := min(turnSamples, n-1)
	behind, ahead := i-n, e.period-1-i // samples beyond the record's last and its first
	beyondLast := func() {
		if behind < turn {
			w := turnWeight(behind, turn)
			x = w*(2*e.v[n-1]-e.v[n-2-behind]) + (1-w)*x
		}
	}
	if behind <= ahead {
		beyondLast()
	}
	if ahead < turn {
		w := turnWeight(ahead, turn)
		x = w*(2*e.v[0]-e.v[ahead+1]) + (1-w)*x
	}
	if behind > ahead { // of a short record, whose turns meet
		beyondLast()
	}
	return x - e.meanV
}

// place is where in the period a place lies.
func (e extended) place(i int) int {
	if i %= e.period; i < 0 {
		i += e.period
	}
	return i
}

// fill puts the record from a place on into dst.
func (e extended) fill(dst []float64, from int) {
	for i := 0; i < len(dst); {
		at := e.place(from + i)
		if at >= len(e.v) {
			dst[i] = e.at(at)
			i++
			continue
		}
		for _, v := range e.v[at:min(len(e.v), at+len(dst)-i)] { // nearly all
			dst[i] = v - e.meanV
			i++
		}
	}
}

// turnWeight is how much the mirror image is turned about the end point k samples from it.
func turnWeight(k, turn int) float64 {
	return 0.5 * (1 + math.Cos(math.Pi*float64(k)/float64(turn)))
}
