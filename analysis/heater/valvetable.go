package heater

// Sources of the table's volts and amps. Rows with a "source" were read
// in that public text; the rest is from memory and says so.
const (
	fromMemory = "from memory"
	src12AX7   = "source: a public encyclopedia article on the 12AX7, after a maker's sheet; ±10 % from memory (one public data page prints 6.0 to 6.6 V, ±5 %); 180 V from a public copy of a maker's sheet"
	srcList    = "source: a public comparison list of the valve family"
	srcGE      = "source: maker's sheet ET-T1113 as quoted in a public text"
	src12BH7   = "source: public data pages on the 12BH7A"
	src6SN7    = "source: a public encyclopedia article on the 6SN7"
	srcEF86    = "source: a public encyclopedia article on the EF86"
	srcEL84    = "source: a public encyclopedia article on the EL84"
	src12AZ7   = "source: a public data page on the 12AZ7"
	src12AT7   = "source: a public data page on the ECC81"
	srcE182CC  = "from memory: heater and base, which is the 5687's (a public valve tester's manual keeps it off the ECC82's socket)"
	srcHeaters = "source: a note on a public forum about wiring ECC81, ECC82 and ECC83 heaters"
)

// Customary spreads, from memory: heater volts ±10 % permissible, ±5 % for
// long-life types; current at rated volts ±7 % unless the sheet prints one.
const (
	usualVolt, tightVolt = 0.10, 0.05
	usualAmp             = 0.07
)

// noval and the like name the base.
const (
	noval     = "noval (B9A)"
	miniature = "miniature (B7G)"
	octal     = "octal (K8A)"
	rimlock   = "rimlock (B8A)"
	nuvistor  = "nuvistor (5 pins)"
	wires     = "wire ends (subminiature)"
	ctPins    = "4, 5, centre tap 9"
	ct8Pins   = "4, 5, centre tap 8"
	pins45    = "4, 5"
)

// row is one type of the built-in list.
type row struct {
	name        string
	aliases     []string
	volts, amps float64
	tapped      bool
	voltTol     float64
	ampTol      float64
	pins, base  string
	maxVhk      float64 // V, 0 unknown
	source      string
}

// table is the built-in list. Columns: type, aliases, volts, amps, centre tap,
// volt tolerance, amp tolerance, pins, base, max heater-cathode volts, source.
var table = []row{
	{"12AX7", []string{"ECC83", "7025", "12AX7A", "12AX7WA", "ECC83S", "B339", "CV492"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 180, src12AX7},
	{"7025A", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 0, srcList},
	{"ECC803S", []string{"ECC803"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, srcList},
	{"6057", []string{"M8137", "CV4004"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, srcList},
	{"12AD7", nil, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 0, srcList},
	{"6EU7", nil, 6.3, 0.300, false, usualVolt, usualAmp, "", noval, 0, srcList},
	{"6AV6", []string{"EBC91"}, 6.3, 0.300, false, usualVolt, usualAmp, "3, 4", miniature, 0, srcList},
	{"12AV6", nil, 12.6, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 0, srcList},
	{"6DJ8", []string{"ECC88"}, 6.3, 0.365, false, usualVolt, usualAmp, pins45, noval, 130, srcList},
	{"7DJ8", []string{"PCC88"}, 7.0, 0.300, false, usualVolt, usualAmp, pins45, noval, 130, srcList},
	{"6922", []string{"E88CC", "CCa", "CV2492", "CV2493"}, 6.3, 0.300, false, tightVolt, usualAmp, pins45, noval, 120, srcList},
	{"7308", []string{"E188CC"}, 6.3, 0.335, false, tightVolt, usualAmp, pins45, noval, 120, srcList},
	{"12BH7", []string{"12BH7A"}, 6.3, 0.600, true, usualVolt, usualAmp, ctPins, noval, 200, src12BH7},
	{"6SN7GT", []string{"6SN7", "6N8S", "6SN7GTA", "6SN7GTB", "CV1988", "VT231"}, 6.3, 0.600, false, usualVolt, usualAmp, "7, 8", octal, 90, src6SN7},
	{"6386", nil, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 90, srcGE},
	{"12AU7", []string{"ECC82", "12AU7A", "12AU7WA", "B329", "ECC802S", "ECC802", "CV491"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 180, srcHeaters},
	{"12AT7", []string{"ECC81", "12AT7WA", "B309", "CV455"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, src12AT7},
	{"12AY7", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"6072", []string{"6072A"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"5751", []string{"5751WA"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 100, fromMemory},
	{"5814", []string{"5814A", "5814WA"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 100, fromMemory},
	{"6189", []string{"6189W"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"5963", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"5965", nil, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"5687", nil, 6.3, 0.900, true, usualVolt, usualAmp, ct8Pins, noval, 90, fromMemory},
	{"7044", nil, 6.3, 0.900, true, usualVolt, usualAmp, ct8Pins, noval, 0, fromMemory},
	{"12AZ7", []string{"12AZ7A"}, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 200, src12AZ7},
	{"12DW7", []string{"7247", "ECC832"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"E80CC", []string{"6085"}, 6.3, 0.600, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"ECC99", nil, 6.3, 0.800, true, usualVolt, usualAmp, ctPins, noval, 200, fromMemory},
	{"E182CC", []string{"7119"}, 6.3, 0.640, true, tightVolt, usualAmp, ct8Pins, noval, 0, srcE182CC},
	{"6N1P", []string{"6N1P-EV", "6N1P-VI"}, 6.3, 0.600, false, usualVolt, 0.083, "4, 5, shield 9", noval, 120, fromMemory},
	{"6N2P", []string{"6N2P-EV"}, 6.3, 0.340, false, usualVolt, 0.074, "4, 5, shield 9", noval, 100, fromMemory},
	{"6N23P", []string{"6N23P-EV"}, 6.3, 0.310, false, usualVolt, 0.081, "4, 5, shield 9", noval, 0, fromMemory},
	{"6N3P", []string{"6N3P-E"}, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 0, fromMemory},
	{"6N6P", nil, 6.3, 0.750, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"6N30P", []string{"6H30", "6N30P-DR"}, 6.3, 0.825, false, usualVolt, 0.10, pins45, noval, 0, "from memory, maker's sheet 0.825 A; 0.9 A is also seen, so the spread is taken as ±10 %"},
	{"6N9S", nil, 6.3, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 0, fromMemory},
	{"5670", []string{"5670W"}, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 90, fromMemory},
	{"2C51", []string{"396A"}, 6.3, 0.300, false, usualVolt, usualAmp, "1, 9", noval, 90, fromMemory},
	{"6SL7GT", []string{"6SL7", "CV1985", "VT229"}, 6.3, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"12SN7GT", []string{"12SN7"}, 12.6, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"12SL7GT", []string{"12SL7"}, 12.6, 0.150, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"6J5", []string{"6J5GT", "L63", "VT94"}, 6.3, 0.300, false, usualVolt, usualAmp, "2, 7", octal, 90, fromMemory},
	{"6SJ7", []string{"6SJ7GT", "VT116"}, 6.3, 0.300, false, usualVolt, usualAmp, "2, 7", octal, 90, fromMemory},
	{"6CG7", []string{"6FQ7"}, 6.3, 0.600, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6C4", []string{"EC90"}, 6.3, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AB4", []string{"EC92"}, 6.3, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AQ8", []string{"ECC85"}, 6.3, 0.435, false, usualVolt, usualAmp, pins45, noval, 90, fromMemory},
	{"6GM8", []string{"ECC86"}, 6.3, 0.330, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"ECC91", []string{"6J6"}, 6.3, 0.450, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"EF86", []string{"6267", "Z729", "6CF8", "CV2901"}, 6.3, 0.200, false, usualVolt, usualAmp, pins45, noval, 100, srcEF86},
	{"6ZH32P", []string{"6J32P", "6G32P"}, 6.3, 0.200, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"EF80", []string{"6BX6"}, 6.3, 0.300, false, usualVolt, usualAmp, pins45, noval, 150, fromMemory},
	{"EF184", []string{"6EJ7"}, 6.3, 0.300, false, usualVolt, usualAmp, pins45, noval, 150, fromMemory},
	{"6AU6", []string{"6AU6A", "EF94"}, 6.3, 0.300, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AK5", []string{"EF95", "5654", "CV850"}, 6.3, 0.175, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6S45P", []string{"6S45P-E"}, 6.3, 0.440, false, usualVolt, 0.091, "", noval, 0, "from memory, uncertain"},
	{"6S4A", []string{"6S4"}, 6.3, 0.600, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6BQ7A", []string{"6BQ7"}, 6.3, 0.400, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6BK7", []string{"6BK7A"}, 6.3, 0.450, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"D3A", []string{"7721"}, 6.3, 0.315, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"E180F", []string{"6688"}, 6.3, 0.300, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"E810F", []string{"7788"}, 6.3, 0.340, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"EL84", []string{"6BQ5"}, 6.3, 0.760, false, usualVolt, usualAmp, pins45, noval, 100, srcEL84},
	{"EL86", []string{"6CW5"}, 6.3, 0.760, false, usualVolt, usualAmp, pins45, noval, 100, fromMemory},
	{"6V6GT", []string{"6V6", "VT107"}, 6.3, 0.450, false, usualVolt, usualAmp, "2, 7", octal, 100, fromMemory},
	{"ECL82", []string{"6BM8"}, 6.3, 0.780, false, usualVolt, usualAmp, pins45, noval, 100, fromMemory},
	{"6ZH1P", []string{"6J1P", "6G1P", "6ZH1P-EV"}, 6.3, 0.170, false, usualVolt, 0.10, "3, 4", miniature, 0, fromMemory},
	{"5691", nil, 6.3, 0.600, false, tightVolt, usualAmp, "7, 8", octal, 100, fromMemory},
	{"5692", nil, 6.3, 0.600, false, tightVolt, usualAmp, "7, 8", octal, 100, src6SN7},
	{"ECC32", []string{"CV181"}, 6.3, 0.950, false, usualVolt, usualAmp, "7, 8", octal, 0, fromMemory},
	{"ECC33", nil, 6.3, 0.400, false, usualVolt, usualAmp, "7, 8", octal, 0, fromMemory},
	{"ECC35", nil, 6.3, 0.400, false, usualVolt, usualAmp, "7, 8", octal, 0, fromMemory},
	{"E81CC", []string{"6201", "ECC801S", "ECC801"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"E82CC", nil, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"E83CC", nil, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"6060", []string{"M8162", "CV4024"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"6067", []string{"M8136", "CV4003"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"6J7", []string{"6J7G", "6J7GT", "VT91"}, 6.3, 0.300, false, usualVolt, usualAmp, "2, 7", octal, 90, fromMemory},
	{"6SQ7", []string{"6SQ7GT", "VT103"}, 6.3, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"12B4A", []string{"12B4"}, 6.3, 0.600, true, usualVolt, usualAmp, "", noval, 0, fromMemory},
	{"5842", []string{"417A"}, 6.3, 0.300, false, usualVolt, usualAmp, "", noval, 0, fromMemory},
	{"6900", nil, 6.3, 1.000, true, usualVolt, usualAmp, ct8Pins, noval, 0, "from memory, uncertain"},
	{"12DT8", nil, 12.6, 0.150, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"6DT8", nil, 6.3, 0.300, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"ECC40", nil, 6.3, 0.600, false, usualVolt, usualAmp, "1, 8", rimlock, 0, fromMemory},
	{"EF40", nil, 6.3, 0.200, false, usualVolt, usualAmp, "1, 8", rimlock, 0, fromMemory},
	{"EF37A", []string{"EF37", "CV358"}, 6.3, 0.200, false, usualVolt, usualAmp, "2, 7", octal, 0, fromMemory},
	{"EF804S", []string{"EF804"}, 6.3, 0.170, false, usualVolt, usualAmp, "", noval, 0, fromMemory},
	{"6S3P", []string{"6S3P-EV"}, 6.3, 0.300, false, usualVolt, usualAmp, "", noval, 0, fromMemory},
	{"6S19P", []string{"6S19P-V"}, 6.3, 1.000, false, usualVolt, 0.10, "", noval, 0, fromMemory},
	{"6N16B", []string{"6N16B-V"}, 6.3, 0.400, false, usualVolt, 0.10, "", wires, 0, fromMemory},
	{"6021", nil, 6.3, 0.300, false, usualVolt, usualAmp, "", wires, 0, fromMemory},
	{"6111", nil, 6.3, 0.300, false, usualVolt, usualAmp, "", wires, 0, fromMemory},
	{"6112", nil, 6.3, 0.300, false, usualVolt, usualAmp, "", wires, 0, fromMemory},
	{"6CW4", nil, 6.3, 0.130, false, usualVolt, usualAmp, "10, 12", nuvistor, 0, fromMemory},
	{"6DS4", nil, 6.3, 0.135, false, usualVolt, usualAmp, "10, 12", nuvistor, 0, fromMemory},
	{"7586", []string{"7895"}, 6.3, 0.135, false, usualVolt, usualAmp, "10, 12", nuvistor, 0, fromMemory},
	{"6N11", nil, 6.3, 0.340, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"6U8", []string{"6U8A", "ECF82"}, 6.3, 0.450, false, usualVolt, usualAmp, pins45, noval, 90, fromMemory},
	{"ECL86", []string{"6GW8"}, 6.3, 0.700, false, usualVolt, usualAmp, pins45, noval, 100, "from memory, uncertain: 0.66 to 0.7 A"},
}

// filaments are directly heated: what is heated is the cathode itself. From
// memory.
var filaments = []Valve{
	{Type: "26", Aliases: []string{"UX226", "226"}, Volts: 1.5, Amps: 1.05, Base: fourPin, Pins: "1, 4"},
	{Type: "01A", Aliases: []string{"UX201A", "201A"}, Volts: 5, Amps: 0.25, Base: fourPin, Pins: "1, 4", Thoriated: true},
	{Type: "71A", Aliases: []string{"UX171A", "171A"}, Volts: 5, Amps: 0.25, Base: fourPin, Pins: "1, 4"},
	{Type: "45", Aliases: []string{"UX245", "VT45"}, Volts: 2.5, Amps: 1.5, Base: fourPin, Pins: "1, 4"},
	{Type: "2A3", Volts: 2.5, Amps: 2.5, Base: fourPin, Pins: "1, 4"},
	{Type: "300B", Volts: 5, Amps: 1.2, Base: fourPin, Pins: "1, 4"},
	{Type: "10", Aliases: []string{"UX210", "VT25"}, Volts: 7.5, Amps: 1.25, Base: fourPin, Pins: "1, 4", Thoriated: true},
}

const fourPin = "four pins (UX4)"

// notes are what must be known of a type before it is wired.
var notes = map[string]string{
	"5687":   noteTap8,
	"7044":   noteTap8,
	"6900":   noteTap8,
	"E182CC": noteTap8,
	"5691":   "0.6 A, not the 0.3 A of the 6SL7 with the same pins",
	"ECC32":  "0.95 A, not the 0.6 A of the 6SN7 with the same pins",
	"ECC33":  "0.4 A, not the 0.6 A of the 6SN7 with the same pins",
	"ECC35":  "0.4 A, not the 0.3 A of the 6SL7 with the same pins",
	"5751":   "0.35 A, not the 0.3 A of the 12AX7 with the same pins",
	"5814":   "0.35 A, not the 0.3 A of the 12AU7 with the same pins",
	"12B4A":  "take heater pins and tap from its data sheet only",
	"EF804S": "not the EF86's base: take the heater pins from its data sheet only",
}

const noteTap8 = "the centre tap is pin 8 and pin 9 is an anode: never wire it as an ECC82, whose tap is on 9, or the high voltage ends up on the heater supply"

// rectifiers of 5 V carry the high voltage on what is heated: they are named
// to be refused. From memory.
var rectifiers = map[string]string{
	"GZ34": "5 V, 1.9 A", "5AR4": "5 V, 1.9 A", "5U4": "5 V, 3 A", "5U4G": "5 V, 3 A", "5U4GB": "5 V, 3 A",
	"5Y3": "5 V, 2 A", "5Y3GT": "5 V, 2 A", "5V4": "5 V, 2 A", "5V4G": "5 V, 2 A", "GZ32": "5 V, 2 A", "GZ37": "5 V, 2.8 A",
	"5R4": "5 V, 2 A", "5R4GY": "5 V, 2 A", "5Z3": "5 V, 3 A", "274B": "5 V, 2 A", "5C3S": "5 V, 3 A", "5C4S": "5 V, 2 A",
}
