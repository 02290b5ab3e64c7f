package hub

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"hash"
	"io"
	"net/http"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Headers of uploads. Their names are those of the HTTP working group's draft on
// resumable uploads.
const (
	headerOffset   = "Upload-Offset"   // how far the hub has got, in bytes
	headerLength   = "Upload-Length"   // of the whole parcel
	headerComplete = "Upload-Complete" // ?1 or ?0
)

// maxPartDigest is the largest part that may come with a digest of its own: where it
// differs, all of the part is thrown away.
const maxPartDigest = 1 << 20

// uploads keeps two requests from writing one parcel. The later one wins: the
// earlier is most often the half of a connection that broke.
type uploads struct {
	mu       sync.Mutex
	running  map[place]*running
	reserved map[uint32]int64 // bytes still to come, by sender
}

type running struct {
	stop context.CancelFunc
	done chan struct{}
}

// drainGrace is how long an earlier upload may still read what has come for it. A
// connection that was cut ends by itself in that time; one that hangs does not.
const drainGrace = 2 * time.Second

// begin waits for the end of an earlier upload of the same parcel, and stops it if
// it does not end.
func (u *uploads) begin(ctx context.Context, p place, stop context.CancelFunc) (end func(), err error) {
	mine := &running{stop: stop, done: make(chan struct{})}
	for {
		u.mu.Lock()
		if u.running == nil {
			u.running, u.reserved = map[place]*running{}, map[uint32]int64{}
		}
		earlier := u.running[p]
		if earlier == nil {
			u.running[p] = mine
			u.mu.Unlock()
			return func() {
				u.mu.Lock()
				delete(u.running, p)
				u.mu.Unlock()
				close(mine.done)
			}, nil
		}
		u.mu.Unlock()
		hangs := time.AfterFunc(drainGrace, earlier.stop)
		select {
		case <-earlier.done:
			hangs.Stop()
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

func (h *Hub) reaches(w http.ResponseWriter, r *http.Request, _ uint32) error {
	if _, err := h.addressee(r); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// progress tells how far an upload has got.
func (h *Hub) progress(w http.ResponseWriter, r *http.Request, site uint32) error {
	p, err := h.place(r, site)
	if err != nil {
		return err
	}
	// What an earlier try has sent counts only once it is on disk.
	_, end, err := h.alone(r, p)
	if err != nil {
		return err
	}
	defer end()
	return h.tellProgress(w, p, http.StatusNoContent)
}

// alone ends an earlier upload of the same parcel, and returns the context of this
// one, which a later one ends in turn, and what is to be called after it.
func (h *Hub) alone(r *http.Request, p place) (context.Context, func(), error) {
	ctx, stop := context.WithCancel(r.Context())
	end, err := h.uploads.begin(ctx, p, stop)
	if err != nil {
		stop()
		return nil, nil, err
	}
	return ctx, func() { end(); stop() }, nil
}

func (h *Hub) tellProgress(w http.ResponseWriter, p place, status int) error {
	whole, complete, err := size(h.store.parcel(p))
	if err == nil && !complete {
		whole, _, err = size(h.store.part(p))
	}
	if err != nil {
		return err
	}
	setProgress(w, whole, complete)
	w.WriteHeader(status)
	return nil
}

func setProgress(w http.ResponseWriter, offset int64, complete bool) {
	flag := "?0"
	if complete {
		flag = "?1"
	}
	w.Header().Set(headerOffset, strconv.FormatInt(offset, 10))
	w.Header().Set(headerComplete, flag)
}

// upload takes a part of a parcel. What came before a cut is kept.
func (h *Hub) upload(w http.ResponseWriter, r *http.Request, site uint32) error {
	p, err := h.place(r, site)
	if err != nil {
		return err
	}
	offset, length, err := h.span(r)
	if err != nil {
		return err
	}
	ctx, end, err := h.alone(r, p)
	if err != nil {
		return err
	}
	defer end()
	if _, complete, err := size(h.store.parcel(p)); err != nil || complete {
		if err == nil {
			err = h.tellProgress(w, p, http.StatusOK)
		}
		return err
	}
	got, _, err := size(h.store.part(p))
	if err != nil {
		return err
	}
	if got != offset {
		setProgress(w, got, false)
		return refuse(http.StatusConflict, "go on where Upload-Offset says", "the hub has %d bytes of it, not %d", got, offset)
	}
	release, err := h.reserve(site, length-offset, offset > 0)
	if err != nil {
		return err
	}
	defer release()
	got, err = h.receive(ctx, w, r, p, offset, length)
	if err != nil {
		return err
	}
	if got < length {
		setProgress(w, got, false)
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	if err := h.store.complete(p, h.options.Now()); errors.Is(err, errDigest) {
		return refuse(http.StatusUnprocessableEntity, "send it again from the start", "the %d bytes have another SHA-256 than their name says; they were thrown away", length)
	} else if err != nil {
		return err
	}
	setProgress(w, length, true)
	w.WriteHeader(http.StatusCreated)
	return nil
}

// span returns where a part begins and how long the whole parcel is.
func (h *Hub) span(r *http.Request) (offset, length int64, err error) {
	offset, err1 := strconv.ParseInt(r.Header.Get(headerOffset), 10, 64)
	length, err2 := strconv.ParseInt(r.Header.Get(headerLength), 10, 64)
	switch {
	case err1 != nil || err2 != nil || offset < 0 || length < 1 || offset > length:
		return 0, 0, refuse(http.StatusBadRequest, "see docs/hub-protocol.md", "%s and %s are needed, in bytes, the first not above the second", headerOffset, headerLength)
	case length > h.options.MaxParcelBytes:
		return 0, 0, refuse(http.StatusRequestEntityTooLarge, "send it in fragments", "a parcel of %d bytes; this hub takes at most %d", length, h.options.MaxParcelBytes)
	case r.ContentLength > length-offset:
		return 0, 0, refuse(http.StatusRequestEntityTooLarge, "see docs/hub-protocol.md", "a part of %d bytes from %d on is over the %d of the whole", r.ContentLength, offset, length)
	}
	return offset, length, nil
}

// reserve sets aside room for what is still to come of a parcel, part of which is
// here if it was begun.
func (h *Hub) reserve(site uint32, bytes int64, begun bool) (release func(), err error) {
	used, parcels, err := h.store.used(site)
	if err != nil {
		return nil, err
	}
	u := &h.uploads
	u.mu.Lock()
	defer u.mu.Unlock()
	if begun {
		parcels-- // it is one of them
	}
	if used+u.reserved[site]+bytes > h.options.QuotaBytes || parcels >= h.options.MaxParcels {
		return nil, refuse(http.StatusInsufficientStorage, "wait until the other sites have fetched some", "%d bytes in %d parcels of yours wait here, of %d bytes and %d parcels", used, parcels, h.options.QuotaBytes, h.options.MaxParcels)
	}
	u.reserved[site] += bytes
	return func() {
		u.mu.Lock()
		defer u.mu.Unlock()
		if u.reserved[site] -= bytes; u.reserved[site] == 0 {
			delete(u.reserved, site)
		}
	}, nil
}

// receive appends the body of a request to a parcel's parts and returns how far
// they now go. What could be read before a failure stays, save where the part has a
// digest.
func (h *Hub) receive(ctx context.Context, w http.ResponseWriter, r *http.Request, p place, offset, length int64) (int64, error) {
	reader, end := newPacedReader(ctx, w, r.Body)
	defer end()
	var body io.Reader = io.LimitReader(reader, length-offset)
	check, err := partCheck(r)
	if err != nil {
		return 0, err
	}
	if check != nil {
		body = io.TeeReader(io.LimitReader(body, maxPartDigest+1), check.sum)
	}
	file, err := os.OpenFile(h.store.part(p), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return 0, err
	}
	n, cut := io.Copy(file, body)
	if check != nil {
		if wrong := check.fault(n, cut); wrong != nil {
			return 0, errors.Join(takeBack(file, offset), wrong)
		}
	}
	if err := errors.Join(file.Sync(), file.Close()); err != nil {
		return 0, err
	}
	if cut != nil && offset+n < length {
		setProgress(w, offset+n, false)
		return 0, refuse(http.StatusRequestTimeout, "go on where Upload-Offset says", "the connection was cut or too slow after %d bytes, which are kept", n)
	}
	return offset + n, nil
}

// takeBack shortens the parts of a parcel to what they were, and closes them.
func takeBack(file *os.File, offset int64) error {
	if offset == 0 {
		return errors.Join(file.Close(), os.Remove(file.Name()))
	}
	return errors.Join(file.Truncate(offset), file.Sync(), file.Close())
}

// digest is what a part is held to (RFC 9530). The part goes to the disk as it comes,
// and not to memory: many may come at a time, and slowly.
type digest struct {
	want []byte
	sum  hash.Hash
}

// partCheck returns what a part is to be held to; nil where it says nothing of that.
func partCheck(r *http.Request) (*digest, error) {
	declared := r.Header.Get("Content-Digest")
	if declared == "" {
		return nil, nil
	}
	text, ok := strings.CutPrefix(declared, "sha-256=:")
	want, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(text, ":"))
	if !ok || err != nil || len(want) != sha256.Size {
		return nil, refuse(http.StatusBadRequest, "write Content-Digest: sha-256=:BASE64:", "a digest that is not understood")
	}
	return &digest{want, sha256.New()}, nil
}

// fault says what is wrong with a part of which n bytes came; cut is what ended it.
func (d *digest) fault(n int64, cut error) error {
	switch {
	case n > maxPartDigest:
		return refuse(http.StatusRequestEntityTooLarge, "send smaller parts, or leave Content-Digest out", "a part with a digest holds at most %d bytes", maxPartDigest)
	case cut != nil || string(d.sum.Sum(nil)) != string(d.want):
		return refuse(http.StatusUnprocessableEntity, "send the part again", "the part has another SHA-256 than Content-Digest says; it was thrown away")
	}
	return nil
}

// keep takes back what lies in a slot, save for the parcels named. A site has one such
// request at a time; a later one ends the earlier, which is most often what is left of
// a connection that broke.
func (h *Hub) keep(w http.ResponseWriter, r *http.Request, site uint32) error {
	p, err := h.place(r, site)
	if err != nil {
		return err
	}
	hangUp := func() { http.NewResponseController(w).SetReadDeadline(time.Unix(1, 0)) }
	end, err := h.uploads.begin(r.Context(), place{from: site}, hangUp)
	if err != nil {
		return err
	}
	defer end()
	digests, err := h.readKeep(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		return err
	}
	if err := h.store.keepOnly(p, digests); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// readKeep reads {"keep": [DIGEST, …]}, entry by entry, of as many as one site may
// have here.
func (h *Hub) readKeep(body io.Reader) (map[string]bool, error) {
	bad := refuse(http.StatusBadRequest, `send {"keep": ["SHA256", …]}`, "a body that is not understood")
	decoder, digests := json.NewDecoder(body), map[string]bool{}
	next := func() json.Token {
		token, err := decoder.Token()
		if err != nil {
			return err
		}
		return token
	}
	if next() != json.Delim('{') || next() != "keep" {
		return nil, bad
	}
	list := next()
	if list != json.Delim('[') && list != nil { // null is none
		return nil, bad
	}
	for list != nil && decoder.More() {
		var text string
		if err := decoder.Decode(&text); err != nil || !digestPattern.MatchString(text) {
			return nil, bad
		}
		if digests[text] = true; len(digests) > h.options.MaxParcels {
			return nil, refuse(http.StatusRequestEntityTooLarge, "name those that are to stay, and no others", "more than %d parcels, the most that one site has here", h.options.MaxParcels)
		}
	}
	if list != nil && next() != json.Delim(']') || next() != json.Delim('}') {
		return nil, bad
	}
	return digests, nil
}
