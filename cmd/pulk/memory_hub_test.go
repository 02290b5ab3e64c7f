package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"pulk/sync/carrier"
	"pulk/sync/hub"
)

// TestMemoryHub does as TestMemory does with both ends of a hub: what a false hub
// answers to a site, and what one site sends to a hub over many connections at once.
func TestMemoryHub(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	m := newMemory(t)
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("pulk-hub-"+strings.Repeat("x", 43)+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	head := fmt.Sprintf(`{"site":"%08x","max_parcel_bytes":8388608,`, uint32(m.home))
	for _, falseHub := range []struct {
		name   string
		taken  bool
		answer http.HandlerFunc
	}{
		{"parcels_of_nothing", false, says(head + `"parcels":[{}` + strings.Repeat(",{}", 30<<20))},
		{"parcels_of_nothing_closed", false, says(head + `"parcels":[{}` + strings.Repeat(",{}", 1_300_000) + "]}")},
		{"many_expired", false, says(head + `"parcels":[],"expired":[{}` + strings.Repeat(",{}", 300_000) + "]}")},
		{"endless_name", false, says(head + `"parcels":[{"name":"` + strings.Repeat("x", 100<<20))},
		{"deep", false, says(head + `"x":` + strings.Repeat("[", 100<<20))},
		{"large_head", false, func(w http.ResponseWriter, r *http.Request) {
			if r.Method == http.MethodGet {
				for i := range 9000 {
					w.Header().Set(fmt.Sprintf("X-%d", i), strings.Repeat("x", 1000))
				}
			}
			says(head+`"parcels":[]}`)(w, r)
		}},
		{"large_parcels", false, m.sendsLarge(head)},
	} {
		t.Run(falseHub.name, func(t *testing.T) {
			server := httptest.NewServer(falseHub.answer)
			defer server.Close()
			m.within(t, falseHub.taken, "exchange", server.URL, "--token-file", token, "--store", m.store(t))
		})
	}
	t.Run("serve", func(t *testing.T) { m.busyHub(t) })
}

// says answers every request with a text.
func says(text string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, text) }
}

// sendsLarge lists and sends parcels as large as those that are taken, of nothing that
// is known.
func (m *memory) sendsLarge(head string) http.HandlerFunc {
	parcels, list := map[string][]byte{}, []string{}
	for i := range 3 {
		data := append([]byte{0xb5, 0x70, 1, byte(i)}, make([]byte, carrier.MaxFile-4)...)
		name := fmt.Sprintf("0b41a87d-log-%x", sha256.Sum256(data))
		parcels[name] = data
		list = append(list, fmt.Sprintf(`{"name":%q,"bytes":%d}`, name, len(data)))
	}
	return func(w http.ResponseWriter, r *http.Request) {
		if data := parcels[filepath.Base(r.URL.Path)]; data != nil {
			w.Write(data)
			return
		}
		says(head+`"parcels":[`+strings.Join(list, ",")+"]}")(w, r)
	}
}

// busyHub runs a hub and has one site do its worst with it, from as many addresses as
// it takes to use all connections.
func (m *memory) busyHub(t *testing.T) {
	folder, address := filepath.Join(t.TempDir(), "hub"), filepath.Join(t.TempDir(), "address")
	token, err := hub.MakeToken(folder, uint32(m.home), "", strings.NewReader(strings.Repeat("x", 32)), time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	server := exec.Command(m.binary, "hub", "serve", folder, "--plain", "--listen", "127.0.0.1:0", "--address-file", address)
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { server.Process.Kill(); server.Wait() }()
	target := waitForAddress(t, address)
	keep := `{"keep":[""` + strings.Repeat(`,""`, 340_000)
	part := strings.Repeat("p", 1<<20-1)
	digest := sha256.Sum256([]byte(part + "p"))
	path := fmt.Sprintf("/v1/to/%08x/log", uint32(m.home))
	var senders sync.WaitGroup
	for i := range 100 { // as many requests as a token has at once
		senders.Go(func() {
			conn, err := (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(2+i/10))}}).Dial("tcp", target)
			if err != nil {
				t.Error(err)
				return
			}
			defer conn.Close()
			conn.SetDeadline(time.Now().Add(3 * time.Second)) // and then hangs up, without the last byte
			if i%2 == 0 {
				fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Length: %d\r\n\r\n%s", path, token, len(keep)+1, keep)
			} else {
				fmt.Fprintf(conn, "PATCH %s/%064x HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nUpload-Offset: 0\r\nUpload-Length: %d\r\nContent-Digest: sha-256=:%s:\r\nContent-Length: %d\r\n\r\n%s",
					path, i, token, len(part)+1, base64.StdEncoding.EncodeToString(digest[:]), len(part)+1, part)
			}
			bufio.NewReader(conn).ReadString('\n')
		})
	}
	senders.Wait()
	peak := peakOf(t, server.Process.Pid)
	t.Logf("pulk hub serve: %.1f MB resident at most", float64(peak)/1e6)
	if peak > mostResident {
		t.Errorf("pulk hub serve had %d bytes resident, at most %d are allowed", peak, mostResident)
	}
	if response, err := http.Get("http://" + target + "/health"); err != nil || response.StatusCode != http.StatusOK {
		t.Errorf("the hub does not answer any more: %v", err)
	}
}

// waitForAddress returns where a hub listens, as it writes it to a file.
func waitForAddress(t *testing.T, path string) string {
	t.Helper()
	for range 1000 {
		if text, err := os.ReadFile(path); err == nil && len(text) > 0 {
			return strings.TrimSpace(strings.TrimPrefix(string(text), "http://"))
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the hub does not listen")
	return ""
}

// peakOf returns the most memory that a process that still runs had resident, in bytes.
func peakOf(t *testing.T, pid int) int64 {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	var kilobytes int64
	if _, err := fmt.Sscan(rest, &kilobytes); err != nil {
		t.Fatal(err)
	}
	return kilobytes << 10
}
