package receiver

import "runtime"

// beside does something on another processor, where there is one, while its owner does
// something else. What is done is the same either way.
type beside struct {
	do   func()
	done chan struct{} // nil where there is no other processor

	other func()
}

func newBeside(do func()) *beside {
	b := &beside{do: do}
	if runtime.GOMAXPROCS(0) > 1 {
		b.done = make(chan struct{}, 1)
		b.other = func() {
			b.do()
			b.done <- struct{}{}
		}
	}
	return b
}

// begin begins it.
func (b *beside) begin() {
	if b.done != nil {
		go b.other()
	}
}

// end returns when it is done.
func (b *beside) end() {
	if b.done != nil {
		<-b.done
		return
	}
	b.do()
}
