package sheet

import "testing"

func TestGuessFrom(t *testing.T) {
	units := []Unit{{Brand: "Tarn Oak", Model: "T 70", Mark: "B1"}, {Brand: "Tarn Oak", Model: "T 70", Mark: "B2"}}
	for file, want := range map[string]Guess{
		"captures/murrowfen-a1-fast.csv.gz":      {Brand: "Murrowfen", Mark: "A1"},
		"Quibblet_Q7_#3_0.94A.csv":               {Brand: "Quibblet", Model: "Q7", Mark: "3", LoadA: "0.94 A"},
		"tarn_oak-b2-slow.wav":                   {Brand: "Tarn Oak", Model: "T 70", Mark: "B2"},
		"tarnoak-b7-slow.wav":                    {Brand: "Tarn Oak", Model: "T 70", Mark: "B7"},
		"baseline-slow.csv":                      {Baseline: true},
		"sine.wav":                               {},
		"20260314.csv":                           {},
		"NewFile12.csv":                          {}, // as scopes name them
		"SCOPE0007.CSV":                          {},
		"wave_0003.csv":                          {},
		"scope_1.csv":                            {},
		"tarnoak-scope_01.csv":                   {Brand: "Tarn Oak", Model: "T 70"}, // the first capture, not unit 01
		"tarnoak-b2-capture-3.csv":               {Brand: "Tarn Oak", Model: "T 70", Mark: "B2"},
		"quibblet-psu-3-slow.csv":                {Brand: "Quibblet", Mark: "3"},
		"murrowfen 3.csv":                        {Brand: "Murrowfen", Mark: "3"},
		"quibblet_#1_20us.csv":                   {Brand: "Quibblet", Mark: "1"},
		"quibblet_#1_50ms_2,5MSa.csv":            {Brand: "Quibblet", Mark: "1"},
		"Tindlewick 7V2A no2.wav":                {Brand: "Tindlewick", Model: "7V2A", Mark: "2"},
		"murrowfen-a1-filter-fast.csv":           {Brand: "Murrowfen", Mark: "A1", State: BehindFilter},
		"murrowfen-a1-behind-dropper-slow.csv":   {Brand: "Murrowfen", Mark: "A1", State: BehindDropper},
		"murrowfen-a1-bare-2026-01-10-fast.csv":  {Brand: "Murrowfen", Mark: "A1", State: Bare, Date: "2026-01-10"},
		"2026-05-02 tarn_oak-b1-common-fast.csv": {Brand: "Tarn Oak", Model: "T 70", Mark: "B1", Date: "2026-05-02"},
		"murrowfen-a1-2026-13-40.csv":            {Brand: "Murrowfen", Model: "2026", Mark: "A1"}, // no day
		"tarnoak1.csv":                           {Brand: "Tarn Oak", Model: "T 70"},              // which of the two nobody knows
	} {
		if got := GuessFrom(file, units); got != want {
			t.Errorf("%s: %+v, want %+v", file, got, want)
		}
	}
}
