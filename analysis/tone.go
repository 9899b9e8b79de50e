package analysis

import "math"

// refineTone finds the frequency of the tone next to nearHz, its rms in volts
// and its phase as a cosine at the first sample. The start may be off by half a
// cycle in 16 cycles (3 %). It works from a short piece of the record to the
// whole, each time climbing to the top of the tapered transform by Newton's
// method, which other lines at least four bins away do not disturb.
//
// ok is false when the record holds fewer than 8 periods or the tone does not
// stay coherent over the record (a dithered or bursting supply); the figures
// are then those of the longest piece over which it does.
func refineTone(src source, rateHz, nearHz float64) (hz, rmsV, phaseRad float64, ok bool) {
	n := src.Len()
	if !(rateHz > 0) || !(nearHz > 0) || nearHz >= rateHz/2 || float64(n)*nearHz/rateHz < 8 {
		return nearHz, 0, 0, false
	}
	hz = nearHz
	size := min(n, max(int(16*rateHz/nearHz), 64))
	for {
		f, rms, ph := hz, 0.0, 0.0
		bin := rateHz / float64(size)
		for range 4 {
			t := taperedMoments(src, size, rateHz, f)
			step := t.step()
			step = math.Max(-bin, math.Min(bin, step))
			rms, ph = t.tone(step)
			f += step
			if math.Abs(step) < 2e-3*bin {
				break
			}
		}
		if rmsV > 0 && (rms < 0.8*rmsV || math.Abs(f-hz) > 2*bin) {
			return hz, rmsV, phaseRad, false
		}
		hz, rmsV, phaseRad = f, rms, ph
		if size == n {
			return hz, rmsV, phaseRad, true
		}
		size *= 4
		if size > n/2 {
			size = n
		}
	}
}

// moments are the tapered transform at one frequency and its first two
// derivatives, about the middle of the piece.
type moments struct {
	re, im     [3]float64 // sum of w x t^k exp(-j w0 t), t in seconds from the middle
	weight     float64    // sum of w
	middleS    float64
	frequency  float64
	secondsDur float64
}

// taperedMoments transforms the first n samples at frequency hz under a
// Blackman-Harris taper, the mean under the taper taken off.
func taperedMoments(src source, n int, rateHz, hz float64) moments {
	m := moments{frequency: hz, middleS: float64(n) / 2 / rateHz, secondsDur: float64(n) / rateHz}
	const block = 4096
	var buf [block]float64
	var one [2][3]float64 // the same sums of the taper alone, to take the mean off
	mean := 0.0
	a := blackmanHarris
	for pos := 0; pos < n; pos += block {
		x := buf[:min(block, n-pos)]
		src.Fill(x, pos)
		// recurrences restarted in every block keep rounding in bounds
		t := float64(pos) - float64(n)/2
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(hz/rateHz*t, 1))
		dsin, dcos := math.Sincos(2 * math.Pi * hz / rateHz)
		wsin, wcos := math.Sincos(2 * math.Pi * float64(pos) / float64(n))
		dwsin, dwcos := math.Sincos(2 * math.Pi / float64(n))
		for _, v := range x {
			c2 := 2*wcos*wcos - 1
			c3 := wcos * (2*c2 - 1)
			w := a[0] - a[1]*wcos + a[2]*c2 - a[3]*c3
			m.weight += w
			mean += w * v
			re, im := w*cos, -w*sin
			one[0][0] += re
			one[1][0] += im
			m.re[0] += re * v
			m.im[0] += im * v
			re, im = re*t, im*t
			one[0][1] += re
			one[1][1] += im
			m.re[1] += re * v
			m.im[1] += im * v
			re, im = re*t, im*t
			one[0][2] += re
			one[1][2] += im
			m.re[2] += re * v
			m.im[2] += im * v
			t++
			cos, sin = cos*dcos-sin*dsin, cos*dsin+sin*dcos
			wcos, wsin = wcos*dwcos-wsin*dwsin, wcos*dwsin+wsin*dwcos
		}
	}
	mean /= m.weight
	s := 1.0
	for k := range m.re {
		m.re[k] = (m.re[k] - mean*one[0][k]) * s
		m.im[k] = (m.im[k] - mean*one[1][k]) * s
		s /= rateHz
	}
	return m
}

// step is how far, in hertz, the top of the squared magnitude lies by Newton's
// method. With X' = -j X1 and X" = -X2 (in angular frequency),
// (|X|²)' = 2 Im(X0* X1) and (|X|²)" = 2 (|X1|² - Re(X0* X2)).
func (m moments) step() float64 {
	first := m.re[0]*m.im[1] - m.im[0]*m.re[1]
	second := m.re[1]*m.re[1] + m.im[1]*m.im[1] - (m.re[0]*m.re[2] + m.im[0]*m.im[2])
	if second >= 0 { // not under the main lobe's crown: follow the slope by half a bin
		if first > 0 {
			return 0.5 / m.secondsDur
		}
		return -0.5 / m.secondsDur
	}
	return -first / second / (2 * math.Pi)
}

// tone is the rms and the phase at the first sample of a tone stepHz beside the
// frequency of the moments, by the Taylor series.
func (m moments) tone(stepHz float64) (rms, phase float64) {
	d := 2 * math.Pi * stepHz
	re := m.re[0] + d*m.im[1] - d*d/2*m.re[2]
	im := m.im[0] - d*m.re[1] - d*d/2*m.im[2]
	rms = math.Hypot(re, im) / m.weight * math.Sqrt2
	phase = math.Atan2(im, re) - 2*math.Pi*math.Mod((m.frequency+stepHz)*m.middleS, 1)
	return rms, wrapPhase(phase)
}
