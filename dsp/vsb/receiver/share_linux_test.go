package receiver

import (
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// BenchmarkKeepingUp says for the channels of TestEchoes, at the C/N where README has
// them received, by how much one core and two are faster than the samples come. Each
// piece of a block's length is timed by the processor time of its two halves, and the
// best fifth counts, so that what else the machine has to do matters little.
func BenchmarkKeepingUp(b *testing.B) {
	for _, c := range echoCases {
		b.Run(c.name, func(b *testing.B) {
			s := plain(cnFor(b, c.paths, codeThreshold)+c.needs, 6)
			s.paths = c.paths
			x := s.samples(b)
			runtime.LockOSThread()
			defer runtime.UnlockOSThread()
			var one, two []float64
			for b.Loop() {
				a, t := shares(b, s, x)
				one, two = append(one, a...), append(two, t...)
			}
			slices.Sort(one)
			slices.Sort(two)
			b.ReportMetric(one[len(one)*4/5], "xrealtime/1core")
			b.ReportMetric(two[len(two)*4/5], "xrealtime/2cores")
		})
	}
}

// shares receives samples and returns how fast the pieces of their second half went, one
// half after the other and both at once.
func shares(b *testing.B, s sending, x []complex64) (one, two []float64) {
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower})
	require.NoError(b, err)
	var rear float64
	do := r.beside.do
	r.beside = &beside{do: func() {
		at := threadSeconds()
		do()
		rear += threadSeconds() - at
	}}
	const piece = 2 * blockSymbols
	long := piece / s.rate
	for at := 0; at+piece <= len(x); at += piece {
		rear = 0
		begin := threadSeconds()
		require.NoError(b, r.Write(x[at:at+piece]))
		if all := threadSeconds() - begin; at > len(x)/2 {
			one, two = append(one, long/all), append(two, long/max(rear, all-rear))
		}
	}
	return one, two
}

// threadSeconds is the processor time that this thread has had.
func threadSeconds() float64 {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &t) != nil {
		return 0
	}
	return float64(t.Sec) + float64(t.Nsec)/1e9
}
