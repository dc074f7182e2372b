// Package sim is a simulated dongle that looks at a simulated town: a small,
// readable description of the stations and other services that reach an
// antenna.
//
// The dongle has the faults of the cheap ones: a few milliseconds of wrong
// samples after every retune, an 8-bit converter with rails, a pass band that
// falls towards its edges, a tone in the middle of every slice, a clock that is
// off and whose harmonics show, a noise figure that rises as the gain falls.
//
// Its time is virtual: it passes by the samples read and by settling, not by
// the wall clock, unless Options.RealTime asks for that. The same town, seed
// and calls give the same samples, in whatever pieces they are read.
//
// # Levels
//
// A level is in dBm at the antenna terminals. At the highest gain a level of
// Radio.FullScaleDBm (−66 by default) is 0 dBFS; each dB less of gain raises
// that by 1 dB, and the gain strays with frequency by Radio.RippleDB. Thermal
// noise, −173.98 dBm/Hz, and the noise figure add −100.2 dBm in 6 MHz at the
// highest gain of the default radio: −38 dBFS in 2.4 MHz, 1.1 steps of the
// converter, whose own rounding is then 12 dB lower. At 30 dB of gain the
// rounding is the larger of the two.
//
// # Town files
//
// A town file is TOML. Every key is optional but the town's name and what a
// thing cannot be without; an unknown key is an error.
//
//	[town]       name, about
//	[radio]      model ("dongle" or "bench": what the other keys differ from),
//	             seed, ppm, noise_figure_db, full_scale_dbm, bits, settle_ms,
//	             droop_db, tilt_db, ripple_db, dc_dbfs, spur_dbm, iq_gain_db,
//	             iq_phase_deg, iip2_dbm, iip3_dbm, beat_dbfs, tuning_step_hz,
//	             wide
//	[preamplifier] gain_db, noise_figure_db, iip2_dbm, iip3_dbm
//	[antenna]    beamwidth_deg, front_to_back_db, bearing_deg, rate_deg_per_s;
//	             without it all bearings are heard alike
//	[[station]]  rf_channel, call, standard ("atsc1" or "atsc3"), level_dbm,
//	             pilot_error_hz, bearing_deg, shoulders_db, shown_channel,
//	             transport_id, programmes = [{ name, video ("mpeg2", "h264" or
//	             "none"), audio = [languages] }],
//	             echoes = [{ delay_us, level_db, phase_deg, doppler_hz, scatter_hz,
//	             bearing_deg }],
//	             fading = { kind = "lognormal", sigma_db, seconds }
//	                   or { kind = "rayleigh", doppler_hz }
//	[[tone]]     frequency_hz, level_dbm, drift_hz, drift_seconds
//	[[service]]  kind ("fm", "land-mobile" or "lte"), frequency_hz, level_dbm,
//	             width_hz, on_share, on_seconds
//	[[loss]]     rf_channel, at_seconds, seconds, loss_db
//	[[impulses]] level_dbm, decay_us, bursts_per_second, pulses_per_burst, spread
//
// The types [Town], [Radio], [Preamplifier], [Antenna], [Station], [Echo], [Fading], [Tone], [Service],
// [Impulses] and [Loss] say what each means. Several stations may share a channel.
//
// # What is not simulated
//
// Pictures that move, and sound (what 8-VSB stations send is coded as the standards
// ask, but shows a card and is else random bytes), multiplex clocks that differ between
// transmitters, aliases of what lies beyond the slice, images
// and the tuned filter of the front end, products of more than the fourteen
// strongest signals.
package sim
