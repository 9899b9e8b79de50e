package cycle

// What decides in this room that is not a part of a formula.
const (
	// SearchLowHz and SearchHighHz bound the search for the switching frequency.
	// The trade's converters run from 20 to 500 kHz (common practice, no source);
	// the search reaches further so that a stray one is seen.
	SearchLowHz  = 12e3
	SearchHighHz = 3e6
	// TradeHighHz is the highest frequency that the trade's supplies switch at
	// (common practice, no source): what repeats faster is a ring or an alias.
	TradeHighHz = 500e3
	// lineOverFloor is the power ratio over the local noise at which a bin of
	// the search counts as a line.
	lineOverFloor = 20
	// minCycles is how many cycles a record must hold to show a switching
	// frequency.
	minCycles = 4.5
)
