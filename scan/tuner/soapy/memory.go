package soapy

import (
	"runtime"
	"unsafe"
)

// kwargs is a SoapySDRKwargs.
type kwargs struct {
	size         uintptr
	keys, values **byte
}

// argInfo is a SoapySDRArgInfo, as far as its size and its key matter.
type argInfo struct {
	key                             *byte
	value, name, description, units *byte
	kind                            int32
	bounds                          span
	options                         uintptr
	optionValues, optionNames       **byte
}

// text returns a copy of a string of C's, "" for none.
func text(p *byte) string {
	if p == nil {
		return ""
	}
	const most = 1 << 16
	for n := range most {
		if *(*byte)(unsafe.Add(unsafe.Pointer(p), n)) == 0 {
			return string(unsafe.Slice(p, n))
		}
	}
	return ""
}

// taken returns a string that the library allocated, and gives it back.
func (l *library) taken(p unsafe.Pointer) string {
	if p == nil {
		return ""
	}
	defer l.free(p)
	return text((*byte)(p))
}

// words calls what returns a list of strings, and gives that back.
func (l *library) words(list func(n *uintptr) unsafe.Pointer) []string {
	n := new(uintptr)
	p := new(unsafe.Pointer)
	*p = list(n)
	if *p == nil || *n == 0 {
		return nil
	}
	defer l.clearStrings(p, *n)
	var out []string
	for _, s := range unsafe.Slice((**byte)(*p), *n) {
		out = append(out, text(s))
	}
	return out
}

// spans calls what returns a list of ranges, and gives that back.
func (l *library) spans(list func(n *uintptr) unsafe.Pointer) []span {
	n := new(uintptr)
	p := list(n)
	if p == nil {
		return nil
	}
	defer l.free(p)
	return append([]span(nil), unsafe.Slice((*span)(p), *n)...)
}

// read returns what a SoapySDRKwargs holds.
func (k *kwargs) read() map[string]string {
	out := map[string]string{}
	if k.size == 0 || k.keys == nil || k.values == nil {
		return out
	}
	values := unsafe.Slice(k.values, k.size)
	for i, key := range unsafe.Slice(k.keys, k.size) {
		out[text(key)] = text(values[i])
	}
	return out
}

// withKwargs lends f what Go has as a map in C's form.
func withKwargs(m map[string]string, f func(unsafe.Pointer)) {
	if len(m) == 0 {
		f(nil)
		return
	}
	var pin runtime.Pinner
	defer pin.Unpin()
	cString := func(s string) *byte {
		b := append([]byte(s), 0)
		pin.Pin(&b[0])
		return &b[0]
	}
	var keys, values []*byte
	for k, v := range m {
		keys, values = append(keys, cString(k)), append(values, cString(v))
	}
	pin.Pin(&keys[0])
	pin.Pin(&values[0])
	k := &kwargs{uintptr(len(keys)), &keys[0], &values[0]}
	pin.Pin(k)
	f(unsafe.Pointer(k))
}
