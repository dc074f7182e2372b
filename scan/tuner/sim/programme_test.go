package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
	onair "rooftone/scan/station"
)

// Truth: the town file's own words, read from the packets that the channel decoder
// makes of a station's symbols; and the radio's own clock.
func TestStationsSendWhatTheirTownSays(t *testing.T) {
	town, err := Load("lighthouse")
	require.NoError(t, err)
	epoch := time.Date(2026, time.July, 2, 11, 0, 0, 0, time.UTC)
	s := open(t, town, Options{Epoch: epoch})
	require.Nil(t, s.Airing(15))
	require.Nil(t, s.Airing(34), "ATSC 3.0")
	a := s.Airing(18)
	require.NotNil(t, a)

	const first, fields = 500, 44
	decoder, reader := coding.NewDecoder(), onair.NewReader()
	sent := make([]byte, fields*coding.FieldPackets*coding.PacketBytes)
	symbols := make([]float32, vsb.FieldSymbols)
	n := 0
	for f := range fields {
		a.Packets(sent[f*coding.FieldPackets*coding.PacketBytes:][:coding.FieldPackets*coding.PacketBytes], int64(first+f))
		a.Symbols(symbols, int64(first+f)*vsb.FieldSymbols)
		for i := range vsb.FieldSegments {
			var p coding.Packet
			ok, err := decoder.Segment(&p, i, symbols[i*vsb.SegmentSymbols:][:vsb.SegmentSymbols])
			require.NoError(t, err)
			if !ok {
				continue
			}
			require.False(t, p.Failed)
			if n > 0 { // the first packet begins before the decoder does
				require.Equal(t, sent[n*coding.PacketBytes:][:coding.PacketBytes], p.Bytes[:])
			}
			n++
			require.NoError(t, reader.Packet(p.Bytes[:]))
		}
	}
	got := reader.Station()
	require.EqualValues(t, 0x2c18, *got.TransportID)
	services := got.Services()
	require.Len(t, services, 2)
	require.Equal(t, "21.1", services[0].Number())
	require.Equal(t, "Fähre", services[1].Name)
	require.Equal(t, "MPEG-2 video", services[1].Streams[0].Coding())
	require.Equal(t, "deu", services[1].Streams[1].Language)
	require.WithinDuration(t, epoch.Add(time.Duration((first+fields)*0.0242*1e9)), got.Clock.UTC, 2*time.Second)
}

// Common practice: what a transport stream cannot carry is refused by its name.
func TestProgrammesAreChecked(t *testing.T) {
	const station = "[town]\nname = \"x\"\n[[station]]\nrf_channel = 20\n"
	for says, text := range map[string]string{
		"video":         "programmes = [{ name = \"A\", video = \"film\" }]",
		"8 characters":  "programmes = [{ name = \"EIGHTLTR\" }]",
		"language":      "programmes = [{ name = \"A\", audio = [\"english\"] }]",
		"shown_channel": "shown_channel = 100",
		"transport_id":  "transport_id = 65536",
		"belong to":     "standard = \"atsc3\"\nshown_channel = 4",
		"13 programmes": "programmes = [{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"},{name=\"A\"}]",
	} {
		_, err := Parse([]byte(station + text + "\n"))
		require.ErrorContains(t, err, says)
	}
}
