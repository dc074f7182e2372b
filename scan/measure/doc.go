// Package measure turns slices of television channels into
// Readings: power, noise floor, C/N, pilot, presence, each with its standard
// uncertainty.
//
// # From slices to Readings
//
// Channels takes what listen made of a source's stays. It works in this order, each step on the one before:
//
//  1. Clock. Each strong tone near a pilot's place stands for a clock error.
//     Stations agree on one, other tones do not.
//  2. Pass band. What all slices' shapes have in common is the radio's own and
//     is divided out.
//  3. Stitching onto one frequency grid, corrected for the clock.
//  4. Noise floor, from vacant channels at the same gain or from the dips at
//     the channel's edges, whichever is known better.
//  5. C/N from power and, apart from it, from the pilot.
//  6. Presence: a tone is tested against noise with a stated false-alarm
//     probability; what makes a tone a station is told at judge.
//
// Slices of unlike gain are never mixed: each gain has its own floor, and a
// channel is measured from the slices of one gain.
package measure
