package sim

import (
	"fmt"
	"time"

	"rooftone/dsp/air"
)

// Loss is something that takes level away for a time: water in a connector, a
// crane in the path, an amplifier that fails.
type Loss struct {
	RFChannel int     `toml:"rf_channel"` // whose station it comes to; 0 is all of them
	AtSeconds float64 `toml:"at_seconds"` // of the radio's own time
	Seconds   float64 `toml:"seconds"`    // how long it lasts; 0 is for good
	LossDB    float64 `toml:"loss_db"`    // negative is a gain
}

func (l *Loss) validate() error {
	if l.RFChannel != 0 {
		if _, err := channel(l.RFChannel); err != nil {
			return err
		}
	}
	return check(
		limit{"at_seconds", l.AtSeconds, 0, 1e9},
		limit{"seconds", l.Seconds, 0, 1e9},
		limit{"loss_db", l.LossDB, -60, 200},
	)
}

// at reports whether it is there at a time.
func (l *Loss) at(t float64) bool {
	return t >= l.AtSeconds && (l.Seconds == 0 || t < l.AtSeconds+l.Seconds)
}

// suffer lets a station lose what comes to its channel.
func (e *station) suffer(all []Loss) {
	var own []Loss
	for _, l := range all {
		if l.RFChannel == 0 || l.RFChannel == e.RFChannel {
			own = append(own, l)
		}
	}
	if len(own) == 0 {
		return
	}
	fading := e.fading
	e.fading = func(t float64) complex128 {
		g := complex(1, 0)
		if fading != nil {
			g = fading(t)
		}
		for i := range own {
			if own[i].at(t) {
				g *= complex(air.Amplitude(-own[i].LossDB), 0)
			}
		}
		return g
	}
}

func validateLosses(all []Loss) error {
	if len(all) > maxItems {
		return fmt.Errorf("%d of [[loss]]: at most %d are simulated", len(all), maxItems)
	}
	for i := range all {
		if err := all[i].validate(); err != nil {
			return fmt.Errorf("loss %d: %w", i+1, err)
		}
	}
	return nil
}

// Now is the time by the radio's own clock. It is one of the methods of
// tuner.Timed.
func (t *Tuner) Now() time.Time { return t.options.Epoch.Add(seconds(t.now() + t.waited)) }

// Wait lets some of the radio's time pass at once, from the next Tune on. A radio
// that keeps to real time needs none.
func (t *Tuner) Wait(d time.Duration) {
	if !t.options.RealTime {
		t.waited += max(0, d.Seconds())
	}
}
