package plot

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// strange makes surveys of a kind that nobody should hand in.
type strange struct{ *rand.Rand }

func (r strange) number() float64 {
	odd := []float64{0, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64,
		math.SmallestNonzeroFloat64, 1e-300, 3, 9, 30, -20, 1e6}
	if r.IntN(2) == 0 {
		return odd[r.IntN(len(odd))]
	}
	return 60 * r.NormFloat64()
}

func (r strange) text() string {
	odd := []string{"", "weak", "co-channel", "\x1b[2J", "line\nline", "<script>&\"'", "\xff\xfe", "a\u0000b",
		"屋根の上", "\u202e", "e\u0301", "🏠", strings.Repeat("long", 400), strings.Repeat("wide 屋 ", 80), "\\", "%d%s"}
	return odd[r.IntN(len(odd))]
}

func (r strange) estimate() *measure.Estimate {
	if r.IntN(4) == 0 {
		return nil
	}
	return &measure.Estimate{Value: r.number(), Sigma: r.number()}
}

func (r strange) survey() *scan.Survey {
	s := &scan.Survey{Source: r.text(), Interrupted: r.IntN(2) == 0, FalseAlarm: r.number()}
	if r.IntN(2) == 0 {
		s.Started = time.Unix(r.Int64N(1e11), 0).UTC()
		s.Clock = &measure.Clock{PPM: measure.Estimate{Value: r.number()}, Given: r.IntN(2) == 0, Stations: r.IntN(5) - 1}
	}
	for range r.IntN(60) {
		ch := band.Channel{Number: r.IntN(70), LowerHz: 54e6 + 6e6*float64(r.IntN(110))}
		if r.IntN(20) == 0 {
			ch = band.Channel{Number: int(r.Int64()), LowerHz: r.number()}
		}
		c := scan.Channel{Reading: measure.Reading{
			Channel: ch, Margin: r.estimate(), CN: r.estimate(), NoiseDBFS: r.estimate(),
			Presence: []measure.Presence{measure.Vacant, measure.Present, measure.Unsure, "", "odd"}[r.IntN(5)],
			Noise:    measure.NoiseMethod(r.text()), ClippedFraction: r.number(), LostSamples: r.IntN(3) == 0,
		}}
		if r.IntN(5) > 0 {
			c.Seen = []band.Span{ch.Span(), {LowHz: r.number(), HighHz: r.number()}}[:1+r.IntN(2)]
		}
		if r.IntN(2) == 0 {
			g := r.number()
			c.GainDB, c.Pilot = &g, &measure.Pilot{}
		}
		c.Grade = []verdict.Grade{"", verdict.Firm, verdict.Grade(r.text())}[r.IntN(3)]
		c.Standard = []measure.Standard{"", measure.ATSC1, measure.ATSC3, measure.OtherStandard, "odd"}[r.IntN(5)]
		c.MER, c.Tilt, c.Ripple, c.CNPower, c.PowerDBm = r.estimate(), r.estimate(), r.estimate(), r.estimate(), r.estimate()
		for range r.IntN(4) {
			c.SliceMER = append(c.SliceMER, measure.SliceMER{CenterHz: 1e5 * r.number(), MER: measure.Estimate{Value: r.number(), Sigma: r.number()}})
		}
		if r.IntN(2) == 0 {
			c.Echoes = []measure.Echo{}
		}
		for range r.IntN(40) * r.IntN(2) {
			c.Echoes = append(c.Echoes, measure.Echo{
				DelayUS: measure.Estimate{Value: r.number() / 3, Sigma: math.Abs(r.number())}, LevelDB: measure.Estimate{Value: -math.Abs(r.number()), Sigma: r.number()},
			})
		}
		for range r.IntN(200) * r.IntN(2) {
			c.Response = append(c.Response, measure.ResponsePoint{OffsetHz: 1e5 * r.number(), LevelDB: measure.Estimate{Value: r.number(), Sigma: r.number()}})
		}
		c.MarginMethod = measure.MarginMethod(r.text())
		for range r.IntN(5) {
			c.Advice = append(c.Advice, r.text())
			c.Reasons = append(c.Reasons, verdict.Reason{Limit: verdict.Limit(r.text()), Evidence: r.text()})
			c.Suspicion = append(c.Suspicion, measure.Doubt(r.text()))
		}
		s.Channels = append(s.Channels, c)
	}
	s.Spectrum = &psd.Spectrum{StartHz: 50e6 + 1e6*r.number(), StepHz: 1e4 * math.Abs(r.number()), Density: make([]float64, r.IntN(5000))}
	for i := range s.Spectrum.Density {
		s.Spectrum.Density[i] = 1e-12 * r.number()
	}
	return s
}

// Truth: our own promise that no input makes a renderer panic, leave its width
// or write what is not a picture.
func TestStrangeSurveys(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	r := strange{rand.New(rand.NewPCG(20, 31))}
	for i := range 200 {
		s := r.survey()
		c := scan.Channel{}
		if len(s.Channels) > 0 {
			c = s.Channels[r.IntN(len(s.Channels))]
		}
		for _, o := range []TextOptions{{}, {UTF8: true, All: true, Width: 40 + r.IntN(150)}} {
			var b bytes.Buffer
			require.NoError(t, Rows(&b, s, o))
			require.NoError(t, Details(&b, c, s, o))
			for _, line := range strings.Split(b.String(), "\n") {
				require.LessOrEqual(t, width(line), max(o.Width, 80), "%q", line)
				require.NotContains(t, line, "\x1b")
			}
		}
		if i%5 != 0 {
			continue
		}
		if i%10 == 0 {
			s.Channels = s.Channels[:min(len(s.Channels), 1)]
		}
		formats := []string{"svg"}
		if i == 100 {
			formats = []string{"svg", "png", "pdf"}
		}
		for _, f := range formats {
			for name, draw := range pictures(c) {
				var b bytes.Buffer
				if err := draw(&b, f, s, Options{Title: r.text(), ThresholdDB: r.number()}); err != nil {
					require.ErrorContains(t, err, "no spectrum")
				} else if f == "svg" {
					checkSVG(t, name, b.Bytes())
				}
			}
		}
	}
}

// pictures are all that is drawn of a survey and, for one, of a channel.
func pictures(c scan.Channel) map[string]func(io.Writer, string, *scan.Survey, Options) error {
	return map[string]func(io.Writer, string, *scan.Survey, Options) error{
		"skyline": Skyline, "spectrum": Spectrum, "echoes": Echoes, "response": Response,
		"explain": func(w io.Writer, format string, s *scan.Survey, o Options) error { return Explain(w, format, c, s, o) },
	}
}

func checkSVG(t *testing.T, name string, data []byte) {
	t.Helper()
	require.NoError(t, wellFormed(data), name)
	require.NotContains(t, string(data), "NaN", name)
	require.NotContains(t, string(data), "Inf,", name)
}
