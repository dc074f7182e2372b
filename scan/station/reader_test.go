package station

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// harbour is an invented station with two television channels and one of data.
func harbour() Station {
	id := uint16(0x0b57)
	return Station{
		TransportID: &id,
		Complete:    true,
		Channels: []Channel{
			{Major: 12, Minor: 1, Name: "QHBR-HD", TransportID: id, Program: 3, Kind: DigitalTV, Source: 1, Streams: []Stream{
				{PID: 0x31, Type: 0x02}, {PID: 0x34, Type: 0x81, Language: "eng"}}},
			{Major: 12, Minor: 2, Name: "Pêche", TransportID: id, Program: 4, Kind: DigitalTV, Source: 2},
			{Major: 12, Minor: 100, Name: "", TransportID: id, Program: 5, Kind: DataOnly, Source: 3, Hidden: true, AccessControlled: true},
		},
		Programs: []Program{
			{Number: 3, PID: 0x30, PCRPID: 0x31, Streams: []Stream{{PID: 0x31, Type: 0x02}, {PID: 0x34, Type: 0x81, Language: "eng"}, {PID: 0x35, Type: 0x81, Language: "fra"}}},
			{Number: 4, PID: 0x40, PCRPID: 0x41, Streams: []Stream{{PID: 0x41, Type: 0x1b}, {PID: 0x44, Type: 0x87, Language: "fra"}}},
			{Number: 5, PID: 0x40, PCRPID: 0x1fff, Streams: []Stream{{PID: 0x51, Type: 0x95}}},
		},
		Tables: []Table{{Type: 0, PID: 0x1ffb, Version: 7, Bytes: 136}, {Type: 0x100, PID: 0x1d00, Version: 1, Bytes: 4000}},
		Clock:  &Clock{UTC: time.Date(2025, 3, 7, 18, 30, 5, 0, time.UTC), LeapSeconds: 18, ChangeDay: 9, ChangeHour: 2},
	}
}

// stream returns the packets of the station's tables.
func stream(s Station) (packets [][]byte) {
	k := newPacker()
	pmts := map[uint16][][]byte{}
	for _, p := range s.Programs {
		pmts[p.PID] = append(pmts[p.PID], pmtSection(p, 2))
	}
	packets = append(packets, k.packets(patPID, nil, patSection(*s.TransportID, 1, append([]Program{{Number: 0, PID: 0x10}}, s.Programs...)...))...)
	for pid := uint16(0x30); pid <= 0x40; pid += 0x10 {
		packets = append(packets, k.packets(pid, nil, pmts[pid]...)...)
	}
	seconds := uint32(s.Clock.UTC.Sub(time.Date(1980, 1, 6, 0, 0, 0, 0, time.UTC))/time.Second) + uint32(s.Clock.LeapSeconds)
	return append(packets, k.packets(psipPID, nil,
		mgtSection(3, s.Tables...),
		tvctSection(*s.TransportID, 7, 0, 1, s.Channels[:2]...),
		tvctSection(*s.TransportID, 7, 1, 1, s.Channels[2:]...),
		sttSection(seconds, uint8(s.Clock.LeapSeconds), s.Clock.Daylight, s.Clock.ChangeDay, s.Clock.ChangeHour),
	)...)
}

func read(t testing.TB, r *Reader, packets [][]byte) {
	for _, p := range packets {
		require.NoError(t, r.Packet(p))
	}
}

func TestReaderReadsAStation(t *testing.T) {
	// Truth: the syntax tables of ISO/IEC 13818-1 and A/65, by which the tables
	// were put together.
	want := harbour()
	packets := stream(want)
	r := NewReader()
	read(t, r, packets)
	got := r.Station()
	want.Clock.Packet = int64(len(packets))
	require.Equal(t, want, got)
	require.Equal(t, Counts{Packets: int64(len(packets)), Sections: 8}, r.Counts())

	services := got.Services()
	require.Len(t, services, 3)
	require.Equal(t, "12.1", services[0].Number())
	require.Len(t, services[0].Streams, 3) // the program's own table wins
	require.Equal(t, Video, services[1].Streams[0].Kind())
	require.Equal(t, "H.264", services[1].Streams[0].Coding())
	require.Equal(t, Audio, services[1].Streams[1].Kind())
	require.Equal(t, "E-AC-3", services[1].Streams[1].Coding())
	require.Equal(t, "television", services[1].Kind.String())
	require.Equal(t, Data, services[2].Streams[0].Kind())
}

func TestReaderWithoutChannelTable(t *testing.T) {
	// Truth: the promise of Services' comment.
	want := harbour()
	packets := stream(want)[:3]
	r := NewReader()
	read(t, r, packets)
	s := r.Station()
	require.Nil(t, s.Channels)
	require.Nil(t, s.Clock)
	require.False(t, s.Complete)
	require.Equal(t, want.Programs, s.Programs)
	services := s.Services()
	require.Len(t, services, 3)
	require.EqualValues(t, 0x0b57, services[0].TransportID)
	require.Equal(t, want.Programs[0].Streams, services[0].Streams)
	require.Equal(t, Station{}, NewReader().Station())
}

func TestReaderTakesNewVersions(t *testing.T) {
	// Truth: ISO/IEC 13818-1, 2.4.4: a new version takes the old one's place as a
	// whole, and programs that are gone are gone.
	s := harbour()
	r := NewReader()
	read(t, r, stream(s))
	k := newPacker()
	for pid := range r.pids {
		k.counters[pid] = (r.pids[pid].counter + 1) & 0xf
	}
	read(t, r, k.packets(psipPID, nil, tvctSection(0x0b57, 8, 0, 1, Channel{Major: 12, Minor: 1, Name: "NEW"})))
	got := r.Station()
	require.False(t, got.Complete)
	require.Len(t, got.Channels, 1)
	require.Equal(t, "NEW", got.Channels[0].Name)
	read(t, r, k.packets(patPID, nil, patSection(0x0b58, 2, Program{Number: 4, PID: 0x40}, Program{Number: 3, PID: 0x60})))
	got = r.Station()
	require.EqualValues(t, 0x0b58, *got.TransportID)
	require.Equal(t, []Program{s.Programs[1], {Number: 3, PID: 0x60}}, got.Programs)
	require.Len(t, r.pids, 4)
}

func TestReaderSurvivesLoss(t *testing.T) {
	// Truth: theory: with every second packet lost, marked or damaged nothing false is
	// read, and as the tables come round again all of it is read in the end.
	s := harbour()
	want := s
	k := newPacker()
	long := make([]Channel, 20)
	for i := range long {
		long[i] = Channel{Major: 12, Minor: 1 + i, Name: "QHBR", TransportID: 0x0b57, Kind: DigitalTV}
	}
	want.Channels = long
	r := NewReader()
	n := 0
	for range 40 {
		packets := k.packets(patPID, nil, patSection(0x0b57, 1, Program{Number: 3, PID: 0x30}))
		packets = append(packets, k.packets(psipPID, nil, tvctSection(0x0b57, 7, 0, 0, long...))...)
		for _, p := range packets {
			n++
			switch n % 11 {
			case 3:
				continue
			case 6:
				p[1] |= 0x80
			case 9:
				p[20] ^= 0x10
			}
			require.NoError(t, r.Packet(p))
			if got := r.Station().Channels; got != nil {
				require.Equal(t, long, got)
			}
		}
	}
	require.Equal(t, long, r.Station().Channels)
	require.NotZero(t, r.Counts().Errors)
	require.NotZero(t, r.Counts().Damaged)
}

func TestReaderRefusesWhatIsNoPacket(t *testing.T) {
	// Truth: the promise of Packet's comment.
	r := NewReader()
	for _, p := range [][]byte{nil, {0x47}, make([]byte, 188), append([]byte{0x47}, make([]byte, 188)...)} {
		require.ErrorIs(t, r.Packet(p), ErrPacket)
	}
	require.Equal(t, Counts{}, r.Counts())
}

func TestReaderFollowsNotTooMany(t *testing.T) {
	// Truth: the promise that memory is bounded: a PAT of 256 sections with 250
	// programs each is followed as far as maxPrograms.
	r := NewReader()
	k := newPacker()
	for section := range 256 {
		var f fields
		for i := range 250 {
			n := 1 + section*250 + i
			f.put(uint64(n&0xffff), 16).put(0b111, 3).put(uint64(n)&pidMask, 13)
		}
		read(t, r, k.packets(patPID, nil, longSection(tablePAT, 1, 1, uint8(section), 255, f.bytes)))
	}
	require.LessOrEqual(t, len(r.pids), maxPrograms+2)
	require.Len(t, r.programs, maxPrograms)
	require.Len(t, r.Station().Programs, maxPrograms)
}

func TestReaderAllocatesOnlyForNews(t *testing.T) {
	// Truth: the promise of Reader's comment.
	packets := stream(harbour())
	packets = packets[:len(packets)-1] // the clock's is always new
	r := NewReader()
	read(t, r, packets)
	require.Zero(t, testing.AllocsPerRun(10, func() {
		for _, p := range packets {
			r.Packet(p)
		}
	}))
}

func FuzzReader(f *testing.F) {
	// Truth: whatever comes in, nothing breaks, names can be shown and memory is bounded.
	for _, p := range stream(harbour()) {
		f.Add(p, uint8(3))
	}
	f.Fuzz(func(t *testing.T, data []byte, mend uint8) {
		r := NewReader()
		k := newPacker()
		pids := []uint16{patPID, psipPID, 0x30}
		for i, pid := range pids {
			// Once as raw packets and once as sections whose sum is right.
			if len(data) > 12 {
				s := append([]byte(nil), data[:min(len(data), 1000)]...)
				s[0] = []byte{tablePAT, tableTVCT, tablePMT, tableMGT, tableSTT}[(int(mend)+i)%5]
				s = longSection(s[0], 3, s[5], 0, 0, s[8:])
				for _, p := range k.packets(pid, nil, patSection(1, mend, Program{Number: 3, PID: 0x30}), s) {
					r.Packet(p)
				}
			}
			for at := 0; at+packetBytes <= len(data); at += packetBytes {
				p := append([]byte(nil), data[at:at+packetBytes]...)
				p[0] = 0x47
				if mend&1 != 0 {
					p[1], p[2] = p[1]&0xe0|byte(pid>>8), byte(pid)
				}
				r.Packet(p)
			}
		}
		s := r.Station()
		for _, c := range s.Services() {
			requireShowable(t, c.Name)
			for _, stream := range c.Streams {
				requireShowable(t, stream.Language)
				_ = stream.Coding()
			}
			_ = c.Kind.String()
		}
		require.LessOrEqual(t, len(r.pids), maxPrograms+2)
	})
}

func BenchmarkReader(b *testing.B) {
	packets := stream(harbour())
	video := make([]byte, packetBytes)
	copy(video, []byte{0x47, 0x00, 0x31, 0x10})
	r := NewReader()
	b.ReportAllocs()
	b.SetBytes(packetBytes)
	for i := 0; b.Loop(); i++ {
		if i%100 < len(packets) {
			r.Packet(packets[i%100])
			continue
		}
		r.Packet(video)
	}
}
