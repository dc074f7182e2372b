package receiver

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

func TestBeliever(t *testing.T) {
	bc := coding.NewBroadcast(packets)
	truth := make([]float32, vsb.FieldSymbols)
	bc.Symbols(truth, vsb.FieldSymbols)
	for _, snr := range []float64{9, 10, 11, 12, 13, 14, 15, 16, 17} {
		sigma := math.Sqrt(21 / math.Pow(10, snr/10))
		rng := rand.New(rand.NewPCG(1, 2))
		soft := make([]float32, len(truth))
		for i, v := range truth {
			soft[i] = v + float32(sigma*rng.NormFloat64())
		}
		b := newBeliever(new(beliefs))
		b.setNoise(sigma * sigma)
		levels := make([]float32, (blockSegments+1)*832)
		var mse, self, hard float64
		n := 0
		for s := 0; s+blockSegments <= 313; s += blockSegments {
			b.block(levels, soft[s*832:][:blockSymbols], s)
			if s < 2*blockSegments {
				continue
			}
			for i := range blockSymbols {
				if i%832 < 4 {
					continue
				}
				d := float64(levels[i] - 1.25 - truth[(s-1)*832+i])
				mse += d * d
				h := float64(nearest(levels[i]-1.25) - truth[(s-1)*832+i])
				hard += h * h
				n++
			}
			self += b.doubt
		}
		fmt.Printf("%.0f dB: noise %.3f mse %.4f self %.4f hard %.4f\n", snr, sigma*sigma, mse/float64(n), self/50, hard/float64(n))
	}
}

func BenchmarkBeliever(b *testing.B) {
	soft := make([]float32, blockSymbols)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range soft {
		soft[i] = float32(rng.NormFloat64() * 4)
	}
	levels := make([]float32, (blockSegments+1)*832)
	v := newBeliever(new(beliefs))
	v.setNoise(0.66)
	for b.Loop() {
		v.block(levels, soft, 3)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/blockSymbols, "ns/symbol")
}
