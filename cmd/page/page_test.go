package page

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"pulk/checklist/run"
	"pulk/checklist/work"
)

// hut is a place with two people and one run.
type hut struct {
	taps    []work.Tap
	signers []*run.Signer
	refuse  error
}

var errRule = errors.New("a rule of the work")

var idaKey, mirreKey = &run.Signer{}, &run.Signer{}

func (h *hut) Look(name, person string) (*work.Scene, error) {
	return &work.Scene{Run: name, Title: "Secret hole", Person: person}, nil
}

func (h *hut) CarryOut(_, _ string, tap work.Tap, signer *run.Signer) (string, error) {
	if h.refuse != nil {
		return "", h.refuse
	}
	h.taps, h.signers = append(h.taps, tap), append(h.signers, signer)
	return "done", nil
}

func (h *hut) Unlock(person, passphrase string) (*run.Signer, error) {
	switch {
	case person == "ida" && passphrase == "four cold words":
		return idaKey, nil
	case person == "mirre" && passphrase == "five very cold words":
		return mirreKey, nil
	}
	return nil, errors.New("no such person, or a wrong passphrase")
}

func (h *hut) Runs() ([]Run, error) {
	return []Run{{Run: "stn-7", Title: "Secret hole"}, {Run: "stn-8", Title: "Secret pit"}}, nil
}

func (h *hut) Answers(err error) (string, []string, string, bool) {
	return err.Error(), nil, "", errors.Is(err, errRule)
}

// guest asks a server as a page does.
type guest struct {
	t       *testing.T
	server  *Server
	now     time.Time
	hut     *hut
	token   string
	address string
	change  func(*http.Request) // before it is sent
}

func newGuest(t *testing.T, only string) *guest {
	g := &guest{t: t, hut: &hut{}, now: time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC), address: "192.0.2.7:40000"}
	server, err := New(Options{Place: g.hut, Run: only, Idle: time.Hour, Loopback: true, Now: func() time.Time { return g.now },
		Random: func(b []byte) error { _, err := rand.Read(b); return err }, Say: func(string) {}})
	if err != nil {
		t.Fatal(err)
	}
	g.server = server
	return g
}

func (g *guest) post(path, body string) (code int, answer string) {
	r := httptest.NewRequest(http.MethodPost, "http://localhost:8460"+path, strings.NewReader(body))
	r.RemoteAddr = g.address
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", "http://localhost:8460")
	if g.token != "" {
		r.Header.Set("Authorization", "Bearer "+g.token)
	}
	if g.change != nil {
		g.change(r)
	}
	w := httptest.NewRecorder()
	g.server.ServeHTTP(w, r)
	text, err := io.ReadAll(w.Body)
	if err != nil {
		g.t.Fatal(err)
	}
	return w.Code, string(text)
}

func (g *guest) enter(person, passphrase string) int {
	g.t.Helper()
	code, answer := g.post("/enter", fmt.Sprintf(`{"person": %q, "passphrase": %q}`, person, passphrase))
	var given struct{ Token string }
	if err := json.Unmarshal([]byte(answer), &given); code == http.StatusOK && (err != nil || len(given.Token) != 64) {
		g.t.Fatalf("%v: %s", err, answer)
	}
	if code == http.StatusOK {
		g.token = given.Token
	}
	return code
}

const oneTap = `{"run": "stn-7", "tap": {"id": "0123456789abcdef0123456789abcdef", "step": "10", "act": "go", "text": "", "entry": "", "shown": "x", "read": true, "at_ms": 1}}`

// TestStrangers tells nothing to who has not entered, not even which people and runs
// there are.
func TestStrangers(t *testing.T) {
	g := newGuest(t, "")
	for _, token := range []string{"", "x", strings.Repeat("0", 64)} {
		g.token = token
		for path, body := range map[string]string{"/runs": "{}", "/look": `{"run": "stn-7"}`, "/tap": oneTap, "/leave": "{}"} {
			if code, answer := g.post(path, body); code != http.StatusUnauthorized || strings.Contains(answer, "Secret") || strings.Contains(answer, "stn") {
				t.Errorf("%s with token %q: %d %s", path, token, code, answer)
			}
		}
	}
	if len(g.hut.taps) > 0 {
		t.Error("a stranger's tap was carried out")
	}
	_, unknown := g.post("/enter", `{"person": "tomas", "passphrase": "a b c"}`)
	_, wrong := g.post("/enter", `{"person": "ida", "passphrase": "a b c"}`)
	if unknown != wrong {
		t.Errorf("the answer tells who there is: %s and %s", unknown, wrong)
	}
	for _, path := range []string{"/", "/page.js", "/page.css", "/static/", "/other"} {
		r := httptest.NewRequest(http.MethodGet, "http://localhost:8460"+path, nil)
		w := httptest.NewRecorder()
		g.server.ServeHTTP(w, r)
		if found := w.Code == http.StatusOK; found != (path == "/" || strings.HasPrefix(path, "/page.")) {
			t.Errorf("GET %s: %d", path, w.Code)
		}
		for _, outside := range []string{"http://", "https://", "//cdn"} {
			if strings.Contains(w.Body.String(), outside) {
				t.Errorf("%s fetches from elsewhere: %s", path, outside)
			}
		}
		if policy := w.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") {
			t.Errorf("%s: policy %q", path, policy)
		}
	}
}

// TestForeignRequests refuses what cannot come from the page itself.
func TestForeignRequests(t *testing.T) {
	for name, change := range map[string]func(*http.Request){
		"another_origin":  func(r *http.Request) { r.Header.Set("Origin", "http://elsewhere.example") },
		"no_origin_given": func(r *http.Request) { r.Header.Set("Origin", "null") },
		"a_form":          func(r *http.Request) { r.Header.Set("Content-Type", "application/x-www-form-urlencoded") },
		"cross_site":      func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"rebound_name": func(r *http.Request) {
			r.Host = "elsewhere.example:8460"
			r.Header.Set("Origin", "http://elsewhere.example:8460")
		},
		"get": func(r *http.Request) { r.Method = http.MethodGet },
	} {
		t.Run(name, func(t *testing.T) {
			g := newGuest(t, "")
			if code := g.enter("ida", "four cold words"); code != http.StatusOK {
				t.Fatal(code)
			}
			g.change = change
			if code, answer := g.post("/tap", oneTap); code < 400 || len(g.hut.taps) > 0 {
				t.Errorf("%d %s", code, answer)
			}
		})
	}
}

// TestGuesses makes guessing slow: for an address, and for a person from anywhere.
func TestGuesses(t *testing.T) {
	g := newGuest(t, "")
	for range guessesFree {
		if code := g.enter("ida", "wrong"); code != http.StatusForbidden {
			t.Fatal(code)
		}
	}
	g.enter("ida", "wrong")
	if code := g.enter("ida", "four cold words"); code != http.StatusTooManyRequests {
		t.Errorf("after %d wrong ones the right passphrase is tried at once: %d", guessesFree+1, code)
	}
	if code := g.enter("mirre", "five very cold words"); code != http.StatusTooManyRequests {
		t.Errorf("the address can go on with another person: %d", code)
	}
	g.address = "192.0.2.8:40000"
	if code := g.enter("ida", "wrong"); code != http.StatusTooManyRequests {
		t.Errorf("another address can go on with the same person: %d", code)
	}
	if code := g.enter("mirre", "five very cold words"); code != http.StatusOK {
		t.Errorf("another person from another address has to wait: %d", code)
	}
	g.now = g.now.Add(2 * time.Second)
	if code := g.enter("ida", "four cold words"); code != http.StatusOK {
		t.Errorf("after the delay: %d", code)
	}
	tries := 0
	for end := g.now.Add(24 * time.Hour); g.now.Before(end); g.now = g.now.Add(time.Second) {
		if g.address = "192.0.2.9:1"; g.enter("ida", "wrong") == http.StatusForbidden {
			tries++
		}
	}
	if most := 24*60/5 + 20; tries > most {
		t.Errorf("%d passphrases were tried from one address in a day, want at most %d", tries, most)
	}
}

// TestGuessesAtOnce sends many guesses at the same time: they are no way around the
// delay.
func TestGuessesAtOnce(t *testing.T) {
	g := newGuest(t, "")
	codes := make([]int, 200)
	var all sync.WaitGroup
	for i := range codes {
		all.Go(func() { codes[i], _ = g.post("/enter", `{"person": "ida", "passphrase": "wrong"}`) })
	}
	all.Wait()
	tried := 0
	for _, code := range codes {
		if code == http.StatusForbidden {
			tried++
		}
	}
	if tried < 1 || tried > guessesFree+1 {
		t.Errorf("%d of %d were tried, want at most %d", tried, len(codes), guessesFree+1)
	}
}

func TestNetwork(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:40000": "192.0.2.7", "[::ffff:192.0.2.7]:1": "192.0.2.7", "[2001:db8:1:2:3:4:5:6]:1": "2001:db8:1:2::/64", "[fe80::1%eth0]:1": "fe80::/64", "odd": "odd",
	} {
		if got := network(remote); got != want {
			t.Errorf("network(%q) = %q, want %q", remote, got, want)
		}
	}
}

// TestGuessesAreBounded lets a flood of names take no more memory.
func TestGuessesAreBounded(t *testing.T) {
	g := guesses{}
	now := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
	for i := range 3 * guessersKnown {
		g.fail(fmt.Sprint(i), time.Minute, now)
	}
	if len(g) > guessersKnown {
		t.Errorf("%d are kept", len(g))
	}
	g.fail("later", time.Minute, now.Add(2*guessForgotten))
	if len(g) != 1 {
		t.Errorf("%d are kept after they were to be forgotten", len(g))
	}
}

// TestSession ends when nothing is tapped for long, when the person leaves, and
// after the longest shift. Looking keeps none alive.
func TestSession(t *testing.T) {
	looks := func(g *guest) int { code, _ := g.post("/look", `{"run": "stn-7", "known": ""}`); return code }
	g := newGuest(t, "")
	g.enter("ida", "four cold words")
	for range 5 {
		g.now = g.now.Add(50 * time.Minute)
		if code, answer := g.post("/tap", oneTap); code != http.StatusOK {
			t.Fatalf("who taps is sent away: %d %s", code, answer)
		}
	}
	if g.hut.signers[0] != idaKey {
		t.Error("the key of another person signs")
	}
	for range 7 {
		g.now = g.now.Add(10 * time.Minute)
		looks(g)
	}
	if code := looks(g); code != http.StatusUnauthorized {
		t.Errorf("who only looks for over an hour stays: %d", code)
	}
	g.enter("ida", "four cold words")
	for range 20 {
		g.now = g.now.Add(50 * time.Minute)
		g.post("/tap", oneTap)
	}
	if code := looks(g); code != http.StatusUnauthorized {
		t.Errorf("a session lasts longer than %s: %d", sessionLongest, code)
	}
	g.enter("ida", "four cold words")
	g.post("/leave", "{}")
	if code := looks(g); code != http.StatusUnauthorized {
		t.Errorf("who left is still there: %d", code)
	}
	if len(g.server.sessions) != 0 {
		t.Errorf("%d sessions are kept, with their keys", len(g.server.sessions))
	}
}

// TestTap tells what the answers to taps are.
func TestTap(t *testing.T) {
	g := newGuest(t, "stn-7")
	g.enter("ida", "four cold words")
	for name, body := range map[string]string{
		"no_id":          strings.Replace(oneTap, "0123456789abcdef0123456789abcdef", "", 1),
		"short_id":       strings.Replace(oneTap, "0123456789abcdef0123456789abcdef", "01", 1),
		"another_run":    strings.Replace(oneTap, "stn-7", "stn-8", 1),
		"unknown_field":  strings.Replace(oneTap, `"step"`, `"stop"`, 1),
		"no_json":        "tap",
		"much_too_long":  strings.Replace(oneTap, `"text": ""`, `"text": "`+strings.Repeat("x", bodyBytesMax)+`"`, 1),
		"text_too_long":  strings.Replace(oneTap, `"text": ""`, `"text": "`+strings.Repeat("x", textRunesMax+1)+`"`, 1),
		"another_string": `"x"`,
	} {
		if code, answer := g.post("/tap", body); code < 400 || code >= 500 {
			t.Errorf("%s: %d %s", name, code, answer)
		}
	}
	if len(g.hut.taps) > 0 {
		t.Errorf("carried out: %v", g.hut.taps)
	}
	if code, answer := g.post("/tap", oneTap); code != http.StatusOK || !strings.Contains(answer, `"taken":true`) {
		t.Errorf("%d %s", code, answer)
	}
	g.hut.refuse = errRule
	if code, answer := g.post("/tap", oneTap); code != http.StatusOK || !strings.Contains(answer, `"taken":false`) || !strings.Contains(answer, "a rule of the work") {
		t.Errorf("a refusal: %d %s", code, answer)
	}
	g.hut.refuse = errors.New("the disk is full")
	if code, _ := g.post("/tap", oneTap); code != http.StatusServiceUnavailable {
		t.Errorf("a failure is no answer, and is to be tried again: %d", code)
	}
}

// TestLook sends a scene once, and only that of the run that the page is for.
func TestLook(t *testing.T) {
	g := newGuest(t, "stn-7")
	g.enter("mirre", "five very cold words")
	_, first := g.post("/look", `{"run": "stn-7", "known": ""}`)
	var answer struct {
		Known string
		NowMS int64 `json:"now_ms"`
		Scene *work.Scene
	}
	if err := json.Unmarshal([]byte(first), &answer); err != nil || answer.Scene == nil || answer.Scene.Person != "mirre" || answer.NowMS != g.now.UnixMilli() {
		t.Fatalf("%v: %s", err, first)
	}
	if _, again := g.post("/look", fmt.Sprintf(`{"run": "stn-7", "known": %q}`, answer.Known)); strings.Contains(again, "scene") {
		t.Errorf("the scene is sent again: %s", again)
	}
	if code, other := g.post("/look", `{"run": "stn-8", "known": ""}`); code != http.StatusNotFound || strings.Contains(other, "Secret") {
		t.Errorf("another run: %d %s", code, other)
	}
	if _, list := g.post("/runs", "{}"); strings.Contains(list, "stn-8") {
		t.Errorf("another run is listed: %s", list)
	}
}
