// Package psd measures power density: windows, Fourier transforms, Welch's
// averaged periodogram of all that a tuner delivers, and the fine spectrum of
// a narrow piece of it.
//
// Samples are complex64 with full scale 1. Frequencies are in Hz, density is
// linear in FS²/Hz: a complex tone of amplitude 1 has a power of 1 FS², which
// is 0 dBFS, and white noise of variance σ² (both parts together), sampled at
// rate, has the density σ²/rate.
package psd
