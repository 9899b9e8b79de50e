package heater

import (
	"fmt"
	"math"
	"strconv"
)

// ohms prints a resistance with four significant digits: "2.333 Ω", "1.2 kΩ".
func ohms(v float64) string {
	if math.Abs(v) >= kiloOhm {
		return strconv.FormatFloat(roundSig(v/1000, 4), 'f', -1, 64) + " kΩ"
	}
	return strconv.FormatFloat(roundSig(v, 4), 'f', -1, 64) + " Ω"
}

// smallOhms prints what is usually under an ohm with three significant digits: "63.7 mΩ".
func smallOhms(v float64) string {
	if math.Abs(v) >= 1 {
		return ohms(roundSig(v, 3))
	}
	return strconv.FormatFloat(roundSig(1000*v, 3), 'f', -1, 64) + " mΩ"
}

func volts3(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) + " V" }

func amps(v float64) string { return strconv.FormatFloat(roundSig(v, 3), 'f', -1, 64) + " A" }

func watts(v float64) string { return strconv.FormatFloat(roundSig(v, 3), 'f', -1, 64) + " W" }

func percent(frac float64) string { return fmt.Sprintf("%+.1f %%", 100*frac) }
