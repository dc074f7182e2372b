// Package coding is the channel coding of 8-VSB: transport packets become
// symbols and symbols become transport packets. It knows no waveforms: its
// symbols are levels, ±1, ±3, ±5 and ±7 for data and ±5 for syncs, without the
// pilot's DC.
//
// # The way of a byte
//
// Of each transport packet of 188 bytes the sync byte is dropped, for the
// segment sync stands for it. The other 187 are randomised ([Randomiser]) and get 20
// bytes of Reed–Solomon parity ([ReedSolomon]); the 207 bytes of each packet are
// spread over 52 segments by a convolutional interleaver ([Interleaver]); each byte
// goes to one of twelve trellis coders as four pairs of bits ([TrellisEncoder]),
// each pair making one symbol of three bits. Of the 832 symbols of a segment
// the first four are the segment sync, and before each 312 data segments stands
// the field-sync segment.
//
// [Encoder] and [Decoder] are the whole chain in each direction.
//
// # Numbering
//
// A segment has an index in its field from 0, which is the field sync, to 312.
// Packets, like data segments, are counted from 0 to 311 in their field. Bytes
// are counted from the first byte of the field's first packet, before and
// behind the interleaver alike.
//
// The standard is ATSC A/53 Part 2; its sections are named by their headings,
// because their numbers differ between its editions.
package coding

import "rooftone/dsp/vsb"

const (
	// PacketBytes is the length of a transport packet.
	PacketBytes = 188

	// SyncByte begins each transport packet.
	SyncByte = 0x47

	// PayloadBytes is what is sent of a packet, CodedBytes is that with its
	// Reed–Solomon parity.
	PayloadBytes = PacketBytes - 1
	CodedBytes   = PayloadBytes + 20

	// FieldPackets is the number of packets, and of data segments, in a
	// field.
	FieldPackets = vsb.FieldSegments - 1

	// DelaySegments is how many segments after its own a packet's last byte
	// leaves the interleaver.
	DelaySegments = interleaverBranches
)

const (
	parityBytes = CodedBytes - PayloadBytes
	fieldBytes  = FieldPackets * CodedBytes

	coders       = 12
	dataSymbols  = vsb.SegmentSymbols - vsb.SegmentSyncSymbols
	coderSymbols = dataSymbols / coders // of one trellis coder in a segment
	byteSymbols  = 4
)
