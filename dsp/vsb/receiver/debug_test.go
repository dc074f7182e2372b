package receiver

import (
	"fmt"
	"testing"
)

func TestDebug(t *testing.T) {
	s := sending{rate: 10e6, lower: -3.2e6, cn: 20, fields: 2.5, seed: 3, ppm: 20, carrierHz: 10000}
	x := s.samples(t)
	r, _ := New(Options{RateHz: s.rate, LowerHz: s.lower})
	found, ok := r.acquirer.search(x[:cap(r.waiting)])
	fmt.Printf("%+v %v step %v\n", found, ok, r.front.outRate()/10.762237762e6)
	if !ok {
		return
	}
	r.engine.debug = true
	r.waiting = append(r.waiting, x[:cap(r.waiting)]...)
	r.engine.stop = 30
	r.search()
}
