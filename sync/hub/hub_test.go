package hub

import (
	"bytes"
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

const stn, home, ship = 0x0b41a87d, 0x04bc4484, 0x77e10c05

// hall is a hub that runs, with its tokens.
type hall struct {
	address string // host:port
	folder  string
	tokens  map[uint32]string
	hub     *Hub
	stop    func()
	now     *atomic.Int64 // Unix seconds
}

func startHub(t *testing.T, change func(*Options)) *hall {
	t.Helper()
	h := &hall{folder: t.TempDir(), tokens: map[uint32]string{}, now: &atomic.Int64{}}
	h.now.Store(time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC).Unix())
	for i, site := range []uint32{stn, home, ship} {
		token, err := MakeToken(h.folder, site, "", rand.NewChaCha8([32]byte{byte(i)}), time.Unix(h.now.Load(), 0))
		if err != nil {
			t.Fatal(err)
		}
		h.tokens[site] = token
	}
	h.start(t, change)
	return h
}

func (h *hall) start(t *testing.T, change func(*Options)) {
	t.Helper()
	options := Options{Folder: h.folder, PerSecond: 1e6, Burst: 1e6, Now: func() time.Time { return time.Unix(h.now.Add(1), 0) }}
	if change != nil {
		change(&options)
	}
	hub, err := New(options)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- hub.Serve(ctx, listener, nil) }()
	h.hub, h.address = hub, listener.Addr().String()
	h.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	t.Cleanup(h.stop)
}

// client returns a site's client, over the address given.
func (h *hall) client(t *testing.T, site uint32, address string) *Client {
	t.Helper()
	c, err := NewClient("http://"+address, h.tokens[site], "", filepath.Join(t.TempDir(), "partial"))
	if err != nil {
		t.Fatal(err)
	}
	c.pause = time.Millisecond
	t.Cleanup(c.http.CloseIdleConnections)
	return c
}

func parcel(size int, seed byte) []byte {
	data := make([]byte, size)
	rand.NewChaCha8([32]byte{seed}).Read(data)
	copy(data, "\xb5p")
	return data
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

func TestHubCarries(t *testing.T) {
	h, ctx := startHub(t, nil), t.Context()
	from, to, other := h.client(t, stn, h.address), h.client(t, home, h.address), h.client(t, ship, h.address)
	one, two, large := parcel(10, 1), parcel(700_000, 2), parcel(300, 3)
	put := func(c *Client, from, to uint32, slot string, parcels ...[]byte) []string {
		t.Helper()
		return must[[]string](t)(c.Put(ctx, from, to, slot, parcels))
	}
	put(from, stn, home, "log", one)
	names := put(from, stn, home, "log", two, large)
	put(from, stn, home, "att", one)
	put(from, stn, ship, "log", one)
	if got := must[[]string](t)(to.List(ctx, home)); !slices.Equal(got[:2], names) || len(got) != 3 {
		t.Fatalf("for home: %v; want %v and one more, in that order", got, names)
	}
	if data := must[[]byte](t)(to.Read(ctx, names[0])); !bytes.Equal(data, two) {
		t.Errorf("read %d bytes of %d, or others", len(data), len(two))
	}
	if sender, ok := to.Sender(names[0]); !ok || sender != stn {
		t.Errorf("sender %08x, %v", sender, ok)
	}
	for range 2 { // the answer may be lost: done again is no error
		if err := to.Done(ctx, names[0]); err != nil {
			t.Error(err)
		}
	}
	if left := must[[]string](t)(to.List(ctx, home)); len(left) != 2 {
		t.Errorf("after one was taken: %v", left)
	}
	if got := must[[]string](t)(other.List(ctx, ship)); len(got) != 1 {
		t.Errorf("for ship: %v", got)
	}
	if _, err := to.List(ctx, ship); err == nil || !strings.Contains(err.Error(), "the token is that of site 04bc4484") {
		t.Errorf("with another's token: %v", err)
	}
	for site, want := range map[uint32]bool{ship: true, 0x99: false} {
		if reached := must[bool](t)(from.Reaches(ctx, site)); reached != want {
			t.Errorf("reaches %08x: %v", site, reached)
		}
	}
	if from.MaxParcelBytes() != 0 || to.MaxParcelBytes() != 8<<20 {
		t.Errorf("limits %d and %d", from.MaxParcelBytes(), to.MaxParcelBytes())
	}
}

// cutter is a line to a hub that breaks: each connection after so many bytes each
// way, while there are such numbers left.
type cutter struct {
	net.Listener
	target      string
	mu          sync.Mutex
	up, down    []int64
	carried     [2]atomic.Int64
	connections atomic.Int64
}

func startCutter(t *testing.T, target string, up, down []int64) *cutter {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cutter{Listener: listener, target: target, up: up, down: down}
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			c.connections.Add(1)
			go c.carry(conn)
		}
	}()
	t.Cleanup(func() { listener.Close() })
	return c
}

func (c *cutter) next(list *[]int64) int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(*list) == 0 {
		return 1 << 60
	}
	n := (*list)[0]
	*list = (*list)[1:]
	return n
}

func (c *cutter) carry(near net.Conn) {
	defer near.Close()
	far, err := net.Dial("tcp", c.target)
	if err != nil {
		return
	}
	defer far.Close()
	ended := make(chan struct{}, 2)
	one := func(to, from net.Conn, most int64, way int) {
		n, _ := io.Copy(to, io.LimitReader(from, most))
		c.carried[way].Add(n)
		ended <- struct{}{}
	}
	go one(far, near, c.next(&c.up), 0)
	go one(near, far, c.next(&c.down), 1)
	<-ended // either way's end is the end of both
}

// TestCutUpload breaks the line again and again while a parcel goes up. Each try
// must go on where the hub has got to.
func TestCutUpload(t *testing.T) {
	h, ctx := startHub(t, nil), t.Context()
	line := startCutter(t, h.address, []int64{100_000, 50_000, 90_000, 300, 200_000, 2_000}, nil)
	data := parcel(1_000_000, 7)
	names := must[[]string](t)(h.client(t, stn, line.Addr().String()).Put(ctx, stn, home, "log", [][]byte{data}))
	to := h.client(t, home, h.address)
	must[[]string](t)(to.List(ctx, home))
	if got := must[[]byte](t)(to.Read(ctx, names[0])); !bytes.Equal(got, data) {
		t.Error("what arrived is not what was sent")
	}
	h.stop()
	line.Close()
	sent := line.carried[0].Load()
	t.Logf("%d connections, %d bytes went up for a parcel of %d", line.connections.Load(), sent, len(data))
	if line.connections.Load() < 6 || sent > int64(len(data))*12/10 {
		t.Errorf("%d bytes went up in %d connections; a cut must not send again what had come", sent, line.connections.Load())
	}
}

// TestCutDownload breaks the line while a parcel comes down, and ends the program
// in the middle.
func TestCutDownload(t *testing.T) {
	h, ctx := startHub(t, nil), t.Context()
	data := parcel(1_000_000, 8)
	name := must[[]string](t)(h.client(t, stn, h.address).Put(ctx, stn, home, "log", [][]byte{data}))[0]
	line := startCutter(t, h.address, nil, []int64{1_000, 150_000, 300_000, 10_000})
	first := h.client(t, home, line.Addr().String())
	first.http.Transport.(*http.Transport).DisableKeepAlives = true
	short, cancel := context.WithCancel(ctx)
	must[[]string](t)(first.List(ctx, home))
	watch := time.AfterFunc(0, func() {
		for size, _, _ := size(filepath.Join(first.partial, hexDigest(data)+".part")); size < 100_000; size, _, _ = sizeOf(first, data) {
			time.Sleep(time.Millisecond)
		}
		cancel()
	})
	defer watch.Stop()
	if _, err := first.Read(short, name); err == nil {
		t.Log("it was through before the program was ended")
	} else if !strings.Contains(err.Error(), "are kept; run it again") {
		t.Errorf("ended in the middle: %v", err)
	}
	second := h.client(t, home, line.Addr().String())
	second.partial = first.partial
	must[[]string](t)(second.List(ctx, home))
	if got := must[[]byte](t)(second.Read(ctx, name)); !bytes.Equal(got, data) {
		t.Error("what arrived is not what was sent")
	}
	if err := second.Done(ctx, name); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(second.partial); err == nil {
		t.Error("parts are left behind")
	}
}

func sizeOf(c *Client, data []byte) (int64, bool, error) {
	return size(filepath.Join(c.partial, hexDigest(data)+".part"))
}

// TestRestart stops the hub in the middle of an upload; the next one goes on.
func TestRestart(t *testing.T) {
	h := startHub(t, nil)
	data := parcel(400_000, 9)
	path := fmt.Sprintf("/v1/to/%08x/log/%s", home, hexDigest(data))
	c := h.client(t, stn, h.address)
	if next, complete, err := c.part(t.Context(), path, data, 0); err != nil || complete || next != partBytes {
		t.Fatalf("first part: %d, %v, %v", next, complete, err)
	}
	h.stop()
	h.start(t, nil)
	again := h.client(t, stn, h.address)
	if offset, complete, err := again.progress(t.Context(), path); err != nil || complete || offset != partBytes {
		t.Errorf("after the restart: %d, %v, %v", offset, complete, err)
	}
	must[[]string](t)(again.Put(t.Context(), stn, home, "log", [][]byte{data}))
}

func TestExpiry(t *testing.T) {
	h := startHub(t, func(o *Options) { o.Expire = 30 * 24 * time.Hour })
	ctx := t.Context()
	name := must[[]string](t)(h.client(t, stn, h.address).Put(ctx, stn, home, "log", [][]byte{parcel(50, 4)}))[0]
	to := h.client(t, home, h.address)
	must[[]string](t)(to.List(ctx, home))
	h.now.Add(29 * 24 * 3600)
	if thrown := must[[]gone](t)(h.hub.store.sweep(h.hub.options.Now(), h.hub.options.Expire)); len(thrown) != 0 {
		t.Errorf("a day too early: %v", thrown)
	}
	h.now.Add(2 * 24 * 3600)
	thrown := must[[]gone](t)(h.hub.store.sweep(h.hub.options.Now(), h.hub.options.Expire))
	if len(thrown) != 1 || thrown[0].Reason != "nobody fetched it for 30 days" || thrown[0].Bytes != 50 {
		t.Errorf("thrown away: %+v", thrown)
	}
	if _, err := to.Read(ctx, name); !isStatus(err, http.StatusGone) || !strings.Contains(err.Error(), "nobody fetched it for 30 days") {
		t.Errorf("reading it: %v", err)
	}
	l := must[listing](t)(to.listing(ctx))
	if len(l.Parcels) != 0 || len(l.Expired) != 1 || l.Expired[0].Reason != thrown[0].Reason {
		t.Errorf("listing: %+v", l)
	}
	if l := must[listing](t)(h.client(t, ship, h.address).listing(ctx)); len(l.Expired) != 0 {
		t.Errorf("another site is told of it: %+v", l)
	}
}

func TestSelfSigned(t *testing.T) {
	h := startHub(t, nil)
	now := time.Now()
	config, pin, err := SelfSigned(h.folder, now)
	if err != nil {
		t.Fatal(err)
	}
	if _, again, err := SelfSigned(h.folder, now); err != nil || again != pin {
		t.Errorf("another pin at the next start: %s, %s, %v", pin, again, err)
	}
	listener, err := tls.Listen("tcp", "127.0.0.1:0", config)
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: h.hub, ErrorLog: log.New(io.Discard, "", 0)}
	go server.Serve(listener)
	defer server.Close()
	address := "https://" + listener.Addr().String()
	for _, test := range []struct {
		pin, want string
	}{{pin, ""}, {strings.Repeat("0", 64), "it is another hub, or somebody between"}, {"", "certificate"}} {
		c := must[*Client](t)(NewClient(address, h.tokens[home], test.pin, t.TempDir()))
		c.pause = time.Millisecond
		_, err := c.List(t.Context(), home)
		if test.want == "" && err != nil || test.want != "" && (err == nil || !strings.Contains(err.Error(), test.want)) {
			t.Errorf("pin %.8q: %v, want %q", test.pin, err, test.want)
		}
	}
	for _, bad := range []struct{ address, pin string }{{"http://hub.example", ""}, {"ftp://hub.example", ""}, {"https://hub.example", "12"}} {
		if _, err := NewClient(bad.address, "t", bad.pin, ""); err == nil {
			t.Errorf("took %v", bad)
		}
	}
}
