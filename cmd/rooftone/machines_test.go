package main

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var otherProgram = flag.String("program", "", "`COMMAND` that runs rooftone built for another machine, such as an emulator and it; stories run that, and TestElsewhere compares")

// elsewhere puts a rooftone in front of the path that is the other machine's.
func elsewhere(t *testing.T) {
	dir := t.TempDir()
	script := "#!/bin/sh\nexec " + *otherProgram + ` "$@"` + "\n"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "rooftone"), []byte(script), 0o777))
	t.Setenv("PATH", dir+string(filepath.ListSeparator)+os.Getenv("PATH"))
}

// leftBehind is what a program left behind.
type leftBehind struct {
	code        int
	out, errors string
	files       []string
}

func leave(t *testing.T, command ...string) leftBehind {
	dir := t.TempDir()
	var out, errors bytes.Buffer
	c := exec.Command(command[0], command[1:]...)
	c.Dir, c.Stdout, c.Stderr = dir, &out, &errors
	c.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "NO_COLOR=1", "COLUMNS=100", "ROOFTONE_RADIOS="+t.TempDir())
	if err := c.Run(); c.ProcessState == nil {
		t.Fatal(err)
	}
	return leftBehind{c.ProcessState.ExitCode(), out.String(), errors.String(), names(t, dir)}
}

// Truth: this machine. What another prints must have the same words and the same
// figures, but for one in the last place shown: some processors round a product and
// a sum once, others twice, and their logarithms differ in the last bit, so that now
// and then a figure falls on the other side of a half.
func TestElsewhere(t *testing.T) {
	if *otherProgram == "" {
		t.Skip("-program names no other machine's")
	}
	for _, args := range []string{
		"sweep 28 --from sim:harbour --json",
		"help sweep",
	} {
		t.Run(args, func(t *testing.T) {
			here := leave(t, append([]string{"rooftone"}, strings.Fields(args)...)...)
			there := leave(t, append(strings.Fields(*otherProgram), strings.Fields(args)...)...)
			require.Equal(t, here.code, there.code, there.errors)
			require.Equal(t, here.files, there.files)
			require.NoError(t, alike(here.errors, there.errors))
			require.NotEmpty(t, here.out)
			require.NoError(t, alike(here.out, there.out))
		})
	}
}

var anyFigure = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?`)

// alike wants the same words and, within one in the last place, the same figures.
func alike(a, b string) error {
	wordsA, wordsB := anyFigure.ReplaceAllString(a, "#"), anyFigure.ReplaceAllString(b, "#")
	if wordsA != wordsB {
		return fmt.Errorf("words differ:\n%s\n%s", a, b)
	}
	figuresA, figuresB := anyFigure.FindAllString(a, -1), anyFigure.FindAllString(b, -1)
	for i, f := range figuresA {
		x, err := strconv.ParseFloat(f, 64)
		y, err2 := strconv.ParseFloat(figuresB[i], 64)
		if err != nil || err2 != nil {
			return fmt.Errorf("%q, %q: not both are numbers", f, figuresB[i])
		}
		last := math.Pow(10, -float64(max(decimals(f), decimals(figuresB[i]))))
		if math.Abs(x-y) > 1.01*last {
			return fmt.Errorf("figure %d is %s and %s", i, f, figuresB[i])
		}
	}
	return nil
}

// decimals is how many digits stand behind the point.
func decimals(figure string) int {
	_, behind, _ := strings.Cut(figure, ".")
	return len(behind)
}

func TestAlike(t *testing.T) {
	// Truth: by hand.
	require.NoError(t, alike("28 firm -2.7 ±0.3", "28 firm -2.6 ±0.3"))
	require.NoError(t, alike(`{"a":-0.1,"b":2}`, `{"a":0,"b":2}`))
	require.NoError(t, alike("3.0 dB", "3 dB"))
	require.Error(t, alike("28 firm -2.7", "28 firm -2.5"))
	require.Error(t, alike("28 firm -2.7", "28 slim -2.7"))
	require.Error(t, alike("1.25", "1.3"))
	require.Error(t, alike("1 2", "1"))
}
