package band

import "math"

// DipoleFactorDB is the power in dBm that a matched half-wave dipole delivers
// in a field of 0 dBµV/m: its effective area λ²·1.64/4π times the field's power
// density, E²/120π. FCC OET Bulletin 69, Table 3 has −111.8 dB at 69 MHz,
// −120.8 at 194 MHz and −130.8 at 615 MHz.
func DipoleFactorDB(hz float64) float64 {
	const (
		lightSpeed = 299792458 // m/s
		dipoleGain = 1.64      // over an isotropic antenna
		impedance  = 120 * math.Pi
	)
	lambda := lightSpeed / hz
	area := lambda * lambda * dipoleGain / (4 * math.Pi)
	const microvolt = 1e-6
	watts := microvolt * microvolt / impedance * area
	return 10 * math.Log10(watts/1e-3)
}

// FieldDBuVm is the field strength in dBµV/m in which a dipole without loss
// delivers a power in dBm.
func FieldDBuVm(powerDBm, hz float64) float64 { return powerDBm - DipoleFactorDB(hz) }
