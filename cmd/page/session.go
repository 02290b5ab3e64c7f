package page

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/netip"
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
	select {
	case s.waiting <- struct{}{}:
		defer func() { <-s.waiting }()
	default:
		refuse(w, http.StatusServiceUnavailable, "others are entering just now", "try again")
		return
	}
	// One at a time: a key takes 64 MiB to open, and who sends many guesses at once is
	// made to wait after the first ones all the same.
	s.unlocks <- struct{}{}
	signer := s.unlock(w, asked.Person, asked.Passphrase, network(r.RemoteAddr))
	<-s.unlocks
	if signer == nil {
		return
	}
	now := s.options.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
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

// network returns where a request is from, for counting guesses: an address, or of
// IPv6 the network, as one host has as many addresses there as it likes (RFC 4291).
func network(remote string) string {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	if address := at.Addr().Unmap(); address.Is4() {
		return address.String()
	}
	prefix, err := at.Addr().WithZone("").Prefix(64)
	if err != nil {
		return remote
	}
	return prefix.String()
}

// unlock opens a person's key; nil, and an answer to the request, where it does not.
func (s *Server) unlock(w http.ResponseWriter, person, passphrase, from string) *run.Signer {
	byAddress, byPerson := "from "+from, "for "+person
	s.mu.Lock()
	now := s.options.Now()
	wait := max(s.guesses.wait(byAddress, now), s.guesses.wait(byPerson, now))
	s.mu.Unlock()
	if wait > 0 {
		refuse(w, http.StatusTooManyRequests, "too many wrong passphrases", "try again in "+wait.Round(time.Second).String())
		return nil
	}
	signer, err := s.options.Place.Unlock(person, passphrase)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		now = s.options.Now()
		s.guesses.fail(byAddress, guessDelayMax, now)
		s.guesses.fail(byPerson, personDelayMax, now)
		s.options.Say("a wrong passphrase from " + from)
		refuse(w, http.StatusForbidden, "the code or the passphrase is wrong, or this store holds no key of that person", "pulk person key CODE makes one")
		return nil
	}
	delete(s.guesses, byAddress)
	delete(s.guesses, byPerson)
	return signer
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
