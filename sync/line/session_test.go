package line_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	mathrand "math/rand/v2"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/line"
	"pulk/sync/transfer"
)

var campaign = uuid.MustParse("6c1f4a52-0d0e-4a37-9d1c-0c6b4f1d2e3f")

func newLog(t *testing.T, code string) *changelog.Log { return founded(t, code, campaign) }

func meet(t *testing.T, a, b *changelog.Log) {
	t.Helper()
	self := b.Self()
	err := a.Store().Update(t.Context(), func(raw *schema.Tx) error {
		return a.Local(raw, func(tx *changelog.Tx) error {
			site, err := tx.AddSite(self.Public(), self.Code)
			if err != nil {
				return err
			}
			return tx.Trust(site.ID, true)
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, log *changelog.Log, class clock.Class, code string) {
	t.Helper()
	_, err := log.Write(t.Context(), changelog.Author{Now: time.Now()}, func(tx *changelog.Tx) error {
		tx.SetClass(class)
		tx.Add(change.New(kind.LocationAdd, change.Text(code), change.Text(code), change.Value{}))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// pipe is one end of a line in memory that loses and doubles datagrams.
type pipe struct {
	in     chan []byte
	far    *pipe
	loss   float64
	mu     sync.Mutex
	rng    *mathrand.Rand
	closed chan struct{}
	once   sync.Once
	down   func() bool
}

func pipes(loss float64, seed uint64) (*pipe, *pipe) {
	end := func(n uint64) *pipe {
		return &pipe{in: make(chan []byte, 1024), loss: loss, rng: mathrand.New(mathrand.NewPCG(seed, n)), closed: make(chan struct{}), down: func() bool { return false }}
	}
	a, b := end(1), end(2)
	a.far, b.far = b, a
	return a, b
}

func (p *pipe) Send(datagram []byte) error {
	if p.down() {
		return errors.New("down")
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for p.rng.Float64() >= p.loss { // and once more by chance
		select {
		case p.far.in <- append([]byte(nil), datagram...):
		default:
		}
		if p.rng.IntN(10) > 0 {
			break
		}
	}
	return nil
}

func (p *pipe) Receive() ([]byte, error) {
	select {
	case datagram := <-p.in:
		return datagram, nil
	case <-p.closed:
		return nil, errors.New("closed")
	}
}

func (p *pipe) close() { p.once.Do(func() { close(p.closed) }) }

func session(log *changelog.Log, peer clock.SiteID, socket line.Socket) *line.Session {
	return &line.Session{Desk: transfer.Desk{Log: log}, Peer: peer, Socket: socket,
		Pace: line.Pace{RoundTrip: 20 * time.Millisecond}, Wrap: transfer.Wrapping{FragmentBytes: 200},
		LoadBytes: 4 << 10, Look: 20 * time.Millisecond, Now: time.Now,
		Said: func(o transfer.Outcome) error { return o.Err }}
}

// patient is a first guess of a round trip within which the other side answers on a
// machine that is busy with other tests, with the race detector.
const patient = 400 * time.Millisecond

// talkUntilDone runs both sides until they say that both have all.
func talkUntilDone(t *testing.T, a, b *line.Session) (line.Tally, line.Tally) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var tallies [2]line.Tally
	var errs [2]error
	var done sync.WaitGroup
	for i, s := range []*line.Session{a, b} {
		done.Go(func() { tallies[i], errs[i] = s.Run(ctx) })
	}
	done.Wait()
	if err := errors.Join(errs[:]...); err != nil || ctx.Err() != nil {
		t.Fatalf("%v, %v", err, ctx.Err())
	}
	return tallies[0], tallies[1]
}

func sets(t *testing.T, log *changelog.Log) (n uint64) {
	t.Helper()
	err := log.View(t.Context(), func(tx *changelog.Tx) error {
		heads, err := tx.Heads()
		for _, seq := range heads {
			n += seq
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestSession: two stores with much to tell each other end up with the same, over a
// line that loses one datagram in five and doubles some; a second talk has nothing
// left to say.
func TestSession(t *testing.T) {
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for seed := range seeds {
		stn, home := newLog(t, "stn"), newLog(t, "home")
		meet(t, stn, home)
		meet(t, home, stn)
		for i := range 300 {
			write(t, stn, clock.Normal, fmt.Sprintf("place-%d", i*i*7919))
			if i%10 == 0 {
				write(t, home, clock.Open[i/10%3], fmt.Sprintf("shelf-%d", i))
			}
		}
		a, b := pipes(0.2, seed)
		first, other := session(stn, home.Self().Site, a), session(home, stn.Self().Site, b)
		first.Pace.RoundTrip, other.Pace.RoundTrip = patient/4, patient/4
		there, back := talkUntilDone(t, first, other)
		a.close()
		b.close()
		if n, m := sets(t, stn), sets(t, home); n != 332 || m != 332 {
			t.Fatalf("seed %d: %d change-sets at stn, %d at home; want 332", seed, n, m)
		}
		if there.Arrived != 301 || back.Arrived != 31 || there.Refused+back.Refused > 0 {
			t.Errorf("seed %d: arrived %d and %d, refused %d and %d; want 301, 31, none", seed, there.Arrived, back.Arrived, there.Refused, back.Refused)
		}
		a, b = pipes(0, seed)
		again, answer := session(stn, home.Self().Site, a), session(home, stn.Self().Site, b)
		again.Pace.RoundTrip = patient // word that came late may have been the last: stn must hear home's greeting first
		there, _ = talkUntilDone(t, again, answer)
		if there.BundleBytes != 0 || there.Again != 0 || there.Words > 500 {
			t.Errorf("seed %d: a second talk sent %+v; want but a word of what has arrived", seed, there)
		}
		a.close()
		b.close()
	}
}

// TestSessionUrgent: what is urgent and is written while a backlog is under way
// overtakes it.
func TestSessionUrgent(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	meet(t, home, stn)
	for i := range 2000 {
		write(t, stn, clock.Normal, fmt.Sprintf("place-%d", i*i*7919))
	}
	a, b := pipes(0.1, 9)
	defer a.close()
	defer b.close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	sending, taking := session(stn, home.Self().Site, a), session(home, stn.Self().Site, b)
	sending.LoadBytes = 1 << 20
	sending.Pace.BitsPerSecond = 20_000 // seconds for the backlog
	var order []clock.Class
	taking.Said = func(o transfer.Outcome) error {
		if o.Whole != nil {
			o = *o.Whole
		}
		if o.Taken != nil {
			for _, s := range o.Taken.Segments {
				order = append(order, s.Lane.Class)
			}
			if len(order) > 1 {
				cancel()
			}
		}
		return o.Err
	}
	time.AfterFunc(300*time.Millisecond, func() { write(t, stn, clock.Expedited, "stop") })
	var done sync.WaitGroup
	done.Go(func() { sending.Run(ctx) })
	if _, err := taking.Run(ctx); err != nil && ctx.Err() == nil {
		t.Fatal(err)
	}
	done.Wait()
	if len(order) < 2 || order[0] != clock.Expedited {
		t.Errorf("arrived in the order %v; want expedited first", order)
	}
}

// TestSessionDown: while the system says that the line is down nothing is spent, and
// all goes on when it is up.
func TestSessionDown(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	meet(t, home, stn)
	write(t, stn, clock.Normal, "hut")
	a, b := pipes(0, 1)
	defer a.close()
	defer b.close()
	up := time.Now().Add(700 * time.Millisecond)
	a.down = func() bool { return time.Now().Before(up) }
	tally, _ := talkUntilDone(t, session(stn, home.Self().Site, a), session(home, stn.Self().Site, b))
	if tally.Down == 0 || tally.Again > 0 || tally.Arrived != 2 {
		t.Errorf("%+v; want the line found down, nothing sent twice, 2 change-sets arrived", tally)
	}
}

// TestSessionKeepsWhatIsConfined: over an open line, too, it goes to a named site, and
// to no other.
func TestSessionKeepsWhatIsConfined(t *testing.T) {
	for _, named := range []bool{true, false} {
		home := founded(t, "home", uuid.Nil)
		stn := founded(t, "stn", home.Self().Campaign)
		meet(t, stn, home)
		meet(t, home, stn)
		_, err := home.Write(t.Context(), changelog.Author{Now: time.Now()}, func(tx *changelog.Tx) error {
			for _, id := range []clock.SiteID{home.Self().Site, stn.Self().Site} {
				s, _, err := tx.SiteByID(id)
				if err != nil {
					return err
				}
				if _, err := tx.NameSite(s, named, ""); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		_, err = home.Write(t.Context(), changelog.Author{Now: time.Now()}, func(tx *changelog.Tx) error {
			tx.SetClass(clock.Confined)
			tx.Add(change.New(kind.PersonClearance, change.Value{}, change.Text("zz-secret"), change.Num(1), change.Num(1), change.Text("2027-12-31")))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 30 {
			write(t, home, clock.Normal, fmt.Sprintf("place-%d", i*i*7919))
		}
		a, b := pipes(0.1, 1)
		talkUntilDone(t, session(stn, home.Self().Site, a), session(home, stn.Self().Site, b))
		a.close()
		b.close()
		want := sets(t, home)
		if !named {
			want--
		}
		if got := sets(t, stn); got != want {
			t.Errorf("named %t: stn has %d change-sets; want %d", named, got, want)
		}
	}
}

func founded(t *testing.T, code string, campaign uuid.UUID) *changelog.Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := changelog.Init(t.Context(), store, changelog.Start{Campaign: campaign, CampaignName: "line", Code: code, Name: code, Now: time.Now(), Rand: rand.Reader})
	if err != nil {
		t.Fatal(err)
	}
	return log
}
