package usbtest

import (
	"bufio"
	"encoding/binary"
	"io"
	"net"
)

// What can be asked for, as in libusb.c.
const (
	opList = 1 + iota
	opOpen
	opClose
	opClaim
	opRelease
	opKernel
	opDetach
	opAttach
	opReset
	opString
	opControl
	opStream
)

// request is what comes over a connection.
type request struct {
	op, handle, a, b, timeout uint32
	out                       []byte
}

func readRequest(r io.Reader) (request, error) {
	var head [6]uint32
	if err := binary.Read(r, binary.NativeEndian, &head); err != nil {
		return request{}, err
	}
	q := request{op: head[0], handle: head[1], a: head[2], b: head[3], timeout: head[4]}
	q.out = make([]byte, head[5]&0xffff)
	_, err := io.ReadFull(r, q.out)
	return q, err
}

// words puts 32-bit words before a payload.
func words(payload []byte, w ...uint32) []byte {
	p := make([]byte, 0, 4*len(w)+len(payload))
	for _, v := range w {
		p = binary.NativeEndian.AppendUint32(p, v)
	}
	return append(p, payload...)
}

// handle is an open device.
type handle struct {
	id     uint32
	device *Device
	claims bool
}

func (b *Bus) accept() {
	for {
		conn, err := b.listener.Accept()
		if err != nil {
			return
		}
		b.mu.Lock()
		if b.closed {
			b.mu.Unlock()
			conn.Close()
			return
		}
		b.conns[conn] = true
		b.mu.Unlock()
		b.wg.Go(func() {
			b.talk(conn)
			conn.Close()
			b.mu.Lock()
			delete(b.conns, conn)
			b.mu.Unlock()
		})
	}
}

// talk answers one connection's requests, or streams into it when it asks for that.
// What was opened over it is closed with it, as when a process ends.
func (b *Bus) talk(conn net.Conn) {
	var mine []uint32
	defer func() {
		for _, id := range mine {
			b.release(id)
		}
	}()
	in := bufio.NewReader(conn)
	for {
		q, err := readRequest(in)
		if err != nil {
			return
		}
		if q.op == opStream {
			h := b.handle(q.handle)
			if h == nil {
				return
			}
			if _, err := conn.Write(words(nil, 0, 0)); err == nil {
				h.device.stream(conn)
			}
			return
		}
		code, payload := b.answer(q)
		if q.op == opOpen && code == 0 {
			mine = append(mine, binary.NativeEndian.Uint32(payload))
		}
		if _, err := conn.Write(words(payload, uint32(int32(code)), uint32(len(payload)))); err != nil {
			return
		}
	}
}

func (b *Bus) handle(id uint32) *handle {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.open[id]
}

// release closes a handle.
func (b *Bus) release(id uint32) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if h := b.open[id]; h != nil {
		delete(b.open, id)
		if h.claims {
			h.device.unclaim()
		}
	}
}

func (b *Bus) answer(q request) (code int, payload []byte) {
	switch q.op {
	case opList:
		return 0, b.list()
	case opOpen:
		return b.openDevice(q.handle)
	}
	h := b.handle(q.handle)
	if h == nil {
		return codeNotFound, nil
	}
	switch q.op {
	case opClose:
		b.release(q.handle)
		return 0, nil
	case opClaim:
		code = h.device.claim()
		h.claims = code == 0
		return code, nil
	case opRelease:
		if h.claims {
			h.device.unclaim()
			h.claims = false
		}
		return 0, nil
	case opKernel, opDetach, opAttach:
		return h.device.kernel(q.op), nil
	case opReset:
		return 0, nil
	case opString:
		return h.device.text(int(q.a))
	case opControl:
		s := setup{byte(q.a), byte(q.a >> 8), uint16(q.a >> 16), uint16(q.b), uint16(q.b >> 16)}
		return h.device.control(s, q.out, q.timeout)
	}
	return codeNotFound, nil
}

// list says what is plugged in: of each which plugging in it was, bus and address,
// vendor and product.
func (b *Bus) list() []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	var p []byte
	for _, d := range b.plugged {
		p = append(p, words(nil, d.plug, 1<<8|(d.plug+3)&0x7f, 0x0bda2838)...)
	}
	return p
}

func (b *Bus) openDevice(plug uint32) (code int, payload []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, d := range b.plugged {
		if d.plug != plug {
			continue
		}
		if code := d.faults().OpenCode; code != 0 {
			return code, nil
		}
		b.handles++
		b.open[b.handles] = &handle{id: b.handles, device: d}
		return 0, words(nil, b.handles)
	}
	return codeNoDevice, nil
}
