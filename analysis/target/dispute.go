package target

// Believed tells which of two findings on a unit to go by.
type Believed string

// What to believe where a rule-of-thumb limit and the hearing sum disagree.
const (
	// BelieveSum: a limit is broken, but what the stage hears of that half lies far
	// under its own noise. The limit is for any stage of its kind, the sum for this
	// one, with what is not told taken on the high side.
	BelieveSum Believed = "sum"
	// BelieveEar: all limits in audio hold, but the supply is heard over the stage's own
	// noise.
	BelieveEar Believed = "ear"
)

// Dispute is where the limits and the hearing sum say different things of a unit.
type Dispute struct {
	Believed Believed // which of the two
	Limit    Limit    // the broken one, of BelieveSum
	LimitDB  float64  // its margin, negative
	UnderDB  float64  // how far the supply, of that limit's half, lies under the valve's own noise
}

// hearingDecides are the criteria in audio: of the others the sum says nothing.
var hearingDecides = map[Criterion]bool{
	MainsLine: true, BandAudio: true, BandAudioA: true, Noise: true, Density1k: true, Density10k: true,
	CommonMains: true, CommonAudio: true,
}

// Dispute compares a unit's margins with what the valve hears of it.
func (h *Heard) Dispute(e *Evaluation) (d Dispute, ok bool) {
	if h == nil || !h.Known {
		return d, false
	}
	inside := true
	for _, m := range e.Margins {
		if !m.Covered || m.DB >= 0 || !hearingDecides[m.Limit.Criterion] {
			continue
		}
		inside = false
		under, whole := h.halfUnderDB(m.Limit.Criterion.CommonMode())
		if m.Limit.Basis == RuleOfThumb && whole && under >= disputeDB && (!ok || m.DB < d.LimitDB) {
			d, ok = Dispute{Believed: BelieveSum, Limit: m.Limit, LimitDB: m.DB, UnderDB: under}, true
		}
	}
	if inside && h.UnderDB < 0 {
		return Dispute{Believed: BelieveEar, UnderDB: h.UnderDB}, true
	}
	return d, ok
}

// halfUnderDB is how far one half lies under the valve's own noise; whole is false
// where its captures leave some of the audio band out.
func (h *Heard) halfUnderDB(common bool) (db float64, whole bool) {
	if common {
		return MarginDB(h.ThermalAVRMS, h.CommonAVRMS), h.CommonWhole
	}
	return MarginDB(h.ThermalAVRMS, h.DifferentialAVRMS), h.DifferentialWhole
}
