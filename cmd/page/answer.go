package page

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"regexp"
	"unicode/utf8"

	"pulk/checklist/work"
)

// looked is the answer to a look. Where the page has that scene already it is left
// away.
type looked struct {
	NowMS int64           `json:"now_ms"`
	Known string          `json:"known"` // names the scene
	Scene json.RawMessage `json:"scene,omitempty"`
}

// tapped is the answer to a tap.
type tapped struct {
	Taken   bool     `json:"taken"`
	Said    string   `json:"said"`    // where it was taken
	What    string   `json:"what"`    // why it was refused
	Because []string `json:"because"` // the reasons, where there are several
	Hint    string   `json:"hint"`
}

func (s *Server) runs(w http.ResponseWriter, _ *http.Request, _ *session) {
	runs, err := s.options.Place.Runs()
	if err != nil {
		s.fail(w, err)
		return
	}
	list := []Run{}
	for _, row := range runs {
		if s.options.Run == "" || s.options.Run == row.Run {
			list = append(list, row)
		}
	}
	writeJSON(w, http.StatusOK, map[string]any{"runs": list})
}

func (s *Server) look(w http.ResponseWriter, r *http.Request, session *session) {
	var asked struct{ Run, Known string }
	if !readJSON(w, r, &asked) || !s.shown(w, asked.Run) {
		return
	}
	scene, err := s.options.Place.Look(asked.Run, session.person)
	if err != nil {
		s.answer(w, err)
		return
	}
	text, err := json.Marshal(scene)
	if err != nil {
		s.fail(w, err)
		return
	}
	sum := sha256.Sum256(text)
	answer := looked{NowMS: s.options.Now().UnixMilli(), Known: hex.EncodeToString(sum[:8])}
	if answer.Known != asked.Known {
		answer.Scene = text
	}
	writeJSON(w, http.StatusOK, answer)
}

// tapID is what names a tap: drawn by the page, so long that none comes twice.
var tapID = regexp.MustCompile(`^[0-9a-f]{32}$`)

func (s *Server) tap(w http.ResponseWriter, r *http.Request, session *session) {
	var asked struct {
		Run string
		Tap work.Tap
	}
	if !readJSON(w, r, &asked) || !s.shown(w, asked.Run) {
		return
	}
	if !tapID.MatchString(asked.Tap.ID) || utf8.RuneCountInString(asked.Tap.Text) > textRunesMax {
		refuse(w, http.StatusBadRequest, "this is no tap of the page", "load the page again")
		return
	}
	s.mu.Lock()
	session.acted = s.options.Now()
	s.mu.Unlock()
	said, err := s.options.Place.CarryOut(asked.Run, session.person, asked.Tap, session.signer)
	if err != nil {
		s.answer(w, err)
		return
	}
	writeJSON(w, http.StatusOK, tapped{Taken: true, Said: said, Because: []string{}})
}

// shown holds a page that is for one run to it.
func (s *Server) shown(w http.ResponseWriter, run string) bool {
	if s.options.Run == "" || s.options.Run == run {
		return true
	}
	refuse(w, http.StatusNotFound, "this page is for run "+s.options.Run, "")
	return false
}

// answer tells a person why something was not done. What is no answer to a person is
// a failure here: the page keeps what it sent, and sends it again.
func (s *Server) answer(w http.ResponseWriter, err error) {
	what, because, hint, isAnswer := s.options.Place.Answers(err)
	if !isAnswer {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, tapped{What: what, Because: append([]string{}, because...), Hint: hint})
}

func (s *Server) fail(w http.ResponseWriter, err error) {
	s.options.Say(err.Error())
	refuse(w, http.StatusServiceUnavailable, "the site could not do it: "+err.Error(), "it is tried again")
}

func refuse(w http.ResponseWriter, code int, what, hint string) {
	writeJSON(w, code, tapped{What: what, Because: []string{}, Hint: hint})
}

func writeJSON(w http.ResponseWriter, code int, value any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	json.NewEncoder(w).Encode(value) // the page is gone where this fails; it asks again
}

func readJSON(w http.ResponseWriter, r *http.Request, value any) bool {
	decoder := json.NewDecoder(r.Body)
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(value); err != nil {
		refuse(w, http.StatusBadRequest, "this is no request of the page", "load the page again")
		return false
	}
	return true
}
