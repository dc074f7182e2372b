package bundle

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Characters is where it is known what radios are like: a JSON object for each
// that was measured.
type Characters interface {
	// Character returns that of a radio by its tuner.Info's Name; nil where
	// there is none.
	Character(radio string) (json.RawMessage, error)
}

// tellingKeys are words in the name of a JSON field whose value tells one radio,
// person or place from another. A character's figures are what is wanted of it.
var tellingKeys = []string{
	"serial", "name", "user", "owner", "host", "address", "path", "file", "url", "source",
	"place", "location", "latitude", "longitude", "radio", "device", "label", "note", "comment",
}

// tellingNumbers are those of fields that are numbers: a gain's name_db, for one, is
// a figure.
var tellingNumbers = []string{"serial", "location", "latitude", "longitude", "unix"}

// Bare is a character without what tells one radio from others of its kind: the
// fields of tellingKeys, every text that holds one of the secrets or a serial number
// that it gives, and of times all that is finer than the day.
func Bare(character json.RawMessage, secrets ...string) (json.RawMessage, error) {
	dec := json.NewDecoder(bytes.NewReader(character))
	dec.UseNumber() // figures stay as they are written
	var v map[string]any
	if err := dec.Decode(&v); err != nil {
		return nil, fmt.Errorf("the radio's character is no JSON object: %w", err)
	}
	if dec.More() {
		return nil, fmt.Errorf("the radio's character goes on behind its closing brace")
	}
	bare, _ := bareValue("", v, append(serials("", v), secrets...))
	out, err := json.MarshalIndent(bare, "", "  ")
	if err == nil && len(out) > maxCharacterBytes {
		err = fmt.Errorf("the radio's character has %d bytes, more than %d", len(out), maxCharacterBytes)
	}
	return out, err
}

// serials are the serial numbers that a value gives.
func serials(key string, v any) (out []string) {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			out = append(out, serials(k, inner)...)
		}
	case []any:
		for _, inner := range v {
			out = append(out, serials(key, inner)...)
		}
	case string:
		if v != "" && strings.Contains(strings.ToLower(key), "serial") {
			out = append(out, v)
		}
	}
	return out
}

// bareValue is a value without what must not be told, and whether anything is left.
func bareValue(key string, v any, secrets []string) (any, bool) {
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, inner := range v {
			if secret(k, secrets) {
				continue
			}
			if bare, ok := bareValue(k, inner, secrets); ok {
				out[k] = bare
			}
		}
		return out, true
	case []any:
		out := []any{}
		for _, inner := range v {
			if bare, ok := bareValue(key, inner, secrets); ok {
				out = append(out, bare)
			}
		}
		return out, true
	case string:
		if telling(key) || secret(v, secrets) {
			return nil, false
		}
		return dayOnly(v), true
	case json.Number:
		if holdsAny(strings.ToLower(key), tellingNumbers) || len(v) > fewLetters && secret(v.String(), secrets) {
			return nil, false
		}
		return v, true
	}
	return v, true
}

func telling(key string) bool { return holdsAny(strings.ToLower(key), tellingKeys) }

// fewLetters is how short a secret may be to stand in any text by chance.
const fewLetters = 3

// secret reports whether a text holds one of the secrets. Those of a few letters,
// such as the serial number 1, stand in any text: of them it has to be all.
func secret(s string, secrets []string) bool {
	return slices.ContainsFunc(secrets, func(w string) bool { return s == w || len(w) > fewLetters && strings.Contains(s, w) })
}

func holdsAny(s string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(s, w) })
}

// dayOnly is a text without the part of a time that is finer than the day.
func dayOnly(s string) string {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05", time.DateTime, time.RFC1123, time.RFC1123Z} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC().Format(time.DateOnly)
		}
	}
	return s
}
