package benchpage

import "stillglow/report"

// safetyLines stand where the work is that they are about: one wording, wherever
// it is shown.
type safetyLines struct{ Load, Probe, CommonMode, Dropper string }

const localCodes = "Local codes and licensed practice decide."

var theSafetyLines = safetyLines{
	Load: "A load resistor gets hot enough to burn skin and bench tops: stand it on ceramic or metal, in air, away from leads, and let it cool. " +
		"Measure the supply by itself, away from the preamp's high voltage. " + localCodes,
	Probe: "Clip the ground only to a point that you have measured to be floating or at earth. Join grounds with everything unplugged. " +
		"The output of a double-insulated supply floats near half the mains voltage at small leakage current. " + localCodes,
	CommonMode: report.CommonSafety + " " + report.GroundSafety + " " + localCodes,
	Dropper: "A dropper runs hot, and hotter with a heater shorted: buy the rating given here, keep it clear of electrolytics, cables and plastic, and fuse it. " +
		"Work on it with everything unplugged and the high voltage discharged; then measure the heater volts with all valves in and warm. " + localCodes,
}
