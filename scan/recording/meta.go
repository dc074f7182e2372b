package recording

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

// Meta is what a recording tells of its making, beside its samples. What is
// not known stays empty or nil.
type Meta struct {
	// Datatype is the native sample format of the source, tuner.Info's
	// Datatype. A Writer keeps cu8, ci8 and ci16_le as they are and writes all
	// else as cf32_le.
	Datatype string

	Hardware    string // the radio
	Recorder    string // the program; "" is written as "rooftone"
	Author      string
	Description string
	License     string // a URL

	// Clock is what the radio's frequencies hang on, so that its own tones are
	// known in the recording too.
	Clock tuner.ClockSource

	// Radio is what an examination found of the radio, so that what it is like is
	// known wherever the recording is measured.
	Radio *character.Character

	Position *Position
	Antenna  *Antenna
}

// Position is a place on the WGS 84 ellipsoid.
type Position struct {
	LongitudeDeg float64  // east
	LatitudeDeg  float64  // north
	AltitudeM    *float64 // above the ellipsoid
}

// Antenna is what SigMF's antenna extension tells of the antenna.
type Antenna struct {
	Model        string // make and model
	Type         string // such as "dipole"
	GainDBi      *float64
	CableLossDB  *float64
	HeightM      *float64 // above the ground
	BearingDeg   *float64 // of the main beam, clockwise from north
	ElevationDeg *float64 // of the main beam, from the horizon
	Polarization string   // such as "horizontal"
}

// program is what this program calls itself in its recordings.
const program = "rooftone"

// unknownModel stands for a model that was not given: the antenna extension
// asks for one.
const unknownModel = "unknown"

// check refuses what no recording should carry.
func (m Meta) check() error {
	if p := m.Position; p != nil {
		if !(math.Abs(p.LatitudeDeg) <= 90 && math.Abs(p.LongitudeDeg) <= 180) {
			return fmt.Errorf("latitude %g, longitude %g is no place on Earth", p.LatitudeDeg, p.LongitudeDeg)
		}
		if err := checkFinite(p.AltitudeM); err != nil {
			return fmt.Errorf("altitude %w", err)
		}
	}
	if _, err := m.radio(); err != nil {
		return err
	}
	if a := m.Antenna; a != nil {
		for _, v := range []*float64{a.GainDBi, a.CableLossDB, a.HeightM, a.BearingDeg, a.ElevationDeg} {
			if err := checkFinite(v); err != nil {
				return fmt.Errorf("antenna: %w", err)
			}
		}
	}
	return nil
}

// radio writes the radio's character as its file has it; nil where there is none.
func (m Meta) radio() (json.RawMessage, error) {
	if m.Radio == nil {
		return nil, nil
	}
	text, err := json.Marshal(m.Radio)
	if err == nil {
		_, err = character.Parse(text)
	}
	if err == nil && len(text) > maxCharacterBytes {
		err = fmt.Errorf("it has %d bytes, more than %d", len(text), maxCharacterBytes)
	}
	if err != nil {
		return nil, fmt.Errorf("the radio's character: %w", err)
	}
	return text, nil
}

func checkFinite(v *float64) error {
	if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
		return errors.New("is not a finite number")
	}
	return nil
}

// recorded is a capture as a Writer keeps it.
type recorded struct {
	span
	until int64 // the first sample behind it
}

// fields makes the global object's part that Meta fills.
func (m Meta) fields() globalObject {
	g := globalObject{
		Recorder:    m.Recorder,
		Hardware:    m.Hardware,
		Author:      m.Author,
		Description: m.Description,
		License:     m.License,
	}
	if g.Recorder == "" {
		g.Recorder = program
	}
	if c := m.Clock; c.ReferenceHz > 0 {
		g.ReferenceHz = &c.ReferenceHz
	}
	g.Radio, _ = m.radio() // check has seen it
	if p := m.Position; p != nil {
		g.Geolocation = &point{"Point", []float64{p.LongitudeDeg, p.LatitudeDeg}}
		if p.AltitudeM != nil {
			g.Geolocation.Coordinates = append(g.Geolocation.Coordinates, *p.AltitudeM)
		}
	}
	if a := m.Antenna; a != nil {
		model := a.Model
		if model == "" {
			model = unknownModel
		}
		g.AntennaModel, g.AntennaType, g.AntennaGain = &model, a.Type, a.GainDBi
		g.AntennaCableLoss, g.AntennaHeight = a.CableLossDB, a.HeightM
		g.Extensions = append(g.Extensions, extension{"antenna", "1.0.0", true})
	}
	return g
}

// whole makes the annotation over all samples. Its count is what tells a
// reader that a recording is complete, and it carries where the antenna looked.
func (m Meta) whole(samples int64) annotationObject {
	start, count := index(0), index(samples)
	o := annotationObject{SampleStart: &start, SampleCount: &count, Generator: program, Comment: "the whole recording"}
	if a := m.Antenna; a != nil {
		o.Azimuth, o.Elevation, o.Polarization = a.BearingDeg, a.ElevationDeg, a.Polarization
	}
	return o
}
