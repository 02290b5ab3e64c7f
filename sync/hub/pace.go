package hub

import (
	"context"
	"io"
	"net/http"
	"sync"
	"time"
)

// Paces. A site on 2,400 bit/s sends 300 bytes a second; who is six times slower,
// over what it has had as a start, is cut off and goes on later.
const (
	paceStart     = 60 * time.Second
	paceBytes     = 50 // bytes a second
	paceLookEvery = 10 * time.Second
)

// pace cuts a transfer off that is slower than paceBytes. It needs no clock, only
// a timer: each look counts as so many seconds.
type pace struct {
	mu     sync.Mutex
	moved  int64
	looked time.Duration
	timer  *time.Timer
}

func newPace(cut func()) *pace {
	p := &pace{}
	p.timer = time.AfterFunc(paceLookEvery, func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.looked += paceLookEvery
		if late := p.looked - paceStart; late > 0 && p.moved < int64(late.Seconds())*paceBytes {
			cut()
			return
		}
		p.timer.Reset(paceLookEvery)
	})
	return p
}

func (p *pace) move(n int) {
	p.mu.Lock()
	p.moved += int64(n)
	p.mu.Unlock()
}

// past is a deadline that ends what waits now.
var past = time.Unix(1, 0)

// pacedReader is the body of an upload.
type pacedReader struct {
	body io.Reader
	*pace
}

// newPacedReader returns a body that ends with an error when it is too slow, or
// when ctx ends; until then it may take as long as it needs. end must be called.
func newPacedReader(ctx context.Context, w http.ResponseWriter, body io.Reader) (r io.Reader, end func()) {
	control := http.NewResponseController(w)
	cut := func() { control.SetReadDeadline(past) }
	control.SetReadDeadline(time.Time{})
	paced := &pacedReader{body, newPace(cut)}
	stop := context.AfterFunc(ctx, cut)
	return paced, func() { stop(); paced.timer.Stop() }
}

func (r *pacedReader) Read(p []byte) (int, error) {
	n, err := r.body.Read(p)
	r.move(n)
	return n, err
}

// paced is a response whose reader must keep pace.
type paced struct {
	http.ResponseWriter
	*pace
}

func newPaced(w http.ResponseWriter) *paced {
	control := http.NewResponseController(w)
	return &paced{w, newPace(func() { control.SetWriteDeadline(past) })}
}

func (w *paced) Write(p []byte) (int, error) {
	n, err := w.ResponseWriter.Write(p)
	w.move(n)
	return n, err
}
