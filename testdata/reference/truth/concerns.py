"""Which caution concerns which figure, for the judge: a wrong figure counts as
said where a caution in the same record concerns it. The table is judgement, with
the reason beside each row; it errs against the tool."""

SPIKES = {"spike_peak_median_v", "spike_peak_p95_v", "spike_peak_max_v", "spikes_per_s", "ring_hz"}
PEAKS = SPIKES | {"pp_v", "pp_20mhz_v", "bands.1m_20m.rms_v"}
RIPPLE = {"ripple_pp_v", "ripple_rms_v", "switching_fundamental_rms_v"}
CYCLE = RIPPLE | {"switching_hz"}
PARTS = {"periodic_rms_v", "random_rms_v"}
NOISE = {"noise_density_v_per_rthz"}
SUMS = {"bands.audio.rms_v", "bands.audio_a.rms_v", "bands.20k_1m.rms_v"}
MAINS = {"mains_line_rms_v", "mains_hz"}
ALL = PEAKS | CYCLE | PARTS | NOISE | SUMS | MAINS | {"ac_rms_v", "dc_v", "bands.1m_20m.rms_v"}

CONCERNS = {
    "clipped": (ALL, "what is cut off is in every sum and peak"),
    "few_steps": (ALL - {"dc_v", "switching_hz", "mains_hz"}, "steps as large as the signal bend all amplitudes; not a frequency"),
    "undersampled_spikes": (PEAKS, "peaks between samples; sums keep their power"),
    "alias_suspected": (CYCLE | SUMS | NOISE | PARTS, "what folds lies in the lines, the floor and the sums"),
    "alias_shown": (CYCLE | SUMS | NOISE | PARTS, "as above"),
    "short_record": (CYCLE | NOISE | SUMS | MAINS | PARTS, "too few periods for frequency, floor or sums"),
    "gaps": (ALL, "missing rows"),
    "uneven_sampling": (ALL - {"dc_v"}, "resampled"),
    "segments": (set(), "says which segment, not how good it is"),
    "rate_conflict": (CYCLE | NOISE | SUMS | MAINS | SPIKES, "the clock itself is in doubt"),
    "time_unit_assumed": (CYCLE | NOISE | SUMS | MAINS | SPIKES, "the clock itself is in doubt"),
    "rows_unsorted": (ALL, "order restored by guess"),
    "probe_factor_suspected": (ALL - {"switching_hz", "mains_hz", "spikes_per_s", "ring_hz"}, "all volts"),
    "instrument_floor_near": (NOISE | SUMS | PARTS | {"ac_rms_v"}, "the instrument's noise in it"),
    "baseline_of_unit": (SUMS, "taken with the supply on, it takes the supply own lines and noise off"),
    "baseline_unlike": (SUMS | MAINS, "lines of the instrument may be left"),
    "instrument_mains": (MAINS | {"bands.audio.rms_v", "bands.audio_a.rms_v"}, "its line may be the instrument's"),
    "mains_undecided": (MAINS, "which mains"),
    "interpolated": (PEAKS | NOISE, "nothing above the true rate's half"),
    "truncated": (set(), "the end is missing, the rest stands"),
    "bridged_samples": (PEAKS, "a peak may have been bridged"),
    "uncalibrated": (ALL, "no volts"),
    "time_stamps_rounded": ({"switching_hz", "ring_hz"}, "the rate is fitted"),
    "dithered": (CYCLE, "the mean of cycles that differ"),
    "bursting": (CYCLE, "cycles within packets"),
    "noise_not_gated": (NOISE | {"random_rms_v"}, "spikes in the floor"),
    "ring_fills_cycle": (RIPPLE | SPIKES | {"noise_density_v_per_rthz", "periodic_rms_v", "random_rms_v"}, "ring and ripple can't be told apart"),
    "spikes_in_ripple": (RIPPLE | SPIKES, "the ripple holds rings, spikes are missed"),
    "cycle_explains_little": (CYCLE | PARTS, "the period may be another, and what differs from cycle to cycle is averaged away and counts as random"),
    "cycles_differ": ({"spikes_per_s"}, "edges that differ from cycle to cycle are counted twice or not at all"),
    "step_hides_spike": (SPIKES, "short spikes on a step"),
    "flat_record": (ALL - {"dc_v"}, "nothing but DC shows"),
    "two_levels": (ALL - {"dc_v"}, "nothing but DC shows"),
    "flat_tops": (ALL, "as clipped"),
    "averaged": (NOISE | SUMS | PARTS | PEAKS | MAINS | {"ac_rms_v"}, "what is not locked to the trigger is lowered"),
    "smoothed": (NOISE | SUMS | PARTS | PEAKS | MAINS | {"ac_rms_v"}, "averaged, smoothed or limited: all that is not locked to the trigger, or above the limit, is lowered"),
    "extremes": (NOISE | SUMS | PARTS | MAINS | CYCLE | {"ac_rms_v"}, "no values of one moment"),
    "switching_not_found": (CYCLE | PARTS, "no cycle to fold by"),
}


def concerns(code, key):
    """A code that this table does not know yet counts for nothing: add a row."""
    return key in CONCERNS.get(code, (set(), ""))[0]
