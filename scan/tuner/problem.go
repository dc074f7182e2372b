package tuner

import "errors"

// ErrNoLock is a radio that cannot hold the one frequency that it was sent to. What it
// hears then is from somewhere else; at others it may be well.
var ErrNoLock = errors.New("the tuner does not lock")

// Problem is what keeps a source from working, in words for a person: one
// line that says what is wrong and one that says what to do about it. Both
// are in lower case and end without a full stop. Find it in an error with
// errors.As.
type Problem struct {
	What string
	Hint string // "" when there is nothing to advise
	Err  error  // the kind or the cause, for errors.Is; may be nil
}

// Error returns What.
func (p *Problem) Error() string { return p.What }

// Unwrap returns Err.
func (p *Problem) Unwrap() error { return p.Err }
