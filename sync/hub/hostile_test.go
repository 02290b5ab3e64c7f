package hub

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"pulk/sync/carrier"
	"strings"
	"testing"
	"time"
)

// ask makes a bare request and returns status and body.
func (h *hall) ask(t *testing.T, method, path, token string, header map[string]string, body string) (*http.Response, string) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), method, "http://"+h.address+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	for name, value := range header {
		request.Header.Set(name, value)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response, string(text)
}

func span(offset, length int) map[string]string {
	return map[string]string{headerOffset: fmt.Sprint(offset), headerLength: fmt.Sprint(length)}
}

// TestOthersAreOutOfReach has a site with a token of its own try for what is not
// its own.
func TestOthersAreOutOfReach(t *testing.T) {
	h := startHub(t, nil)
	data := parcel(100, 1)
	must[[]string](t)(h.client(t, stn, h.address).Put(t.Context(), stn, home, "log", [][]byte{data}))
	name := fmt.Sprintf("%08x-log-%s", stn, hexDigest(data))
	for _, test := range []struct {
		why, method, path, token string
		want                     int
	}{
		{"no token", "GET", "/v1/parcels", "", 401},
		{"a wrong token", "GET", "/v1/parcels", "pulk-hub-x", 401},
		{"a hash as a token", "GET", "/v1/parcels", hexDigest([]byte(h.tokens[home])), 401},
		{"read another's", "GET", "/v1/parcels/" + name, h.tokens[ship], 404},
		{"the sender reads its own back", "GET", "/v1/parcels/" + name, h.tokens[stn], 404},
		{"delete another's", "DELETE", "/v1/parcels/" + name, h.tokens[ship], 404},
		{"climb", "GET", "/v1/parcels/..%2f04bc4484%2f" + name, h.tokens[ship], 400},
		{"read the tokens", "GET", "/v1/parcels/..%2f..%2ftokens.json", h.tokens[ship], 400},
		{"climb with a slot", "PATCH", "/v1/to/04bc4484/..%2f..%2fx/" + hexDigest(data), h.tokens[ship], 400},
		{"climb with a site", "PATCH", "/v1/to/..%2fxx/log/" + hexDigest(data), h.tokens[ship], 400},
		{"a site that is not here", "PATCH", "/v1/to/00000099/log/" + hexDigest(data), h.tokens[ship], 404},
		{"list the root", "GET", "/", h.tokens[ship], 404},
		{"another method", "PUT", "/v1/parcels", h.tokens[ship], 405},
		{"its addressee", "GET", "/v1/parcels/" + name, h.tokens[home], 200},
	} {
		if response, body := h.ask(t, test.method, test.path, test.token, span(0, 100), ""); response.StatusCode != test.want {
			t.Errorf("%s: %d, want %d: %s", test.why, response.StatusCode, test.want, body)
		}
	}
	// The same parcel from ship does not touch what stn left, and bears ship's name.
	must[[]string](t)(h.client(t, ship, h.address).Put(t.Context(), stn, home, "log", [][]byte{data}))
	if names := must[[]string](t)(h.client(t, home, h.address).List(t.Context(), home)); len(names) != 2 || strings.HasPrefix(names[0], "77e10c05") == strings.HasPrefix(names[1], "77e10c05") {
		t.Errorf("a site that says to be another: %v", names)
	}
	text, err := os.ReadFile(tokensPath(h.folder))
	for _, token := range h.tokens {
		if err != nil || bytes.Contains(text, []byte(token)) {
			t.Errorf("a token lies in the open: %v", err)
		}
	}
	if n, err := RevokeTokens(h.folder, ship); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	if response, _ := h.ask(t, "GET", "/v1/parcels", h.tokens[ship], nil, ""); response.StatusCode != 401 {
		t.Errorf("a token that was taken back: %d", response.StatusCode)
	}
}

// TestBadUploads are uploads that do not do as they say.
func TestBadUploads(t *testing.T) {
	h := startHub(t, func(o *Options) { o.MaxParcelBytes, o.QuotaBytes, o.MaxParcels = 1000, 1500, 3 })
	data := string(parcel(100, 1))
	path := "/v1/to/04bc4484/log/" + hexDigest([]byte(data))
	sum := sha256.Sum256([]byte(data[:50]))
	digest := "sha-256=:" + base64.StdEncoding.EncodeToString(sum[:]) + ":"
	with := func(header map[string]string, name, value string) map[string]string {
		header[name] = value
		return header
	}
	for _, test := range []struct {
		why    string
		header map[string]string
		body   string
		want   int
		offset string // as told in the answer
	}{
		{"no place", nil, data, 400, ""},
		{"below zero", span(-1, 100), data, 400, ""},
		{"behind the end", span(101, 100), "", 400, ""},
		{"too large", span(0, 1001), data, 413, ""},
		{"more than said", span(0, 99), data, 413, ""},
		{"begins in the middle", span(50, 100), data[50:], 409, "0"},
		{"a part with another digest", with(span(0, 100), "Content-Digest", digest), data[:49], 422, ""},
		{"a digest of another kind", with(span(0, 100), "Content-Digest", "md5=:AAAA:"), data[:50], 400, ""},
		{"the first half, checked", with(span(0, 100), "Content-Digest", digest), data[:50], 204, "50"},
		{"the first half again", span(0, 100), data[:50], 409, "50"},
		{"the wrong second half", span(50, 100), data[:50], 422, ""},
		{"all over again", span(0, 100), data, 201, "100"},
		{"once more", span(0, 100), data, 200, "100"},
	} {
		response, body := h.ask(t, "PATCH", path, h.tokens[stn], test.header, test.body)
		if response.StatusCode != test.want || test.offset != "" && response.Header.Get(headerOffset) != test.offset {
			t.Errorf("%s: %d at %q, want %d at %q: %s", test.why, response.StatusCode, response.Header.Get(headerOffset), test.want, test.offset, body)
		}
	}
	for i, want := range []int{201, 507, 201, 507} { // 1,000 bytes with the first; over 1,500; a small third; a fourth
		size := []int{900, 600, 10, 10}[i]
		more := parcel(size, byte(20+i))
		response, body := h.ask(t, "PATCH", "/v1/to/04bc4484/log/"+hexDigest(more), h.tokens[stn], span(0, size), string(more))
		if response.StatusCode != want {
			t.Errorf("upload %d of %d bytes: %d, want %d: %s", i, size, response.StatusCode, want, body)
		}
	}
	name := strings.Repeat("0", 64)
	for body, want := range map[string]int{
		"{": 400, "[]": 400, `{"keep":{}}`: 400, `{"keep":[]`: 400, `{"keep":["` + name + `"`: 400, `{"keep":["x"]}`: 400, `{"keep":[1]}`: 400, `{"other":[]}`: 400,
		`{"keep":["` + name + `","1` + name[1:] + `","2` + name[1:] + `","3` + name[1:] + `"]}`: 413, `{"keep":["` + name + `"]}`: 204, `{"keep":[]}`: 204, `{"keep":null}`: 204,
	} {
		if response, answer := h.ask(t, "POST", "/v1/to/04bc4484/log", h.tokens[stn], nil, body); response.StatusCode != want {
			t.Errorf("%.40s: %d, want %d: %s", body, response.StatusCode, want, answer)
		}
	}
}

// TestListingIsBounded has a client read listings that no hub makes.
func TestListingIsBounded(t *testing.T) {
	entries := func(n int) string { return "[{}" + strings.Repeat(",{}", n-1) + "]" }
	for _, test := range []struct {
		text string
		ok   bool
	}{
		{`{"parcels":` + entries(maxFew) + `,"expired":` + entries(maxFew) + "}", true},
		{`{"parcels":null,"expired":null}`, true},
		{`{"parcels":` + entries(maxFew+1) + "}", false},
		{`{"expired":` + entries(maxFew+1) + "}", false},
		{`{"parcels":{}}`, false},
		{`{"parcels":[1]}`, false},
	} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, test.text) }))
		c, err := NewClient(server.URL, "x", "", t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		if l, err := c.listing(t.Context()); (err == nil) != test.ok {
			t.Errorf("%.40s: %d parcels, %v", test.text, len(l.Parcels), err)
		}
		server.Close()
	}
}

// TestOnlyOneKeep lets a site that hangs in a request to keep parcels make another.
func TestOnlyOneKeep(t *testing.T) {
	h := startHub(t, nil)
	conn, err := net.Dial("tcp", h.address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	fmt.Fprintf(conn, "POST /v1/to/04bc4484/log HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Length: 100\r\n\r\n{", h.tokens[stn])
	time.Sleep(100 * time.Millisecond)
	if response, body := h.ask(t, "POST", "/v1/to/04bc4484/log", h.tokens[stn], nil, `{"keep":[]}`); response.StatusCode != 204 {
		t.Errorf("while another hangs: %d %s", response.StatusCode, body)
	}
	if line, err := bufio.NewReader(conn).ReadString('\n'); err != nil || !strings.Contains(line, " 400 ") {
		t.Errorf("the one that hangs: %q, %v", line, err)
	}
}

// TestRates holds tokens and addresses to their number of requests.
func TestRates(t *testing.T) {
	h := startHub(t, func(o *Options) {
		o.PerSecond, o.Burst, o.Now = 0.01, 5, func() time.Time { return time.Unix(1_800_000_000, 0) }
	})
	count := map[int]int{}
	for range 7 {
		response, _ := h.ask(t, "GET", "/v1/parcels", h.tokens[stn], nil, "")
		count[response.StatusCode]++
		if response.StatusCode == 429 && response.Header.Get("Retry-After") == "" {
			t.Error("429 without Retry-After")
		}
	}
	if count[200] != 5 || count[429] != 2 {
		t.Errorf("of 7 requests of one token: %v, want 5 and 2", count)
	}
	guesses := 0
	for range 5 {
		if response, _ := h.ask(t, "GET", "/v1/parcels", "guess", nil, ""); response.StatusCode == 401 {
			guesses++
		}
	}
	if guesses > 3 {
		t.Errorf("%d guesses of a token were answered", guesses)
	}
	if a, b := hostOf("[2001:db8::1]:99"), hostOf("[2001:db8::ffff]:1"); a != b {
		t.Errorf("one network counts as two: %s, %s", a, b)
	}
}

// TestConnections shuts the door to an address that holds too many open.
func TestConnections(t *testing.T) {
	h := startHub(t, nil)
	var open []net.Conn
	defer func() {
		for _, conn := range open {
			conn.Close()
		}
	}()
	refused := 0
	for range maxConnectionsPerAddress + 5 {
		conn, err := net.Dial("tcp", h.address)
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, conn)
	}
	for _, conn := range open {
		fmt.Fprintf(conn, "GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
		conn.SetReadDeadline(time.Now().Add(5 * time.Second))
		if line, err := bufio.NewReader(conn).ReadString('\n'); err != nil || !strings.Contains(line, "200") {
			refused++
		}
	}
	if refused != 5 {
		t.Errorf("%d of %d connections were refused, want 5", refused, len(open))
	}
}

// TestPace cuts off who is too slow, and not who is only slow.
func TestPace(t *testing.T) {
	cut := 0
	p := newPace(func() { cut++ })
	p.timer.Stop()
	look := func(moved int64, looked time.Duration) {
		p.moved, p.looked = moved, looked
		p.timer.Reset(0)
		for {
			p.mu.Lock()
			seen := p.looked
			p.mu.Unlock()
			if seen > looked {
				return
			}
			time.Sleep(time.Millisecond)
		}
	}
	look(0, 0)
	look(paceBytes*100, paceStart+80*time.Second)
	if cut != 0 {
		t.Errorf("cut off who keeps pace")
	}
	look(paceBytes*10, paceStart+80*time.Second)
	if cut != 1 {
		t.Errorf("did not cut off who is too slow")
	}
}

// FuzzRequest looks for requests that crash the hub, or write outside its folder.
func FuzzRequest(f *testing.F) {
	f.Add("GET", "/v1/parcels", "0", "1", "", "")
	f.Add("PATCH", "/v1/to/04bc4484/log/"+strings.Repeat("0", 64), "0", "5", "sha-256=:AAAA:", "hello")
	f.Add("POST", "/v1/to/04bc4484/log", "", "", "", `{"keep":["x"]}`)
	f.Add("DELETE", "/v1/parcels/0b41a87d-log-"+strings.Repeat("0", 64), "", "", "", "")
	f.Add("GET", "/v1/parcels/..%2f..%2ftokens.json", "", "", "", "")
	outer := f.TempDir()
	folder := filepath.Join(outer, "hub")
	token, err := MakeToken(folder, home, "", strings.NewReader(strings.Repeat("x", 32)), time.Unix(0, 0))
	if err != nil {
		f.Fatal(err)
	}
	hub, err := New(Options{Folder: folder, PerSecond: 1e9, Burst: 1e9, MaxParcelBytes: 1 << 16, QuotaBytes: 1 << 20, Now: func() time.Time { return time.Unix(1_800_000_000, 0) }})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, method, path, offset, length, digest, body string) {
		request, err := http.ReadRequest(bufio.NewReader(strings.NewReader(method + " " + path + " HTTP/1.1\r\nHost: x\r\n\r\n")))
		if err != nil {
			return
		}
		request.Body, request.ContentLength, request.RemoteAddr = io.NopCloser(strings.NewReader(body)), int64(len(body)), "127.0.0.1:1"
		request.Header = http.Header{"Authorization": {"Bearer " + token}, headerOffset: {offset}, headerLength: {length}}
		if digest != "" {
			request.Header.Set("Content-Digest", digest)
		}
		recorder := httptest.NewRecorder()
		hub.ServeHTTP(recorder, request.WithContext(t.Context()))
		if recorder.Code >= 500 && recorder.Code != http.StatusInsufficientStorage {
			t.Errorf("%s %q: %d %s", method, path, recorder.Code, recorder.Body)
		}
		if entries, err := os.ReadDir(outer); err != nil || len(entries) != 1 {
			t.Errorf("outside its folder: %v, %v", entries, err)
		}
		if strings.Contains(recorder.Body.String(), outer) {
			t.Errorf("the answer names a folder of the hub: %s", recorder.Body)
		}
	})
}

// FuzzListing: whatever a hub answers, what a site takes of it are names of parcels for
// that site, few enough, or it is refused.
func FuzzListing(f *testing.F) {
	digest := strings.Repeat("0a", 32)
	f.Add(`{"site": "04bc4484", "max_parcel_bytes": 8388608, "parcels": [{"name": "0b41a87d-log-` + digest + `", "bytes": 170, "came": "2027-01-01T00:00:00Z"}], "expired": null}`)
	f.Add(`{"site": "04bc4484", "parcels": [{"name": "../../etc/passwd", "bytes": -1}]}`)
	f.Add(`{"site": "04bc4484", "expired": [{"name": "x", "bytes": 1, "gone": "2027-01-01T00:00:00Z", "reason": "age"}], "parcels": [` + strings.Repeat(`{},`, maxFew) + `{}]}`)
	f.Add(`{"site": "00000000", "quota_bytes": 1e400, "parcels": null}`)
	f.Fuzz(func(t *testing.T, answer string) {
		l, err := readListing(strings.NewReader(answer))
		if len(l.Parcels) > maxFew || len(l.Expired) > maxFew {
			t.Fatalf("%d and %d entries", len(l.Parcels), len(l.Expired))
		}
		if err != nil {
			return
		}
		names, err := l.names(0x04bc4484)
		if err == nil && len(names) != len(l.Parcels) {
			t.Fatalf("%d names of %d parcels", len(names), len(l.Parcels))
		}
		for i, name := range names {
			if n, ok := carrier.ParseName(name); !ok || n.To != 0x04bc4484 || n.String() != name || !strings.Contains(l.Parcels[i].Name, n.Digest) {
				t.Errorf("%q is taken for %q", name, l.Parcels[i].Name)
			}
		}
	})
}
