package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// The band of frequency-modulated broadcast in most countries, Hz (ITU-R BS.450, from
// memory): the strongest thing on the air at a bench that a probe's loop picks up and
// that a fast record may fold.
const broadcastLowHz, broadcastHighHz = 87.5e6, 108e6

// broadcastAs is the frequency of a transmitter in that band that a line at hz would be
// the alias of at a sample rate, 0 where there is none.
func broadcastAs(hz, rateHz float64) float64 {
	for k := 1.0; k*rateHz-rateHz/2 < broadcastHighHz; k++ {
		for _, f := range [...]float64{k*rateHz - hz, k*rateHz + hz} {
			if f >= broadcastLowHz && f <= broadcastHighHz {
				return f
			}
		}
	}
	return 0
}

// broadcastLines are the lines from 1 MHz on of neither mains nor switching that a
// transmitter would be folded to: the power in V² of those up to 20 MHz, the sum of all
// peak-to-peaks in V behind one pole at 20 MHz, and the strongest. None is where
// something keeps such frequencies out.
func (m *Measurement) broadcastLines(rec *record) (power, pp float64, strongest spectrum.Line) {
	if filtered(rec.tr) || m.Within20MHz {
		return 0, 0, strongest
	}
	for _, l := range m.Lines {
		if l.Comb != "" || l.FrequencyHz < 1e6 || broadcastAs(l.FrequencyHz, m.SampleRateHz) == 0 {
			continue
		}
		if l.FrequencyHz < bandwidthLimitHz {
			power += l.RMSV * l.RMSV
		}
		pp += 2 * math.Sqrt2 * l.RMSV / math.Hypot(1, l.FrequencyHz/bandwidthLimitHz)
		if l.RMSV > strongest.RMSV {
			strongest = l
		}
	}
	return power, pp, strongest
}

// broadcastIn tells whether such lines are a part of the 20 MHz peak-to-peak, and of which
// band, nil for none, with the strongest of them.
func (m *Measurement) broadcastIn(rec *record) (peaks bool, band *spectrum.Band, strongest spectrum.Line) {
	power, pp, strongest := m.broadcastLines(rec)
	if b := m.band("1m_20m"); b != nil && power > 2*broadcastShare*b.RMSV.Value*b.RMSV.Value {
		band = b
	}
	return pp > broadcastShare*m.PP20MHzV.Value, band, strongest
}

// boundBroadcast makes upper bounds of the 20 MHz figures that such lines are a part of.
func (m *Measurement) boundBroadcast(rec *record) {
	peaks, band, _ := m.broadcastIn(rec)
	if peaks {
		bound(&m.PP20MHzV)
		bound(&m.PP20MHz999V)
	}
	if band != nil {
		bound(&band.RMSV)
	}
}

// broadcastCaution says so where one is a bound.
func (f *findings) broadcastCaution(m *Measurement, list *cautionList) {
	peaks, band, l := m.broadcastIn(f.rec)
	if !peaks && band == nil {
		return
	}
	list.add(capture.CautionUnfiltered,
		fmt.Sprintf("the line at %s belongs to neither mains nor switching and lies where a radio transmitter at %s would be aliased at this sample rate: the 20 MHz figures that hold it are upper limits", hertz(l.FrequencyHz), hertz(broadcastAs(l.FrequencyHz, m.SampleRateHz))),
		"hold the probe's tip on its own ground clip at the same place: a line that stays is picked up by its loop; use a ground spring, the 20 MHz limit, or 250 MS/s and more")
}
