package measure

import "rooftone/scan/band"

// Estimate is a measured value with its standard uncertainty. A value that was
// not measured is a nil *Estimate, never a zero.
type Estimate struct {
	Value float64
	Sigma float64 // standard uncertainty in Value's unit
}

// Presence says whether a television signal is on a channel.
type Presence string

const (
	Vacant  Presence = "vacant"
	Present Presence = "present"
	Unsure  Presence = "unsure"
)

// NoiseMethod says where a noise floor was read.
type NoiseMethod string

const (
	NoiseVacant   NoiseMethod = "vacant-channels"   // vacant channels at the same gain, interpolated over frequency
	NoiseEdge     NoiseMethod = "channel-edge"      // the dip at a channel edge, where both neighbours' skirts reach zero
	NoiseTraining NoiseMethod = "training-residual" // what a fit of the known training leaves
)

// Pilot is a tone found in the place where an 8-VSB pilot can be.
type Pilot struct {
	OffsetHz  Estimate // from the nominal place, after clock correction
	ToNoise   Estimate // pilot power over noise density, dB-Hz
	PowerDBFS float64
	ImpliedCN Estimate // C/N in 6 MHz, dB, that it stands for on a flat channel
	KnownSpur string   // which of the radio's own tones falls here; empty for none
}

// Reading is all that was measured of one channel. Powers are for the whole
// 6 MHz; dBFS is relative to a tone that just reaches the converter's rails.
type Reading struct {
	Channel band.Channel

	// Seen are the parts of the channel that the reading rests on, ascending
	// and apart; empty when nothing of it was heard.
	Seen []band.Span

	PowerDBFS *Estimate // signal and noise
	PowerDBm  *Estimate // the same at the antenna input; nil without calibration
	NoiseDBFS *Estimate
	Noise     NoiseMethod // "" when NoiseDBFS is nil

	// FieldDBuVm is the station's field strength at the antenna in dBµV/m; nil
	// without a station, a calibration and the antenna's gain.
	FieldDBuVm *Estimate

	CN      *Estimate // dB; the signal with its pilot over the noise, the better of the two below
	CNPower *Estimate // dB; from channel power and noise floor
	CNPilot *Estimate // dB; from the pilot
	Pilot   *Pilot

	// CNAtMostDB is, of a vacant channel, the C/N in dB from which a station would
	// have been found with AtMostConfidence; nil where there is something, and
	// where the pilot's place was not heard.
	CNAtMostDB *float64

	Standard Standard // what is on the channel; "" when it could not be told

	// Occupant is what can be said of something that fills the channel, or a
	// part of it, and is no television signal that is known; else nil.
	Occupant *Occupant

	// MER is the modulation error ratio in dB: data power over error power in
	// the 5.38 MHz Nyquist band, from the field-sync training, joined over the
	// channel's slices. On a flat clean channel it is CN + 0.16 dB.
	MER      *Estimate
	SliceMER []SliceMER

	// Echoes are the paths besides the strongest, in order of delay. They are
	// nil when no training was found, empty when it shows none.
	Echoes []Echo

	// EchoFloorDB is the level down to which an echo would have been found,
	// relative to the strongest path; nil when no training was found.
	EchoFloorDB *float64

	// Response is the channel's response across its 6 MHz, relative to its
	// mean, in order of frequency; nil when it was not measured. Tilt is its
	// rise from 0.62 to 5.38 MHz above the lower edge, Ripple the peak to peak
	// of what is left, both in dB.
	Response     []ResponsePoint
	Tilt, Ripple *Estimate

	Margin       *Estimate // dB above the decode threshold
	MarginMethod MarginMethod

	// Moving says that the channel changed while it was listened to.
	Moving bool

	// EchoCost is by how many dB the channel's unevenness lowers the margin,
	// UnderCost by how many what stands under the signal besides noise does.
	// UnderTilted says that it stands mostly at one end of the channel.
	EchoCost, UnderCost *Estimate
	UnderTilted         bool

	Presence  Presence // "" when nothing of the channel was heard
	Suspicion []Doubt  // why something that is there is not, or may not be, a station

	GainDB          *float64
	ClippedFraction float64
	LostSamples     bool
}

// Heard reports whether any part of the channel was heard.
func (r *Reading) Heard() bool { return len(r.Seen) > 0 }

// Covered reports whether the whole channel was heard.
func (r *Reading) Covered() bool {
	return len(r.Seen) == 1 && r.Seen[0].LowHz <= r.Channel.LowerHz && r.Seen[0].HighHz >= r.Channel.UpperHz()
}

// SeenShare is the part of the channel's 6 MHz that was heard, 0 to 1.
func (r *Reading) SeenShare() float64 {
	var hz float64
	for _, s := range r.Seen {
		hz += s.WidthHz()
	}
	return hz / band.WidthHz
}

// Standard is a television standard.
type Standard string

const (
	ATSC1         Standard = "atsc1" // 8-VSB, A/53
	ATSC3         Standard = "atsc3" // A/321 and A/322
	OtherStandard Standard = "other"
)

// MarginMethod says what a margin was derived from.
type MarginMethod string

const (
	// MarginEqualised is what an ideal decision-feedback equaliser reaches
	// with the signal-to-noise ratio measured across the channel.
	MarginEqualised MarginMethod = "equalised"
	// MarginTraining is the same from the parts of the channel that were seen:
	// what the training showed there, and of the rest what the paths that it
	// showed promise, the interval as wide as they leave open.
	MarginTraining MarginMethod = "training"
	MarginPower    MarginMethod = "power" // C/N by power alone
	MarginPilot    MarginMethod = "pilot" // C/N by the pilot alone
)

// SliceMER is the modulation error ratio in one slice of a channel.
type SliceMER struct {
	CenterHz float64 // of the slice, above the channel's lower edge
	MER      Estimate
}

// Echo is one path besides the strongest.
type Echo struct {
	DelayUS Estimate // after the strongest path, in µs; negative before it
	LevelDB Estimate // relative to the strongest path
	Merged  bool     // more than one path, too close together to be told apart
}

// ExtraMetres is how much longer the echo's path is, in metres.
func (e Echo) ExtraMetres() float64 { return e.DelayUS.Value * 299.792458 }

// ExtraFeet is the same in feet.
func (e Echo) ExtraFeet() float64 { return e.ExtraMetres() / 0.3048 }

// ResponsePoint is the channel's response at one place.
type ResponsePoint struct {
	OffsetHz float64 // above the channel's lower edge
	LevelDB  Estimate
}

// Occupant describes a signal that is no television station.
type Occupant struct {
	Span     band.Span // what it fills of what was seen
	UnevenDB float64   // from the tenth to the ninetieth percentile of its density over frequency

	// RepeatSeconds is the time after which it is most like itself: the useful
	// part of an OFDM symbol, a line of analogue video; 0 when there is none.
	RepeatSeconds float64

	// OnShare is the share of the time in which it is on, 1 for a steady one.
	OnShare float64
}

// Doubt is a reason to take something in a channel for anything but a station.
type Doubt string

const (
	DoubtNoData     Doubt = "no-data"     // a tone without the data that should stand beside it
	DoubtSpur       Doubt = "spur"        // a harmonic of the radio's own clock
	DoubtOffPlace   Doubt = "off-place"   // a tone too far from where a pilot belongs
	DoubtNoClock    Doubt = "no-clock"    // a weak tone, and the clock error is not known
	DoubtNoPilot    Doubt = "no-pilot"    // power without a pilot
	DoubtShape      Doubt = "shape"       // power that does not have a station's spectrum
	DoubtNoTraining Doubt = "no-training" // a tone and power, without the training that should be found in it
	DoubtNoiseLevel Doubt = "noise-level" // the noise floor is not known well enough
)
