package sim

import (
	"fmt"
	"math"
	"regexp"

	"rooftone/scan/band"
)

// Town is what a simulated radio can hear, and the radio itself. Levels are in
// dBm at the antenna terminals.
type Town struct {
	Name    string // one short word: a–z, 0–9 and -
	About   string
	Radio   Radio    // the zero Radio stands for DefaultRadio()
	Antenna *Antenna // nil hears all stations alike

	Preamplifier *Preamplifier // nil is none
	Lead         *Lead         // nil loses nothing
	Outside      *Outside      // nil is no noise but that of 290 K

	Stations []Station
	Tones    []Tone
	Services []Service
	Impulses []Impulses
	Losses   []Loss
}

// Station is one television transmitter as it arrives at this antenna.
type Station struct {
	RFChannel    int     `toml:"rf_channel"`
	Call         string  `toml:"call"`
	Standard     string  `toml:"standard"`       // "" and "atsc1" are 8-VSB, "atsc3" is ATSC 3.0
	LevelDBm     float64 `toml:"level_dbm"`      // of the main path, pilot included
	PilotErrorHz float64 `toml:"pilot_error_hz"` // how far the transmitter is off its nominal frequency
	BearingDeg   float64 `toml:"bearing_deg"`    // towards it, from north

	// ShouldersDB is the power density that the transmitter leaks just outside
	// its channel's edges, relative to that inside. It stays so for 0.5 MHz
	// and falls by 11.5 dB per MHz from there. 0 is a clean transmitter.
	ShouldersDB float64 `toml:"shoulders_db"`

	// What an 8-VSB station sends. 0 and none stand for something made up
	// from its call sign and its channel.
	ShownChannel int         `toml:"shown_channel"` // the number that sets show
	TransportID  int         `toml:"transport_id"`
	Programmes   []Programme `toml:"programmes"`

	Echoes []Echo  `toml:"echoes"`
	Fading *Fading `toml:"fading"` // of all paths together; nil is steady
}

// Echo is a further path from a transmitter.
type Echo struct {
	DelayUS   float64 `toml:"delay_us"` // after the main path; negative is before
	LevelDB   float64 `toml:"level_db"` // relative to the main path
	PhaseDeg  float64 `toml:"phase_deg"`
	DopplerHz float64 `toml:"doppler_hz"`

	// ScatterHz, when not 0, makes of the echo a Rayleigh-fading one with this
	// largest Doppler shift; LevelDB is then its mean.
	ScatterHz float64 `toml:"scatter_hz"`

	// BearingDeg is where it comes from, for an Antenna; nil is the station's.
	BearingDeg *float64 `toml:"bearing_deg"`
}

// Fading is how a station's level moves with time.
type Fading struct {
	Kind      string  `toml:"kind"`       // "lognormal" or "rayleigh"
	SigmaDB   float64 `toml:"sigma_db"`   // lognormal: standard deviation
	Seconds   float64 `toml:"seconds"`    // lognormal: correlation time
	DopplerHz float64 `toml:"doppler_hz"` // rayleigh: largest Doppler shift
}

// Tone is a lone carrier.
type Tone struct {
	FrequencyHz float64 `toml:"frequency_hz"`
	LevelDBm    float64 `toml:"level_dbm"`

	// The tone wanders by DriftHz to either side, to and fro in DriftSeconds.
	DriftHz      float64 `toml:"drift_hz"`
	DriftSeconds float64 `toml:"drift_seconds"`
}

// Service is another user of the spectrum.
type Service struct {
	// Kind is "fm" (a broadcast carrier), "land-mobile" (a narrow one) or
	// "lte" (a flat block of many carriers).
	Kind        string  `toml:"kind"`
	FrequencyHz float64 `toml:"frequency_hz"` // of its middle
	LevelDBm    float64 `toml:"level_dbm"`    // while it is on
	WidthHz     float64 `toml:"width_hz"`     // lte: of the block
	OnShare     float64 `toml:"on_share"`     // share of the time that it is on; 0 is always
	OnSeconds   float64 `toml:"on_seconds"`   // how long before it decides anew
}

// Impulses is broadband noise in short pulses.
type Impulses struct {
	LevelDBm        float64 `toml:"level_dbm"` // of a pulse's first moment, in 6 MHz
	DecayUS         float64 `toml:"decay_us"`
	BurstsPerSecond float64 `toml:"bursts_per_second"`
	PulsesPerBurst  int     `toml:"pulses_per_burst"`
	Spread          float64 `toml:"spread"` // share of the time between bursts that a burst takes
}

// Limits of what a town may ask for. They keep a mistaken file from asking for
// hours of work or for values that no radio meets.
const (
	maxItems  = 256 // of each kind
	maxEchoes = 64  // of a station
)

var townName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

// Validate says what is wrong with the town, in the words of the town file.
func (t *Town) Validate() error {
	if !townName.MatchString(t.Name) {
		return fmt.Errorf("town: name %.40q must be a short word of a-z, 0-9 and -", t.Name)
	}
	if t.Radio != (Radio{}) {
		if err := t.Radio.validate(); err != nil {
			return fmt.Errorf("radio: %w", err)
		}
	}
	if err := t.Antenna.validate(); err != nil {
		return fmt.Errorf("antenna: %w", err)
	}
	if err := t.Preamplifier.validate(); err != nil {
		return fmt.Errorf("preamplifier: %w", err)
	}
	if err := t.Lead.validate(); err != nil {
		return fmt.Errorf("lead: %w", err)
	}
	if err := t.Outside.validate(); err != nil {
		return fmt.Errorf("outside: %w", err)
	}
	for kind, n := range map[string]int{
		"station": len(t.Stations), "tone": len(t.Tones), "service": len(t.Services), "impulses": len(t.Impulses),
	} {
		if n > maxItems {
			return fmt.Errorf("%d of [[%s]]: at most %d are simulated", n, kind, maxItems)
		}
	}
	for i := range t.Stations {
		if err := t.Stations[i].validate(); err != nil {
			return fmt.Errorf("station %d (%.16q on RF %d): %w", i+1, t.Stations[i].Call, t.Stations[i].RFChannel, err)
		}
	}
	for i, s := range t.Tones {
		if err := s.validate(); err != nil {
			return fmt.Errorf("tone %d: %w", i+1, err)
		}
	}
	for i, s := range t.Services {
		if err := s.validate(); err != nil {
			return fmt.Errorf("service %d: %w", i+1, err)
		}
	}
	for i, s := range t.Impulses {
		if err := s.validate(); err != nil {
			return fmt.Errorf("impulses %d: %w", i+1, err)
		}
	}
	return validateLosses(t.Losses)
}

// limit is a value's name in the file and the range it must lie in.
type limit struct {
	name      string
	value     float64
	low, high float64
}

func check(limits ...limit) error {
	for _, l := range limits {
		if !(l.value >= l.low && l.value <= l.high) { // NaN is not
			return fmt.Errorf("%s = %g is not between %g and %g", l.name, l.value, l.low, l.high)
		}
	}
	return nil
}

func levelLimit(dBm float64) limit { return limit{"level_dbm", dBm, -250, 20} }

func frequencyLimit(hz float64) limit { return limit{"frequency_hz", hz, 1e6, 2e9} }

func (s *Station) validate() error {
	if _, err := channel(s.RFChannel); err != nil {
		return err
	}
	switch s.Standard {
	case "", "atsc1", "atsc3":
	default:
		return fmt.Errorf("standard = %.40q is not simulated: use atsc1 or atsc3", s.Standard)
	}
	err := check(
		levelLimit(s.LevelDBm),
		limit{"pilot_error_hz", s.PilotErrorHz, -50e3, 50e3},
		limit{"bearing_deg", s.BearingDeg, 0, 360},
		limit{"shoulders_db", s.ShouldersDB, -120, 0},
	)
	if err != nil {
		return err
	}
	if len(s.Echoes) > maxEchoes {
		return fmt.Errorf("%d echoes: at most %d are simulated", len(s.Echoes), maxEchoes)
	}
	for i, e := range s.Echoes {
		err := check(
			limit{"delay_us", e.DelayUS, -1000, 1000},
			limit{"level_db", e.LevelDB, -200, 20},
			limit{"phase_deg", e.PhaseDeg, -360, 360},
			limit{"doppler_hz", e.DopplerHz, -1000, 1000},
			limit{"scatter_hz", e.ScatterHz, 0, 1000},
		)
		if err == nil && e.BearingDeg != nil {
			err = check(limit{"bearing_deg", *e.BearingDeg, 0, 360})
		}
		if err != nil {
			return fmt.Errorf("echo %d: %w", i+1, err)
		}
	}
	if err := s.validateProgrammes(); err != nil {
		return err
	}
	return s.Fading.validate()
}

func (f *Fading) validate() error {
	if f == nil {
		return nil
	}
	err := check(
		limit{"sigma_db", f.SigmaDB, 0, 40},
		limit{"seconds", f.Seconds, 0, 1e6},
		limit{"doppler_hz", f.DopplerHz, 0, 1000},
	)
	switch {
	case err != nil:
	case f.Kind == "lognormal":
		if f.DopplerHz != 0 {
			return fmt.Errorf("fading: doppler_hz belongs to kind rayleigh")
		}
		err = check(limit{"seconds", f.Seconds, 0.01, 1e6})
	case f.Kind == "rayleigh":
		if f.SigmaDB != 0 || f.Seconds != 0 {
			return fmt.Errorf("fading: sigma_db and seconds belong to kind lognormal")
		}
	default:
		return fmt.Errorf("fading: kind = %.40q must be lognormal or rayleigh", f.Kind)
	}
	if err != nil {
		return fmt.Errorf("fading: %w", err)
	}
	return nil
}

func (s *Tone) validate() error {
	if s.DriftHz != 0 {
		if err := check(limit{"drift_seconds", s.DriftSeconds, 1, 1e6}); err != nil {
			return err
		}
	}
	return check(
		frequencyLimit(s.FrequencyHz),
		levelLimit(s.LevelDBm),
		limit{"drift_hz", s.DriftHz, 0, 10e3},
		limit{"drift_seconds", s.DriftSeconds, 0, 1e6},
	)
}

func (s *Service) validate() error {
	switch s.Kind {
	case "fm", "land-mobile":
		if s.WidthHz != 0 {
			return fmt.Errorf("width_hz belongs to kind lte")
		}
	case "lte":
		if err := check(limit{"width_hz", s.WidthHz, 100e3, 100e6}); err != nil {
			return err
		}
	default:
		return fmt.Errorf("kind = %.40q must be fm, land-mobile or lte", s.Kind)
	}
	if s.OnShare != 0 {
		if err := check(limit{"on_seconds", s.OnSeconds, 100e-6, 1e6}); err != nil {
			return err
		}
	}
	return check(
		frequencyLimit(s.FrequencyHz),
		levelLimit(s.LevelDBm),
		limit{"on_share", s.OnShare, 0, 1},
		limit{"on_seconds", s.OnSeconds, 0, 1e6},
	)
}

func (s *Impulses) validate() error {
	return check(
		levelLimit(s.LevelDBm),
		limit{"decay_us", s.DecayUS, 0.1, 1000},
		limit{"bursts_per_second", s.BurstsPerSecond, 0.01, 1e5},
		limit{"pulses_per_burst", float64(s.PulsesPerBurst), 1, 100},
		limit{"spread", s.Spread, 0, 1},
	)
}

// channel returns an RF channel by its number: the widest plan knows them all.
func channel(number int) (band.Channel, error) {
	for _, p := range band.Plans() {
		if c, ok := p.Channel(number); ok {
			return c, nil
		}
	}
	return band.Channel{}, fmt.Errorf("rf_channel = %d is not a television channel", number)
}

// milliwatts returns the power that a level in dBm stands for.
func milliwatts(dBm float64) float64 { return math.Pow(10, dBm/10) }

// dBm is the inverse of milliwatts, −Inf for none.
func dBm(milliwatts float64) float64 { return 10 * math.Log10(milliwatts) }
