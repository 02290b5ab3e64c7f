// Package page serves the work place as a page, for tablets and gloves: one page of
// HTML, CSS and JavaScript written by hand, embedded, that fetches nothing from
// elsewhere.
//
// The page shows a [work.Scene] and sends a [work.Tap] for each act. It keeps taps
// until an answer to them has come, over lost networks and restarts of either side;
// each has an id, and is carried out once. Who may look and tap is settled by a
// person's passphrase: it opens their key, and that lies in the memory of this
// process as long as their session lasts. Nothing is told to anyone else.
package page

import (
	"context"
	"crypto/tls"
	"embed"
	"io/fs"
	"log"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"golang.org/x/net/netutil"

	"pulk/checklist/run"
	"pulk/checklist/work"
	"pulk/sync/hub"
)

//go:embed static
var static embed.FS

// Place is where the work is done: a store, seen by its people.
type Place interface {
	Look(run, person string) (*work.Scene, error)
	// CarryOut does what a tap says, once: a tap that was taken before is answered as
	// it was then.
	CarryOut(run, person string, tap work.Tap, signer *run.Signer) (said string, err error)
	// Unlock opens the key of a person. It is slow by design.
	Unlock(person, passphrase string) (*run.Signer, error)
	// Runs lists the runs that nobody has ended.
	Runs() ([]Run, error)
	// Answers reports whether an error is an answer to the person, and puts it in
	// words; any other is a failure of the site.
	Answers(err error) (what string, because []string, hint string, answer bool)
}

// Run is a row in the list of runs.
type Run struct {
	Run   string `json:"run"`
	Title string `json:"title"`
	Done  int    `json:"done"`
	Steps int    `json:"steps"`
}

// Options are how a page is served.
type Options struct {
	Place    Place
	Run      string // the only one that is shown; empty for all that are open
	Idle     time.Duration
	Loopback bool // only this machine reaches it: requests for any other host are refused
	Now      func() time.Time
	Random   func([]byte) error
	Say      func(line string)
}

// Bounds of the server.
const (
	bodyBytesMax    = 64 << 10
	textRunesMax    = 4000
	connectionsMax  = 200
	sessionsMax     = 200
	requestTime     = 30 * time.Second
	sessionLongest  = 16 * time.Hour // whatever is done in it: longer than any shift
	unlocksWaiting  = 8
	guessersKnown   = 1000
	guessForgotten  = time.Hour
	guessesFree     = 3
	guessDelayMax   = 5 * time.Minute
	personDelayMax  = 30 * time.Second // others cannot lock a person out for longer
	contentSecurity = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

// Server answers the page.
type Server struct {
	options  Options
	mux      *http.ServeMux
	unlocks  chan struct{} // one key is opened at a time: each takes 64 MiB
	waiting  chan struct{}
	mu       sync.Mutex
	sessions map[tokenHash]*session
	guesses  guesses
}

// New returns a server.
func New(options Options) (*Server, error) {
	s := &Server{options: options, mux: http.NewServeMux(), unlocks: make(chan struct{}, 1), waiting: make(chan struct{}, unlocksWaiting),
		sessions: map[tokenHash]*session{}, guesses: guesses{}}
	files, err := fs.Sub(static, "static")
	if err != nil {
		return nil, err
	}
	s.mux.Handle("GET /", http.FileServerFS(files))
	s.mux.HandleFunc("POST /enter", s.enter)
	s.mux.HandleFunc("POST /runs", s.known(s.runs))
	s.mux.HandleFunc("POST /look", s.known(s.look))
	s.mux.HandleFunc("POST /tap", s.known(s.tap))
	s.mux.HandleFunc("POST /leave", s.known(s.leave))
	return s, nil
}

// ServeHTTP implements [http.Handler].
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	header := w.Header()
	header.Set("Content-Security-Policy", contentSecurity)
	header.Set("X-Content-Type-Options", "nosniff")
	header.Set("Referrer-Policy", "no-referrer")
	header.Set("Cross-Origin-Opener-Policy", "same-origin")
	header.Set("Cross-Origin-Resource-Policy", "same-origin")
	header.Set("Cache-Control", "no-cache")
	if s.options.Loopback && !loopbackHost(r.Host) {
		http.Error(w, "this page is for this machine alone", http.StatusMisdirectedRequest)
		return
	}
	if r.Method == http.MethodPost {
		header.Set("Cache-Control", "no-store")
		if problem := foreign(r); problem != "" {
			http.Error(w, problem, http.StatusForbidden)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, bodyBytesMax)
	}
	s.mux.ServeHTTP(w, r)
}

// foreign says why a request cannot come from our own page. No cookie is used, so
// that no other page has anything to ride on; this holds off their guesses, too.
func foreign(r *http.Request) string {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		return "not from the page: no JSON"
	}
	if origin := r.Header.Get("Origin"); origin != "" {
		_, host, ok := strings.Cut(origin, "://")
		if !ok || host != r.Host {
			return "not from the page: another origin"
		}
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		return "not from the page: another site"
	}
	return ""
}

// loopbackHost reports whether a request names this machine by a name that no
// other's name server gives.
func loopbackHost(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Serve answers on a listener until ctx ends. config is nil for plain HTTP.
func (s *Server) Serve(ctx context.Context, listener net.Listener, config *tls.Config) error {
	listener = netutil.LimitListener(listener, connectionsMax)
	if config != nil {
		listener = tls.NewListener(listener, config)
	}
	server := &http.Server{Handler: s, ReadHeaderTimeout: requestTime, ReadTimeout: requestTime, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: log.New(hub.Sayer(s.options.Say), "", 0)}
	return hub.ServeUntil(ctx, server, listener)
}
