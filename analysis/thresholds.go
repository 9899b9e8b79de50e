package analysis

// thresholds gathers every number that decides something in the time domain.
type thresholds struct {
	// Switching frequency searched for, hertz. The trade's converters run from
	// 20 to 500 kHz (common practice, no source); the search reaches further so
	// that a stray one is seen.
	SearchLowHz, SearchHighHz float64
	// NotHz are frequencies not to look at: the instrument's own lines.
	NotHz []float64
	// TradeHighHz: a record whose half rate lies under it can't tell a switching
	// line from an alias, unless something low-passed it first.
	TradeHighHz float64
	// LineOverFloor is the power ratio over the local noise at which a bin of
	// the search counts as a line.
	LineOverFloor float64
	// MinCycles in the record for a switching frequency.
	MinCycles float64

	// SpikeSigmas: a spike begins where the residue passes so many robust
	// standard deviations. Gaussian noise does so 2 in 10^9 samples at 6.
	SpikeSigmas float64
	// SpikeEndSigmas: it has ended when the residue stays under this.
	SpikeEndSigmas float64
	// SamplesInPulse and SamplesInRing: with fewer a spike is undersampled.
	SamplesInPulse, SamplesInRing float64
	// MaxSpikes kept in the list.
	MaxSpikes int

	// MainsPeriods of twice the mains a record must hold.
	MainsPeriods float64
	// FewSteps: a signal of fewer converter steps is poorly resolved.
	FewSteps float64
}

func defaultThresholds() thresholds {
	return thresholds{
		SearchLowHz: 12e3, SearchHighHz: 3e6, TradeHighHz: 500e3,
		LineOverFloor: 20, MinCycles: 4.5,
		SpikeSigmas: 6, SpikeEndSigmas: 3, SamplesInPulse: 4, SamplesInRing: 6, MaxSpikes: 2000,
		MainsPeriods: 4, FewSteps: 16,
	}
}
