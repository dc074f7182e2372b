// Package listen turns what a radio heard at its tunings into slices: of each
// stay a spectrum, and what a search found in it of television signals.
//
// A Slicer takes one stay's samples and keeps a Slice: the power density over
// the slice, a fine spectrum around every pilot's place in it, and the field-sync
// training or the bootstrap of the channels that it shows. Nothing that is kept
// grows with the stay's length.
package listen
