package report

import "stillglow/analysis/heater"

// Safety lines that the README, the guide and the pages give in the same words;
// common practice, no source.
const (
	GroundSafety = "Clip the ground only to a point that you have measured to be floating or at earth; join grounds with everything unplugged."
	EarthSafety  = "The ground clip of a mains-powered scope is connected to mains earth, and so is the input of a sound card in an earthed computer. " + GroundSafety + " Never lift the scope's own earth."
	LoadSafety   = "A load resistor of several watts burns skin and bench tops: put it on ceramic or metal, in free air, and let it cool before you touch it."
	LeakSafety   = "The output of a double-insulated supply floats near half the mains voltage at small leakage current: you can feel it, and it can harm a scope's input, a sound card or a valve's heater-cathode insulation at first touch."
	HTSafety     = heater.HTSafety
	CommonSafety = "For common mode make every connection with the supply unplugged and the preamp disconnected. First connect the output to earth through 100 kΩ with a meter across it, then plug in and read the AC volts: more than 25 V means that it leaks more than a double-insulated supply may, so stop there."
	CodesSafety  = "Local codes and licensed practice decide, not this tool."
)

// safetyNotes are the usual cautions of this work.
var safetyNotes = []string{
	"The inside of a supply and of a valve amplifier is at mains and high voltage, even minutes after switch-off. Leave it closed unless you are trained for it.",
	EarthSafety,
	LeakSafety,
	CommonSafety,
	HTSafety,
}

// CapSafety goes wherever an electrolytic is recommended.
func CapSafety() string { return sentence(heater.CapCaution) }

// Safety lines about droppers and supplies, as sentences.
func HotSafety() string      { return sentence(heater.HotCaution) }
func VoltsSafety() string    { return sentence(heater.VoltsCaution) }
func ParallelSafety() string { return sentence(heater.ParallelCaution) }

// safety adds what the heater plan says of droppers, hot parts and valves.
func safety() []string {
	out := append([]string(nil), safetyNotes...)
	for _, s := range heater.DropperCautions() {
		out = append(out, sentence(s))
	}
	return append(out, CodesSafety)
}
