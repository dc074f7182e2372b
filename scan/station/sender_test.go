package station

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb/coding"
)

// ferry is an invented station with two services.
func ferry() Station {
	id := uint16(0x0c31)
	hd := []Stream{{PID: 0x31, Type: 0x02}, {PID: 0x34, Type: 0x81, Language: "eng"}, {PID: 0x35, Type: 0x81, Language: "spa"}}
	sd := []Stream{{PID: 0x41, Type: 0x02}, {PID: 0x44, Type: 0x81, Language: "eng"}}
	return Station{
		TransportID: &id,
		Complete:    true,
		Channels: []Channel{
			{Major: 12, Minor: 1, Name: "QHBR-HD", TransportID: id, Program: 3, Kind: DigitalTV, Source: 1, Streams: hd},
			{Major: 12, Minor: 2, Name: "Fähre", TransportID: id, Program: 4, Kind: DigitalTV, Source: 2, Streams: sd},
		},
		Programs: []Program{{Number: 3, PID: 0x30, Streams: hd}, {Number: 4, PID: 0x40, Streams: sd}},
	}
}

func TestTablesAreThoseOfTheReader(t *testing.T) {
	// Truth: the sections put together by hand from the standards' syntax tables,
	// and those of a second implementation that the reader's tests hold.
	s := harbour()
	same := func(want []byte, got []byte, err error) {
		t.Helper()
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	got, err := writePAT(0x1234, 5, []Program{{Number: 0, PID: 0x10}, {Number: 1, PID: 0x20}, {Number: 258, PID: 0x1030}})
	same([]byte{
		0x00, 0xb0, 0x15, 0x12, 0x34, 0xcb, 0x00, 0x00, 0x00, 0x00, 0xe0, 0x10,
		0x00, 0x01, 0xe0, 0x20, 0x01, 0x02, 0xf0, 0x30, 0xd4, 0x6a, 0xf4, 0xcb,
	}, got, err)
	got, err = writePAT(*s.TransportID, 2, s.Programs)
	private := func(b []byte) []byte { // the hand-made ones set the private bit in all tables
		b = append([]byte(nil), b[:len(b)-4]...)
		b[1] &^= 0x40
		sum := slowSum(b)
		return append(b, byte(sum>>24), byte(sum>>16), byte(sum>>8), byte(sum))
	}
	same(private(patSection(*s.TransportID, 2, s.Programs...)), got, err)
	got, err = writeTVCT(*s.TransportID, 7, s.Channels)
	// Hand-made ones do not say where the PCR is.
	require.Len(t, got, len(tvctSection(*s.TransportID, 7, 0, 0, s.Channels...)))
	require.NoError(t, err)
	sec, ok := parseSection(got)
	require.True(t, ok)
	channels, ok := parseTVCT(sec.body)
	require.True(t, ok)
	require.Equal(t, s.Channels, channels)
	clock := *s.Clock
	got, err = writeSTT(clock)
	seconds := uint32(clock.UTC.Sub(time.Date(1980, 1, 6, 0, 0, 0, 0, time.UTC))/time.Second) + uint32(clock.LeapSeconds)
	same(sttSection(seconds, uint8(clock.LeapSeconds), clock.Daylight, clock.ChangeDay, clock.ChangeHour), got, err)
}

// sendFields returns the packets of some fields.
func sendFields(t testing.TB, s *Sender, first int64, n int) []byte {
	all := make([]byte, n*perField*packetBytes)
	for i := range n {
		s.Packets(all[i*perField*packetBytes:][:perField*packetBytes], first+int64(i))
	}
	return all
}

func TestSender(t *testing.T) {
	// Truth: ISO/IEC 13818-1, 2.4.3.3: counters of each PID go up by one; A/65, 7.1 and
	// A/53 Part 3: PAT and PMT at least every 100 and 400 ms, MGT every 150 ms, TVCT every
	// 400 ms, STT every second. And the reader reads what was put in.
	start := time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC)
	want := ferry()
	s, err := NewSender(want, 7, start)
	require.NoError(t, err)
	const first, fields = -60, 200
	all := sendFields(t, s, first, fields)
	require.True(t, bytes.Equal(all[100*perField*packetBytes:], sendFields(t, s, first+100, fields-100)))
	counters, last := map[uint16]byte{}, map[string]int{}
	longest := map[string]int{}
	r := NewReader()
	for i := 0; i*packetBytes < len(all); i++ {
		p := all[i*packetBytes:][:packetBytes]
		require.NoError(t, r.Packet(p))
		pid := (uint16(p[1])<<8 | uint16(p[2])) & pidMask
		if n := i % perField; n == coding.EarlyPacket || n == coding.LatePacket {
			require.EqualValues(t, nullPID, pid)
		}
		if pid == nullPID {
			continue
		}
		if before, ok := counters[pid]; ok {
			require.Equal(t, (before+1)&0xf, p[3]&0xf, "packet %d, PID %04x", i, pid)
		}
		counters[pid] = p[3] & 0xf
		if p[1]&0x40 != 0 && (pid < 2 || pid == psipPID || pid == 0x30 || pid == 0x40) {
			name := strconv.Itoa(int(pid)) + "/" + strconv.Itoa(int(p[5]))
			longest[name] = max(longest[name], i-last[name])
			last[name] = i
		}
	}
	perSecond := 19392658.46 / 8 / packetBytes
	for name, most := range map[string]float64{"0/0": 0.1, "48/2": 0.4, "64/2": 0.4, "8187/199": 0.15, "8187/200": 0.4, "8187/205": 1} {
		require.Greater(t, longest[name], 0, name)
		require.Less(t, float64(longest[name])/perSecond, most, name)
	}
	got := r.Station()
	require.Zero(t, r.Counts().Damaged)
	for i := range want.Programs {
		want.Programs[i].PCRPID = want.Programs[i].Streams[0].PID
	}
	require.Equal(t, want.Programs, got.Programs)
	require.Equal(t, want.Channels, got.Channels)
	require.EqualValues(t, 0x0c31, *got.TransportID)
	require.True(t, got.Complete)
	// The clock, told in a packet of a known field.
	field := first + (got.Clock.Packet-1)/perField
	require.Equal(t, s.Time(field).Truncate(time.Second), got.Clock.UTC)
	require.WithinDuration(t, start.Add(time.Duration(float64(field)*0.0241974*1e9)), s.Time(field), time.Millisecond)
}

func TestSenderRefuses(t *testing.T) {
	// Truth: what the tables have no room for.
	for name, spoil := range map[string]func(*Station){
		"no identifier":   func(s *Station) { s.TransportID = nil },
		"PID taken":       func(s *Station) { s.Programs[1].PID = 0x31 },
		"PID of the PSIP": func(s *Station) { s.Programs[1].PID = psipPID },
		"program 0":       func(s *Station) { s.Programs[0].Number = 0 },
		"long name":       func(s *Station) { s.Channels[0].Name = "QHBR-HD2" },
		"no such channel": func(s *Station) { s.Channels[0].Major = 0 },
		"language":        func(s *Station) { s.Programs[0].Streams[1].Language = "english" },
		"too many streams": func(s *Station) {
			for i := range 300 {
				s.Programs[0].Streams = append(s.Programs[0].Streams, Stream{PID: uint16(0x200 + i), Type: 2})
			}
		},
	} {
		s := ferry()
		s.Programs[0].Streams = append([]Stream(nil), s.Programs[0].Streams...)
		spoil(&s)
		_, err := NewSender(s, 1, time.Time{})
		require.Error(t, err, name)
	}
}

func TestSenderByProbe(t *testing.T) {
	// Truth: a second implementation: what ffprobe of Debian's ffmpeg finds in the
	// stream.
	probe, err := exec.LookPath("ffprobe")
	if err != nil {
		t.Skip("ffprobe is not installed")
	}
	s, err := NewSender(ferry(), 7, time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC))
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "ferry.ts")
	require.NoError(t, os.WriteFile(name, sendFields(t, s, 0, 40), 0o666))
	out, err := exec.Command(probe, "-v", "quiet", "-of", "json", "-show_programs", name).Output()
	require.NoError(t, err)
	var found struct {
		Programs []struct {
			ID      int `json:"program_id"`
			PMT     int `json:"pmt_pid"`
			PCR     int `json:"pcr_pid"`
			Streams []struct {
				ID    string            `json:"id"`
				Codec string            `json:"codec_name"`
				Kind  string            `json:"codec_type"`
				Tags  map[string]string `json:"tags"`
			} `json:"streams"`
		} `json:"programs"`
	}
	require.NoError(t, json.Unmarshal(out, &found))
	require.Len(t, found.Programs, 2)
	p := found.Programs[0]
	require.Equal(t, []int{3, 0x30, 0x31}, []int{p.ID, p.PMT, p.PCR})
	require.Len(t, p.Streams, 3)
	require.Equal(t, "0x31", p.Streams[0].ID)
	require.Equal(t, "mpeg2video", p.Streams[0].Codec)
	require.Equal(t, "ac3", p.Streams[1].Codec)
	require.Equal(t, "spa", p.Streams[2].Tags["language"])
	require.Equal(t, "0x41", found.Programs[1].Streams[0].ID)
}

func TestSenderShowsItsName(t *testing.T) {
	// Truth: a second implementation: the picture that ffmpeg decodes is the card,
	// block by block.
	decoder, err := exec.LookPath("ffmpeg")
	if err != nil {
		t.Skip("ffmpeg is not installed")
	}
	s, err := NewSender(ferry(), 7, time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC))
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "ferry.ts")
	require.NoError(t, os.WriteFile(name, sendFields(t, s, 0, 30), 0o666))
	for i, service := range []struct {
		name string
		pid  uint16
	}{{"QHBR-HD", 0x31}, {"Fähre", 0x41}} {
		out, err := exec.Command(decoder, "-v", "error", "-i", name, "-map", "0:p:"+strconv.Itoa(3+i)+":v", "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-").Output()
		require.NoError(t, err)
		require.Len(t, out, cardWide*cardHigh*3/2)
		card := newCard(service.name, 7^uint64(service.pid))
		bright := 0
		for y := range blocksHigh {
			for x := range blocksWide {
				want := int(card.luma[y][x])
				require.InDelta(t, want, int(out[(8*y+3)*cardWide+8*x+5]), 1)
				if want == 220 {
					bright++
				}
			}
		}
		require.Greater(t, bright, 50)
		chroma := out[cardWide*cardHigh:]
		for y := range pairsHigh {
			for x := range pairsWide {
				require.InDelta(t, int(card.cb[y][x]), int(chroma[(8*y+4)*cardWide/2+8*x+4]), 1)
				require.InDelta(t, int(card.cr[y][x]), int(chroma[cardWide*cardHigh/4+(8*y+4)*cardWide/2+8*x+4]), 1)
			}
		}
	}
}

func BenchmarkSender(b *testing.B) {
	s, err := NewSender(ferry(), 7, time.Time{}.AddDate(2025, 0, 0))
	require.NoError(b, err)
	dst := make([]byte, perField*packetBytes)
	b.ReportAllocs()
	for i := int64(0); b.Loop(); i++ {
		s.Packets(dst, i)
	}
}
