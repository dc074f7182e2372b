package receiver

import (
	"flag"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
	"testing"
)

var flagStop = flag.Int("stop", 20, "")

func TestDebug(t *testing.T) {
	for _, c := range cases {
		if c.name != *flagCase {
			continue
		}
		s := sending{rate: 10e6, lower: -3.2e6, cn: *flagCN, fields: 2.5, ppm: 20, carrierHz: 3000, paths: c.paths}
		x := s.samples(t)
		r, _ := New(Options{RateHz: s.rate, LowerHz: s.lower})
		r.engine.debug = 1
		r.engine.stop = *flagStop
		b := coding.NewBroadcast(packets)
		r.engine.truth = make([]float32, vsb.FieldSymbols*2)
		b.Symbols(r.engine.truth, vsb.FieldSymbols)
		_ = r.Write(x)
	}
}
