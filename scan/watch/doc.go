// Package watch follows the margins of a few channels for minutes to months:
// the log on disk, what keeps it whole and bounded, and what can be concluded
// from it.
//
// # The log
//
// One file, made of lines; each line is one JSON object with a "kind". It
// begins with the kind "watch":
//
//	{"kind":"watch","schema":"rooftone.watch/1","created":"2026-03-05T18:30:00-05:00"}
//	{"kind":"start","time":"…","every_s":1,"rf_channels":[22,24],"threshold_db":15.2,"source":"usb:00000001"}
//	{"kind":"tick","time":"…","margin_db":{"22":9.31,"24":null},"impulse":[22]}
//	{"kind":"minute","time":"…","margin_db":{"22":[9.31,8.8,9.9,60]}}
//	{"kind":"fade","time":"…","rf_channel":22,"seconds":12,"depth_db":8.2,…}
//	{"kind":"hour","time":"…","rf_channel":22,"readings":3600,"counts":[…],"falls":[…],…}
//
// A tick holds the readings of one moment: the margin of each channel, null
// where neither power nor pilot stood out. Ticks fill up minutes, and minutes
// hours. An hour holds a histogram of the margin, how often it fell through
// each whole dB, and how many fades there were; a fade has a line of its own
// as well, and so has what kept the watch from measuring: "away" and "back",
// "clock" when the computer's clock was set, "disk" when there was no room,
// "start" and "stop". Times have the zone of the place that is watched.
//
// # Bounded
//
// At a reading a second and eight channels, ticks are kept for half a day to a
// day, minutes for a month and hours for a year; then they are put together to
// lines of the kind "day". Of fades the last 50 000 are kept, of starts, stops
// and gaps the last 10 000. When there is more, the file is written anew without it beside the
// old one and takes its name: at every moment one of the two is there, whole.
//
// # Kept
//
// A reading is kept when its tick is on the disk. The Writer sees to that every
// few seconds; Writer.Kept tells. What a lost supply or a kill leaves half
// written costs its own line only: the next start sums up from the ticks what
// had not been summed up.
//
// # Concluding
//
// Read gathers a log; it may be read while it grows. Conclude makes a Report.
package watch
