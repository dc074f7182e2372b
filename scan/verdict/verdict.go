// Package verdict turns Readings into what a person should conclude: a grade,
// what limits the channel, and what to try.
package verdict

// Grade says how a present channel will hold.
type Grade string

const (
	Trace Grade = "trace" // present, cannot decode
	Cliff Grade = "cliff" // 0 to 3 dB of margin
	Slim  Grade = "slim"  // 3 to 9 dB
	Firm  Grade = "firm"  // 9 dB and more
)

const (
	SlimMarginDB = 3.0 // where slim begins
	// FirmMarginDB is what covers 95 % of locations at the 5.5 dB spread that
	// ITU-R P.1546 gives for digital television: 1.64 × 5.5 dB.
	FirmMarginDB = 9.0
)

// Limit is one thing that holds a channel back.
type Limit string

const (
	Weak          Limit = "weak"
	Echoes        Limit = "echoes"
	Overload      Limit = "overload"
	CoChannel     Limit = "co-channel"
	Adjacent      Limit = "adjacent"
	Tone          Limit = "tone"
	Impulse       Limit = "impulse"
	Fading        Limit = "fading"
	OtherStandard Limit = "other-standard"
)

// Reason is a limit with its evidence in one line a person can act on.
type Reason struct {
	Limit    Limit
	Evidence string
}

// Verdict is the conclusion about one channel.
type Verdict struct {
	Grade   Grade // "" when nothing that could be graded is there
	Reasons []Reason
	Advice  []string // what to try, the cheapest first
}
