package recording

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: common practice. These are names as people and general-purpose tools
// write them, and what whoever reads them takes from them.
func TestParseName(t *testing.T) {
	for name, want := range map[string]Hints{
		"lte_f2565_s1.92_g0_1s.cu8":             {"cu8", 1.92e6, 2565e6},
		"lte_f2564.9_s1.92_g0_1s.cu8":           {"cu8", 1.92e6, 2564.9e6},
		"rs_1641427457780_1090M_2M4.cu8":        {"cu8", 2.4e6, 1090e6},
		"wmbus_868.625M_2M4.cu8":                {"cu8", 2.4e6, 868.625e6},
		"ntsc_5925M_10M.cf32":                   {"cf32_le", 10e6, 5925e6},
		"tv_521000000Hz_2400000sps.ci16":        {"ci16_le", 2.4e6, 521e6},
		"555MHz_2.4MSps.bin":                    {"", 2.4e6, 555e6},
		"555 MHz 2.4 MSps.bin":                  {"", 2.4e6, 555e6},
		"555mhz-2400ksps-cs16.raw":              {"ci16_le", 2.4e6, 555e6},
		"roof.555M.2M048.cs16.iq":               {"ci16_le", 2.048e6, 555e6},
		"center_freq_521M_samp_rate_2.4M.fc32":  {"cf32_le", 2.4e6, 521e6},
		"freq=521e6,rate=2.4e6.short":           {"ci16_le", 2.4e6, 521e6},
		"fc521.309_fs2400.u8":                   {"cu8", 2.4e6, 521.309e6},
		"f521000000_s2400000.float":             {"cf32_le", 2.4e6, 521e6},
		"freq_hz_521000000_rate_hz_2400000.bin": {"", 2.4e6, 521e6},
		"fc521000_sr2400.bin":                   {"", 2.4e6, 521e6},
		"20260305_183000_521000000_2400000.cfile": {
			"cf32_le", 2.4e6, 521e6},
		"2026-03-05T18-30-00Z_521000000_8000000_fc.raw": {"", 8e6, 521e6},
		"521000000.2400000.cs8":                         {"ci8", 2.4e6, 521e6},
		"baseband_521000000Hz_18-30-00_05-03-2026.wav":  {"", 0, 521e6},
		"rec_521000kHz_IQ.wav":                          {"", 0, 521e6},
		"tv521MHz.bin":                                  {"", 0, 521e6},
		"0.521GHz_2.4MHz.complex64":                     {"cf32_le", 2.4e6, 521e6},
		"x_521M_bw6MHz_10MSps_gain30.cs16":              {"ci16_le", 10e6, 521e6},
		"x_521MHz_6MHz_10Msps_60ms.cs16_be":             {"ci16_be", 10e6, 521e6},
		"x_521MHz_6MHz.cu8":                             {"cu8", 0, 521e6}, // a bandwidth, or a rate
		"x_521M_2.4MS.cu8":                              {"cu8", 2.4e6, 521e6},
		"x_521M_2M4_10MS.cu8":                           {"cu8", 2.4e6, 521e6}, // ten million samples
		"521M_1.024M":                                   {"", 1.024e6, 521e6},
		"473.5M_8M_uint8":                               {"cu8", 8e6, 473.5e6},
		"UHF_473000K_250k.CU8":                          {"cu8", 0.25e6, 473e6},

		// What says nothing.
		"roof.bin":                   {},
		"roof":                       {},
		"dump1090_modes1.cu8":        {Format: "cu8"},
		"ch22_2.iq":                  {},
		"roof_f1_s2.iq":              {},
		"roof_s1_521M.iq":            {CenterHz: 521e6},
		"f32.bin":                    {},
		"s16_u8_short.bin":           {},
		"20260305_19991231.bin":      {},
		"serial_1234567_5212345.bin": {},
		"1641427457.bin":             {}, // seconds since 1970
		"lo_521M_if_36M.bin":         {},
		"12MHz_100Hz.bin":            {RateHz: 12e6},
	} {
		for _, dir := range []string{"", "/data/999M_9M/", "../"} {
			got, err := ParseName(dir+name, Hints{})
			require.NoError(t, err, name)
			require.Equal(t, want.Format, got.Format, name)
			require.InDelta(t, want.RateHz, got.RateHz, 1e-3, name)
			require.InDelta(t, want.CenterHz, got.CenterHz, 1e-3, name)
		}
	}
}

// Truth: our own promise that what is known is not asked of the name, and that
// a name which says two things, or an absurd one, is not believed.
func TestNamesInDoubt(t *testing.T) {
	for name, want := range map[string]string{
		"521M_527M_2M4.cu8":        "its name says both 521 MHz and 527 MHz: give --center",
		"f521_527M_s2.4.cu8":       "its name says both 521 MHz and 527 MHz: give --center",
		"521M_2M4_10M.cu8":         "its name says both 2.4 MS/s and 10 MS/s: give --rate",
		"521M_2M4_cs16.cu8":        "its name says both cu8 and ci16_le: give --format",
		"521M_64MSps.cu8":          "its name says 64 MS/s, which cannot be: give --rate",
		"521M_48ksps.cu8":          "its name says 0.048 MS/s, which cannot be: give --rate",
		"521M_rate48000.cu8":       "its name says 0.048 MS/s, which cannot be: give --rate",
		"center_521GHz_2.4Msps.iq": "its name says 521000 MHz, which cannot be: give --center",
		"freq100Hz_2.4Msps.iq":     "its name says 0.0001 MHz, which cannot be: give --center",
	} {
		_, err := ParseName(filepath.Join("dir", name), Hints{})
		var doubt *NameError
		require.ErrorAs(t, err, &doubt, name)
		require.Equal(t, filepath.Join("dir", name)+": "+want, err.Error())

		known := Hints{"cf32_be", 3e6, 99e6}
		got, err := ParseName(name, known)
		require.NoError(t, err)
		require.Equal(t, known, got)
		switch doubt.Want {
		case "rate":
			known = Hints{RateHz: 3e6}
		case "center":
			known = Hints{CenterHz: 99e6}
		case "format":
			known = Hints{Format: "cu8"}
		}
		got, err = ParseName(name, known)
		require.NoError(t, err, name)
		require.NotZero(t, got.RateHz, name)
	}
}

// Truth: our own promise that what is taken from a name can be used.
func FuzzParseName(f *testing.F) {
	for _, s := range []string{"lte_f2565_s1.92_g0_1s.cu8", "x_1090M_2M4.cu8", "tv_521000000Hz_2400000sps.ci16", "555MHz_2.4MSps.bin",
		"521.2400000.short", "1e99MHz_2M4MHz", "f9999999999999999999999_s1", "2M4M_2Mps", "rate_rate_5e5", "\xff\x00521M", "....", "._521M.", "center_fc32_be"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		h, err := ParseName(name, Hints{})
		if err != nil {
			var doubt *NameError
			require.True(t, errors.As(err, &doubt))
			require.Contains(t, []string{"format", "rate", "center"}, doubt.Want)
			require.Zero(t, h)
			return
		}
		require.NoError(t, h.check())
		if h.Format != "" {
			f, err := parseFormat(h.Format)
			require.NoError(t, err)
			require.Equal(t, f.name, h.Format)
		}
		if !strings.Contains(name, "/") {
			same, err := ParseName("/elsewhere/"+name, Hints{})
			require.NoError(t, err)
			require.Equal(t, h, same)
		}
	})
}
