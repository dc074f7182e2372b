package scan

import (
	"sync"

	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// desks is how many stays are measured at the same time at the most, waitingStays how
// many may wait for it: a few, for each holds its samples. Neither goes by the
// computer's cores, so that a visit comes to the same on any.
const desks, waitingStays = 3, 2

// analyst measures stays while the radio is already at the next ones: what a channel
// says takes a computer about as long as it takes to listen to it, a whole channel
// twice as long. What it comes to does not depend on how fast it is: a channel's stays
// are measured one after the other at the same desk, which learns from each where to
// look first in the next, and slices are added in the order in which they were heard.
type analyst struct {
	desks []chan job
	order chan job // as heard
	room  chan struct{}
	free  chan []complex64
	busy  sync.WaitGroup
	done  chan struct{}
	err   error // of the first that went wrong; to be looked at after wait
}

// job is a stay to be measured.
type job struct {
	block    tuner.Block
	measured chan measured
}

type measured struct {
	slice *listen.Slice
	err   error
}

// newAnalyst starts an analyst that adds what it measures to slices. It runs until
// its end is called.
func newAnalyst(newSlicer func() *listen.Slicer, slices *listen.Slices) *analyst {
	const held = desks + waitingStays
	a := &analyst{
		order: make(chan job, held), room: make(chan struct{}, held), free: make(chan []complex64, held),
		done: make(chan struct{}),
	}
	for range desks {
		jobs := make(chan job, held)
		a.desks = append(a.desks, jobs)
		go func() {
			slicer := newSlicer()
			for j := range jobs {
				slice, err := measureStay(slicer, j.block)
				select {
				case a.free <- j.block.Samples[:cap(j.block.Samples)]:
				default:
				}
				j.measured <- measured{slice, err}
			}
		}()
	}
	go func() {
		defer close(a.done)
		for j := range a.order {
			switch m := <-j.measured; {
			case a.err != nil:
			case m.err != nil:
				a.err = m.err
			default:
				slices.Add(m.slice)
			}
			<-a.room
			a.busy.Done()
		}
	}()
	return a
}

func measureStay(slicer *listen.Slicer, b tuner.Block) (*listen.Slice, error) {
	err := slicer.Begin(tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB, Start: b.Start})
	if err != nil {
		return nil, err
	}
	slicer.Write(b)
	return slicer.End(), nil
}

// take has a whole stay measured at the desk of its channel. Its samples are the
// analyst's from then on.
func (a *analyst) take(channel int, b tuner.Block) {
	a.busy.Add(1)
	a.room <- struct{}{}
	j := job{b, make(chan measured, 1)}
	a.order <- j
	a.desks[channel%desks] <- j
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
	for _, jobs := range a.desks {
		close(jobs)
	}
	close(a.order)
	<-a.done
	return a.err
}
