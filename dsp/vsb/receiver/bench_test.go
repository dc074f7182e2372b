package receiver

import "testing"

func BenchmarkReceiver(b *testing.B) {
	s := sending{rate: 10e6, lower: -3.2e6, cn: 20, fields: 4, ppm: 20, carrierHz: 3000}
	x := s.samples(b)
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower})
	if err != nil {
		b.Fatal(err)
	}
	_ = r.Write(x[:1000000])
	n := 0
	b.ReportAllocs()
	// The samples that follow do not follow really; what counts is that it
	// stays locked over each piece.
	for b.Loop() {
		_ = r.Write(x[cap(r.waiting):][:100000])
		n += 100000
	}
	b.ReportMetric(float64(n)/s.rate/b.Elapsed().Seconds(), "xrealtime")
	b.ReportMetric(float64(r.status.Locks), "locks")
}
