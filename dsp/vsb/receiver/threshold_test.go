package receiver

import (
	"flag"
	"fmt"
	"testing"

	"rooftone/dsp/air"
)

var (
	flagCN     = flag.Float64("cn", 15.3, "")
	flagFields = flag.Float64("fields", 10, "")
	flagSeeds  = flag.Int("seeds", 1, "")
)

// run returns packets, failed ones, and the last status.
func (s sending) run(t testing.TB) Status {
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower})
	if err != nil {
		t.Fatal(err)
	}
	_ = r.Write(s.samples(t))
	_ = r.Flush()
	return r.Status()
}

func TestScan(t *testing.T) {
	for _, cn := range []float64{*flagCN, *flagCN + .3, *flagCN + 1} {
		for seed := range *flagSeeds {
			s := sending{rate: 10e6, lower: -3.2e6, cn: cn, fields: *flagFields, seed: uint64(seed), ppm: 20, carrierHz: 3000}
			st := s.run(t)
			fmt.Printf("%.1f: %d packets %d failed (%.2e), %d corrected, mer %.2f ideal %.2f\n", cn, st.Packets, st.Failed, float64(st.Failed)/float64(st.Packets), st.Corrected, st.MERAfterDB, st.IdealDB)
		}
	}
}

var _ = air.Path{}
