// Package site remembers a house: the channels that are wanted there, the
// places and headings that were tried, and what was measured at each.
//
// # The house file
//
// One file a house, made of lines; each line is one JSON object, a record.
// Every record has a "kind", and a file begins with the kind "house":
//
//	{"kind":"house","schema":"rooftone.house/1","name":"Mill Lane 4","created":"2026-03-05T09:12:44Z"}
//	{"kind":"want","time":"2026-03-05T09:13:02Z","rf_channel":22,"label":"North Hill","importance":2}
//	{"kind":"mark","time":"2026-03-05T09:31:10Z","place":"chimney","bearing_deg":135,"look":"careful","channels":[…]}
//	{"kind":"learnt","time":"2026-03-05T10:02:00Z","rf_channel":22,"transport_id":11298,"services":[{"number":"8.1","name":"QSKL-HD"}]}
//	{"kind":"turn","time":"2026-03-05T09:40:00Z","place":"chimney","curves":[{"rf_channel":22,"points":[[130,4.2],[132.5,4.3]]}]}
//	{"kind":"lead","time":"2026-03-05T10:20:00Z","parts":["cable rg6:50ft","splitter 2"]}
//
// Records are only ever added. What a later one says replaces what an earlier
// one said of the same thing, field by field; a field that it leaves out keeps
// its value. Fields and kinds that a reader does not know are passed over and
// stay in the file, so that an older program can add to a newer one's file.
//
// A record is on the disk before Append returns. A line that was cut off by a
// lost supply, or spoilt in any other way, costs that line only: Read says so
// in House.Damage, and the next record starts on a line of its own.
//
// A curve of a turn without points is of a channel that was followed and not heard
// anywhere.
//
// # Comparing
//
// Spots puts several marks of one place, heading and height together, and Changes
// compares visits. FitTurn finds the heading of the strongest signal in a slow
// turn. Which place serves best is for package decide.
package site
