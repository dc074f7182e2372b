package station

import (
	"image"
	"math/bits"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"
)

// An invented station shows a card with its name: an MPEG-2 picture in which each
// block of 8 × 8 has one colour, so that it needs no other coefficients than the
// blocks' means. ISO/IEC 13818-2; clauses below are its.
const (
	cardWide, cardHigh     = 704, 480
	blocksWide, blocksHigh = cardWide / 8, cardHigh / 8
	pairsWide, pairsHigh   = blocksWide / 2, blocksHigh / 2 // of macroblocks
)

// card is a picture's colours.
type card struct {
	luma   [blocksHigh][blocksWide]uint8
	cb, cr [pairsHigh][pairsWide]uint8
}

// newCard returns the card of a service: stripes, and the name on them.
func newCard(name string, seed uint64) *card {
	k := &card{}
	for y := range pairsHigh {
		for x := range pairsWide {
			stripe := uint64(x * 8 / pairsWide)
			tone := mix(seed + stripe*golden)
			k.cb[y][x], k.cr[y][x] = 96+uint8(tone&63), 96+uint8(tone>>8&63)
			for i := range 4 {
				k.luma[2*y+i/2][2*x+i%2] = uint8(60 + 12*stripe + uint64(y)/3)
			}
		}
	}
	ink := image.NewAlpha(image.Rect(0, 0, blocksWide, blocksHigh))
	face := basicfont.Face7x13
	d := font.Drawer{Dst: ink, Src: image.Opaque, Face: face}
	left := (fixed.I(blocksWide) - d.MeasureString(name)) / 2
	d.Dot = fixed.Point26_6{X: left, Y: fixed.I(blocksHigh/2 + face.Ascent/2)}
	d.DrawString(name)
	for y := range blocksHigh {
		for x := range blocksWide {
			if ink.AlphaAt(x, y).A > 0 {
				k.luma[y][x] = 220
			}
		}
	}
	return k
}

// sequenceStart is what stands before each picture: the sequence's header (6.2.2.1)
// and extension (6.2.2.3), and the beginning of user data, which go on to the
// picture.
func sequenceStart() []byte {
	var w bitWriter
	w.put(0x1b3, 32)
	w.put(cardWide, 12)
	w.put(cardHigh, 12)
	w.put(2, 4)      // 4:3
	w.put(4, 4)      // 29.97 Hz; the PTS say when pictures really come
	w.put(20000, 18) // in 400 bit/s
	w.put(1, 1)
	w.put(112, 10) // vbv_buffer_size_value
	w.put(0, 3)
	w.put(0x1b5, 32)
	w.put(1, 4)
	w.put(0x48, 8)   // Main profile, Main level
	w.put(0b1_01, 3) // progressive, 4:2:0
	w.put(0, 4+12)   // extensions of the sizes and the rate
	w.put(1, 1)
	w.put(0, 8+1+2+5)
	w.put(0x1b2, 32)
	return w.bytes
}

// picture returns the card as a group of one intra picture: 6.2.2.6, 6.2.3, 6.2.3.1.
func (k *card) picture() []byte {
	var w bitWriter
	w.put(0x1b8, 32)
	w.put(1<<12, 25) // time code 0, with its marker
	w.put(0b10, 2)   // closed
	w.put(0, 5)
	w.put(0x100, 32)
	w.put(0, 10)
	w.put(1, 3) // intra
	w.put(0xffff, 16)
	w.put(0, 1+2)
	w.put(0x1b5, 32)
	w.put(8, 4)
	w.put(0xffff, 16)    // no motion
	w.put(0b00_11, 4)    // means of eight bits, a whole frame
	w.put(0b01_00000, 7) // frame DCT alone
	w.put(0b110, 3)      // progressive
	w.free = 0           // zeros up to the next byte
	for y := range pairsHigh {
		k.slice(&w, y)
	}
	return w.bytes
}

// slice writes a row of macroblocks: 6.2.4, 6.2.5, 6.2.6.
func (k *card) slice(w *bitWriter, y int) {
	w.put(0x101+uint64(y), 32)
	w.put(1, 5) // quantiser_scale_code
	w.put(0, 1)
	luma, cb, cr := 128, 128, 128 // predictors, 7.2.1
	for x := range pairsWide {
		w.put(0b11, 2) // the next one; intra
		for i := range 4 {
			block(w, &luma, k.luma[2*y+i/2][2*x+i%2], &lumaSizes)
		}
		block(w, &cb, k.cb[y][x], &chromaSizes)
		block(w, &cr, k.cr[y][x], &chromaSizes)
	}
	w.free = 0
}

// sizeCode is the code of how many bits a difference of means has.
type sizeCode struct {
	code  uint64
	width int
}

// Tables B.12 and B.13.
var (
	lumaSizes   = [9]sizeCode{{0b100, 3}, {0b00, 2}, {0b01, 2}, {0b101, 3}, {0b110, 3}, {0b1110, 4}, {0b11110, 5}, {0b111110, 6}, {0b1111110, 7}}
	chromaSizes = [9]sizeCode{{0b00, 2}, {0b01, 2}, {0b10, 2}, {0b110, 3}, {0b1110, 4}, {0b11110, 5}, {0b111110, 6}, {0b1111110, 7}, {0b11111110, 8}}
)

// block writes a block of one mean and nothing else.
func block(w *bitWriter, predictor *int, mean uint8, sizes *[9]sizeCode) {
	d := int(mean) - *predictor
	*predictor = int(mean)
	size := bits.Len(uint(max(d, -d)))
	w.put(sizes[size].code, sizes[size].width)
	if d < 0 {
		d += 1<<size - 1
	}
	w.put(uint64(d), size)
	w.put(0b10, 2) // end of block
}
