package sim

import (
	"embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"sort"
	"strings"

	"github.com/BurntSushi/toml"
)

//go:embed towns/*.toml
var towns embed.FS

// maxTownBytes bounds a town file; the largest built-in one has a few thousand.
const maxTownBytes = 1 << 20

// Names returns the names of the built-in towns, the demonstration first.
func Names() []string {
	entries, err := towns.ReadDir("towns")
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".toml"))
	}
	sort.SliceStable(names, func(i, j int) bool { return names[i] == Demo && names[j] != Demo })
	return names
}

// Demo is the name of the built-in town that shows the most.
const Demo = "harbour"

// Load returns a built-in town by its name, or the town in a file whose path
// ends in .toml.
func Load(nameOrPath string) (Town, error) {
	if !strings.HasSuffix(nameOrPath, ".toml") {
		text, err := towns.ReadFile(path.Join("towns", nameOrPath+".toml"))
		if err != nil || !townName.MatchString(nameOrPath) {
			return Town{}, fmt.Errorf("no simulated town named %.60q: use one of %s, or the path of a file that ends in .toml",
				nameOrPath, strings.Join(Names(), ", "))
		}
		return named(nameOrPath, text)
	}
	f, err := os.Open(nameOrPath)
	if err != nil {
		return Town{}, fmt.Errorf("opening the town file: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxTownBytes+1))
	if err != nil {
		return Town{}, fmt.Errorf("reading the town file: %w", err)
	}
	return named(nameOrPath, text)
}

func named(source string, text []byte) (Town, error) {
	t, err := Parse(text)
	if err != nil {
		return Town{}, fmt.Errorf("reading town %s: %w", source, err)
	}
	return t, nil
}

// townFile is the layout of a town file.
type townFile struct {
	Town struct {
		Name  string `toml:"name"`
		About string `toml:"about"`
	} `toml:"town"`
	Radio struct {
		Model string `toml:"model"`
		Radio
	} `toml:"radio"`
	Antenna *Antenna `toml:"antenna"`

	Preamplifier *Preamplifier `toml:"preamplifier"`
	Lead         *Lead         `toml:"lead"`
	Outside      *Outside      `toml:"outside"`

	Station  []Station  `toml:"station"`
	Tone     []Tone     `toml:"tone"`
	Service  []Service  `toml:"service"`
	Impulses []Impulses `toml:"impulses"`
	Loss     []Loss     `toml:"loss"`
}

// Parse reads a town file. Its [radio] table says how the radio differs from
// the one that its model names. A key that is not
// known, a value out of its range and a missing name are errors.
func Parse(text []byte) (Town, error) {
	if len(text) > maxTownBytes {
		return Town{}, fmt.Errorf("a town file has at most %d bytes", maxTownBytes)
	}
	var f townFile
	if _, err := decode(text, &f); err != nil { // for the model alone
		return Town{}, err
	}
	radio, err := RadioOf(f.Radio.Model)
	if err != nil {
		return Town{}, err
	}
	f = townFile{}
	f.Radio.Radio = radio
	meta, err := decode(text, &f)
	if err != nil {
		return Town{}, err
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return Town{}, fmt.Errorf("%.80q is not a key that a town file has", unknown[0].String())
	}
	t := Town{
		Name: f.Town.Name, About: strings.TrimSpace(f.Town.About), Radio: f.Radio.Radio, Antenna: f.Antenna, Preamplifier: f.Preamplifier, Lead: f.Lead, Outside: f.Outside,
		Stations: f.Station, Tones: f.Tone, Services: f.Service, Impulses: f.Impulses, Losses: f.Loss,
	}
	if err := t.Validate(); err != nil {
		return Town{}, err
	}
	return t, nil
}

// decode is toml.Decode with its error on one line.
func decode(text []byte, f *townFile) (toml.MetaData, error) {
	meta, err := toml.Decode(string(text), f)
	var parse toml.ParseError
	if errors.As(err, &parse) {
		err = fmt.Errorf("line %d: %s", parse.Position.Line, parse.Message)
	}
	return meta, err
}
