package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// wire is a thin link between two network namespaces: a TUN device in each, and
// between them a serial line of so many bits a second with a delay, that loses
// packets and is up for part of the time. It does what netem does, also on kernels
// that are built without it, and counts what passes. [newNetem] makes one of netem itself.
type wire struct {
	t      *testing.T
	names  [2]string // of the namespaces
	middle string    // the namespace between them, with netem; else empty
	tuns   [2]*os.File
	up     atomic.Bool
	ways   [2]*way // ways[i] carries what end i sends
	closed chan struct{}
	done   sync.WaitGroup
}

// way is one direction. Of each lossOne packets one is lost, which one is drawn.
type way struct {
	rateBits int
	delay    time.Duration
	lossOne  int // 0: none
	next     int // number of the packet to be lost
	rng      *rand.Rand

	mu      sync.Mutex
	packets int
	bytes   int // put on the line, headers of IP and UDP in them, whether they arrived or not
	lost    int
	cut     int // on the line when it, or the far end, went down
}

// namespaces counts those that were made, for their names.
var namespaces atomic.Int64

// addresses of the two ends.
var addresses = [2]string{"10.77.0.1", "10.77.0.2"}

// newWire makes the namespaces and the line, which is down at first. It skips the
// test where that takes rights or tools that are not there.
func newWire(t *testing.T, rateBits int, delay time.Duration, lossOne int, seed uint64) *wire {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("network namespaces take root")
	}
	if _, err := exec.LookPath("ip"); err != nil {
		t.Skip("the program ip is not here (Debian: iproute2)")
	}
	w := &wire{t: t, closed: make(chan struct{})}
	for i := range 2 {
		w.names[i] = w.namespace()
		w.tuns[i] = w.openTUN(w.names[i])
		w.run("ip", "-n", w.names[i], "addr", "add", addresses[i], "peer", addresses[1-i], "dev", "line0")
		w.ways[i] = &way{rateBits: rateBits, delay: delay, lossOne: lossOne, next: -1, rng: rand.New(rand.NewPCG(seed, uint64(i)))}
	}
	for i := range 2 {
		w.done.Add(1)
		go w.carry(i)
	}
	t.Cleanup(w.close)
	return w
}

// newNetem makes the same link of veth devices and the kernel's netem, which sits between
// them in a third namespace: what is on the line when an end goes down still arrives.
// It skips the test where the kernel has no netem.
func newNetem(t *testing.T, rateBits int, delay time.Duration, lossPercent int) *wire {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("network namespaces take root")
	}
	w := &wire{t: t}
	w.names[0], w.names[1], w.middle = w.namespace(), w.namespace(), w.namespace()
	for i, name := range w.names {
		port := fmt.Sprintf("end%d", i)
		w.run("ip", "-n", w.middle, "link", "add", port, "type", "veth", "peer", "name", "line0", "netns", name)
		w.run("ip", "-n", w.middle, "link", "set", port, "up")
		w.run("ip", "-n", w.middle, "route", "add", addresses[i], "dev", port)
		w.run("ip", "netns", "exec", w.middle, "sh", "-c", "echo 1 > /proc/sys/net/ipv4/ip_forward; echo 1 > /proc/sys/net/ipv4/conf/"+port+"/proxy_arp")
		w.run("ip", "netns", "exec", w.middle, "tc", "qdisc", "add", "dev", port, "root", "netem", "delay", fmt.Sprintf("%dms", delay.Milliseconds()),
			"loss", fmt.Sprintf("%d%%", lossPercent), "rate", fmt.Sprintf("%dbit", rateBits), "-14") // a serial line carries no headers of Ethernet
		w.run("ip", "-n", name, "addr", "add", addresses[i], "peer", addresses[1-i], "dev", "line0")
		w.ways[i] = &way{rateBits: rateBits, delay: delay}
	}
	return w
}

// namespace makes one, until the test ends.
func (w *wire) namespace() string {
	w.t.Helper()
	name := fmt.Sprintf("pulk-%d-%d", os.Getpid(), namespaces.Add(1))
	w.run("ip", "netns", "add", name)
	w.t.Cleanup(func() { exec.Command("ip", "netns", "del", name).Run() })
	return name
}

// netemCounts returns what netem let through to an end, with the headers of IP and UDP and
// of Ethernet, and how many packets it lost.
func (w *wire) netemCounts(to int) (packets, bytes, lost int) {
	w.t.Helper()
	out, err := exec.Command("ip", "netns", "exec", w.middle, "tc", "-s", "-j", "qdisc", "show", "dev", fmt.Sprintf("end%d", to)).Output()
	var list []struct{ Packets, Bytes, Drops int }
	if err := errors.Join(err, json.Unmarshal(out, &list)); err != nil || len(list) != 1 {
		w.t.Fatalf("tc: %v: %s", err, out)
	}
	return list[0].Packets, list[0].Bytes, list[0].Drops
}

func (w *wire) run(name string, args ...string) {
	w.t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		w.t.Skipf("%s %q: %v: %s", name, args, err, out)
	}
}

// openTUN opens device line0 in a namespace.
func (w *wire) openTUN(namespace string) *os.File {
	w.t.Helper()
	type opened struct {
		file *os.File
		err  error
	}
	result := make(chan opened)
	go func() {
		runtime.LockOSThread() // and never unlock: the thread ends with this goroutine
		file, err := openTUNHere(namespace)
		result <- opened{file, err}
	}()
	o := <-result
	if o.err != nil {
		w.t.Skipf("no TUN device can be had: %v", o.err)
	}
	return o.file
}

func openTUNHere(namespace string) (*os.File, error) {
	ns, err := unix.Open("/run/netns/"+namespace, unix.O_RDONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	defer unix.Close(ns)
	if err := unix.Setns(ns, unix.CLONE_NEWNET); err != nil {
		return nil, err
	}
	fd, err := unix.Open("/dev/net/tun", unix.O_RDWR|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	request, err := unix.NewIfreq("line0")
	if err == nil {
		request.SetUint16(unix.IFF_TUN | unix.IFF_NO_PI)
		err = unix.IoctlIfreq(fd, unix.TUNSETIFF, request)
	}
	if err != nil {
		unix.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), "line0"), nil
}

// set takes the line up or down, as a modem tells the system it serves. Down, the
// first end knows at once; what it sent before still arrives, and then the second
// end knows.
func (w *wire) set(up bool) {
	state := "down"
	if up {
		state = "up"
	}
	w.up.Store(up)
	for i, name := range w.names {
		if !up && i == 1 {
			time.Sleep(w.ways[0].delay)
		}
		if out, err := exec.Command("ip", "-n", name, "link", "set", "line0", state).CombinedOutput(); err != nil {
			w.t.Errorf("ip link set: %v: %s", err, out)
		}
	}
}

// carry moves what end i sends: one packet after the other goes onto the line, for
// as long as its bits take.
func (w *wire) carry(i int) {
	defer w.done.Done()
	way, to := w.ways[i], w.tuns[1-i]
	buffer := make([]byte, 65536)
	for {
		n, err := w.tuns[i].Read(buffer)
		if errors.Is(err, os.ErrClosed) {
			return
		}
		if err != nil || n == 0 || buffer[0]>>4 != 4 {
			select {
			case <-w.closed:
				return
			case <-time.After(time.Millisecond): // the device is down, or it is IPv6's own chatter
			}
			continue
		}
		packet := append([]byte(nil), buffer[:n]...)
		ok := w.serialise(way, len(packet))
		way.mu.Lock()
		lost := way.lose()
		way.packets, way.bytes = way.packets+1, way.bytes+len(packet)
		if lost && ok {
			way.lost++
		}
		if !ok {
			way.cut++
		}
		way.mu.Unlock()
		if ok && !lost {
			time.AfterFunc(way.delay, func() {
				if _, err := to.Write(packet); err != nil { // late: the far modem is down too by now
					way.mu.Lock()
					way.cut++
					way.mu.Unlock()
				}
			})
		}
	}
}

// lose reports whether the packet that comes now is lost.
func (w *way) lose() bool {
	if w.lossOne == 0 {
		return false
	}
	if w.packets%w.lossOne == 0 {
		w.next = w.packets + w.rng.IntN(w.lossOne)
	}
	return w.packets == w.next
}

// serialise waits while a packet of so many bytes goes onto the line; false if the
// line went down meanwhile.
func (w *wire) serialise(way *way, bytes int) bool {
	end := time.Now().Add(time.Duration(bytes*8) * time.Second / time.Duration(way.rateBits))
	for time.Now().Before(end) {
		if !w.up.Load() {
			return false
		}
		time.Sleep(min(time.Until(end), 5*time.Millisecond))
	}
	return w.up.Load()
}

func (w *wire) close() {
	close(w.closed)
	for _, tun := range w.tuns {
		tun.Close()
	}
	w.done.Wait()
}

func (w *way) counts() (packets, bytes, lost, cut int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.packets, w.bytes, w.lost, w.cut
}
