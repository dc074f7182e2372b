package band

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: 47 CFR 73.201 (FM), part 90 (land mobile), and 3GPP TS 36.101 table
// 5.5-1 for the bands 5, 12, 13, 14, 17 and 71, in MHz. Band 71 was checked
// against TR 36.755 (617 to 652 down, 663 to 698 up). The lower limits of the
// others, and their widths by the channel numbers that begin each band, were
// checked against constants that the public repository
// SergeyDorozhko/LTE_RF-Band_Calculator takes from ETSI TS 136 101 V10.3.0; FM
// against the table of 47 CFR 73.501 (channel 201 is 88.1 MHz). The limits of
// land mobile are from memory.
func TestServiceLimits(t *testing.T) {
	by := map[string]Service{}
	before := 0.0
	for _, s := range Services() {
		require.NotContains(t, by, s.Name)
		require.GreaterOrEqual(t, s.LowHz, before, "%s: ascending, without overlap", s.Name)
		require.Greater(t, s.HighHz, s.LowHz)
		require.NotEmpty(t, s.About)
		by[s.Name], before = s, s.HighHz
	}
	for name, mhz := range map[string][2]float64{
		"fm": {88, 108}, "uhf-mobile": {450, 470}, "shared-470": {470, 512},
		"band-71-down": {617, 652}, "band-71-up": {663, 698},
		"band-12-up": {699, 716}, "band-12-down": {729, 746},
		"band-13-up": {777, 787}, "band-13-down": {746, 756},
		"band-14-up": {788, 798}, "band-14-down": {758, 768},
		"band-5-up": {824, 849}, "band-5-down": {869, 894},
	} {
		require.Equal(t, mhz[0]*1e6, by[name].LowHz, name)
		require.Equal(t, mhz[1]*1e6, by[name].HighHz, name)
	}
	// Band 17 is a part of band 12: 704 to 716 and 734 to 746 MHz.
	for _, mhz := range []float64{704, 715.9, 734, 745.9} {
		s, ok := ServiceAt(mhz * 1e6)
		require.True(t, ok)
		require.Contains(t, s.About, "17")
	}
	for _, mhz := range []float64{87.9, 108.1 + 29, 200, 600, 612, 655, 720} {
		_, ok := ServiceAt(mhz * 1e6)
		require.Equal(t, false, ok, "%g MHz", mhz)
	}
}

// Truth: duplex spacing, 3GPP TS 36.101 table 5.7.4-1, which agrees with the sources
// above: −46 MHz for band 71, 30 for 12 and 17, −31 for 13, −30 for 14, 45 for 5 (downlink less uplink).
func TestDuplexSpacing(t *testing.T) {
	by := map[string]Service{}
	for _, s := range Services() {
		by[s.Name] = s
	}
	for n, mhz := range map[string]float64{"71": -46, "12": 30, "13": -31, "14": -30, "5": 45} {
		down, up := by["band-"+n+"-down"], by["band-"+n+"-up"]
		require.Equal(t, mhz*1e6, down.LowHz-up.LowHz, n)
		require.Equal(t, down.HighHz-down.LowHz, up.HighHz-up.LowHz, n)
	}
}
