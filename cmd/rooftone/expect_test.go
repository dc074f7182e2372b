package main

import (
	"encoding/binary"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

// tile FILE HEIGHT [ROW RIDGE] writes a tile of 3 arc seconds at one height, with a
// ridge from west to east on some rows about one, counted from the north.
func writeTile(ts *testscript.TestScript, _ bool, args []string) {
	var numbers []int
	for _, a := range args[1:] {
		n, err := strconv.Atoi(a)
		ts.Check(err)
		numbers = append(numbers, n)
	}
	const side = 1201
	var b []byte
	for row := range side {
		h := numbers[0]
		if len(numbers) == 3 && row >= numbers[1] && row < numbers[1]+4 {
			h = numbers[2]
		}
		for range side {
			b = binary.BigEndian.AppendUint16(b, uint16(int16(h)))
		}
	}
	name := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(filepath.Dir(name), 0o777))
	ts.Check(os.WriteFile(name, b, 0o666))
}

// Truth: the README: every field that expect --json prints is described there.
func TestExpectFieldsAreDocumented(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, text, ok := strings.Cut(string(readme), "`rooftone expect --json` prints")
	require.True(t, ok)
	text, _, _ = strings.Cut(text, "\n### ")
	for _, of := range []reflect.Type{reflect.TypeFor[expectReport](), reflect.TypeFor[expectedReport]()} {
		for i := range of.NumField() {
			name := of.Field(i).Tag.Get("json")
			require.Contains(t, text, "`"+name+"`")
		}
	}
	b, err := json.Marshal(expectedReport{})
	require.NoError(t, err)
	require.NotContains(t, string(b), "omitempty")
}
