// Package measure turns slices of television channels into Readings: power,
// noise floor, C/N, pilot, presence, each with its standard uncertainty. A Reading
// is made of whatever parts of its channel were heard.
//
// # From slices to Readings
//
// Channels takes what listen made of a source's stays. It works in this order,
// each step on the one before:
//
//  1. Evidence: what slices of whatever gain and rate show of each channel.
//  2. Clock. Training and bootstraps prove stations, and these agree on one;
//     lone lines near pilots' places count only where three agree.
//  3. Pass band. What all slices' shapes have in common is the radio's own and
//     is divided out.
//  4. Stitching onto one frequency grid, corrected for the clock.
//  5. Noise floor, from all that tells of it by its variance.
//  6. C/N from power and, apart from it, from the pilot; of a part of a channel
//     with what its training lets expect of the rest.
//  7. Presence, from all evidence: see judge.
//
// Slices of unlike gain are never mixed: each gain has its own floor, and a
// channel is measured from the slices of one gain.
package measure
