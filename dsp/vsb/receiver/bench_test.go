//go:build unix

package receiver

import (
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func BenchmarkReceiver(b *testing.B) {
	for _, c := range []struct {
		name string
		s    sending
	}{
		{"flat20dB", sending{rate: 10e6, lower: -3.2e6, cn: 20, fields: 20, ppm: 20, carrierHz: 3000}},
		{"echo−1dB", sending{rate: 10e6, lower: -3.2e6, cn: 18.5, fields: 20, ppm: 20, carrierHz: 3000, paths: echoCases[10].paths}},
		{"profileD20dB", sending{rate: 10e6, lower: -3.2e6, cn: 20, fields: 20, ppm: 20, carrierHz: 3000, paths: echoCases[16].paths}},
	} {
		b.Run(c.name, func(b *testing.B) {
			x := c.s.samples(b)
			b.ReportAllocs()
			b.ResetTimer()
			before := used()
			for b.Loop() {
				r, err := New(Options{RateHz: c.s.rate, LowerHz: c.s.lower})
				require.NoError(b, err)
				require.NoError(b, r.Write(x))
			}
			seconds := (used() - before) / float64(b.N)
			b.ReportMetric(float64(len(x))/c.s.rate/seconds, "xrealtime")
			b.ReportMetric(seconds/c.s.fields/260416*1e9, "ns/symbol")
		})
	}
}

// used returns the seconds of processor time that this process has had.
func used() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
