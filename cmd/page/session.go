package page

import (
	"crypto/sha256"
	"encoding/hex"
	"net"
	"net/http"
	"strings"
	"time"

	"pulk/checklist/run"
)

// tokenHash is the SHA-256 of a token. The tokens themselves are kept by pages only.
type tokenHash [sha256.Size]byte

// session is a person at a page.
type session struct {
	person string
	signer *run.Signer
	began  time.Time
	acted  time.Time // the last time that the person did something; looking is none
}

// guesses tells how often a passphrase was got wrong, by whom and for whom.
type guesses map[string]*guess

type guess struct {
	failed int
	last   time.Time
	until  time.Time // no other is taken before
}

// wait returns how long a key has to wait before a passphrase is tried again.
func (g guesses) wait(key string, now time.Time) time.Duration {
	if known := g[key]; known != nil {
		return max(known.until.Sub(now), 0)
	}
	return 0
}

// fail counts a wrong passphrase. The first few cost nothing: fingers are cold. Then
// each doubles the wait.
func (g guesses) fail(key string, longest time.Duration, now time.Time) {
	for other, known := range g {
		if now.Sub(known.last) > guessForgotten {
			delete(g, other)
		}
	}
	known := g[key]
	if known == nil {
		if len(g) >= guessersKnown {
			return // the delays of those who are known go on
		}
		known = &guess{}
		g[key] = known
	}
	known.failed++
	known.last = now
	if known.failed > guessesFree {
		known.until = now.Add(min(time.Second<<min(known.failed-guessesFree, 20), longest))
	}
}

// enter opens a session for who knows a person's passphrase. Who does not is told the
// same whatever was wrong: not even who there is.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	var asked struct{ Person, Passphrase string }
	if !readJSON(w, r, &asked) {
		return
	}
	address, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		address = r.RemoteAddr
	}
	byAddress, byPerson := "from "+address, "for "+asked.Person
	now := s.options.Now()
	s.mu.Lock()
	wait := max(s.guesses.wait(byAddress, now), s.guesses.wait(byPerson, now))
	s.mu.Unlock()
	if wait > 0 {
		refuse(w, http.StatusTooManyRequests, "too many wrong passphrases", "try again in "+wait.Round(time.Second).String())
		return
	}
	signer, err := s.unlock(asked.Person, asked.Passphrase)
	now = s.options.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case err == errBusy:
		refuse(w, http.StatusServiceUnavailable, err.Error(), "try again")
		return
	case err != nil:
		s.guesses.fail(byAddress, guessDelayMax, now)
		s.guesses.fail(byPerson, personDelayMax, now)
		s.options.Say("a wrong passphrase from " + address)
		refuse(w, http.StatusForbidden, "the code or the passphrase is wrong, or this store holds no key of that person", "pulk person key CODE makes one")
		return
	}
	delete(s.guesses, byAddress)
	delete(s.guesses, byPerson)
	token := make([]byte, 32)
	if err := s.options.Random(token); err != nil {
		s.fail(w, err)
		return
	}
	s.forget(now)
	if len(s.sessions) >= sessionsMax {
		refuse(w, http.StatusServiceUnavailable, "too many people are here", "let some of them leave")
		return
	}
	text := hex.EncodeToString(token)
	s.sessions[sha256.Sum256([]byte(text))] = &session{person: asked.Person, signer: signer, began: now, acted: now}
	writeJSON(w, http.StatusOK, map[string]any{"person": asked.Person, "token": text, "run": s.options.Run})
}

type busyError struct{}

func (busyError) Error() string { return "others are entering just now" }

var errBusy = busyError{}

// unlock opens a key, one at a time.
func (s *Server) unlock(person, passphrase string) (*run.Signer, error) {
	select {
	case s.waiting <- struct{}{}:
	default:
		return nil, errBusy
	}
	defer func() { <-s.waiting }()
	s.unlocks <- struct{}{}
	defer func() { <-s.unlocks }()
	return s.options.Place.Unlock(person, passphrase)
}

// forget ends the sessions whose time is over. Their keys go with them.
func (s *Server) forget(now time.Time) {
	for hash, session := range s.sessions {
		if now.Sub(session.acted) > s.options.Idle || now.Sub(session.began) > sessionLongest {
			delete(s.sessions, hash)
		}
	}
}

// known lets a request through to who has a session, and tells all others nothing.
func (s *Server) known(then func(http.ResponseWriter, *http.Request, *session)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		token, _ := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		s.mu.Lock()
		s.forget(s.options.Now())
		session := s.sessions[sha256.Sum256([]byte(token))]
		s.mu.Unlock()
		if session == nil {
			refuse(w, http.StatusUnauthorized, "enter with your passphrase", "")
			return
		}
		then(w, r, session)
	}
}

// leave ends a session.
func (s *Server) leave(w http.ResponseWriter, _ *http.Request, gone *session) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for hash, session := range s.sessions {
		if session == gone {
			delete(s.sessions, hash)
		}
	}
	writeJSON(w, http.StatusOK, map[string]any{})
}
