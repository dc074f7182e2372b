package measure

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls do once for every i below n, several at the same time on a computer
// that can; what they share they only read.
func each(n int, do func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	all.Wait()
}
