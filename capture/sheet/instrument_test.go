package sheet

import (
	"os"
	"strings"
	"testing"

	"stillglow/capture"
)

const instrumentSheet = `[instrument]
channel      = 2
volt_unit    = "mV"
scale        = -0.5
probe_factor = 10
baseline     = { file = "base.csv" }
[[unit]]
brand   = "Quibble"
capture = [
  { file = "a.csv" },
  { file = "b.csv", channel = "CH1", volt_unit = "V", scale = 1 },
  { file = "c.csv", channel = "", volt_unit = "" },
  { file = "d.wav.gz" },
]
`

// What the instrument says holds for each of its captures, but for those that say
// otherwise, and for a sound card's.
func TestInstrumentKeys(t *testing.T) {
	path := bench(t, "base.csv", "a.csv", "b.csv", "c.csv", "d.wav.gz")
	if err := os.WriteFile(path, []byte(instrumentSheet), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	got := []capture.Options{s.Instrument.Baseline.Options}
	for _, c := range s.Units[0].Captures {
		got = append(got, c.Options)
	}
	for i, want := range []capture.Options{
		{Channel: "2", VoltUnit: "mV", Scale: -0.5, ProbeFactor: 10},
		{Channel: "2", VoltUnit: "mV", Scale: -0.5, ProbeFactor: 10},
		{Channel: "CH1", VoltUnit: "V", Scale: 1, ProbeFactor: 10},
		{Scale: -0.5, ProbeFactor: 10},
		{},
	} {
		if g := got[i]; g.Channel != want.Channel || g.VoltUnit != want.VoltUnit || g.Scale != want.Scale || g.ProbeFactor != want.ProbeFactor {
			t.Errorf("capture %d: %+v, want %+v", i, g, want)
		}
	}
	for _, c := range []struct{ from, to, want string }{
		{`"mV"`, `"kV"`, `:3:1: volt_unit = "kV", expected one of V, mV, uV, counts, div`},
		{"channel      = 2", "channel      = 0", ":2:1: channel = 0, expected a channel's name"},
		{"-0.5", "inf", ":4:1: scale = +Inf, expected a finite number"},
		{"scale ", "scal ", `:4:1: unknown key "scal" in [instrument], expected "scale"`},
	} {
		if _, err := Parse([]byte(strings.Replace(instrumentSheet, c.from, c.to, 1)), path); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.to, err, c.want)
		}
	}
	// The editor writes them too, and leaves the rest as it stands.
	text, err := NewText([]byte(instrumentSheet), path)
	if err != nil {
		t.Fatal(err)
	}
	for key, v := range map[string]any{"instrument.channel": "CH1", "instrument.volt_unit": "V", "instrument.scale": 2.0} {
		if err := text.Set(key, v); err != nil {
			t.Fatal(err)
		}
	}
	want := strings.NewReplacer("channel      = 2", `channel      = "CH1"`, `"mV"`, `"V"`, "-0.5", "2").Replace(instrumentSheet)
	if string(text.Bytes()) != want {
		t.Errorf("edited:\n%s\nwant:\n%s", text.Bytes(), want)
	}
}

// TestMaxSamples takes the limit of a record from its capture's row.
func TestMaxSamples(t *testing.T) {
	path := bench(t, "a.csv", "b.csv")
	write := func(text string) (*Sheet, error) {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return Read(path)
	}
	const unit = "[[unit]]\nbrand = \"Quibble\"\ncapture = [{ file = \"a.csv\", max_samples = "
	s, err := write(unit + "60_000_000 }, { file = \"b.csv\" }]\n")
	if err != nil {
		t.Fatal(err)
	}
	if a, b := s.Units[0].Captures[0].Options.MaxSamples, s.Units[0].Captures[1].Options.MaxSamples; a != 60_000_000 || b != 0 {
		t.Errorf("limits %d and %d", a, b)
	}
	for _, bad := range []string{"0", "-1", "1.5", "\"many\""} {
		if _, err := write(unit + bad + " }]\n"); err == nil || !strings.Contains(err.Error(), "max_samples") {
			t.Errorf("%s: %v", bad, err)
		}
	}
}
