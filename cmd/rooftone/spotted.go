package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"rooftone/scan/site"
)

// spotted is where the person on the roof says to be.
type spotted struct {
	place           string
	bearing, height *float64
	note            string
	units           site.Units // in which the height was typed; "" where it said none
}

var (
	heightTail  = regexp.MustCompile(`^(.*),\s*([^,]*)$`)
	likeLength  = regexp.MustCompile(`^(\S+\s+|[-+.0-9]\S*)(m|ft)$`)
	headingTail = regexp.MustCompile(`^(.*?),\s*([^,\s]+)\s*°\s*([A-Za-z]{0,3})$`)
	headingText = regexp.MustCompile(`^([^°\s]+?)\s*°?\s*([A-Za-z]{0,3})$`)
)

// parseSpot reads "chimney @ 135, 20 ft": a place, and if they are told a heading
// and a height, in feet or metres or else in the units of the house. What names a
// spot elsewhere, "chimney, 135° SE, 6 m", is read too; there a height without a
// unit would be part of the place's name.
func parseSpot(s string, house site.Units) (at spotted, err error) {
	at.place = strings.TrimSpace(s)
	place, heading, has := strings.Cut(at.place, "@")
	text := at.place
	if has {
		text = heading
	}
	if m := heightTail.FindStringSubmatch(text); m != nil {
		h, typed, lengthErr := site.ParseLength(m[2], house)
		switch {
		case lengthErr != nil && (has || likeLength.MatchString(m[2])):
			return spotted{}, fmt.Errorf("%s is no height: write 20 ft or 6 m", quote(strings.TrimSpace(m[2])))
		case lengthErr == nil && (has || typed != ""):
			if h < lowestM || h > highestM {
				return spotted{}, fmt.Errorf("the height lies between %d and %d m", lowestM, highestM)
			}
			at.height, at.units, text = &h, typed, m[1]
		}
	}
	switch {
	case has:
		at.place = strings.TrimSpace(place)
		if m := headingText.FindStringSubmatch(strings.TrimSpace(text)); m == nil {
			err = errBearing
		} else {
			at.bearing, err = parseHeading(m[1], m[2])
		}
	default:
		at.place = strings.TrimSpace(text)
		if m := headingTail.FindStringSubmatch(at.place); m != nil {
			at.place = strings.TrimSpace(m[1])
			at.bearing, err = parseHeading(m[2], m[3])
		}
	}
	if err == nil && at.place == "" {
		err = errors.New("the place has no name")
	}
	if err != nil {
		return spotted{}, err
	}
	return at, nil
}

var errBearing = errors.New("the heading is a number from 0 to 360")

// parseHeading reads degrees, and sees that a point of the compass that stands
// beside them is theirs.
func parseHeading(degrees, point string) (*float64, error) {
	v, err := parseFinite(strings.TrimSpace(degrees))
	if err != nil || v < 0 || v > 360 {
		return nil, errBearing
	}
	if point != "" && !strings.EqualFold(point, site.Point(v)) {
		return nil, fmt.Errorf("%g° is %s, not %s", v, site.Point(v), strings.ToUpper(point))
	}
	return &v, nil
}

// chooseSpot finds which of some spots, the best first, a person means. What was
// typed is a name as the program writes it, or the beginning of one, or one that
// says the same otherwise: "gable, 131" and "Gable @ 130, 20 ft".
func chooseSpot(spots []*site.Spot, name string, o site.Options) (*site.Spot, error) {
	squeeze := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
	typed := squeeze(name)
	for _, s := range spots {
		if squeeze(s.String()) == typed {
			return s, nil
		}
	}
	at, err := parseSpot(name, o.Units)
	if err == nil && at.bearing == nil && at.height == nil {
		// A heading without its sign: "gable, 131".
		if m := bareHeading.FindStringSubmatch(at.place); m != nil {
			if bearing, err := parseHeading(m[2], ""); err == nil && len(site.AgainAt(spots, at.place, nil, nil, o)) == 0 {
				at.place, at.bearing = strings.TrimSpace(m[1]), bearing
			}
		}
	}
	var found []*site.Spot
	if err == nil {
		found = site.AgainAt(spots, at.place, at.bearing, at.height, o)
	}
	if len(found) == 0 {
		for _, s := range spots {
			if strings.HasPrefix(squeeze(s.String()), typed) {
				found = append(found, s)
			}
		}
	}
	switch {
	case len(found) == 0 && len(spots) > 0:
		return nil, withHint(fmt.Errorf("no place %s was marked", quote(name)), "such as %s; rooftone rank lists the places", quote(spots[0].String()))
	case len(found) == 0:
		return nil, fmt.Errorf("no place %s was marked", quote(name))
	case err == nil && at.bearing != nil && len(found) > 1:
		return nil, withHint(fmt.Errorf("%s could be %s or %s", quote(name), found[0], found[1]), "name it in full, such as %s", quote(found[0].String()))
	}
	return found[0], nil // a place by its name alone: the best heading there
}

var bareHeading = regexp.MustCompile(`^(.*),\s*([0-9.]+)$`)
