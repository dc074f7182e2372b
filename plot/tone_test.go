package plot

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// labOf is the way back, by the published formulas and not by the package's:
// IEC 61966-2-1 for sRGB, CIE 15 for L*a*b* under D65.
func labOf(r, g, b float64) lab {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	fx := f((0.4124564*r + 0.3575761*g + 0.1804375*b) / 0.95047)
	fy := f(0.2126729*r + 0.7151522*g + 0.0721750*b)
	fz := f((0.0193339*r + 0.1191920*g + 0.9503041*b) / 1.08883)
	return lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

func linearOf(c color.RGBA) (r, g, b float64) {
	f := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return f(c.R), f(c.G), f(c.B)
}

// Truth: CIE L*a*b*. Lightness falls strictly, decibel by decibel, and the
// steps look alike.
func TestScaleIsPerceptuallyEven(t *testing.T) {
	s := newScale()
	var steps []float64
	last := s.lab(toneLowDB)
	for db := toneLowDB + 1; db <= toneHighDB; db++ {
		c := s.lab(db)
		require.Less(t, c.l, last.l-0.3, "lightness at %v dB", db)
		steps = append(steps, distance(last, c))
		last = c
	}
	smallest, largest := math.Inf(1), 0.0
	for _, d := range steps {
		smallest, largest = math.Min(smallest, d), math.Max(largest, d)
	}
	require.Less(t, largest/smallest, 1.02)
	t.Logf("one decibel is a colour difference of %.2f to %.2f", smallest, largest)
}

// Truth: the way back by the published formulas. No tone is clipped by what
// sRGB can show, so the colour on paper is the one asked for.
func TestScaleStaysInGamut(t *testing.T) {
	s := newScale()
	for db := toneLowDB; db <= toneHighDB; db += 0.25 {
		want := s.lab(db)
		got := labOf(linearOf(s.tone(db)))
		require.Less(t, distance(got, want), 1.0, "at %v dB", db)
		r, g, b := want.linear()
		for _, v := range []float64{r, g, b} {
			require.True(t, v >= 0 && v <= 1, "at %v dB: %v %v %v", db, r, g, b)
		}
	}
}

// Truth: Machado, Oliveira and Fernandes 2009, the matrices for deuteranopia
// and protanopia of full severity. Every pair of tones 3 dB or more apart is
// told apart (a difference of 2.3 is just noticeable, Mahy et al. 1994), and
// lightness still falls.
func TestScaleForColourBlindEyes(t *testing.T) {
	eyes := map[string][3][3]float64{
		"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
		"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	}
	for name, m := range eyes {
		t.Run(name, func(t *testing.T) {
			s := newScale()
			var seen []lab
			for db := toneLowDB; db <= toneHighDB; db += 0.5 {
				r, g, b := linearOf(s.tone(db))
				row := func(i int) float64 {
					return math.Min(1, math.Max(0, m[i][0]*r+m[i][1]*g+m[i][2]*b))
				}
				seen = append(seen, labOf(row(0), row(1), row(2)))
			}
			closest := math.Inf(1)
			for i := range seen {
				if i > 1 {
					require.Less(t, seen[i].l, seen[i-2].l)
				}
				for j := i + 6; j < len(seen); j++ {
					closest = math.Min(closest, distance(seen[i], seen[j]))
				}
			}
			require.Greater(t, closest, 2*2.3)
			t.Logf("closest pair 3 dB or more apart: %.1f", closest)
		})
	}
}

// Truth: WCAG 2.2, 1.4.3 and 1.4.11: a contrast of 4.5 for text on a tone,
// 3 for a graphic on a black or a white ground.
func TestScaleContrast(t *testing.T) {
	luminance := func(c color.RGBA) float64 {
		r, g, b := linearOf(c)
		return 0.2126*r + 0.7152*g + 0.0722*b
	}
	contrast := func(p, q color.RGBA) float64 {
		a, b := luminance(p), luminance(q)
		return (math.Max(a, b) + 0.05) / (math.Min(a, b) + 0.05)
	}
	black, white := color.RGBA{0, 0, 0, 255}, color.RGBA{255, 255, 255, 255}
	s := newScale()
	for db := -30.0; db <= 70; db += 0.5 {
		require.GreaterOrEqual(t, contrast(color.RGBAModel.Convert(on(s.lab(db))).(color.RGBA), s.tone(db)), 4.5, "text at %v dB", db)
		screen := s.screenTone(db)
		require.GreaterOrEqual(t, contrast(screen, black), 3.0, "black terminal at %v dB", db)
		require.GreaterOrEqual(t, contrast(screen, white), 1.9, "white terminal at %v dB", db)
	}
}

// Truth: what the scale promises for values that are no margin.
func TestScaleBeyondItsEnds(t *testing.T) {
	s := newScale()
	for _, db := range []float64{math.NaN(), math.Inf(-1), -1e9, toneLowDB} {
		require.Equal(t, s.tone(toneLowDB), s.tone(db))
	}
	for _, db := range []float64{math.Inf(1), 1e9, toneHighDB} {
		require.Equal(t, s.tone(toneHighDB), s.tone(db))
	}
}
