package target

import (
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/capture"
)

// missesText tells why a record too short for a bursting supply's packets does not count.
func missesText(m *analysis.Measurement, packets float64) string {
	return fmt.Sprintf("%s lasts %s and may miss a burst of the supply, which come %s apart; capture it for longer", m.File, capture.SI(m.DurationS, "s", 2), capture.SI(1/packets, "s", 2))
}

// packetDoubt is the doubt about a mean over a record of a bursting supply that holds no
// whole number of packets: it may hold one packet more or less than its share.
func packetDoubt(u Unit, c criterion, index int, mg Margin, p picked) []doubt {
	rate := burstHz(u)
	if rate <= 0 || c.highHz < packetsShowHz || c.domain != power && c.id != SpikeRate || len(p.from) == 0 || mg.Figure.LowerBound {
		return nil
	}
	held := p.from[0].DurationS * rate
	down, up := packetShift(c, held)
	if mg.DB >= 0 && mg.DB >= down || mg.DB < 0 && -mg.DB > up {
		return nil
	}
	return []doubt{{margin: index, flips: true,
		text: fmt.Sprintf("%s holds %.2g bursts of a supply that switches in bursts, and one burst more or less takes it over the limit", p.from[0].File, held),
		fix:  "capture ten bursts or more"}}
}

// packetShift is how far, in dB, a mean over so many packets' time may be moved by the
// packets in it being a whole number: down where the record holds one less.
func packetShift(c criterion, held float64) (down, up float64) {
	per := 20.0
	if c.domain == power {
		per = 10 // of powers
	}
	if held < leastPackets {
		return unboundedDB, unboundedDB
	}
	return -per * math.Log10(math.Floor(held)/held), per * math.Log10(math.Ceil(held)/held)
}

// burstHz is the packet rate of a bursting supply, 0 when none bursts.
func burstHz(u Unit) float64 {
	for _, m := range u.Captures {
		if m.Kind == cycle.Bursting && m.BurstHz.Known {
			return m.BurstHz.Value
		}
	}
	return 0
}
