package watch

import (
	"sync"
	"time"

	"rooftone/scan"
	"rooftone/scan/meter"
)

// Status is how a watch goes, for those who look on while it does. It may be used
// from any goroutine. The zero value is ready; a nil Status takes no notice.
type Status struct {
	mutex sync.Mutex
	now   Snapshot
}

// Snapshot is a Status at one moment.
type Snapshot struct {
	Source   string
	Up       bool // the radio answers
	Losses   int  // how often it went away
	ClockPPM *float64
	Channels []ChannelStatus // those that were read, in the order of the watch

	Written, Kept int64 // readings that were taken, and that are on the disk
	LogBytes      int64
	LogTrouble    bool // the log cannot be written
}

// ChannelStatus is one channel's latest reading, and what was counted since the
// watch began.
type ChannelStatus struct {
	RFChannel int
	Time      time.Time
	Latest    meter.Update
	Readings  int
	Below     float64 // seconds below the decode threshold
	Fades     int
	Overload  int // readings
	Impulse   int
	Lost      int
}

// Snapshot returns how the watch goes.
func (s *Status) Snapshot() Snapshot {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	out := s.now
	out.Channels = append([]ChannelStatus(nil), s.now.Channels...)
	return out
}

func (s *Status) learned(survey *scan.Survey) {
	if s == nil {
		return
	}
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.now.Source = survey.Source
	s.now.ClockPPM = nil
	if survey.Clock != nil {
		ppm := survey.Clock.PPM.Value
		s.now.ClockPPM = &ppm
	}
}

func (s *Status) away(error) {
	if s == nil {
		return
	}
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.now.Up = false
	s.now.Losses++
}

// took takes a tick in.
func (s *Status) took(t Tick, updates map[int]meter.Update, w *Writer) {
	if s == nil {
		return
	}
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.now.Up = true
	for _, r := range t.Readings {
		c := s.channel(r.RFChannel)
		c.Time, c.Latest = t.Time, updates[r.RFChannel]
		c.Readings++
		if r.Standard == "" && (r.MarginDB == nil || *r.MarginDB < 0) {
			c.Below += w.settings.Every.Seconds()
		}
		c.Fades = w.fades[r.RFChannel]
		c.Overload += one(r.Overload)
		c.Impulse += one(r.Impulse)
		c.Lost += one(r.Lost)
	}
	s.now.Written, s.now.Kept, s.now.LogBytes = w.Written(), w.Kept(), w.Bytes()
	s.now.LogTrouble = w.Trouble() != nil
}

func (s *Status) channel(rf int) *ChannelStatus {
	for i := range s.now.Channels {
		if s.now.Channels[i].RFChannel == rf {
			return &s.now.Channels[i]
		}
	}
	s.now.Channels = append(s.now.Channels, ChannelStatus{RFChannel: rf})
	return &s.now.Channels[len(s.now.Channels)-1]
}
