package coding_test

import (
	"fmt"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// Two fields of null packets are encoded and decoded again.
func Example() {
	packets := make([]byte, coding.FieldPackets*coding.PacketBytes)
	for i := range coding.FieldPackets {
		copy(packets[i*coding.PacketBytes:], []byte{coding.SyncByte, 0x1f, 0xff, 0x10})
	}
	encoder := coding.NewEncoder()
	decoder := coding.NewDecoder()
	symbols := make([]float32, vsb.FieldSymbols)
	for range 2 {
		if err := encoder.Field(symbols, packets); err != nil {
			fmt.Println(err)
			return
		}
		for index := range vsb.FieldSegments {
			var p coding.Packet
			ok, err := decoder.Segment(&p, index, symbols[index*vsb.SegmentSymbols:][:vsb.SegmentSymbols])
			if err != nil {
				fmt.Println(err)
				return
			}
			if ok && p.Number == 0 {
				fmt.Printf("% x, failed: %v\n", p.Bytes[:4], p.Failed)
			}
		}
	}
	totals := decoder.Totals()
	fmt.Println(totals.Packets, "packets,", totals.Failed, "failed")
	// Output:
	// 47 1f ff 10, failed: false
	// 47 1f ff 10, failed: false
	// 572 packets, 0 failed
}
