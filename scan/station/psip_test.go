package station

import (
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func requireShowable(t *testing.T, s string) {
	require.True(t, utf8.ValidString(s))
	for _, r := range s {
		require.True(t, r == unicode.ReplacementChar || unicode.IsPrint(r), "%q", s)
	}
}

func TestSystemTimeOfSecondImplementation(t *testing.T) {
	// Truth: a second implementation: the section and the values that the tests of
	// GStreamer's MPEG transport stream library state for it.
	b := []byte{
		0xcd, 0xf0, 0x11, 0x00, 0x00, 0xc1, 0x00, 0x00, 0x00, 0x23,
		0xb4, 0xe6, 0x5c, 0x0c, 0xc0, 0x00, 0xc4, 0x86, 0x56, 0xa5,
	}
	s, ok := parseSection(b)
	require.True(t, ok)
	require.EqualValues(t, tableSTT, s.table)
	c, ok := parseSTT(s.body)
	require.True(t, ok)
	require.Equal(t, Clock{
		UTC:         time.Date(1998, 12, 30, 13, 0, 0, 0, time.UTC),
		LeapSeconds: 12,
		Daylight:    true,
	}, c)
}

func TestSystemTime(t *testing.T) {
	// Truth: GPS time, which begins with 6 January 1980 and has no leap seconds: the
	// first second of GPS week 1304's Friday, 3 January 2003, is 1304·7+5 days
	// later, of which 13 leap seconds are to be taken off; and A/65, annex A, for
	// the changes of daylight saving time.
	const seconds = (1199*7 + 5) * 86400
	require.Equal(t, time.Friday, gpsEpoch.Add(seconds*time.Second).Weekday())
	body := func(seconds uint32, leap uint8, daylight bool, day, hour int) []byte {
		s, ok := parseSection(sttSection(seconds, leap, daylight, day, hour))
		require.True(t, ok)
		return s.body
	}
	c, ok := parseSTT(body(seconds+13, 13, false, 0, 0))
	require.True(t, ok)
	require.Equal(t, time.Date(2003, 1, 3, 0, 0, 0, 0, time.UTC), c.UTC)
	c, ok = parseSTT(body(0, 0, true, 31, 2))
	require.True(t, ok)
	require.Equal(t, Clock{UTC: gpsEpoch, Daylight: true, ChangeDay: 31, ChangeHour: 2}, c)
	c, ok = parseSTT(body(1<<32-1, 255, true, 0, 255))
	require.True(t, ok)
	require.Equal(t, 2116, c.UTC.Year())
	_, ok = parseSTT(body(0, 0, true, 0, 0)[:7])
	require.False(t, ok)
	_, ok = parseSTT(append([]byte{1}, make([]byte, 20)...))
	require.False(t, ok, "another protocol version")
}

func TestShortNames(t *testing.T) {
	// Truth: A/65, 6.3.1: UTF-16, the upper byte first, padded with zeros. Strings that
	// would move a terminal's cursor or turn its text round must not reach it.
	for _, c := range []struct{ bytes, want string }{
		{"\x00Q\x00H\x00B\x00R\x00-\x00H\x00D", "QHBR-HD"},
		{"\x00Q\x00 \x00T\x00 \x00\x00\x00\x00\x00\x00", "Q T"},
		{"\x00P\x00\xea\x00c\x00h\x00e\x00\x00\x00\x00", "Pêche"},
		{"\xd8\x3d\xdc\x1f\x00!\x00\x00\x00\x00\x00\x00\x00\x00", "🐟!"},
		{"\x00\x1b\x00[\x002\x00J\x00\x07\x00\x00\x00\x00", "\ufffd[2J\ufffd"},
		{"\x20\x2e\x00a\x00b\x00\x0a\xd8\x00\xdc\x00\xfe\xff", "\ufffdab\ufffd\U00010000\ufffd"},
		{"\xd8\x00\x00a\xdc\x00\xdc\x00\x00\x00\x00b\x00b", "\ufffda\ufffd\ufffd"},
		{"\x00\x00\x00a\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00", ""},
	} {
		got := shortName([]byte(c.bytes))
		requireShowable(t, got)
		require.Equal(t, c.want, got)
	}
}

func TestTablesOfWrongLengths(t *testing.T) {
	// Truth: the standards' syntax: a table that ends too early or whose lengths reach
	// beyond it is no table; whatever its cut, nothing is made up.
	s := harbour()
	body := func(b []byte) []byte {
		s, ok := parseSection(b)
		require.True(t, ok)
		return s.body
	}
	tvct := body(tvctSection(1, 1, 0, 0, s.Channels...))
	mgt := body(mgtSection(1, s.Tables...))
	pat := body(patSection(1, 1, s.Programs...))
	pmt := body(pmtSection(s.Programs[0], 1))
	for n := range len(tvct) - 2 {
		_, ok := parseTVCT(tvct[:n])
		require.False(t, ok, "TVCT of %d bytes", n)
	}
	for n := range len(mgt) - 2 {
		_, ok := parseMGT(mgt[:n])
		require.False(t, ok, "MGT of %d bytes", n)
	}
	for n := range pat {
		_, ok := parsePAT(pat[:n])
		require.Equal(t, n%4 == 0, ok, "PAT of %d bytes", n)
	}
	for n := range pmt {
		p, ok := parsePMT(pmt[:n])
		require.True(t, !ok || len(p.Streams) < 3, "PMT of %d bytes", n)
	}
	changed := func(b []byte, at int, v byte) []byte {
		b = append([]byte(nil), b...)
		b[at] = v
		return b
	}
	for name, b := range map[string][]byte{
		"descriptors beyond the table": changed(tvct, 2+31, 0xff),
		"more channels than there are": changed(tvct, 1, 255),
		"another protocol version":     changed(tvct, 0, 1),
	} {
		_, ok := parseTVCT(b)
		require.False(t, ok, name)
	}
	_, ok := parseMGT(changed(mgt, 1, 255))
	require.False(t, ok, "more tables than there are")
	_, ok = parsePMT(changed(pmt, 3, 0xff))
	require.False(t, ok, "descriptors beyond the table")
}

func TestServiceStreamsOfWrongLengths(t *testing.T) {
	// Truth: A/65's service location descriptor: streams that are announced but not
	// there are left out.
	d := []byte{0xe0, 0x31, 3, 0x02, 0xe0, 0x31, 0, 0, 0, 0x81, 0xe0, 0x34, 'e', 'n', 'g', 0x81, 0xe0}
	want := []Stream{{PID: 0x31, Type: 2}, {PID: 0x34, Type: 0x81, Language: "eng"}}
	require.Equal(t, want, serviceStreams(d))
	require.Nil(t, serviceStreams(d[:2]))
	require.Equal(t, want[:1], serviceStreams(d[:9]))
	require.Empty(t, languageOf([]byte("e\x1bg")))
}
