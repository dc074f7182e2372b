// Package plot shows what scan measured: pictures as PNG, SVG and PDF, and
// text for a terminal.
//
// Nothing is measured here. A renderer takes a scan.Survey as it is, chooses
// where things stand and how they are written, and shows a value that is
// absent as absent.
//
// The pictures share one idea. Channels are lots along a street, the frequency
// axis. The ground is the decode threshold; a house that stands on it is a
// channel that decodes, as high as its margin in dB; a cellar is a signal that
// cannot decode yet, as deep as what it lacks. Echoes stand along a street that
// leads away from the strongest path: as far along as they come late, as high
// as they are loud.
package plot
