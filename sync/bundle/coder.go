package bundle

// place tells a coder what byte it handles, so that a coder with a memory can
// predict it. Coders without one ignore it.
type place struct {
	column uint32 // see columnID
	before uint32 // earlier bytes of the same number, marked by the highest bit; 0 at its first
}

// A coder takes the bytes of columns one after another: a writer stores them, a
// reader hands back what was stored and ignores what it is given.
type coder interface {
	byte(b byte, at place) byte
	bytes(p []byte, at place) // in place
	left() int                // how many more bytes a reader may give
}

// bufferWriter keeps bytes as they are.
type bufferWriter struct{ buf []byte }

func (w *bufferWriter) byte(b byte, _ place) byte {
	w.buf = append(w.buf, b)
	return b
}
func (w *bufferWriter) bytes(p []byte, _ place) { w.buf = append(w.buf, p...) }
func (w *bufferWriter) left() int               { return 0 }

// bufferReader is the inverse of bufferWriter. Past the end it gives zeros and
// remembers that it was short.
type bufferReader struct {
	buf   []byte
	at    int
	short bool
}

func (r *bufferReader) byte(byte, place) byte {
	if r.at >= len(r.buf) {
		r.short = true
		return 0
	}
	r.at++
	return r.buf[r.at-1]
}

func (r *bufferReader) bytes(p []byte, _ place) {
	n := copy(p, r.buf[r.at:])
	r.at += n
	r.short = r.short || n < len(p)
}

func (r *bufferReader) left() int { return len(r.buf) - r.at }
