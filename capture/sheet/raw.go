package sheet

// The sheet as TOML spells it. A rule tag bounds a number: "positive" (over 0),
// "nonneg" (0 or more), "any" (finite). Every number must be finite. A text tag
// "raw" keeps what names a file from being made printable.

type rawSheet struct {
	Title      string         `toml:"title"`
	Workshop   string         `toml:"workshop"`
	Date       any            `toml:"date"`
	Note       string         `toml:"note"`
	Invented   bool           `toml:"invented"`
	MainsHz    float64        `toml:"mains_hz" rule:"positive"`
	Target     string         `toml:"target"`
	Limits     map[string]any `toml:"limits"`
	Mask       [][]float64    `toml:"mask" rule:"positive"`
	ReserveDB  float64        `toml:"reserve_db" rule:"nonneg"`
	Pattern    string         `toml:"pattern" text:"raw"`
	Instrument rawInstrument  `toml:"instrument"`
	Heaters    rawHeaters     `toml:"heaters"`
	Hears      *rawHears      `toml:"hears"`
	Unit       []rawUnit      `toml:"unit"`
	Capture    []rawCapture   `toml:"capture"` // not given to a unit yet
}

type rawInstrument struct {
	Name              string      `toml:"name"`
	Channel           any         `toml:"channel"`
	VoltUnit          string      `toml:"volt_unit"`
	Scale             float64     `toml:"scale" rule:"any"`
	ProbeFactor       float64     `toml:"probe_factor" rule:"positive"`
	BandwidthHz       float64     `toml:"bandwidth_hz" rule:"positive"`
	BandLimited       *bool       `toml:"band_limited"`
	AntiAliased       *bool       `toml:"anti_aliased"`
	Coupling          string      `toml:"coupling"`
	GainPercent       float64     `toml:"gain_percent" rule:"nonneg"`
	VoltsPerFullScale float64     `toml:"volts_per_full_scale" rule:"positive"`
	MemorySamples     int         `toml:"memory_samples" rule:"positive"`
	MaxRateHz         float64     `toml:"max_rate_hz" rule:"positive"`
	LowPass           string      `toml:"low_pass"`
	Baseline          *rawCapture `toml:"baseline"`
}

type rawHeaters struct {
	Valve            []rawGroup `toml:"valve"`
	OwnValve         []rawOwn   `toml:"own_valve"`
	Exponent         float64    `toml:"exponent" rule:"positive"`
	SupplyTolPercent float64    `toml:"supply_tolerance_percent" rule:"nonneg"`
	PartTolPercent   float64    `toml:"part_tolerance_percent" rule:"nonneg"`
	LeadOhm          float64    `toml:"lead_ohm" rule:"nonneg"`
	LeadM            float64    `toml:"lead_m" rule:"nonneg"`
	HeadroomPercent  float64    `toml:"headroom_percent" rule:"positive"`
	AmbientC         *float64   `toml:"ambient_c" rule:"any"`
	Series           string     `toml:"series"`
}

type rawGroup struct {
	Type   string `toml:"type"`
	Count  *int   `toml:"count" rule:"positive"`
	Wiring string `toml:"wiring"`
	String string `toml:"string"`

	ShuntOhm float64 `toml:"shunt_ohm" rule:"positive"`
	CathodeV float64 `toml:"cathode_v" rule:"any"`
}

type rawOwn struct {
	Type           string  `toml:"type"`
	Volts          float64 `toml:"volts" rule:"positive"`
	Amps           float64 `toml:"amps" rule:"positive"`
	CentreTapped   bool    `toml:"centre_tapped"`
	VoltTolPercent float64 `toml:"volt_tolerance_percent" rule:"nonneg"`
	AmpTolPercent  float64 `toml:"amp_tolerance_percent" rule:"nonneg"`
	Base           string  `toml:"base"`
	Pins           string  `toml:"pins"`
	MaxVhk         float64 `toml:"max_vhk" rule:"nonneg"`
	Source         string  `toml:"source"`
}

type rawHears struct {
	CathodeOhm       float64 `toml:"cathode_ohm" rule:"positive"`
	BypassF          float64 `toml:"bypass_f" rule:"nonneg"`
	BypassESROhm     float64 `toml:"bypass_esr_ohm" rule:"nonneg"`
	HeaterCathodeF   float64 `toml:"heater_cathode_f" rule:"positive"`
	HeaterCathodeOhm float64 `toml:"heater_cathode_ohm" rule:"positive"`
	Mu               float64 `toml:"mu" rule:"positive"`
	GmMAPerV         float64 `toml:"gm_ma_per_v" rule:"positive"`
	GainBefore       float64 `toml:"gain_before" rule:"positive"`
	Gain             float64 `toml:"gain" rule:"positive"`
	Stage            string  `toml:"stage"`
	RIAA             bool    `toml:"riaa"`
	AllowedInputV    float64 `toml:"allowed_input_v" rule:"positive"`
	Valve            string  `toml:"valve"`
	HeaterGridF      float64 `toml:"heater_grid_f" rule:"positive"`
	SourceOhm        float64 `toml:"source_ohm" rule:"positive"`
	HeaterReference  string  `toml:"heater_reference"`
	ReferenceOhm     float64 `toml:"reference_ohm" rule:"positive"`
	ReferenceF       float64 `toml:"reference_f" rule:"positive"`
}

type rawUnit struct {
	Brand    string       `toml:"brand"`
	Model    string       `toml:"model"`
	Mark     string       `toml:"mark"`
	State    string       `toml:"state"`
	Date     any          `toml:"date"`
	RatedV   float64      `toml:"rated_v" rule:"positive"`
	RatedA   float64      `toml:"rated_a" rule:"positive"`
	LimitA   float64      `toml:"limit_a" rule:"positive"`
	OutputUF float64      `toml:"output_uf" rule:"nonneg"`
	Note     string       `toml:"note"`
	Readings []rawReading `toml:"readings"`
	Shown    []rawShown   `toml:"reading"`
	Capture  []rawCapture `toml:"capture"`
}

type rawReading struct {
	LoadA *float64 `toml:"load_a" rule:"nonneg"`
	V     *float64 `toml:"v" rule:"any"`
}

type rawShown struct {
	On               string   `toml:"on"`
	Value            *float64 `toml:"value" rule:"positive"`
	PlusMinusPercent *float64 `toml:"plus_minus_percent" rule:"positive"`
	LoadA            float64  `toml:"load_a" rule:"nonneg"`
	By               string   `toml:"by"`
	BandLimited      *bool    `toml:"band_limited"`
}

type rawCapture struct {
	File              string  `toml:"file" text:"raw"`
	LoadA             float64 `toml:"load_a" rule:"nonneg"`
	Note              string  `toml:"note"`
	Baseline          string  `toml:"baseline" text:"raw"`
	Channel           any     `toml:"channel"`
	TimeUnit          string  `toml:"time_unit"`
	VoltUnit          string  `toml:"volt_unit"`
	Delimiter         string  `toml:"delimiter"`
	DecimalMark       string  `toml:"decimal_mark"`
	RateHz            float64 `toml:"rate_hz" rule:"positive"`
	Scale             float64 `toml:"scale" rule:"any"`
	OffsetV           float64 `toml:"offset_v" rule:"any"`
	ProbeFactor       float64 `toml:"probe_factor" rule:"positive"`
	BandwidthHz       float64 `toml:"bandwidth_hz" rule:"positive"`
	BandLimited       *bool   `toml:"band_limited"`
	AntiAliased       *bool   `toml:"anti_aliased"`
	Coupling          string  `toml:"coupling"`
	VoltsPerFullScale float64 `toml:"volts_per_full_scale" rule:"positive"`
	Segment           int     `toml:"segment" rule:"positive"`
	MaxSamples        int     `toml:"max_samples" rule:"positive"`
	Mode              string  `toml:"mode"`
	Supply            string  `toml:"supply"` // of [instrument.baseline] alone
}
