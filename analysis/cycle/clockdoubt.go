package cycle

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// clockSigmaHz is the standard deviation that the remainder beside the harmonics
// leaves the frequency of a record of durationS: cycles that differ, a wandering
// clock, slow noise and other converters stand there, of which the fold's white
// noise knows nothing. It is √(6/(T·Σ h²·P_h/S_h))/(2π·T) for harmonics h of power
// P_h in noise of density S_h, the Cramér-Rao bound of one line in white noise (Rife
// and Boorstyn 1974, from memory) summed over harmonics. A track that follows its
// clock has no such doubt but at its ends, where it runs on at the last frequency
// seen.
func (c *Finding) clockSigmaHz(s heldSpectra, durationS float64) float64 {
	t := c.Track
	if t.Kind == Dithered {
		return t.SpreadHz / spreadSigmas * math.Sqrt2 * trackCycles / 2 / t.Hz / durationS
	}
	if t.Kind != Fixed || len(s.rest) == 0 {
		return 0
	}
	cycles := t.Hz * durationS
	m := float64(len(c.Fold.Mean))
	sum := 0.0
	for h, x := range fourier.NewFFT(len(c.Fold.Mean)).Coefficients(nil, c.Fold.Mean) {
		at := float64(h) * t.Hz
		if h == 0 {
			continue
		}
		if at+besideCycle*t.Hz > float64(len(s.rest))*s.binHz*heldTop {
			break
		}
		p := 2 * (real(x)*real(x) + imag(x)*imag(x)) / (m * m)
		low, high := max(at-besideCycle*t.Hz, s.binHz), at+besideCycle*t.Hz
		density := s.between(s.rest, low, high) / (high - low)
		// the fold has taken its own share of it
		density *= cycles / max(cycles-foldTakes, 1)
		if p*durationS > standsOut*density {
			sum += float64(h) * float64(h) * p / density
		}
	}
	if sum == 0 {
		return 0
	}
	return clockScale * math.Sqrt(6/(durationS*sum)) / (2 * math.Pi * durationS)
}

// walk is by how much the phases of a record folded at one frequency lie off their
// straight line, rms in cycles, what noise makes of them taken off; 0 where it can't
// be told. Of a long record a stretch tells what its cycles do from one to the next,
// where it stands clear of the noise; what they do over longer the record's parts
// tell.
func (t *Track) walk(volts []float64, meanV float64) float64 {
	if t.Kind != Fixed {
		return 0
	}
	clear := 0.0
	if t.Cycles() > mostWander {
		volts = volts[:min(len(volts), wanderSamples, int(wanderStretch/t.Pieces[0].PerSample))]
		clear = wanderSigmas
	}
	blocks := newDemodulator(volts, meanV, t.Pieces[0].PerSample).blocks(wanderCycles, wanderCycles/2, true)
	if len(blocks) < leastWander {
		return 0
	}
	var x, y, noise, amp float64
	phase := make([]float64, len(blocks)) // cycles
	for i, b := range blocks {
		phase[i] = cmplx.Phase(b.c) / (2 * math.Pi)
		if i > 0 {
			phase[i] = phase[i-1] + offWhole(phase[i]-phase[i-1])
		}
		x += b.middle / float64(len(blocks))
		y += phase[i] / float64(len(blocks))
		noise += real(b.ref)*real(b.ref) + imag(b.ref)*imag(b.ref)
		amp += real(b.c)*real(b.c) + imag(b.c)*imag(b.c)
	}
	var sxx, sxy, r2 float64
	for i, b := range blocks {
		sxx += (b.middle - x) * (b.middle - x)
		sxy += (b.middle - x) * (phase[i] - y)
	}
	for i, b := range blocks {
		d := phase[i] - y - sxy/sxx*(b.middle-x)
		r2 += d * d / float64(len(blocks))
	}
	own := noise / max(amp, tiny) / (8 * math.Pi * math.Pi)
	if clear > 0 {
		return math.Sqrt(max(r2-own*(1+clear*math.Sqrt(2/float64(len(blocks)))), 0))
	}
	return math.Sqrt(max(r2-2*own, 0)) // twice, since it scatters
}

// smear adds to the model's doubts what a walk of the clock takes off the mean cycle,
// which is the true one blurred by it.
func (m *Model) smear(walk float64) {
	m.PPDoubtV = math.Hypot(m.PPDoubtV, cornerLoss/2*walk*m.PPV)
	m.RMSDoubtV = math.Hypot(m.RMSDoubtV, rmsLoss*smearedLine(walk)*m.RMSV)
}

// leftSigmaV is what is left in the mean cycle, up to a harmonic, of what does not
// repeat: of a remainder, noise of any colour, the fold over n cycles keeps a part in
// n of the power, at the cycle's harmonics. V rms.
func (c *Finding) leftSigmaV(s heldSpectra, harmonic float64) float64 {
	n := c.Track.Cycles()
	if len(s.rest) == 0 || n < 1 {
		return 0
	}
	return math.Sqrt(s.between(s.rest, c.Track.Hz/2, (harmonic+0.5)*c.Track.Hz) / n)
}

// roughen adds to the model's doubts what noise leaves in the mean cycle: the noise of
// single bins, which the fit knows, averages over neighbours, and that of the ripple's
// own harmonics does not. Of the peak-to-peak it takes two places; straight parts
// follow the lowest harmonics only, a curve many. Of the rms it takes what lies along
// the fundamental.
func (c *Finding) roughen(s heldSpectra) {
	m := c.Model
	harmonics := float64(roughHarmonics)
	if m.fitted {
		harmonics = roughFitted
	}
	m.PPDoubtV = math.Hypot(m.PPDoubtV, roughPeaks*math.Sqrt2*c.leftSigmaV(s, harmonics))
	m.RMSDoubtV = math.Hypot(m.RMSDoubtV, c.leftSigmaV(s, 1)/math.Sqrt2)
}

// smearedLine is the share of a fundamental that a walk of its clock, rms in cycles,
// takes off.
func smearedLine(walk float64) float64 { return 2 * math.Pi * math.Pi * walk * walk }
