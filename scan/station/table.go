package station

// table holds what the sections of one version of a table said. T is what a
// section says.
type table[T any] struct {
	known     bool
	extension uint16
	version   uint8
	last      uint8
	sections  map[uint8]told[T]
}

type told[T any] struct {
	sum  uint32
	said T
}

// take takes a section. parse is called if it says something new; when it returns
// false the section is as if it had not come. take returns whether anything changed.
func (t *table[T]) take(s section, parse func([]byte) (T, bool)) bool {
	same := t.known && t.extension == s.extension && t.version == s.version && t.last == s.last
	if same {
		if old, ok := t.sections[s.number]; ok && old.sum == s.sum {
			return false
		}
	}
	said, ok := parse(s.body)
	if !ok {
		return false
	}
	if !same {
		*t = table[T]{known: true, extension: s.extension, version: s.version, last: s.last, sections: map[uint8]told[T]{}}
	}
	t.sections[s.number] = told[T]{sum: s.sum, said: said}
	return true
}

// complete tells whether all sections have come.
func (t *table[T]) complete() bool { return t.known && len(t.sections) == int(t.last)+1 }

// each calls f with what the sections said, in their order.
func (t *table[T]) each(f func(T)) {
	for n := 0; n <= int(t.last); n++ {
		if s, ok := t.sections[uint8(n)]; ok {
			f(s.said)
		}
	}
}
