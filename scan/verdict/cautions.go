package verdict

// Cautions are what to show wherever the program sends people to an antenna.
// They are the usual ones and no substitute for local codes and licensed
// practice.
func Cautions() []string {
	return []string{
		"Power lines kill: keep yourself, ladder, mast and antenna at least their full height plus 10 ft (3 m) away from any line.",
		"Never on a roof or ladder alone, in wind, in wet, or with a storm about; tie the ladder off and wear a fall harness.",
		"An outdoor mast and the cable's shield must be grounded as the local electrical code says; leave that to a licensed electrician if in doubt.",
		"Look at the meter standing still: never while climbing or reaching.",
	}
}
