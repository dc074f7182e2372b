package main

import (
	"os"
	"runtime"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"golang.org/x/term"
)

// screen is what the place where results go can show.
type screen struct {
	width  int  // columns
	utf8   bool // letters and blocks beyond ASCII
	colour bool // 24 bits of it
}

// looks are the flags that overrule what the screen seems to be able to do.
type looks struct {
	ascii  bool
	colour string // auto, always or never
}

func (l *looks) declare(fs *pflag.FlagSet) {
	l.colour = "auto"
	fs.BoolVar(&l.ascii, "ascii", false, "use nothing but ASCII")
	fs.Var(&choice{to: &l.colour, words: []string{"auto", "always", "never"}}, "color", "`WHEN` to use colour: auto, always or never; NO_COLOR is obeyed")
}

const (
	narrowest    = 40
	defaultWidth = 80
)

// screenFor finds out what standard output can show. Piped output has 80
// columns unless COLUMNS says otherwise, and no colour; NO_COLOR and
// TERM=dumb are obeyed.
func (c *console) screenFor(l looks) screen {
	s := screen{width: defaultWidth, utf8: !l.ascii && localeIsUTF8(c.env)}
	terminal := isTerminal(c.stdout)
	if terminal {
		if w, _, err := term.GetSize(int(c.stdout.(*os.File).Fd())); err == nil && w > 0 {
			s.width = w
		}
	} else if w, err := strconv.Atoi(c.env("COLUMNS")); err == nil && w > 0 {
		s.width = w
	}
	s.width = max(s.width, narrowest)
	switch l.colour {
	case "always":
		s.colour = true
	case "never":
	default:
		s.colour = terminal && c.env("NO_COLOR") == "" && c.env("TERM") != "dumb" && has24BitColour(c.env)
	}
	return s
}

// stderrWidth is how wide a terminal standard error is; 0 where it is none, so that
// what is said stays a line for whatever reads it.
func (c *console) stderrWidth() int {
	if !isTerminal(c.stderr) {
		return 0
	}
	w, _, err := term.GetSize(int(c.stderr.(*os.File).Fd()))
	if err != nil || w < narrowest {
		return 0
	}
	return w
}

// has24BitColour reports whether the terminal says that it can show any
// colour. Those that cannot do not ignore one but show another.
func has24BitColour(env func(string) string) bool {
	switch env("COLORTERM") {
	case "truecolor", "24bit":
		return true
	}
	return strings.HasSuffix(env("TERM"), "-direct") || env("WT_SESSION") != ""
}

// localeIsUTF8 reads the locale as POSIX orders it: LC_ALL, then LC_CTYPE,
// then LANG. Without any, only systems whose terminals are UTF-8 throughout
// are taken to be.
func localeIsUTF8(env func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := env(name); v != "" {
			v = strings.ToLower(v)
			return strings.Contains(v, "utf-8") || strings.Contains(v, "utf8")
		}
	}
	return runtime.GOOS == "darwin" || runtime.GOOS == "windows"
}
