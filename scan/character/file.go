package character

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"unicode"
)

// mostBytes bounds what is read of a file.
const mostBytes = 1 << 20

// FileName returns the name of a radio's file, without its folder: letters,
// digits and a few signs of its name, and what tells it from another that has
// the same of these.
func FileName(radio string) string {
	var hash uint32 = 2166136261 // FNV-1a
	for _, b := range []byte(radio) {
		hash = (hash ^ uint32(b)) * 16777619
	}
	const most = 60
	plain := strings.Map(func(r rune) rune {
		if r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-') {
			return r
		}
		return '_'
	}, radio)
	return fmt.Sprintf("%.*s-%08x.json", most, plain, hash)
}

// Load reads what is kept of a radio in a folder. Where nothing is kept the error
// is fs.ErrNotExist.
func Load(folder, radio string) (*Character, error) {
	name := filepath.Join(folder, FileName(radio))
	fi, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	if !fi.Mode().IsRegular() || fi.Size() > mostBytes {
		return nil, fmt.Errorf("reading %s: it is no file of a radio's character", name)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	c, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	if c.Radio != radio {
		return nil, fmt.Errorf("reading %s: it is of %q", name, c.Radio)
	}
	return c, nil
}

// Parse reads a file's content and refuses what no examination writes.
func Parse(data []byte) (*Character, error) {
	var c Character
	if err := json.Unmarshal(data, &c); err != nil {
		return nil, err
	}
	if c.Version != Version {
		return nil, fmt.Errorf("it has version %d, and %d is known here", c.Version, Version)
	}
	if !(c.RateHz > 0) {
		return nil, errors.New("it has no sample rate")
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	return &c, nil
}

// What no radio is beyond: it may be a stranger's file.
const mostDB, mostPPM, mostPoints = 200, 1000, 10_000

func (c *Character) check() error {
	for _, list := range [][]Point{c.Response, c.NoiseResponse} {
		if len(list) > mostPoints {
			return fmt.Errorf("its response has more than %d points", mostPoints)
		}
		for i, p := range list {
			if p.SigmaDB < 0 || i > 0 && !(p.Share > list[i-1].Share) {
				return errors.New("its response is out of order")
			}
			if math.Abs(p.DB) > mostDB || p.SigmaDB > mostDB {
				return errors.New("its response is that of no radio")
			}
		}
	}
	for _, f := range []struct {
		*Figure
		most float64
	}{{c.ClockPPM, mostPPM}, {c.DriftPPMPerMinute, mostPPM}, {c.DroopDB, mostDB}, {c.FoldingDB, mostDB}, {c.HumpDB, mostDB}} {
		switch {
		case f.Figure == nil:
		case !(f.Sigma >= 0):
			return errors.New("it has an uncertainty below 0")
		case math.Abs(f.Value) > f.most || f.Sigma > f.most:
			return errors.New("it has a figure that is no radio's")
		}
	}
	if !(c.StrayDB >= 0 && c.StrayDB <= mostDB) {
		return errors.New("its pass band moves farther than any radio's")
	}
	return nil
}

// Save keeps what was found of a radio in a folder, which is made, and returns the
// file's name. The file is there complete, or as it was.
func Save(folder string, c *Character) (string, error) {
	name := filepath.Join(folder, FileName(c.Radio))
	data, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return "", fmt.Errorf("writing %s: %w", name, err)
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return "", fmt.Errorf("making the folder for %s: %w", name, err)
	}
	f, err := os.CreateTemp(folder, ".radio-*.part")
	if err != nil {
		return "", fmt.Errorf("writing %s: %w", name, err)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	_, err = f.Write(append(data, '\n'))
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return "", fmt.Errorf("writing %s: %w", name, err)
	}
	return name, nil
}

// Missing reports whether an error of Load says that nothing is kept.
func Missing(err error) bool { return errors.Is(err, fs.ErrNotExist) }
