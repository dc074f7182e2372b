package scan

import (
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// realDir has TestRealRecordings take the recordings of another folder: -real
// DIR -draws 125 for 500 visits.
var realDir = flag.String("real", "../testdata/real", "take real recordings (.cu8, .cf32; names that tell the rate) from this folder")

// recording is something that a real radio heard which is no station.
type recording struct {
	name   string
	rate   float64
	x      []complex64
	bursts bool // in noise: it may pass for vacant
	hiss   bool // little else than noise: it may where nothing is quieter
}

var (
	rateInMS = regexp.MustCompile(`_s([0-9.]+)[_.]`)          // _s1.92_
	rateByM  = regexp.MustCompile(`_([0-9]+)M([0-9]*)\.c..?`) // _2M4.cu8
)

// rateOf reads a sample rate from a recording's name; 2 MS/s, usual for the
// bursts at 1090 MHz, where there is none.
func rateOf(name string) float64 {
	text := "2"
	if m := rateInMS.FindStringSubmatch(name); m != nil {
		text = strings.TrimSuffix(m[1], ".")
	} else if m := rateByM.FindStringSubmatch(name); m != nil {
		text = m[1] + "." + m[2]
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 2e6
	}
	return v * 1e6
}

// recordings reads a folder.
func recordings(t *testing.T, dir string) []recording {
	t.Helper()
	var out []recording
	files, err := filepath.Glob(filepath.Join(dir, "*.c*"))
	require.NoError(t, err)
	for _, name := range files {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		r := recording{name: filepath.Base(name), rate: rateOf(filepath.Base(name))}
		switch filepath.Ext(name) {
		case ".cu8":
			for i := 0; i+1 < len(raw); i += 2 {
				r.x = append(r.x, complex((float32(raw[i])-127.5)/127.5, (float32(raw[i+1])-127.5)/127.5))
			}
		case ".cf32":
			one := func(at int) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(raw[at:])) }
			for i := 0; i+7 < len(raw); i += 8 {
				r.x = append(r.x, complex(one(i), one(i+4)))
			}
		default:
			continue
		}
		for _, word := range []string{"1090", "wmbus", "burst"} {
			r.bursts = r.bursts || strings.Contains(r.name, word)
		}
		r.hiss = strings.Contains(r.name, "f1860")
		out = append(out, r)
	}
	require.NotEmpty(t, out, "no recordings in %s", dir)
	return out
}

// spliced is a visit to five channels: what was put where, and the stays.
type spliced struct {
	channels []band.Channel
	put      map[int]string // by channel, what fills it
	full     map[int]bool   // it may not pass for vacant
	stays    []heard
}

// splicedVisit fills some or all of five channels with windows of recordings.
func splicedVisit(w *world, all []recording) spliced {
	out := spliced{put: map[int]string{}, full: map[int]bool{}}
	first := w.rng.IntN(19)
	plan := band.Plans()[0]
	for k := range 5 {
		c, _ := plan.Channel(14 + first + k)
		out.channels = append(out.channels, c)
	}
	filled := 1 + w.rng.IntN(3)
	if w.rng.IntN(3) == 0 {
		filled = len(out.channels)
	}
	rate := all[w.rng.IntN(len(all))].rate
	// Now and then a recording is played at another rate: other services.
	relabel := rate < 3e6 && w.rng.IntN(4) == 0
	var fit []recording
	for _, r := range all {
		if r.rate == rate || relabel && r.rate < 3e6 {
			fit = append(fit, r)
		}
	}
	if relabel {
		rate = []float64{1.92e6, 2e6, 2.4e6}[w.rng.IntN(3)]
	}
	const loudestDB = 30
	w.level = math.Sqrt(power(-12-loudestDB) / rate)
	seconds := 0.06
	hops := []float64{1e6, 3e6, 5e6}
	if rate > 6e6 {
		hops, seconds = hops[1:2], 0.02
	}
	order := w.rng.Perm(len(out.channels))
	quietest, hiss := 0.0, map[int]float64{}
	if filled == len(out.channels) {
		quietest = loudestDB
	}
	for k, c := range out.channels {
		var r recording
		level := 0.0
		if order[k] < filled {
			r = fit[w.rng.IntN(len(fit))]
			level = 6 + (loudestDB-6)*w.rng.Float64()
			out.put[c.Number] = fmt.Sprintf("%s at %.0f dB", r.name, level)
			out.full[c.Number] = !r.bursts
			quietest = math.Min(quietest, level)
			if r.hiss {
				hiss[c.Number] = level
			}
		}
		for _, at := range hops {
			if r.x == nil {
				out.stays = append(out.stays, w.splice(c.LowerHz+at, rate, seconds, 0, []complex64{0}))
				continue
			}
			out.stays = append(out.stays, w.splice(c.LowerHz+at, rate, seconds, level, r.x))
		}
	}
	for number, level := range hiss {
		const clearDB = 6
		out.full[number] = level >= quietest+clearDB
	}
	return out
}

// Truth: none of the recordings holds a television station, see their README;
// cellular downlinks at 6 dB and more over the noise fill a channel. One of them
// is hardly more than a radio's noise: without its repeats, and alike in all of
// the slice. That alone cannot be told from a vacant channel; where another is
// quieter by 6 dB at the same gain it can.
func TestRealRecordings(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	all := recordings(t, *realDir)
	stations, vacant := tally{about: "real recordings taken for a station"}, tally{about: "full channels taken for vacant"}
	visits, full, bursts := 0, 0, 0
	words := map[measure.Presence]int{}
	for draw := range ensemble(4) {
		w := newWorld(uint64(draw+5001), nil, ffts)
		v := splicedVisit(w, all)
		o := Options{Channels: v.channels, Plan: v.channels}
		if draw%2 == 1 {
			o.Plan = usChannels(t, "2-36")
		}
		visits++
		for _, c := range survey(t, v.stays, o).Channels {
			what, filled := v.put[c.Channel.Number]
			switch {
			case v.full[c.Channel.Number]:
				full++
				words[c.Presence]++
			case filled:
				bursts++
			}
			about := fmt.Sprintf("draw %d, channel %d of %d, %d full, at %g MS/s: %q: %q %q %q %v", draw, c.Channel.Number,
				v.channels[0].Number, len(v.put), v.stays[0].RateHz/1e6, what, c.Presence, c.Standard, c.Grade, c.Suspicion)
			if c.Presence == measure.Present {
				stations.fault("%s", about)
			}
			if v.full[c.Channel.Number] && c.Presence != measure.Unsure {
				vacant.fault("%s", about)
			}
		}
	}
	t.Logf("%d visits, %d full channels (%v), %d with bursts; taken for a station %d, full ones not unsure %d",
		visits, full, words, bursts, len(stations.wrong), len(vacant.wrong))
	stations.log(t)
	vacant.log(t)
	stations.faultless(t)
	vacant.faultless(t)
}
