package spike

// Event is one switching-edge transient, its ring included.
type Event struct {
	TimeS      float64 // of its peak, from the record's start
	PeakV      float64 // signed, against the local ripple
	DurationS  float64 // pulse duration at 50 % (IEEE Std 181)
	AreaVs     float64 // signed area of the event
	RingHz     float64 // 0: no ring found
	RingQ      float64 // 0: no ring found
	CyclePhase float64 // 0 to 1 in the switching cycle; -1 unknown
	Class      string  // one of the classes below
}

// Classes of spikes. They are part of the JSON contract.
const (
	Rising    = "rising"  // at the rising edge of the cycle
	Falling   = "falling" // at the falling edge
	MainsTied = "mains"   // outside the cycle, in step with twice the mains
	Random    = "random"  // outside the cycle
)
