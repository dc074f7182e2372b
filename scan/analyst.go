package scan

import (
	"sync"

	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// waitingStays is how many stays may wait to be measured: a few, for each holds its
// samples.
const waitingStays = 2

// analyst measures stays in the order in which they were heard, while the radio is
// already at the next one: what a channel says takes a computer about as long as it
// takes to listen to it. What it comes to does not depend on how fast it is.
type analyst struct {
	slicer *listen.Slicer
	slices *listen.Slices

	jobs chan tuner.Block
	free chan []complex64
	busy sync.WaitGroup
	done chan struct{}
	err  error // of the first that went wrong; to be looked at after wait
}

// newAnalyst starts an analyst that adds what it measures to slices. It runs until
// its end is called.
func newAnalyst(slicer *listen.Slicer, slices *listen.Slices) *analyst {
	a := &analyst{
		slicer: slicer, slices: slices,
		jobs: make(chan tuner.Block, waitingStays), free: make(chan []complex64, waitingStays+1), done: make(chan struct{}),
	}
	go func() {
		defer close(a.done)
		for b := range a.jobs {
			if a.err == nil {
				a.err = a.measure(b)
			}
			select {
			case a.free <- b.Samples[:cap(b.Samples)]:
			default:
			}
			a.busy.Done()
		}
	}()
	return a
}

func (a *analyst) measure(b tuner.Block) error {
	err := a.slicer.Begin(tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB, Start: b.Start})
	if err != nil {
		return err
	}
	a.slicer.Write(b)
	a.slices.Add(a.slicer.End())
	return nil
}

// take has a whole stay measured. Its samples are the analyst's from then on.
func (a *analyst) take(b tuner.Block) {
	a.busy.Add(1)
	a.jobs <- b
}

// buffer returns room for n samples.
func (a *analyst) buffer(n int) []complex64 {
	select {
	case b := <-a.free:
		if len(b) >= n {
			return b[:n]
		}
	default:
	}
	return make([]complex64, n)
}

// wait waits until all that was taken is measured.
func (a *analyst) wait() error {
	a.busy.Wait()
	return a.err
}

// end ends the analyst once all is measured.
func (a *analyst) end() error {
	close(a.jobs)
	<-a.done
	return a.err
}
