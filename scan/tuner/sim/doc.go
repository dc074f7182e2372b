// Package sim is a simulated dongle that looks at a simulated town: a small,
// readable description of the stations and other services that reach an
// antenna.
//
// The dongle has the faults of the cheap ones, as they were measured: a few
// milliseconds of wrong samples after every retune, up to 100 after one with
// another rate; an 8-bit converter with rails; a pass band that falls towards
// its edges, moves a little with frequency and gain, and lets what lies beyond
// fold back; gain steps that are not what their names say; a tone in the middle
// of every slice; a clock that is off, drifts as it warms up, and whose
// harmonics show; phase noise; samples lost every ten minutes without a word; a
// noise figure that rises as the gain falls, an intercept that moves with
// frequency. [DefaultRadio] says where each figure comes from.
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
//	[radio]      model: what the other keys differ from. "dongle", the default,
//	             is a common one with a low-IF tuner; "zero-if" one whose tuner
//	             mixes straight down, with an image and a hump in the middle;
//	             "wide" a radio of 12 bits and up to 20 MS/s; "bench" an ideal
//	             one but for noise and 8 bits.
//	             seed, noise_figure_db, full_scale_dbm, bits, ripple_db, wide
//	             front ("plain", "dongle", "zero-if" or "wide": its filters and
//	             what they let fold), fold_db (so much more of it), stray_db,
//	             tilt_db, droop_db (of plain ones)
//	             step_stray, top_loss_db, agc, iip2_dbm, iip3_dbm,
//	             intercept_stray_db
//	             ppm, warm_up_ppm, warm_up_seconds, phase_noise_dbc,
//	             tuning_step_hz, unlocked_share, settle_ms, settle_most_ms,
//	             lose_every_s
//	             dc_dbfs, dc_stray_db, spur_dbm, beat_dbfs, iq_gain_db,
//	             iq_phase_deg, image_db, image_stray_db
//	[preamplifier] gain_db, noise_figure_db, iip2_dbm, iip3_dbm
//	[lead]       loss_db, behind the preamplifier
//	[outside]    noise_db, slope_db: noise that comes in by the antenna
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
// The types [Town], [Radio], [Preamplifier], [Lead], [Outside], [Antenna], [Station], [Echo], [Fading], [Tone], [Service],
// [Impulses] and [Loss] say what each means. Several stations may share a channel.
//
// # What is not simulated
//
// Pictures that move, and sound (what 8-VSB stations send is coded as the standards
// ask, but shows a card and is else random bytes), multiplex clocks that differ between
// transmitters, the images of a low-IF tuner and the tuned filter of the front
// end, products of more than the fourteen strongest signals, phase that filters
// turn (they delay all alike).
package sim
