package band

// Service is a part of the spectrum that others than television use, and that
// is commonly strong enough at an antenna to matter to a tuner.
type Service struct {
	Name          string // a short word: a–z, 0–9 and -
	About         string // a few words for people
	LowHz, HighHz float64
	Filter        string // what keeps it out of a tuner, in the trade's words; "" where nothing common does
}

// Services returns the services beside television, ascending in frequency.
//
// The limits are those of 47 CFR (FM broadcasting 73.201, aircraft part 87,
// land mobile part 90, its share of 470-512 MHz 90.303, cellular part 22) and
// of 3GPP TS 36.101, table 5.5-1; the test says what each was checked against.
// "Towers" is the downlink.
func Services() []Service {
	const lowPass = "a low-pass filter for television up to 608 MHz, sold as an LTE or 5G filter"
	return []Service{
		{"fm", "FM broadcasting", 88e6, 108e6, "an FM trap, a band-stop filter for 88-108 MHz"},
		{"aircraft", "aircraft", 108e6, 137e6, ""},
		{"vhf-mobile", "land mobile, ships, paging and weather radio", 138e6, 174e6, ""},
		{"uhf-mobile", "land mobile", 450e6, 470e6, "a notch for the one frequency"},
		{"shared-470", "land mobile in some cities, on channels 14-20", 470e6, 512e6, "a notch for the one frequency"},
		{"band-71-down", "LTE or 5G band 71, towers", 617e6, 652e6, lowPass},
		{"band-71-up", "LTE or 5G band 71, telephones", 663e6, 698e6, lowPass},
		{"band-12-up", "LTE or 5G bands 12 and 17, telephones", 699e6, 716e6, lowPass},
		{"band-12-down", "LTE or 5G bands 12 and 17, towers", 729e6, 746e6, lowPass},
		{"band-13-down", "LTE or 5G band 13, towers", 746e6, 756e6, lowPass},
		{"band-14-down", "LTE or 5G band 14, towers for public safety", 758e6, 768e6, lowPass},
		{"band-13-up", "LTE or 5G band 13, telephones", 777e6, 787e6, lowPass},
		{"band-14-up", "LTE or 5G band 14, telephones of public safety", 788e6, 798e6, lowPass},
		{"band-5-up", "LTE or 5G band 5, telephones", 824e6, 849e6, lowPass},
		{"band-5-down", "LTE or 5G band 5, towers", 869e6, 894e6, lowPass},
		{"uhf-paging", "paging", 929e6, 932e6, lowPass},
	}
}

// ServiceAt returns the service at a frequency. Where a frequency is shared
// with television, that is not told here.
func ServiceAt(hz float64) (Service, bool) {
	for _, s := range Services() {
		if hz >= s.LowHz && hz < s.HighHz {
			return s, true
		}
	}
	return Service{}, false
}
