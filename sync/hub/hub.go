// Package hub keeps parcels for sites until they fetch them, over HTTP.
//
// [Hub] is the server: it knows sites by their tokens, and of a parcel its sender,
// addressee, slot, size and SHA-256, but nothing of its content. It can lose a
// parcel or hold it back; it cannot make or change one, as what travels in parcels
// is signed. [Client] is the carrier that a site uses. Both go on where a cut
// connection ended. The protocol: docs/hub-protocol.md.
package hub

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"time"

	"pulk/sync/carrier"
)

// Options say how a hub is run. The zero value of a field is its default.
type Options struct {
	Folder         string // where it keeps all it has
	MaxParcelBytes int64  // the most that sites take: 8 MiB
	QuotaBytes     int64  // of one sender's parcels that wait here: 512 MiB
	MaxParcels     int    // of one sender's parcels that wait here: 10,000
	Expire         time.Duration
	PerSecond      float64 // requests of one token; twice that of one address: 10
	Burst          int     // requests at once, likewise: 100
	Now            func() time.Time
	Say            func(line string) // tells the operator; may be called at the same time from several requests
}

func (o *Options) setDefaults() {
	if o.MaxParcelBytes == 0 {
		o.MaxParcelBytes = carrier.MaxFile
	}
	if o.QuotaBytes == 0 {
		o.QuotaBytes = 512 << 20
	}
	if o.MaxParcels == 0 {
		o.MaxParcels = 10_000
	}
	if o.Expire == 0 {
		o.Expire = 400 * 24 * time.Hour // over a winter, and the next season's voyage
	}
	if o.PerSecond == 0 {
		o.PerSecond = 10
	}
	if o.Burst == 0 {
		o.Burst = 100
	}
	if o.Say == nil {
		o.Say = func(string) {}
	}
}

// Hub answers the requests of sites.
type Hub struct {
	options Options
	store   store
	tokens  *tokens
	limits  limiter
	uploads uploads
	mux     *http.ServeMux
}

// New opens a hub's folder, and makes it if it is not there.
func New(options Options) (*Hub, error) {
	options.setDefaults()
	h := &Hub{options: options, store: store{folder: options.Folder}, mux: http.NewServeMux()}
	if err := h.store.create(); err != nil {
		return nil, err
	}
	h.tokens = &tokens{path: tokensPath(options.Folder)}
	if _, err := h.tokens.all(); err != nil {
		return nil, err
	}
	h.limits = newLimiter(options.PerSecond, options.Burst)
	h.mux.HandleFunc("GET /health", h.health)
	h.mux.HandleFunc("GET /v1/parcels", h.known(h.list))
	h.mux.HandleFunc("GET /v1/parcels/{name}", h.known(h.download))
	h.mux.HandleFunc("DELETE /v1/parcels/{name}", h.known(h.taken))
	h.mux.HandleFunc("HEAD /v1/to/{site}", h.known(h.reaches))
	h.mux.HandleFunc("HEAD /v1/to/{site}/{slot}/{digest}", h.known(h.progress))
	h.mux.HandleFunc("PATCH /v1/to/{site}/{slot}/{digest}", h.known(h.upload))
	h.mux.HandleFunc("POST /v1/to/{site}/{slot}", h.known(h.keep))
	return h, nil
}

// maxBody bounds the bodies of requests that are not uploads.
const maxBody = 1 << 20

// ServeHTTP answers a request.
func (h *Hub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if wait := h.limits.address(hostOf(r.RemoteAddr), 1, h.options.Now()); wait > 0 {
		tooMany(w, wait)
		return
	}
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Cache-Control", "no-store")
	h.mux.ServeHTTP(w, r)
}

// known lets only sites with a token through.
func (h *Hub) known(handle func(http.ResponseWriter, *http.Request, uint32) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		site, digest, ok := h.tokens.site(r.Header.Get("Authorization"))
		if !ok {
			// Guessing is dear: it takes away from what the address may do.
			h.limits.address(hostOf(r.RemoteAddr), 9, h.options.Now())
			w.Header().Set("WWW-Authenticate", `Bearer realm="pulk hub"`)
			answerError(w, http.StatusUnauthorized, "no such token here", "ask who runs the hub for a token of your site")
			return
		}
		if wait := h.limits.token(digest, h.options.Now()); wait > 0 {
			tooMany(w, wait)
			return
		}
		err := handle(w, r, site)
		var refusal *refusal
		switch {
		case errors.As(err, &refusal):
			answerError(w, refusal.status, refusal.what, refusal.hint)
		case err != nil:
			h.options.Say(fmt.Sprintf("%s for %08x: %v", r.Method, site, err)) // its path names a file: not for the site
			answerError(w, http.StatusInternalServerError, "the hub could not do it", "try again later; who runs the hub finds the reason in its log")
		}
	}
}

func (h *Hub) health(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, "ok")
}

// refusal is an answer to a request that is not done.
type refusal struct {
	status     int
	what, hint string
}

func (r *refusal) Error() string { return r.what }

func refuse(status int, hint, format string, args ...any) error {
	return &refusal{status, fmt.Sprintf(format, args...), hint}
}

// failure is the body of an answer to a request that was not done.
type failure struct {
	Error string `json:"error"`
	Hint  string `json:"hint"`
}

func answerError(w http.ResponseWriter, status int, what, hint string) {
	answer(w, status, failure{what, hint})
}

func answer(w http.ResponseWriter, status int, body any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(body) // the site may have gone: nobody is left to tell
}

func tooMany(w http.ResponseWriter, wait time.Duration) {
	w.Header().Set("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
	answerError(w, http.StatusTooManyRequests, "too many requests", "wait as long as Retry-After says, in seconds")
}

var (
	sitePattern   = regexp.MustCompile(`^[0-9a-f]{8}$`)
	slotPattern   = regexp.MustCompile(`^[a-z0-9]{1,32}$`)
	digestPattern = regexp.MustCompile(`^[0-9a-f]{64}$`)
	namePattern   = regexp.MustCompile(`^[0-9a-f]{8}-[a-z0-9]{1,32}-[0-9a-f]{64}$`)
)

// addressee returns the site that a request is about, if it has a token here.
func (h *Hub) addressee(r *http.Request) (uint32, error) {
	text := r.PathValue("site")
	if !sitePattern.MatchString(text) {
		return 0, refuse(http.StatusBadRequest, "a site's id is 8 hexadecimal digits, as pulk site list --json shows", "%q is no site", text)
	}
	id, err := strconv.ParseUint(text, 16, 32)
	if err != nil {
		return 0, err
	}
	if known, err := h.tokens.has(uint32(id)); err != nil || !known {
		return 0, errors.Join(err, refuse(http.StatusNotFound, "who runs the hub can make a token for it", "site %s does not use this hub", text))
	}
	return uint32(id), nil
}

// place returns where an upload goes.
func (h *Hub) place(r *http.Request, from uint32) (place, error) {
	to, err := h.addressee(r)
	if err != nil {
		return place{}, err
	}
	p := place{from: from, to: to, slot: r.PathValue("slot"), digest: r.PathValue("digest")}
	if !slotPattern.MatchString(p.slot) || p.digest != "" && !digestPattern.MatchString(p.digest) {
		return place{}, refuse(http.StatusBadRequest, "a slot is 1 to 32 of a-z and 0-9, a digest the SHA-256 in 64 hexadecimal digits", "no parcel is named like that")
	}
	return p, nil
}

func hexDigest(data []byte) string {
	sum := sha256.Sum256(data)
	return fmt.Sprintf("%x", sum)
}
