package scan

import "rooftone/scan/band"

// Company returns the wanted channels and, where they are few, those of the
// plan that lie nearest to them: what a visit to the wanted ones takes in to
// learn the noise, the clock and the radio's own pass band.
func Company(wanted, plan []band.Channel) []band.Channel { return withCompany(wanted, plan) }
