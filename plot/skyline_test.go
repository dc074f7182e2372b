package plot

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg/vgimg"

	"rooftone/scan"
	"rooftone/scan/verdict"
)

// surveys are what the pictures are tried on.
func surveys() map[string]*scan.Survey {
	empty := &scan.Survey{}
	three := saltmarsh()
	three.Channels = three.Channels[13:16]
	long := surveyOf("us-2009")
	for i := range long.Channels {
		margin := float64((i*29)%70) - 30
		long.Channels[i] = surveyOf("us-2009", lotOf{
			number: long.Channels[i].Channel.Number, margin: margin, sigma: 1,
			limits: []verdict.Limit{verdict.Echoes, verdict.CoChannel, verdict.Impulse},
		}).Channels[i]
	}
	stopped := surveyOf("us")
	stopped.Interrupted = true
	for i := 12; i < len(stopped.Channels); i++ {
		stopped.Channels[i] = scan.Channel{}
		stopped.Channels[i].Channel = surveyOf("us").Channels[i].Channel
	}
	named := saltmarsh()
	for i := range named.Channels {
		named.Channels[i].Label = []string{"12.1 QHBR-HD", "a name so long that no cellar holds it, whatever its depth", "\x1b[2J\u202e5.1"}[i%3]
	}
	return map[string]*scan.Survey{
		"named": named, "empty": empty, "mixed": saltmarsh(), "crowded": crowded(), "three": three,
		"old plan": long, "all vacant": surveyOf("us"), "stopped": stopped, "in part": parts(),
	}
}

// drawn is a picture's pen after drawing.
func drawn(draw func(*pen)) *pen {
	p := newPen(vgimg.NewWith(vgimg.UseWH(pageWidth, pageHeight), vgimg.UseDPI(20)))
	draw(p)
	return p
}

// Truth: our own promise of a page's size.
func TestPicturesAreWhatTheySay(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for name, s := range surveys() {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, Skyline(&b, "png", s, Options{}))
			img, err := png.Decode(&b)
			require.NoError(t, err)
			require.Equal(t, 1600, img.Bounds().Dx())
			require.Equal(t, 1173, img.Bounds().Dy())

			b.Reset()
			require.NoError(t, Skyline(&b, "svg", s, Options{Title: "A <b> & \"c\""}))
			require.Contains(t, b.String(), "<title id=\"title\">A &lt;b&gt; &amp; &#34;c&#34;</title>")
			require.NoError(t, wellFormed(b.Bytes()))

			b.Reset()
			require.NoError(t, Skyline(&b, "pdf", s, Options{}))
			require.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-")))
		})
	}
}

func wellFormed(data []byte) error {
	d := xml.NewDecoder(bytes.NewReader(data))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// Truth: none but ourselves: the same survey makes the same bytes, whenever.
func TestPicturesAreDeterministic(t *testing.T) {
	for _, format := range []string{"png", "svg", "pdf"} {
		var first, second bytes.Buffer
		require.NoError(t, Skyline(&first, format, saltmarsh(), Options{}))
		time.Sleep(time.Millisecond)
		require.NoError(t, Skyline(&second, format, saltmarsh(), Options{}))
		require.True(t, bytes.Equal(first.Bytes(), second.Bytes()), format)
	}
}

// checkLabels is geometry: no text lies over another, and none leaves the page.
func checkLabels(t *testing.T, p *pen) {
	t.Helper()
	require.NotEmpty(t, p.labels)
	for i, a := range p.labels {
		require.True(t, a.box.x0 >= 0 && a.box.y0 >= 0 && a.box.x1 <= pageWidth && a.box.y1 <= pageHeight,
			"%q leaves the page: %v", a.text, a.box)
		for _, b := range p.labels[:i] {
			inner := box{a.box.x0 + 0.2, a.box.y0 + 0.2, a.box.x1 - 0.2, a.box.y1 - 0.2}
			require.True(t, free(inner, []box{b.box}), "%q %v lies over %q %v", a.text, a.box, b.text, b.box)
		}
	}
}

// Truth: geometry. No text lies over another, none leaves the page, and none
// is smaller than what a page on the wall needs.
func TestNoTextOverlaps(t *testing.T) {
	for name, s := range surveys() {
		t.Run(name, func(t *testing.T) {
			o := Options{Title: strings.Repeat("A long title ", 20), ThresholdDB: 15.2}
			checkLabels(t, drawn(func(p *pen) { drawSkyline(p, s, lots(s), o) }))
			if len(s.Channels) > 0 {
				withSpectrum(s, 50e3)
				checkLabels(t, drawn(func(p *pen) { drawSpectrum(p, s, lots(s), o) }))
			}
		})
	}
}

// Truth: the design: one glance says what will be received: every lot has its number, every
// station its margin, every limit its word.
func TestEverythingIsWritten(t *testing.T) {
	s := saltmarsh()
	seen := map[string]int{}
	for _, l := range drawn(func(p *pen) { drawSkyline(p, s, lots(s), Options{ThresholdDB: 15.2}) }).labels {
		seen[l.text]++
	}
	for _, want := range []string{
		"2", "13", "14", "36", "47", "−36", "−13", "?", "echoes, co-channel", "overload", "clock unknown",
		"not covered", "54", "608", "low VHF", "high VHF", "UHF", "88–174 MHz left out", "216–470 MHz left out",
		"firm", "slim", "cliff", "trace", "roof line", "ground",
		"Mind: samples clipped on channel 27, up to 3.4 %: less gain would help",
	} {
		require.Positive(t, seen[want], "%q is not on the picture", want)
	}
}

// Truth: a second implementation: poppler reads the PDF, librsvg the SVG.
func TestOthersReadOurPictures(t *testing.T) {
	dir := t.TempDir()
	for _, format := range []string{"pdf", "svg"} {
		var b bytes.Buffer
		require.NoError(t, Skyline(&b, format, saltmarsh(), Options{Title: "Attic, 3 ft left of the chimney ±"}))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "a."+format), b.Bytes(), 0o600))
	}
	t.Run("pdf", func(t *testing.T) {
		tool, err := exec.LookPath("pdftotext")
		if err != nil {
			t.Skip("poppler is not installed")
		}
		out, err := exec.Command(tool, filepath.Join(dir, "a.pdf"), "-").Output()
		require.NoError(t, err)
		for _, want := range []string{"Attic, 3 ft left of the chimney ±", "\u221236", "echoes, co-channel", "roof line"} {
			require.Contains(t, string(out), want)
		}
	})
	t.Run("svg", func(t *testing.T) {
		tool, err := exec.LookPath("rsvg-convert")
		if err != nil {
			t.Skip("librsvg is not installed")
		}
		file := filepath.Join(dir, "b.png")
		require.NoError(t, exec.Command(tool, "-w", "800", "-o", file, filepath.Join(dir, "a.svg")).Run())
		f, err := os.Open(file)
		require.NoError(t, err)
		defer f.Close()
		img, err := png.Decode(f)
		require.NoError(t, err)
		require.Equal(t, 800, img.Bounds().Dx())
	})
}

// Truth: geometry: the tips of a house are the ends of its interval.
func TestPiecesSpanTheInterval(t *testing.T) {
	for _, c := range []struct {
		m         value
		low, high float64 // of what is drawn; 0 when that side of the ground is empty
		n         int
	}{
		{value{12, 2}, 0, 14, 1},
		{value{12, 0}, 0, 12, 1},
		{value{1, 3}, -2, 4, 2},
		{value{-1, 3}, -4, 2, 2},
		{value{-7, 2}, -9, 0, 1},
		{value{29, 4}, 0, topDB, 1},
		{value{-19, 4}, floorDB, 0, 1},
		{value{60, 9}, 0, topDB, 1},
		{value{-45, 9}, floorDB, 0, 1},
		{value{0, 0}, 0, 0, 1},
		{value{3, 1000}, floorDB, topDB, 2},
	} {
		got := pieces(c.m)
		require.Len(t, got, c.n, "%v", c.m)
		low, high := 0.0, 0.0
		for _, p := range got {
			for _, pt := range p.outline {
				low, high = math.Min(low, pt.y), math.Max(high, pt.y)
				require.True(t, pt.x >= 0 && pt.x <= 1)
			}
		}
		require.InDelta(t, c.low, low, 1e-9, "%v", c.m)
		require.InDelta(t, c.high, high, 1e-9, "%v", c.m)
	}
}

// Truth: our own list of formats.
func TestFormat(t *testing.T) {
	for path, want := range map[string]string{"a.png": "png", "dir.x/MAP.SVG": "svg", "a.b.Pdf": "pdf"} {
		got, err := Format(path)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, path := range []string{"", "map", "map.", "map.jpeg", "map.png.txt", "png"} {
		_, err := Format(path)
		require.Error(t, err, path)
		for _, ext := range []string{".png", ".svg", ".pdf"} {
			require.Contains(t, err.Error(), ext)
		}
	}
	require.Error(t, Skyline(io.Discard, "gif", saltmarsh(), Options{}))
}

// failing is a full disk.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("no space left") }

// Truth: our own promise: what cannot be drawn or written is an error.
func TestErrors(t *testing.T) {
	for _, format := range []string{"png", "svg", "pdf"} {
		require.ErrorContains(t, Skyline(failing{}, format, saltmarsh(), Options{}), "no space left")
	}
	require.ErrorContains(t, Rows(failing{}, saltmarsh(), TextOptions{}), "no space left")
	require.ErrorContains(t, Spectrum(io.Discard, "svg", saltmarsh(), Options{}), "no spectrum")
	require.Error(t, Skyline(io.Discard, "svg", nil, Options{}))
	require.Error(t, Spectrum(io.Discard, "svg", nil, Options{}))
	require.Error(t, Rows(io.Discard, nil, TextOptions{}))
}

func BenchmarkSkylinePNG(b *testing.B) {
	s := crowded()
	for b.Loop() {
		if err := Skyline(io.Discard, "png", s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSkylineSVG(b *testing.B) {
	s := crowded()
	for b.Loop() {
		if err := Skyline(io.Discard, "svg", s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// Truth: our own promise: a house stands on its name, and a name fits or is shortened.
func TestSkylineNames(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Skyline(&b, "svg", surveys()["named"], Options{}))
	require.Contains(t, b.String(), "12.1 QHBR-HD")
	require.Contains(t, b.String(), "a name so long")
	require.NotContains(t, b.String(), "whatever its depth")
	require.NotContains(t, b.String(), "\x1b")
}
