package station

import "fmt"

// StreamKind is what a stream is for.
type StreamKind string

const (
	Video StreamKind = "video"
	Audio StreamKind = "audio"
	Data  StreamKind = "data"
)

// streamTypes are the stream types met in American television. ISO/IEC 13818-1, table
// 2-34; ATSC Code Point Registry.
var streamTypes = map[uint8]struct {
	kind StreamKind
	name string
}{
	0x01: {Video, "MPEG-1 video"},
	0x02: {Video, "MPEG-2 video"},
	0x03: {Audio, "MPEG-1 audio"},
	0x04: {Audio, "MPEG-2 audio"},
	0x05: {Data, "private sections"},
	0x06: {Data, "private data"},
	0x0b: {Data, "DSM-CC"},
	0x0d: {Data, "DSM-CC sections"},
	0x0f: {Audio, "AAC"},
	0x10: {Video, "MPEG-4 video"},
	0x11: {Audio, "HE-AAC"},
	0x1b: {Video, "H.264"},
	0x24: {Video, "H.265"},
	0x81: {Audio, "AC-3"},
	0x82: {Data, "subtitles"},
	0x86: {Data, "splice points"},
	0x87: {Audio, "E-AC-3"},
	0x95: {Data, "data service"},
}

// Kind returns what the stream is for. Types that are not known are data.
func (s Stream) Kind() StreamKind {
	if t, ok := streamTypes[s.Type]; ok {
		return t.kind
	}
	return Data
}

// Coding returns the name of the stream's coding: "MPEG-2 video", "AC-3".
func (s Stream) Coding() string {
	if t, ok := streamTypes[s.Type]; ok {
		return t.name
	}
	return fmt.Sprintf("type 0x%02x", s.Type)
}
