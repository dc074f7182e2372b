package soapy

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unsafe"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// prepare sets what does not change later, and learns what the radio can do.
func (r *radio) prepare(a Address, args map[string]string) error {
	l, d := r.lib, r.dev
	if l.receivers(d, receiving) == 0 {
		return &tuner.Problem{What: r.info.Name + " does not receive", Hint: "choose another radio: rooftone devices lists them", Err: ErrOpen}
	}
	driver := strings.ToLower(l.taken(l.driver(d)))
	hardware := strings.ToLower(l.taken(l.hardware(d)))
	r.remote = args["driver"] == "remote" || driver == "remote"
	// One that SoapySDR has of the common dongles hands over far too much at once.
	isDongle := driver == "rtlsdr" || args["remote:driver"] == "rtlsdr" || strings.HasPrefix(hardware, "rtl")
	if err := r.setAntenna(a.Antenna); err != nil {
		return err
	}
	if l.hasAutomaticGain(d, receiving, channel) {
		if err := l.call("have its gain set by hand", func() int32 { return l.setAutomaticGain(d, receiving, channel, false) }); err != nil {
			return err
		}
	}
	if l.hasAutomaticDC(d, receiving, channel) {
		l.setAutomaticDC(d, receiving, channel, true) // best effort: the spike is left out anyway
	}
	if err := r.learnGains(a.Elements); err != nil {
		return err
	}
	r.reach = l.spans(func(n *uintptr) unsafe.Pointer { return l.frequencyRanges(d, receiving, channel, n) })
	r.filters = l.spans(func(n *uintptr) unsafe.Pointer { return l.bandwidthRanges(d, receiving, channel, n) })
	r.bandwidth = a.BandwidthHz
	for _, s := range l.spans(func(n *uintptr) unsafe.Pointer { return l.rateRanges(d, receiving, channel, n) }) {
		r.rates = append(r.rates, tuner.RateRange{LowHz: s.Low, HighHz: s.High, StepHz: s.Step})
	}
	r.hasTime = l.hasTime(d, "")
	if err := r.setUpStream(isDongle); err != nil {
		return err
	}
	r.info.Datatype = r.format.datatype
	if isDongle {
		r.info.Clock = dongle.Clock()
	} else if hz := l.referenceRate(d); hz >= 1e6 && hz < 1e9 {
		r.info.Clock = tuner.ClockSource{ReferenceHz: hz}
	}
	return nil
}

// setAntenna chooses the antenna socket.
func (r *radio) setAntenna(name string) error {
	if name == "" {
		return nil
	}
	l, d := r.lib, r.dev
	there := l.words(func(n *uintptr) unsafe.Pointer { return l.antennas(d, receiving, channel, n) })
	if !slices.Contains(there, name) {
		p := &tuner.Problem{
			What: fmt.Sprintf("%s has no antenna socket %q", r.info.Name, name),
			Hint: "leave antenna= out",
			Err:  ErrOpen,
		}
		if len(there) > 0 {
			p.Hint = "use one that it has: antenna=" + strings.Join(there, ", antenna=")
		}
		return p
	}
	return l.call("use the antenna socket "+name, func() int32 { return l.setAntenna(d, receiving, channel, name) })
}

// setUpStream prepares the stream of samples.
func (r *radio) setUpStream(isDongle bool) error {
	l, d := r.lib, r.dev
	fullScale := new(float64)
	native := l.taken(l.nativeFormat(d, receiving, channel, fullScale))
	offered := l.words(func(n *uintptr) unsafe.Pointer { return l.formats(d, receiving, channel, n) })
	f, ok := chooseFormat(native, *fullScale, offered)
	if !ok {
		return &tuner.Problem{
			What: fmt.Sprintf("%s has samples of no kind that can be read, but %s", r.info.Name, strings.Join(append(offered, native), ", ")),
			Hint: "choose another radio: rooftone devices lists them",
			Err:  ErrOpen,
		}
	}
	r.format = f
	var args map[string]string
	if isDongle {
		args = map[string]string{"bufflen": "32768"} // its module's; bytes
	}
	first := new(uintptr)
	*first = channel
	err := l.call("send samples", func() int32 {
		withKwargs(args, func(k unsafe.Pointer) { r.handle = l.setupStream(d, receiving, f.name, first, 1, k) })
		if r.handle == 0 {
			return -1
		}
		return 0
	})
	if err != nil {
		return err
	}
	const least, most = 1 << 10, 1 << 17
	r.mtu = int(l.streamMTU(d, r.handle))
	r.most = min(max(r.mtu, least), most)
	return nil
}

// learnGains learns the gains that can be asked for. Elements that were asked for
// stay as they are set; the others then share what is left.
func (r *radio) learnGains(fixed []Element) error {
	l, d := r.lib, r.dev
	whole := l.gainRange(d, receiving, channel)
	if len(fixed) > 0 {
		names := l.words(func(n *uintptr) unsafe.Pointer { return l.gains(d, receiving, channel, n) })
		whole = span{Step: whole.Step}
		for _, name := range names {
			e := l.elementRange(d, receiving, channel, name)
			if i := slices.IndexFunc(fixed, func(f Element) bool { return f.Name == name }); i >= 0 {
				dB := min(max(fixed[i].DB, e.Low), e.High)
				if err := l.call(fmt.Sprintf("set its gain %s", name), func() int32 { return l.setElement(d, receiving, channel, name, dB) }); err != nil {
					return err
				}
				whole.Low, whole.High = whole.Low+dB, whole.High+dB
				continue
			}
			r.free = append(r.free, element{name, e})
			whole.Low, whole.High = whole.Low+e.Low, whole.High+e.High
		}
		for _, f := range fixed {
			if !slices.Contains(names, f.Name) {
				return &tuner.Problem{
					What: fmt.Sprintf("%s has no gain element %q", r.info.Name, f.Name),
					Hint: "use those that it has: gain." + strings.Join(names, "=, gain.") + "=",
					Err:  ErrOpen,
				}
			}
		}
		r.shared = true
		r.least = whole.Low
	}
	r.info.GainsDB = steps(whole)
	return nil
}

// steps lists the gains in a range.
func steps(s span) []float64 {
	const most = 200
	if !(s.High >= s.Low) || math.IsInf(s.Low, 0) || math.IsInf(s.High, 0) {
		return nil
	}
	step := s.Step
	if !(step >= 0.1) {
		step = 1
	}
	step = max(step, (s.High-s.Low)/most)
	var out []float64
	for k := range int(math.Floor((s.High-s.Low)/step+1e-9)) + 1 {
		out = append(out, s.Low+float64(k)*step)
	}
	if last := out[len(out)-1]; s.High-last > step/10 {
		out = append(out, s.High)
	}
	return out
}
