package bundle

// modelWriter packs bytes with a model.
type modelWriter struct {
	*model
	out       []byte
	low, high uint32
}

func (w *modelWriter) bit(bit uint32, chance uint32) {
	middle := w.low + uint32(uint64(w.high-w.low)*uint64(chance)>>12)
	if bit != 0 {
		w.high = middle
	} else {
		w.low = middle + 1
	}
	for (w.low^w.high)>>24 == 0 {
		w.out = append(w.out, byte(w.high>>24))
		w.low, w.high = w.low<<8, w.high<<8|0xff
	}
}

func (w *modelWriter) byte(b byte, at place) byte {
	w.begin(at)
	node := uint32(1)
	for i := 7; i >= 0; i-- {
		bit := uint32(b >> i & 1)
		w.predict(node)
		w.bit(bit, uint32(w.chance))
		w.update(bit)
		node = node<<1 | bit
	}
	w.end(b)
	return b
}

func (w *modelWriter) bytes(p []byte, at place) {
	for _, b := range p {
		w.byte(b, at)
	}
}

func (w *modelWriter) left() int { return 0 }

// finish writes as few bytes as tell the last bits from any others; a reader takes
// zeros for what is missing.
func (w *modelWriter) finish() []byte {
	return append(w.out, flush(w.low, w.high)...)
}

// flush returns the shortest bytes that, with zeros after them, lie in low..high.
func flush(low, high uint32) []byte {
	if low == 0 {
		return nil
	}
	for n := uint(1); n < 4; n++ {
		shift := 32 - 8*n
		value := (low + 1<<shift - 1) >> shift // rounded up
		if value<<shift >= low && value<<shift <= high && value>>(8*n) == 0 {
			return []byte{byte(value >> (8 * (n - 1))), byte(value >> 8), byte(value)}[:n]
		}
	}
	return []byte{byte(low >> 24), byte(low >> 16), byte(low >> 8), byte(low)}
}

// modelReader is the inverse of modelWriter.
type modelReader struct {
	*model
	in               []byte
	at               int // may run past the end: zeros stand there
	low, high, value uint32
	rest             int // bytes that may still be unpacked
	short            bool
}

func newModelReader(m *model, in []byte, limit int) *modelReader {
	r := &modelReader{model: m, in: in, high: 1<<32 - 1, rest: limit}
	for range 4 {
		r.shift()
	}
	return r
}

func (r *modelReader) shift() {
	r.value <<= 8
	if r.at < len(r.in) {
		r.value |= uint32(r.in[r.at])
	}
	r.at++
}

func (r *modelReader) bit(chance uint32) uint32 {
	middle := r.low + uint32(uint64(r.high-r.low)*uint64(chance)>>12)
	bit := uint32(0)
	if r.value <= middle {
		bit, r.high = 1, middle
	} else {
		r.low = middle + 1
	}
	for (r.low^r.high)>>24 == 0 {
		r.low, r.high = r.low<<8, r.high<<8|0xff
		r.shift()
	}
	return bit
}

func (r *modelReader) byte(_ byte, at place) byte {
	// Four bytes are read ahead; beyond them a writer would have written more.
	if r.rest == 0 || r.at > len(r.in)+4 {
		r.short = true
		return 0
	}
	r.rest--
	r.begin(at)
	node := uint32(1)
	for range 8 {
		r.predict(node)
		bit := r.bit(uint32(r.chance))
		r.update(bit)
		node = node<<1 | bit
	}
	r.end(byte(node))
	return byte(node)
}

func (r *modelReader) bytes(p []byte, at place) {
	for i := range p {
		p[i] = r.byte(0, at)
	}
}

func (r *modelReader) left() int { return r.rest }

// finished reports whether the input ends just as a writer would have ended it.
func (r *modelReader) finished() bool {
	tail := flush(r.low, r.high)
	return r.at-4 >= 0 && r.at-4 <= len(r.in) && string(r.in[r.at-4:]) == string(tail)
}

// trainer hands out the bytes of a buffer and shows them to a model.
type trainer struct {
	*bufferReader
	model *model
}

func (t *trainer) byte(_ byte, at place) byte {
	b := t.bufferReader.byte(0, at)
	t.model.begin(at)
	node := uint32(1)
	for i := 7; i >= 0; i-- {
		t.model.predict(node)
		t.model.update(uint32(b >> i & 1))
		node = node<<1 | uint32(b>>i&1)
	}
	t.model.end(b)
	return b
}

func (t *trainer) bytes(p []byte, at place) {
	for i := range p {
		p[i] = t.byte(0, at)
	}
}
