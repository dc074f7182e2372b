package station_test

import (
	"fmt"

	"rooftone/scan/station"
)

// A packet with a program association table names the transport stream.
func ExampleReader() {
	packet := make([]byte, 188)
	for i := range packet {
		packet[i] = 0xff
	}
	copy(packet, []byte{
		0x47, 0x40, 0x00, 0x10, 0x00,
		0x00, 0xb0, 0x15, 0x12, 0x34, 0xcb, 0x00, 0x00, 0x00, 0x00, 0xe0, 0x10,
		0x00, 0x01, 0xe0, 0x20, 0x01, 0x02, 0xf0, 0x30, 0xd4, 0x6a, 0xf4, 0xcb,
	})
	r := station.NewReader()
	if err := r.Packet(packet); err != nil {
		fmt.Println(err)
		return
	}
	s := r.Station()
	fmt.Printf("transport stream %#04x, %d programs\n", *s.TransportID, len(s.Programs))
	// Output: transport stream 0x1234, 2 programs
}
