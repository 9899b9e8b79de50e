package benchpage

import "stillglow/report"

// safetyLines stand where the work is that they are about: one wording, wherever
// it is shown.
type safetyLines struct{ Load, Probe, CommonMode, Dropper string }

var theSafetyLines = safetyLines{
	Load:       report.LoadSafety + " Measure the supply by itself, away from the preamp's high voltage. " + report.CodesSafety,
	Probe:      report.EarthSafety + " " + report.LeakSafety + " " + report.CodesSafety,
	CommonMode: report.CommonSafety + " " + report.GroundSafety + " " + report.CodesSafety,
	Dropper: report.HotSafety() + " Buy the rating given here, and fit the fuse where one is listed. Work on it with everything unplugged. " + report.HTSafety + " " +
		report.VoltsSafety() + " " + report.CodesSafety,
}
