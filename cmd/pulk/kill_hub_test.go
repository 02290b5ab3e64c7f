package main

import (
	"bytes"
	"context"
	"io"
	mathrand "math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// killLine is a line to the real hub, in its own process. After so many bytes either
// way it kills the hub, or whoever uses it, and goes on with the next number.
type killLine struct {
	net.Listener
	t              *testing.T
	binary, folder string

	mu      sync.Mutex
	hub     *exec.Cmd
	client  *exec.Cmd
	target  string
	left    []int // bytes until each kill
	kills   int
	carried int
}

// pause, between parts of a line, lets who is at its end keep up: what lies in the
// system's buffers when a process is killed is lost, and would count as sent.
const pause = 2 * time.Millisecond

func newKillLine(t *testing.T, binary, folder string) *killLine {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &killLine{Listener: listener, t: t, binary: binary, folder: folder}
	l.mu.Lock()
	l.startHub()
	l.mu.Unlock()
	t.Cleanup(func() {
		listener.Close()
		l.mu.Lock()
		defer l.mu.Unlock()
		l.hub.Process.Kill()
		l.hub.Wait()
	})
	go func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			go l.carry(near)
		}
	}()
	return l
}

// startHub starts the hub's process and waits until it listens.
func (l *killLine) startHub() {
	address := filepath.Join(l.t.TempDir(), "address")
	l.hub = exec.Command(l.binary, "hub", "serve", l.folder, "--plain", "--listen", "127.0.0.1:0", "--address-file", address)
	if err := l.hub.Start(); err != nil {
		l.t.Error(err)
		return
	}
	for range 1000 {
		text, err := os.ReadFile(address)
		if err == nil && len(text) > 0 {
			l.target = strings.TrimSpace(strings.TrimPrefix(string(text), "http://"))
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	l.t.Error("the hub does not listen")
}

func (l *killLine) carry(near net.Conn) {
	defer near.Close()
	l.mu.Lock()
	target := l.target
	l.mu.Unlock()
	far, err := net.Dial("tcp", target)
	if err != nil {
		return
	}
	defer far.Close()
	ended := make(chan struct{}, 2)
	one := func(to, from net.Conn) {
		defer func() { ended <- struct{}{} }()
		buf := make([]byte, 16<<10)
		for {
			n, err := from.Read(buf)
			if n > 0 {
				if _, err := to.Write(buf[:n]); err != nil {
					return
				}
				l.count(n)
				time.Sleep(pause)
			}
			if err != nil {
				return
			}
		}
	}
	go one(far, near)
	go one(near, far)
	<-ended
}

// count counts bytes, and kills where their time has come: the hub, which is started
// again, and the client by turns.
func (l *killLine) count(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.carried += n
	if len(l.left) == 0 {
		return
	}
	if l.left[0] -= n; l.left[0] > 0 {
		return
	}
	l.left = l.left[1:]
	l.kills++
	if l.kills%2 == 0 && l.client != nil {
		l.client.Process.Kill()
		return
	}
	l.hub.Process.Kill()
	l.hub.Wait()
	l.startHub()
}

// exchange runs the program until it succeeds.
func (l *killLine) exchange(store, token string, more ...string) {
	l.t.Helper()
	for range 20 {
		args := append([]string{"exchange", "http://" + l.Addr().String(), "--token-file", token, "--store", store}, more...)
		client := exec.Command(l.binary, args...)
		var said bytes.Buffer
		client.Stdout, client.Stderr = &said, &said
		l.mu.Lock()
		err := client.Start()
		l.client = client
		l.mu.Unlock()
		if err != nil {
			l.t.Fatal(err)
		}
		err = client.Wait()
		l.mu.Lock()
		l.client = nil
		l.mu.Unlock()
		if err == nil {
			return
		}
		l.t.Logf("exchange of %s: %v: %s", filepath.Base(store), err, said.String())
	}
	l.t.Fatal("no exchange went through")
}

// TestKillHub kills the hub, and who uses it, again and again while a document goes
// up to it and comes down from it. What arrives is whole, both stores verify, and a
// kill costs no more than what was on its way.
func TestKillHub(t *testing.T) {
	folder := t.TempDir()
	binary := buildPulk(t)
	at := func(name string) string { return filepath.Join(folder, name) }
	document := make([]byte, 3<<20)
	rng := mathrand.NewChaCha8([32]byte{5})
	rng.Read(document)
	if err := os.WriteFile(at("scan.bin"), document, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(at("deck.yaml"), []byte(killProcedure), 0o600); err != nil {
		t.Fatal(err)
	}
	setup := `set -e
pulk init --campaign 'Vindur Deep' --code home --store home.db
pulk site card --store home.db >home.card
pulk init --join home.card --code stn --store stn.db
pulk site card --store stn.db >stn.card
pulk site add stn.card --store home.db
pulk site trust stn $(sed -n 's/fingerprint: //p' stn.card) --store home.db
pulk site trust home $(sed -n 's/fingerprint: //p' home.card) --store stn.db
pulk person add ida --name 'Ida Brekke' --store stn.db
pulk hub token hub home.card >home.token
pulk hub token hub stn.card >stn.token
pulk procedure import deck.yaml --as ida --store stn.db
pulk run start deck --as ida --store stn.db >run.txt
pulk attach add scan.bin --to $(grep -o 'stn-[0-9]*' run.txt | head -1) --as ida --store stn.db`
	shell := exec.CommandContext(context.Background(), "sh", "-c", setup)
	shell.Dir = folder
	shell.Env = append(os.Environ(), "PATH="+filepath.Dir(binary)+string(os.PathListSeparator)+os.Getenv("PATH"))
	if out, err := shell.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	line := newKillLine(t, binary, at("hub"))
	for i, way := range []struct {
		store, token string
		more         []string
	}{{"stn.db", "stn.token", []string{"--all-attachments"}}, {"home.db", "home.token", nil}} {
		line.mu.Lock()
		line.kills, line.carried, line.left = i, 0, []int{400_000, 800_000, 40_000, 900_000}
		line.mu.Unlock()
		line.exchange(at(way.store), at(way.token), way.more...)
		line.mu.Lock()
		carried, left := line.carried, len(line.left)
		line.mu.Unlock()
		t.Logf("%s: %d bytes passed for a document of %d", way.store, carried, len(document))
		if left > 0 {
			t.Errorf("%s: %d kills did not happen", way.store, left)
		}
		if carried > len(document)*11/10 {
			t.Errorf("%s: %d bytes passed; a kill must not send again what had come", way.store, carried)
		}
	}
	for _, store := range []string{"stn.db", "home.db"} {
		if out, err := exec.Command(binary, "verify", "--store", at(store)).CombinedOutput(); err != nil {
			t.Errorf("verify %s: %v\n%s", store, err, out)
		}
	}
	id := exec.Command(binary, "attach", "list", "--store", at("home.db"))
	listed, err := id.Output()
	if err != nil {
		t.Fatal(err)
	}
	var name string
	for _, word := range strings.Fields(string(listed)) {
		if strings.HasPrefix(word, "stn-") {
			name = word
			break
		}
	}
	if out, err := exec.Command(binary, "attach", "save", name, "-o", at("back.bin"), "--store", at("home.db")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s\n%s", err, out, listed)
	}
	back, err := os.Open(at("back.bin"))
	if err != nil {
		t.Fatal(err)
	}
	defer back.Close()
	got, err := io.ReadAll(back)
	if err != nil || !bytes.Equal(got, document) {
		t.Errorf("%d bytes came back, %v; not what was sent", len(got), err)
	}
}
