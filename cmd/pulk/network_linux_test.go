package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/changelog"
)

// ends are two stores whose sites trust each other, each to be served by a process
// in a network of its own. The ship holds a standard day of a station that home
// trusts too.
type ends struct {
	t      *testing.T
	binary string
	stores [2]string // ship, home
	codes  [2]string
	wire   *wire
	talks  [2]*exec.Cmd
	said   [2]*strings.Builder
}

func newEnds(t *testing.T, w *wire) *ends {
	t.Helper()
	e := &ends{t: t, binary: buildPulk(t), wire: w, codes: [2]string{"ship", "home"}}
	var logs [2]*changelog.Log
	var campaign uuid.UUID
	binary.BigEndian.PutUint32(campaign[:], daytest.Campaign)
	for i, code := range e.codes {
		e.stores[i] = filepath.Join(t.TempDir(), code+".db")
		store, err := schema.Create(e.stores[i], schema.Scratch)
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		logs[i], err = changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "wire", Code: code, Name: code, Now: time.Now(), Rand: rand.Reader}, projections()...)
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := range logs {
		other := logs[1-i].Self()
		e.know(logs[i], other.Public(), other.Code)
		err := logs[i].Store().Update(context.Background(), func(tx *schema.Tx) error {
			return tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, 'stn', 1)", daytest.Station, []byte(daytest.Key().Public().(ed25519.PublicKey)))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err := daytest.Bundles(1, 1, logs[0].Self().Site, func(data []byte) error {
		_, err := logs[0].Take(context.Background(), data, bundle.DefaultLimits, time.Now())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// know makes a log trust a site.
func (e *ends) know(log *changelog.Log, key ed25519.PublicKey, code string) {
	e.t.Helper()
	err := log.Store().Update(context.Background(), func(raw *schema.Tx) error {
		return log.Local(raw, func(tx *changelog.Tx) error {
			site, err := tx.AddSite(key, code)
			if err != nil {
				return err
			}
			return tx.Trust(site.ID, true)
		})
	})
	if err != nil {
		e.t.Fatal(err)
	}
}

// pulk runs a command on the store of end i.
func (e *ends) pulk(i int, args ...string) string {
	e.t.Helper()
	out, err := exec.Command(e.binary, append(args, "--store", e.stores[i])...).CombinedOutput()
	if err != nil {
		e.t.Fatalf("pulk %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}

// talk starts a process at each end, in its own network.
func (e *ends) talk(datagramBytes int) {
	e.t.Helper()
	args := [2][]string{{"home", "--to", addresses[1] + ":4040"}, {"ship", "--listen", ":4040"}}
	for i := range 2 {
		line := append([]string{"netns", "exec", e.wire.names[i], e.binary, "talk"}, args[i]...)
		line = append(line, "--rate", "9600", "--datagram", fmt.Sprint(datagramBytes), "--stay", "--store", e.stores[i])
		e.talks[i], e.said[i] = exec.Command("ip", line...), &strings.Builder{}
		e.talks[i].Stdout, e.talks[i].Stderr = e.said[i], e.said[i]
		if err := e.talks[i].Start(); err != nil {
			e.t.Fatal(err)
		}
	}
}

// hush ends both processes, and returns what the ship's says that it sent: bytes in
// all, those of the bundles, and those of parts that went again; and in how many datagrams.
func (e *ends) hush() (sent, bundles, again, datagrams int) {
	e.t.Helper()
	for i, talk := range e.talks {
		talk.Process.Signal(os.Interrupt)
		if err := talk.Wait(); err != nil {
			e.t.Errorf("pulk talk at %s: %v", e.codes[i], err)
		}
		e.t.Logf("%s:\n%s", e.codes[i], e.said[i])
	}
	_, line, _ := strings.Cut(e.said[0].String(), "\nsent ")
	if _, err := fmt.Sscanf(line, "%d bytes in %d datagrams: %d of bundles, %d of them again", &sent, &datagrams, &bundles, &again); err != nil {
		e.t.Fatalf("the ship's process ended with %q: %v", line, err)
	}
	return sent, bundles, again, datagrams
}

// waiting returns how many change-sets at the ship home is not known to have.
func (e *ends) waiting() int {
	e.t.Helper()
	var rows []siteRow
	if err := json.Unmarshal([]byte(e.pulk(0, "site", "list", "--json")), &rows); err != nil {
		e.t.Fatal(err)
	}
	for _, row := range rows {
		if row.Code == "home" {
			return int(row.Waiting)
		}
	}
	e.t.Fatal("the ship does not know home")
	return 0
}

// until waits for a condition, for so long at most.
func until(limit time.Duration, met func() bool) bool {
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if met() {
			return true
		}
	}
	return met()
}

// TestNetwork: two processes in two networks, between them 9,600 bit/s with 600 ms
// each way and a loss of 1 in 20, up for 24 s in every 2 minutes: 12 minutes in every
// hour, thirty times as fast. A day of 2,000 changes waits, and a stop is written last. The
// stop is home in the first pass; all that is sent is at most 1.15 times the bundles.
func TestNetwork(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes minutes of link time")
	}
	w := newWire(t, 9600, 600*time.Millisecond, 20, 1)
	passes, bundles := deliverDay(t, w, 1.15)
	packets, bytes, lost, cut := w.ways[0].counts()
	t.Logf("%d passes; on the line %d bytes in %d packets, %d lost, %d cut: %.3f times the bundles", passes, bytes, packets, lost, cut, float64(bytes)/float64(bundles))
}

// TestNetworkSlow does as TestNetwork does over a line of three quarters of the rate
// that the talk was told. It sends little more, and home says how fast the line is.
func TestNetworkSlow(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes minutes of link time")
	}
	w := newWire(t, 7200, 600*time.Millisecond, 20, 3)
	deliverDay(t, w, 1.3)
}

// TestNetem does as TestNetwork does with the kernel's own netem between the networks.
// testdata/netem.sh runs it under a kernel that has it.
func TestNetem(t *testing.T) {
	if testing.Short() {
		t.Skip("takes minutes of link time")
	}
	w := newNetem(t, 9600, 600*time.Millisecond, 5)
	passes, bundles := deliverDay(t, w, 1.15)
	packets, bytes, lost := w.netemCounts(1)
	t.Logf("%d passes; netem let %d bytes in %d packets through, and lost %d: %.3f times the bundles", passes, bytes, packets, lost, float64(bytes)/float64(bundles))
	if lost == 0 {
		t.Error("netem lost nothing")
	}
}

// deliverDay brings a day and a stop home over passes, and returns how many it took, and
// the bytes of the bundles, of which at most so many times as much may be sent.
func deliverDay(t *testing.T, w *wire, most float64) (passes, bundles int) {
	t.Helper()
	const up, down = 24 * time.Second, 96 * time.Second
	e := newEnds(t, w)
	e.pulk(0, "person", "add", "piet", "--name", "Piet Marr", "--role", "cargo-officer")
	e.pulk(0, "procedure", "import", "../../testdata/procedures/power-up.yaml", "--as", "piet")
	_, started, _ := strings.Cut(e.pulk(0, "run", "start", "power-up", "--as", "piet"), "started run ")
	run := strings.Fields(started)[0]
	e.talk(340)
	time.Sleep(time.Second)
	e.pulk(0, "nc", "raise", "--run", run, "--as", "piet", "water in the connector, stop")
	stopHome := func() bool { return strings.Contains(e.pulk(1, "nc", "list"), "water in the connector") }
	began := time.Now()
	w.set(true)
	if !until(up, stopHome) {
		t.Error("the stop is not home in the first pass")
	} else {
		t.Logf("the stop is home %.1f s after the pass began", time.Since(began).Seconds())
	}
	for passes = 1; e.waiting() > 0 && passes < 8; passes++ {
		if until(time.Until(began.Add(up)), func() bool { return e.waiting() == 0 }) {
			break
		}
		w.set(false)
		time.Sleep(down)
		began = time.Now()
		w.set(true)
	}
	if n := e.waiting(); n > 0 {
		t.Errorf("%d change-sets are not home after %d passes", n, passes)
	}
	sent, bundles, _, _ := e.hush()
	rate := w.ways[0].rateBits
	_, line, _ := strings.Cut(e.said[1].String(), "\nwhat came, came at about ")
	var came int
	if _, err := fmt.Sscanf(line, "%d bit/s", &came); err != nil || math.Abs(float64(came)/float64(rate)-1) > 0.1 {
		t.Errorf("home says that what came, came at %d bit/s (%v); the line has %d", came, err, rate)
	}
	t.Logf("%d bytes for bundles of %d: %.3f", sent, bundles, float64(sent)/float64(bundles))
	if float64(sent) > most*float64(bundles) {
		t.Errorf("%d bytes were sent for bundles of %d: more than %g times", sent, bundles, most)
	}
	return passes, bundles
}

// TestNetworkCut: the link goes down while a fragment is on the line. When it is up
// again that fragment is sent again, and no other.
func TestNetworkCut(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes half a minute of link time")
	}
	w := newWire(t, 9600, 600*time.Millisecond, 0, 2)
	e := newEnds(t, w)
	e.talk(340)
	w.set(true)
	if !until(20*time.Second, func() bool { packets, _, _, _ := w.ways[0].counts(); return packets > 8 }) {
		t.Fatal("nothing is sent")
	}
	time.Sleep(150 * time.Millisecond) // half a fragment
	w.set(false)
	time.Sleep(4 * time.Second)
	w.set(true)
	if !until(60*time.Second, func() bool { return e.waiting() == 0 }) {
		t.Errorf("%d change-sets are not home", e.waiting())
	}
	sent, bundles, again, datagrams := e.hush()
	packets, _, _, cut := w.ways[0].counts()
	cut += max(0, datagrams-packets) // thrown away by the system before the line saw them, when it went down
	t.Logf("%d bytes for bundles of %d, %d of them again, %d datagrams cut", sent, bundles, again, cut)
	if cut == 0 || again > cut*340 {
		t.Errorf("%d bytes were sent again after %d fragments of at most 340 bytes were cut", again, cut)
	}
}
