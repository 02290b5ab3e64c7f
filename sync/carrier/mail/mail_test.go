package mail

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	netmail "net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

func maildir(t *testing.T) Maildir {
	t.Helper()
	m := Maildir{Path: filepath.Join(t.TempDir(), "box [1]")}
	if err := m.Create(); err != nil {
		t.Fatal(err)
	}
	return m
}

// between returns the mail carriers of stn and home, joined by what lies between
// their outboxes and inboxes.
func mailOf(self uint32, inbox Maildir, outbox Sender) *Mail {
	return &Mail{Self: self, Inbox: inbox, Outbox: outbox, Campaign: "Vindur Deep", Now: func() time.Time { return morning }, Sites: map[uint32]Site{
		stn:  {"stn", netmail.Address{Address: "pulk@stn.example"}},
		home: {"home", netmail.Address{Name: "Tarn Institute", Address: "pulk@home.example"}},
		ship: {"ship", netmail.Address{Address: "a.long.address.for.the.ship@sella.ships.example"}},
	}}
}

func must[T any](t *testing.T) func(T, error) T {
	return func(value T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

// files returns the paths of all mails in a maildir, below it.
func files(t *testing.T, m Maildir) []string {
	t.Helper()
	var paths []string
	for _, mail := range must[[]stored](t)(m.mails()) {
		paths = append(paths, must[string](t)(filepath.Rel(m.Path, mail.path)))
	}
	return paths
}

// TestMailbox plays a mailbox that people and other sites use too.
func TestMailbox(t *testing.T) {
	ctx, box := t.Context(), maildir(t)
	toBox := MaildirSender{box} // a mail system that delivers at once
	fromStn, fromShip := mailOf(stn, maildir(t), toBox), mailOf(ship, maildir(t), toBox)
	one, two, three := parcel(100), parcel(90_000), parcel(300)
	put := func(m *Mail, to uint32, slot string, data ...[]byte) {
		must[[]string](t)(m.Put(ctx, m.Self, to, slot, data))
	}
	put(fromStn, home, "log", parcel(99)) // replaced before it was read
	put(fromStn, home, "log", one)
	put(fromStn, home, "log", one, two) // the first is the same again, while it lies there
	put(fromShip, home, "log", three)
	put(fromShip, stn, "log", three) // not ours
	letter := []byte("From: lena@home.example\nSubject: lunch\n\nat twelve?\n")
	for key, message := range map[string][]byte{"1.letter.host": letter, "2.junk.host": []byte("\xff\xfe\x00")} {
		if err := box.Deliver(key, message); err != nil {
			t.Fatal(err)
		}
	}
	// Mirre's mail program has shown one of them: it has the flag S, and is not taken.
	seen := files(t, box)[slices.IndexFunc(files(t, box), func(p string) bool { return strings.Contains(p, nameAt(home, one)) })]
	if err := os.Rename(filepath.Join(box.Path, seen), filepath.Join(box.Path, "cur", filepath.Base(seen)+":2,FS")); err != nil {
		t.Fatal(err)
	}

	reader := mailOf(home, box, nil)
	names := must[[]string](t)(reader.List(ctx, home))
	var got [][]byte
	for _, name := range names {
		got = append(got, must[[]byte](t)(reader.Read(ctx, name)))
	}
	for _, want := range [][]byte{one, two, three} {
		if !slices.ContainsFunc(got, func(data []byte) bool { return bytes.Equal(data, want) }) {
			t.Errorf("a parcel of %d bytes is not there", len(want))
		}
	}
	if len(got) != 3 {
		t.Fatalf("%d parcels for home: %v", len(got), names)
	}
	before := files(t, box)
	for i, name := range names {
		if len(got[i]) == len(three) {
			continue // refused, say: it stays
		}
		if err := reader.Done(ctx, name); err != nil {
			t.Fatal(err)
		}
	}
	left := must[[]string](t)(mailOf(home, box, nil).List(ctx, home)) // another run of the program
	if len(left) != 1 || !bytes.Equal(must[[]byte](t)(reader.Read(ctx, left[0])), three) {
		t.Errorf("left: %v", left)
	}
	var touched []string
	for _, path := range files(t, box) {
		if !slices.Contains(before, path) {
			touched = append(touched, path)
		}
	}
	if len(touched) != 1 || !strings.HasPrefix(touched[0], "cur/") || !strings.HasSuffix(touched[0], nameAt(home, two)+":2,S") {
		t.Errorf("moved: %v; want the second of stn in cur with S alone", touched)
	}
	if other := must[[]string](t)(mailOf(stn, box, nil).List(ctx, stn)); len(other) != 1 {
		t.Errorf("for stn, in the same mailbox: %v", other)
	}
	if data, err := os.ReadFile(filepath.Join(box.Path, "new", "1.letter.host")); err != nil || !bytes.Equal(data, letter) {
		t.Errorf("a mail that is not ours: %q, %v", data, err)
	}
	if err := os.Remove(filepath.Join(box.Path, ".pulk-04bc4484")); err != nil {
		t.Fatal(err)
	}
	if again := must[[]string](t)(reader.List(ctx, home)); len(again) != 3 {
		t.Errorf("after the memo was lost: %v; want all again", again)
	}
}

// TestSeveralInOneMail takes the attachments of one mail one by one.
func TestSeveralInOneMail(t *testing.T) {
	ctx, box := t.Context(), maildir(t)
	a, b := parcel(10), parcel(20)
	part := func(name string, data []byte) string {
		return "--b\nContent-Type: application/octet-stream; name=\"" + name + "\"\n\n" + string(data) + "\n"
	}
	message := "Content-Type: multipart/mixed; boundary=b\n\n" + part(nameAt(home, a), a) + part("x.txt", []byte("text")) + part(nameAt(ship, a), a) + part("renamed", b) + "--b--\n"
	if err := box.Deliver("5.a.host", []byte(message)); err != nil {
		t.Fatal(err)
	}
	reader := mailOf(home, box, nil)
	names := must[[]string](t)(reader.List(ctx, home))
	if !slices.Equal(names, []string{"5.a.host#1", "5.a.host#3"}) {
		t.Fatalf("listed %v", names)
	}
	for i, want := range [][]string{{"new/5.a.host"}, {"cur/5.a.host:2,S"}} {
		if err := reader.Done(ctx, names[i]); err != nil {
			t.Fatal(err)
		}
		if got := files(t, box); !slices.Equal(got, want) {
			t.Errorf("after %d of 2: %v, want %v", i+1, got, want)
		}
		if err := reader.Done(ctx, names[i]); err != nil {
			t.Errorf("done twice: %v", err)
		}
	}
	if left := must[[]string](t)(reader.List(ctx, home)); len(left) != 0 {
		t.Errorf("left %v", left)
	}
	for _, name := range []string{"", "x", "5.a.host#0", "5.a.host#9", "#1", "../../x#1"} {
		if _, err := reader.Read(ctx, name); err == nil {
			t.Errorf("read %q", name)
		}
	}
}

func TestPutRefuses(t *testing.T) {
	ctx, m := t.Context(), mailOf(stn, maildir(t), MaildirSender{maildir(t)})
	m.MaxMessage = 50_000
	n := m.MaxParcelBytes()
	for _, to := range []uint32{home, ship} {
		if _, err := m.Put(ctx, stn, to, longestSlot, [][]byte{parcel(n)}); err != nil {
			t.Errorf("%d bytes, as MaxParcelBytes says: %v", n, err)
		}
	}
	var tooLarge *TooLargeError
	refused := 0
	for _, to := range []uint32{home, ship} {
		if _, err := m.Put(ctx, stn, to, longestSlot, [][]byte{parcel(n + 1)}); errors.As(err, &tooLarge) && tooLarge.Limit == 50_000 {
			refused++
		}
	}
	if refused == 0 {
		t.Errorf("MaxParcelBytes says %d, and a byte more fits every mail too", n)
	}
	var nowhere *NoAddressError
	if _, err := m.Put(ctx, stn, 0x99, longestSlot, [][]byte{parcel(10)}); !errors.As(err, &nowhere) || nowhere.Site != 0x99 {
		t.Errorf("to an unknown site: %v", err)
	}
}

// mailServer is a mail server that delivers into a maildir, or refuses.
type mailServer struct {
	mu     sync.Mutex
	box    Maildir
	refuse *smtp.SMTPError
	got    int
}

func (s *mailServer) NewSession(*smtp.Conn) (smtp.Session, error) { return s, nil }
func (s *mailServer) Mail(string, *smtp.MailOptions) error        { return nil }
func (s *mailServer) Reset()                                      {}
func (s *mailServer) Logout() error                               { return nil }

func (s *mailServer) Rcpt(to string, _ *smtp.RcptOptions) error {
	if s.refuse != nil {
		return s.refuse
	}
	return nil
}

func (s *mailServer) Data(r io.Reader) error {
	message, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got++
	trace := "Received: from stn by mx.home.example; Tue, 5 Jan 2027 08:00:02 +0000\r\n"
	return s.box.Deliver("100"+string(rune('0'+s.got))+".M1P2.mx", append([]byte(trace), message...))
}

func startMailServer(t *testing.T, backend smtp.Backend, maxBytes int64, certificates ...tls.Certificate) string {
	t.Helper()
	listener := must[net.Listener](t)(net.Listen("tcp", "127.0.0.1:0"))
	server := smtp.NewServer(backend)
	server.MaxMessageBytes = maxBytes
	if len(certificates) > 0 {
		server.TLSConfig = &tls.Config{Certificates: certificates}
	}
	done := make(chan struct{})
	go func() { defer close(done); server.Serve(listener) }()
	t.Cleanup(func() { server.Close(); <-done })
	return listener.Addr().String()
}

// TestSMTP sends over a real connection to a mail server, which delivers into the
// maildir that home reads.
func TestSMTP(t *testing.T) {
	ctx, box := t.Context(), maildir(t)
	backend := &mailServer{box: box}
	outbox := SMTP{Address: startMailServer(t, backend, 200_000)}
	sender := mailOf(stn, maildir(t), outbox)
	dotted := append(parcel(50_000), "\r\n.\r\n"...)
	for _, data := range [][]byte{parcel(4), dotted} {
		must[[]string](t)(sender.Put(ctx, stn, home, "log", [][]byte{data}))
	}
	reader := mailOf(home, box, nil)
	names := must[[]string](t)(reader.List(ctx, home))
	if len(names) != 2 {
		t.Fatalf("delivered: %v", names)
	}
	for i, want := range [][]byte{parcel(4), dotted} {
		if got := must[[]byte](t)(reader.Read(ctx, names[i])); !bytes.Equal(got, want) {
			t.Errorf("parcel %d: %d bytes, sent %d", i, len(got), len(want))
		}
	}
	if _, err := sender.Put(ctx, stn, home, longestSlot, [][]byte{parcel(190_000)}); err == nil || !strings.Contains(err.Error(), "at most 200000 bytes") {
		t.Errorf("over the server's limit: %v", err)
	}
	for code, want := range map[int]string{450: "try again later", 550: "refuses"} {
		backend.refuse = &smtp.SMTPError{Code: code, Message: "mailbox"}
		if _, err := sender.Put(ctx, stn, home, longestSlot, [][]byte{parcel(9)}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("answer %d: %v", code, err)
		}
	}
	short, cancel := context.WithTimeout(ctx, 50*time.Millisecond)
	defer cancel()
	silent := must[net.Listener](t)(net.Listen("tcp", "127.0.0.1:0")) // takes connections and never answers
	defer silent.Close()
	sender.Outbox = SMTP{Address: silent.Addr().String()}
	if _, err := sender.Put(short, stn, home, longestSlot, [][]byte{parcel(9)}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a server that never answers: %v", err)
	}
}

// guardedServer takes mails only from who has started TLS and has then given the
// user's password.
type guardedServer struct {
	*mailServer
	tls, known bool
}

func (s *guardedServer) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, secure := c.TLSConnectionState()
	return &guardedServer{mailServer: s.mailServer, tls: secure}, nil
}

func (s *guardedServer) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *guardedServer) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if s.known = user == "stn" && password == "sesame"; !s.known {
			return &smtp.SMTPError{Code: 535, Message: "unknown"}
		}
		return nil
	}), nil
}

func (s *guardedServer) Rcpt(to string, o *smtp.RcptOptions) error {
	if !s.tls || !s.known {
		return &smtp.SMTPError{Code: 530, Message: fmt.Sprintf("TLS %t, known %t", s.tls, s.known)}
	}
	return s.mailServer.Rcpt(to, o)
}

// TestSMTPStartTLS: where a server offers TLS it is used, before the password and
// the mail; a server with a certificate that nobody vouches for gets neither.
func TestSMTPStartTLS(t *testing.T) {
	web := httptest.NewUnstartedServer(nil) // has a certificate for 127.0.0.1, and a pool that vouches for it
	web.StartTLS()
	defer web.Close()
	trusting := web.Client().Transport.(*http.Transport).TLSClientConfig
	backend := &mailServer{box: maildir(t)}
	address := startMailServer(t, &guardedServer{mailServer: backend}, 200_000, web.TLS.Certificates...)
	for _, c := range []struct {
		name     string
		password string
		config   *tls.Config
		want     string // in the error; empty: delivered
	}{
		{"certificate of an unknown authority", "sesame", nil, "certificate"},
		{"wrong password", "open", trusting, "refuses"},
		{"right", "sesame", trusting, ""},
	} {
		got := backend.got
		sender := mailOf(stn, maildir(t), SMTP{Address: address, User: "stn", Password: c.password, TLS: c.config})
		_, err := sender.Put(t.Context(), stn, home, "log", [][]byte{parcel(4)})
		switch {
		case c.want == "" && (err != nil || backend.got != got+1):
			t.Errorf("%s: %v, %d mails delivered", c.name, err, backend.got-got)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || backend.got != got):
			t.Errorf("%s: %v, %d mails delivered; want an error with %q", c.name, err, backend.got-got, c.want)
		}
	}
}
