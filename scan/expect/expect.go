// Package expect says what should arrive at a house from the stations that are known,
// and how far that may be trusted: what the terrain takes away, what antenna, line and
// receiver make of the rest.
package expect

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/path"
	"rooftone/scan/site"
	"rooftone/scan/terrain"
)

const (
	// MaxDistanceM is how far away stations are looked at.
	MaxDistanceM = 300e3
	// minDistanceM is how near an antenna may be: nearer, its pattern decides.
	minDistanceM = 200

	// placesDB is the standard deviation between places some tens of metres apart:
	// ITU-R P.1546, Annex 5, 12, for digital television.
	placesDB = 5.5
	// z95 makes a standard deviation half of a 95 % interval.
	z95 = 1.96
	// most is the share of the time for which a picture has to hold: FCC OET
	// Bulletin 69, 90 % for digital television.
	most = 0.9

	thermalDBm = -106.2 // in 6 MHz, FCC OET Bulletin 69, Table 3

	// Where a list does not say how high a station's antenna is, it may be anything
	// from a mast to a tower: common practice, no source.
	usualHeightM, lowHeightM, highHeightM = 150, 50, 500
	// hillyM is Δh in rugged mountains: NTIA Report 82-100, Table 2; the worst that is
	// allowed for where no terrain is known.
	hillyM = 500
)

// Interval is a value with the interval that holds it in 95 of 100 cases.
type Interval struct{ Value, Low, High float64 }

// around is an interval from a standard deviation.
func around(v, sigma float64) Interval { return Interval{v, v - z95*sigma, v + z95*sigma} }

// add moves an interval by a figure that has its own standard deviation.
func (i Interval) add(v, sigma float64) Interval {
	v += i.Value
	return Interval{v, v - math.Hypot(i.Value-i.Low, z95*sigma), v + math.Hypot(i.High-i.Value, z95*sigma)}
}

// House is where the stations are to be received, and with what.
type House struct {
	At          site.Position
	HeightM     float64 // of the antenna above the ground
	ThresholdDB float64 // C/N at which the receiver decodes

	// nil: FCC OET Bulletin 69's planning factors, within a range.
	GainDBd, LineLossDB, NoiseFigureDB *float64

	// HeightsAboveSea says that the list counts the stations' heights from the sea,
	// not from the ground.
	HeightsAboveSea bool

	Plan    band.Plan
	Terrain *terrain.Folder // nil: none
}

// Outlook is what a household can hope for.
type Outlook string

// The outlooks: the whole interval of the margin is above the threshold, some of it,
// none.
const (
	Likely   Outlook = "likely"
	Open     Outlook = "open"
	Unlikely Outlook = "unlikely"
)

// Ground is what was known of the ground between.
type Ground string

// What was known.
const (
	Profiled Ground = "terrain"
	Smooth   Ground = "smooth" // taken for smooth, with mountains in the interval
)

// Expected is what is expected of one station.
type Expected struct {
	site.Bearings
	Problem string // why there are no figures; "" when there are

	Ground        Ground
	Mode          path.Mode
	Hidden        bool           // ground stands above the line between the antennas
	HiddenM       float64        // how far from the house the last of it is
	HeightUnknown bool           // the list does not say it
	Missing       []terrain.Name // tiles that were wanted
	BridgedM      float64        // of the profile, where no height is known

	Field     Interval // dBµV/m, at any time
	FieldMost float64  // dBµV/m, reached for 90 % of the time
	Antenna   Interval // dBm at the antenna's terminals, at any time
	CN        Interval // dB in 6 MHz, at any time
	Margin    Interval // dB above the threshold, for 90 % of the time
	Outlook   Outlook

	// RivalDB is by how much it is above the strongest other listed station on its
	// channel, both by the middle of what is expected and with an antenna that
	// hears all around; nil without one.
	RivalDB *float64
	Rival   string
}

// Expectation is what is expected at a house.
type Expectation struct {
	Stations []Expected // the best first
	Far      int        // stations beyond MaxDistanceM, left out
	Wanted   []terrain.Name
	Missing  []terrain.Name // of those
}

// At says what should arrive from a list of stations. Stations of which something is
// not known have a Problem; a damaged tile is an error.
func At(h House, list []site.Station) (*Expectation, error) {
	if !(h.HeightM >= path.MinHeightM && h.HeightM <= path.MaxHeightM) {
		return nil, fmt.Errorf("an antenna %g m above the ground: the terrain model holds from %g to %d m", h.HeightM, path.MinHeightM, path.MaxHeightM)
	}
	seen, err := site.From(h.At, list)
	if err != nil {
		return nil, err
	}
	e := &Expectation{Stations: []Expected{}, Wanted: []terrain.Name{}, Missing: []terrain.Name{}}
	e.Far = len(list) - len(seen)
	// In order of bearing, so that each tile is read once or twice.
	slices.SortStableFunc(seen, func(a, b site.Bearings) int { return cmp.Compare(a.BearingDeg, b.BearingDeg) })
	for _, s := range seen {
		if s.DistanceM > MaxDistanceM {
			e.Far++
			continue
		}
		names, err := terrain.Tiles(s.At, h.At)
		if err != nil {
			return nil, err
		}
		for _, n := range names {
			if !slices.Contains(e.Wanted, n) {
				e.Wanted = append(e.Wanted, n)
			}
		}
		x, err := h.one(s, names)
		if err != nil {
			return nil, err
		}
		e.Stations = append(e.Stations, x)
	}
	slices.Sort(e.Wanted)
	for _, n := range e.Wanted {
		if h.Terrain == nil || !h.Terrain.Has(n) {
			e.Missing = append(e.Missing, n)
		}
	}
	e.rivals()
	e.sort()
	return e, nil
}

// one is what is expected of one station.
func (h House) one(s site.Bearings, names []terrain.Name) (Expected, error) {
	x := Expected{Bearings: s}
	channel, ok := h.Plan.Channel(s.RFChannel)
	switch {
	case !ok:
		x.Problem = fmt.Sprintf("there is no channel %d in the plan", s.RFChannel)
	case s.ERPKW == nil || *s.ERPKW == 0:
		x.Problem = "the list does not say how strong it is"
	case s.DistanceM < minDistanceM:
		x.Problem = "too near to be foretold"
	}
	if x.Problem != "" {
		return x, nil
	}
	hz := channel.CenterHz()
	profile, err := h.profile(s, names, &x)
	if err != nil {
		return x, err
	}
	heights, problem := h.heights(s, profile)
	if x.Problem = problem; problem != "" {
		return x, nil
	}
	x.HeightUnknown = len(heights) > 1
	for i, height := range heights {
		predictions, err := h.predict(hz, height, s.DistanceM, profile)
		if err != nil {
			x.Problem = err.Error()
			return x, nil
		}
		for k, p := range predictions {
			f, err := fieldOf(p, profile != nil, *s.ERPKW, hz)
			if err != nil {
				return x, err
			}
			if i == 0 && k == 0 {
				x.Mode, x.Field, x.FieldMost = p.Mode, f.moment, f.most.Value
				if x.Hidden = p.Hidden; p.Hidden {
					x.HiddenM = p.SeenM[1]
				}
				x.Margin = f.most
				continue
			}
			x.Field = x.Field.hull(f.moment)
			x.Margin = x.Margin.hull(f.most)
		}
	}
	h.receive(hz, &x)
	return x, nil
}

// hull widens an interval so that it holds another.
func (i Interval) hull(o Interval) Interval {
	return Interval{i.Value, min(i.Low, o.Low), max(i.High, o.High)}
}

// profile is the ground between station and house; nil where it is not known.
func (h House) profile(s site.Bearings, names []terrain.Name, x *Expected) (*terrain.Profile, error) {
	x.Ground = Smooth
	if h.Terrain == nil {
		x.Missing = names
		return nil, nil
	}
	if !h.Terrain.Sea {
		for _, n := range names {
			if !h.Terrain.Has(n) {
				x.Missing = append(x.Missing, n)
			}
		}
		if len(x.Missing) > 0 {
			return nil, nil
		}
	}
	p, err := h.Terrain.Profile(s.At, h.At)
	if missing := (*terrain.MissingError)(nil); errors.As(err, &missing) {
		x.Missing = append(x.Missing, missing.Name)
		return nil, nil
	}
	if errors.Is(err, terrain.ErrNoHeights) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	x.Ground, x.BridgedM = Profiled, p.BridgedM
	return p, nil
}

// heights are the heights above the ground that a station's antenna may have, the
// likeliest first.
func (h House) heights(s site.Bearings, p *terrain.Profile) (m []float64, problem string) {
	unknown := []float64{usualHeightM, lowHeightM, highHeightM}
	if s.HeightM == nil {
		return unknown, ""
	}
	height := *s.HeightM
	if h.HeightsAboveSea {
		if p == nil {
			return unknown, ""
		}
		height -= p.M[0]
	}
	of := "ground"
	if h.HeightsAboveSea {
		of = "ground that the tiles have there"
	}
	switch {
	case height < path.MinHeightM:
		return nil, fmt.Sprintf("its antenna would be %.0f m below the %s", -height, of)
	case height > path.MaxHeightM:
		return nil, fmt.Sprintf("its antenna would be %.0f m above the %s", height, of)
	}
	return []float64{height}, ""
}

// predict is what the model says of the path: over its profile, or where that is not
// known over a smooth earth and over mountains.
func (h House) predict(hz, height, distanceM float64, p *terrain.Profile) ([]*path.Prediction, error) {
	l := path.Link{Surroundings: path.Television(), FrequencyHz: hz, HeightsM: [2]float64{height, h.HeightM}}
	if p != nil {
		one, err := path.Predict(l, p.Profile)
		return []*path.Prediction{one}, err
	}
	smooth, err := path.PredictOver(l, distanceM, 0)
	if err != nil {
		return nil, err
	}
	hilly, err := path.PredictOver(l, distanceM, hillyM)
	return []*path.Prediction{smooth, hilly}, err
}

// fields are a station's at the house, dBµV/m.
type fields struct {
	moment Interval // the median over time, in whose interval time counts
	most   Interval // reached for most of the time
}

func fieldOf(p *path.Prediction, profiled bool, erpKW, hz float64) (f fields, err error) {
	share := path.Median()
	middle, err := p.LossDB(share)
	if err != nil {
		return f, err
	}
	share.Time = most
	weak, err := p.LossDB(share)
	if err != nil {
		return f, err
	}
	const zMost = 1.2816 // of the normal distribution, for 90 %
	places := math.Hypot(p.SituationDB(), placesDB)
	if !profiled { // it may be a hilltop or a hollow
		places = math.Hypot(places, p.PlacesDB())
	}
	f.moment = around(path.FieldDBuVm(erpKW, hz, middle), math.Hypot(places, (weak-middle)/zMost))
	f.most = around(path.FieldDBuVm(erpKW, hz, weak), places)
	return f, nil
}

// receive turns the field into what antenna, line and receiver make of it.
func (h House) receive(hz float64, x *Expected) {
	gear := h.Gear(hz)
	dipole := band.DipoleFactorDB(hz)
	x.Antenna = x.Field.add(dipole, 0).add(gear.Gain.Value, gear.Gain.sigma())
	chain := func(i Interval) Interval {
		return i.add(-gear.Line.Value, gear.Line.sigma()).add(-thermalDBm-gear.NoiseFigure.Value, gear.NoiseFigure.sigma())
	}
	x.CN = chain(x.Antenna)
	x.Margin = chain(x.Margin.add(dipole, 0).add(gear.Gain.Value, gear.Gain.sigma())).add(-h.ThresholdDB, 0)
	switch {
	case x.Margin.Low >= 0:
		x.Outlook = Likely
	case x.Margin.High < 0:
		x.Outlook = Unlikely
	default:
		x.Outlook = Open
	}
}

// rivals compares stations that share a channel.
func (e *Expectation) rivals() {
	byChannel := map[int][]*Expected{}
	for i := range e.Stations {
		if x := &e.Stations[i]; x.Problem == "" {
			byChannel[x.RFChannel] = append(byChannel[x.RFChannel], x)
		}
	}
	for _, list := range byChannel {
		for _, x := range list {
			for _, o := range list {
				if o == x || x.RivalDB != nil && *x.RivalDB <= x.Field.Value-o.Field.Value {
					continue
				}
				db := x.Field.Value - o.Field.Value
				x.RivalDB, x.Rival = &db, o.Label
			}
		}
	}
}

// sort puts what the household can hope for first.
func (e *Expectation) sort() {
	rank := map[Outlook]int{Likely: 0, Open: 1, Unlikely: 2, "": 3}
	slices.SortStableFunc(e.Stations, func(a, b Expected) int {
		return cmp.Or(cmp.Compare(rank[a.Outlook], rank[b.Outlook]), cmp.Compare(b.Margin.Value, a.Margin.Value),
			cmp.Compare(a.RFChannel, b.RFChannel), cmp.Compare(a.Label, b.Label), cmp.Compare(a.DistanceM, b.DistanceM))
	})
}
