package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/plot/live"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/site"
)

// said gathers what a program says, to be looked at while it runs.
type said struct {
	mutex sync.Mutex
	text  bytes.Buffer
}

func (s *said) Write(b []byte) (int, error) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.text.Write(b)
}

func (s *said) String() string {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.text.String()
}

// Truth: what the README promises: the page of the real program, with the
// simulated radio keeping to real time, is told of ten readings a second, and
// marks that are said to be kept are in the house file.
func TestAimServesAPhone(t *testing.T) {
	house := filepath.Join(t.TempDir(), "house.jsonl")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	var out, errs said
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"aim", "24", "--from", "sim:harbour", "--page", "loopback", "--site", house, "--lines"},
			strings.NewReader(""), &out, &errs, func(string) string { return "" })
	}()
	address := regexp.MustCompile(`the phone page is (http://127\.0\.0\.1:\d+/[\w-]{22}/)`)
	require.Eventually(t, func() bool { return address.MatchString(errs.String()) }, 20*time.Second, 10*time.Millisecond)
	url := address.FindStringSubmatch(errs.String())[1]
	answer, err := http.Get(url + "events")
	require.NoError(t, err)
	defer answer.Body.Close()
	lines := bufio.NewReader(answer.Body)
	next := func() string {
		for {
			l, err := lines.ReadString('\n')
			require.NoError(t, err)
			if strings.HasPrefix(l, "data: ") {
				return l
			}
		}
	}
	for !strings.Contains(next(), `"state":"measuring"`) {
	}
	// A machine that others use too keeps up at least sometimes; one with the
	// race detector, and a simulated radio, need not.
	rate := 0.0
	for try := 0; try < 6 && rate < 10 && (try == 0 || !testing.Short()); try++ {
		began := time.Now()
		for range 20 {
			next()
		}
		rate = max(rate, 20/time.Since(began).Seconds())
	}
	t.Logf("%.1f updates a second reach the page", rate)
	if !testing.Short() {
		require.GreaterOrEqual(t, rate, 10.)
	}

	mark := func(what string) string {
		r, err := http.NewRequest("POST", url+"mark", strings.NewReader(what))
		require.NoError(t, err)
		r.Header.Set("Origin", url[:strings.Index(url[7:], "/")+7])
		r.Header.Set("Content-Type", "application/json")
		kept, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer kept.Body.Close()
		text, err := io.ReadAll(kept.Body)
		require.NoError(t, err)
		return string(text)
	}
	require.Contains(t, mark(`{"place":"chimney","bearing_deg":98,"quick":true}`), "kept, a quick mark: chimney, 98°")
	require.Contains(t, next(), `"rf_channel":24,"state":"measuring"`)

	if !testing.Short() { // the race detector makes a careful visit long; scan/meter has one
		// A careful one visits what is wanted, not what is aimed at, while the page
		// says so; then the meter goes on.
		yes := true
		require.NoError(t, site.Append(house, site.WantChange{RFChannel: 24, Wanted: &yes}, site.WantChange{RFChannel: 36, Wanted: &yes}))
		said := make(chan string, 1)
		go func() { said <- mark(`{"place":"gable","bearing_deg":98,"height_m":6.5}`) }()
		for !strings.Contains(next(), `"state":"learning","progress":`) {
		}
		require.Contains(t, <-said, "kept: gable, 98° E, 6.5 m; ")
		for !strings.Contains(next(), `"state":"measuring"`) {
		}
		require.Contains(t, next(), `"marks":2,"last_mark":"gable, 98° E, 6.5 m"`)
		h, err := site.Read(house)
		require.NoError(t, err)
		require.Len(t, h.Marks, 2)
		quick, careful := h.Marks[0], h.Marks[1]
		require.Equal(t, site.Live, quick.Look)
		require.Equal(t, "chimney", quick.Place)
		require.Len(t, quick.Heard, 1)
		require.InDelta(t, 1.8, quick.Heard[0].Margin.Value, 0.5)
		require.Equal(t, site.Careful, careful.Look)
		require.Equal(t, 6.5, *careful.HeightM)
		require.Len(t, careful.Heard, 2)
		require.Equal(t, 36, careful.Heard[1].RFChannel)
		require.InDelta(t, 1.8, careful.Heard[0].Margin.Value, 0.4)
	}
	stop()
	select {
	case got := <-code:
		require.Zero(t, got, errs.String())
	case <-time.After(10 * time.Second):
		t.Fatal("it does not end")
	}
}

// Truth: the form that the help gives, and that in which spots are named.
func TestParseSpot(t *testing.T) {
	none := -1000.0
	for text, want := range map[string]struct {
		place           string
		bearing, height float64
	}{
		"chimney":                      {"chimney", none, none},
		" chimney @ 135 ":              {"chimney", 135, none},
		"east@98.5°":                   {"east", 98.5, none},
		"attic, west":                  {"attic, west", none, none},
		"attic, west @ 90, 6.5 m":      {"attic, west", 90, 6.5},
		"mast, 20ft":                   {"mast", none, 6.096},
		"mast @ 131, 20 ft":            {"mast", 131, 6.096},
		"mast @ 131 SE, 6":             {"mast", 131, 6},
		"mast, 131° SE, 20 ft":         {"mast", 131, 6.096},
		"gable, 0° N":                  {"gable", 0, none},
		"barn, room":                   {"barn, room", none, none},
		"barn, 3":                      {"barn, 3", none, none},
		"cellar @ 0, -2 m":             {"cellar", 0, -2},
		"chimney, 135°, 7.2 m":         {"chimney", 135, 7.2},
		"gable, north, 10°":            {"gable, north", 10, none},
		"the place where the elm, m, ": {"the place where the elm, m,", none, none},
	} {
		at, err := parseSpot(text, site.Metres)
		require.NoError(t, err, text)
		require.Equal(t, want.place, at.place)
		for _, x := range []struct {
			want float64
			got  *float64
		}{{want.bearing, at.bearing}, {want.height, at.height}} {
			if x.want == none {
				require.Nil(t, x.got, text)
			} else {
				require.InDelta(t, x.want, *x.got, 1e-9, text)
			}
		}
	}
	for _, text := range []string{"", "  ", "@ 30", "roof @", "roof @ 400", "roof @ NaN", "roof @ north", "roof, 1e9 m", ", 6 m", "roof, high m", "roof @ 131, high", "roof @ 131 NW", "roof, 131° N", "roof @ 131, 9999 m"} {
		_, err := parseSpot(text, site.Metres)
		require.Error(t, err, text)
	}
}

// Truth: what xterm sends for its keys.
func TestKeyLength(t *testing.T) {
	for keys, want := range map[string]int{"n": 1, "\x1b": 1, "\x1b[C": 3, "\x1bOD": 3, "\x1b[1;5Cq": 6, "é": 2, "mx": 1} {
		require.Equal(t, want, keyLength([]byte(keys)), "%q", keys)
	}
}

// Truth: the keys' own help.
func TestKeysOfTheMeter(t *testing.T) {
	some, _, err := (&visitFlags{plan: "us"}).channels([]string{"22,24"})
	require.NoError(t, err)
	session := &aimSession{latest: map[int]meter.Update{}, options: meter.Options{Channels: some}}
	session.meter, err = meter.New(nil, session.options)
	require.NoError(t, err)
	v := &aimScreen{session: session, out: io.Discard, utf8: true, size: func() (int, int) { return 80, 24 }}
	for _, c := range some {
		v.picture.Channels = append(v.picture.Channels, live.Channel{Now: meter.Update{Channel: c}})
	}
	now := time.Now()
	type_ := func(keys string) bool { return v.press([]byte(keys), now) }
	require.False(t, type_("n"))
	require.Equal(t, 1, v.picture.Focus)
	type_("\x1b[D")
	require.Equal(t, 0, v.picture.Focus)
	type_("29")
	require.Equal(t, 1, v.picture.Focus)
	type_("s?")
	require.True(t, v.picture.Muted && v.picture.Help)
	require.False(t, type_("mquiet roof\x7f\x1b"), "q is a letter while a name is typed")
	require.False(t, v.asking)

	type_("mroof\r")
	require.Equal(t, "not kept: there is no reading to mark yet", v.picture.Message)
	u := meter.Update{Channel: some[0], State: meter.Measuring, Margin: &measure.Estimate{Value: 4, Sigma: 0.2}}
	session.note(u)
	type_(" roof @ 12\r")
	require.Equal(t, "noted for this session: roof, 12° NNE", v.picture.Message)
	require.Len(t, session.marks, 1)
	require.Equal(t, site.Live, session.marks[0].Look)
	type_("m@30\r")
	require.Equal(t, "noted for this session: roof, 30° NNE", v.picture.Message)
	require.True(t, type_("q"))
	require.True(t, type_("\x03"))
}

// Truth: the bell's own rule: once where decoding begins, once back at the best.
func TestBell(t *testing.T) {
	some, _, err := (&visitFlags{plan: "us"}).channels([]string{"22"})
	require.NoError(t, err)
	var b bell
	now := time.Now()
	rings := 0
	for _, x := range []struct{ margin, below float64 }{
		{-5, 0}, {-1, 0}, {1, 0}, // begins to decode: once
		{3, 0}, {0.1, 3}, {-0.1, 3}, {0.1, 3}, // at the edge: no chatter
		{2, 2}, {3.1, 0}, {3.2, 0}, // back at the best: once
	} {
		now = now.Add(2 * time.Second)
		if b.rings(meter.Update{Channel: some[0], Margin: &measure.Estimate{Value: x.margin}, BelowBestDB: x.below}, now) {
			rings++
		}
	}
	require.Equal(t, 2, rings)
}

// Truth: what was said of the result: a name, and figures in range or none; and
// what a spot is called reads as that spot.
func FuzzParseSpot(f *testing.F) {
	for _, s := range []string{"chimney @ 135", "a@@1", "@", "x @ 1e400", "y@-0", "z, 3 m", "q @ 3, 2 ft", "w, 9°, 1 m"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		at, err := parseSpot(s, site.Feet)
		if err != nil {
			return
		}
		if at.place == "" || at.bearing != nil && !(*at.bearing >= 0 && *at.bearing <= 360) || at.height != nil && !(*at.height >= -500 && *at.height <= 9000) {
			t.Fatalf("%q gave %v", s, at)
		}
	})
}

// Truth: a key takes at least a byte, and no more than there are.
func FuzzKeyLength(f *testing.F) {
	f.Add([]byte("\x1b[1;5C"))
	f.Add([]byte{0xff, 0x1b, '['})
	f.Fuzz(func(t *testing.T, b []byte) {
		if n := keyLength(b); len(b) > 0 && (n < 1 || n > len(b)) {
			t.Fatalf("%q: %d", b, n)
		}
	})
}

// Truth: the documented rule: a number alone is in the house's units.
func TestParseSpotInFeet(t *testing.T) {
	at, err := parseSpot("mast @ 131, 20", site.Feet)
	require.NoError(t, err)
	require.InDelta(t, 6.096, *at.height, 1e-9)
	require.Empty(t, at.units)
	at, err = parseSpot("mast @ 131, 6 m", site.Feet)
	require.NoError(t, err)
	require.InDelta(t, 6, *at.height, 1e-9)
	require.Equal(t, site.Metres, at.units)
}
