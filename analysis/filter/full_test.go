package filter

import (
	"testing"

	"stillglow/capture/synth/testrun"
)

func TestMain(m *testing.M) { testrun.Main(m) }
