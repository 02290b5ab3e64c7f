package changelog

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// meet makes logs known to each other, and trusted.
func meet(t testing.TB, logs ...*Log) {
	t.Helper()
	for _, a := range logs {
		for _, b := range logs {
			if a.self.Site != b.self.Site {
				introduce(t, a, b, true)
			}
		}
	}
}

func introduce(t testing.TB, to, who *Log, trusted bool) {
	t.Helper()
	err := to.store.Update(context.Background(), func(raw *schema.Tx) error {
		tx := to.begin(raw)
		site, err := tx.AddSite(who.self.Public(), who.self.Code)
		if err != nil {
			return err
		}
		return tx.Trust(site.ID, trusted)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func makeBundle(t testing.TB, from, to *Log, request Request) *Made {
	t.Helper()
	request.To = to.self.Site
	if request.Now.IsZero() {
		request.Now = tick()
	}
	made, err := from.Make(context.Background(), request)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// tick is a clock that never stands, so that no two bundles are the same.
func tick() time.Time { ticks++; return testStart.Add(time.Duration(ticks) * time.Second) }

var ticks int

func takeBundle(t testing.TB, to *Log, data []byte) *Taken {
	t.Helper()
	taken, err := to.Take(context.Background(), data, bundle.DefaultLimits, testStart)
	if err != nil {
		t.Fatalf("%s: %v", to.self.Code, err)
	}
	return taken
}

// carry takes all that from has to to.
func carry(t testing.TB, from, to *Log) *Taken {
	t.Helper()
	return takeBundle(t, to, makeBundle(t, from, to, Request{}).Data)
}

func place(t testing.TB, log *Log, code string) clock.Dot {
	t.Helper()
	return write(t, log, func(tx *Tx) {
		tx.Add(change.New(kind.LocationAdd, change.Text(code), change.Text(code), change.Value{}))
	}).Dot()
}

func rename(t testing.TB, log *Log, place clock.Dot, name string) {
	t.Helper()
	write(t, log, func(tx *Tx) { tx.AssignText(place, kind.FieldLocationName, "", name, "") })
}

func digestOf(t testing.TB, log *Log) Digest {
	t.Helper()
	var digest Digest
	if err := log.View(context.Background(), func(tx *Tx) (err error) { digest, err = tx.Digest(); return err }); err != nil {
		t.Fatal(err)
	}
	return digest
}

func sets(t testing.TB, log *Log) int {
	t.Helper()
	n := 0
	err := log.View(context.Background(), func(tx *Tx) error {
		return tx.EachSet(func(clock.Lane, *change.Set, int64) error { n++; return nil })
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// agree fails unless all logs hold want change-sets, the same state, and verify.
func agree(t *testing.T, want int, logs ...*Log) {
	t.Helper()
	for _, log := range logs {
		v, err := log.Verify(context.Background())
		if err != nil || len(v.Faults) > 0 {
			t.Fatalf("%s: Verify: %v, %v", log.self.Code, v, err)
		}
		if got := sets(t, log); got != want {
			t.Errorf("%s has %d change-sets; want %d", log.self.Code, got, want)
		}
		if digestOf(t, log) != digestOf(t, logs[0]) {
			t.Errorf("%s and %s have different state", log.self.Code, logs[0].self.Code)
		}
	}
}

func TestTakeTwiceIsHarmless(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	place(t, stn, "hut")
	made := makeBundle(t, stn, home, Request{})
	if n, _ := takeBundle(t, home, made.Data).Fresh(); n != 2 || made.Sets != 2 || made.Changes != 2 || made.Left != 0 {
		t.Errorf("made %d sets, %d changes, %d left, took %d; want 2, 2, 0, 2", made.Sets, made.Changes, made.Left, n)
	}
	before := digestOf(t, home)
	again := takeBundle(t, home, made.Data)
	if n, _ := again.Fresh(); n != 0 || !again.Already || digestOf(t, home) != before {
		t.Errorf("taking it twice brought %d sets, already %v", n, again.Already)
	}
	// The same change-sets in another bundle, as nothing was acknowledged.
	other := makeBundle(t, stn, home, Request{Now: testStart.Add(time.Hour)})
	if n, _ := takeBundle(t, home, other.Data).Fresh(); n != 0 || other.Sets != 2 {
		t.Errorf("a second bundle of %d sets brought %d; want 2 and 0", other.Sets, n)
	}
	carry(t, home, stn)
	if made := makeBundle(t, stn, home, Request{}); made.Sets != 0 {
		t.Errorf("after the acknowledgement %d sets are sent again", made.Sets)
	}
	carry(t, stn, home)
	agree(t, 3, stn, home)
}

func TestTakeOutOfOrder(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	var bundles [][]byte
	for i := range 4 {
		place(t, stn, fmt.Sprint("place-", i))
		bundles = append(bundles, makeBundle(t, stn, home, Request{Continue: true}).Data)
	}
	for _, i := range []int{3, 1, 2} {
		taken := takeBundle(t, home, bundles[i])
		if n, _ := taken.Fresh(); n != 0 || len(taken.Waiting) == 0 || taken.Waiting[0].From != 1 {
			t.Errorf("bundle %d brought %d sets and waits for %v; want 0, and for number 1", i, n, taken.Waiting)
		}
	}
	taken := takeBundle(t, home, bundles[0])
	if n, _ := taken.Fresh(); n != 5 || len(taken.Waiting) > 0 {
		t.Errorf("the first bundle brought %d sets, waiting %v; want all 5", n, taken.Waiting)
	}
	carry(t, home, stn)
	agree(t, 6, stn, home)
}

// What waits is kept in pieces; they are put together once what was missing comes, and
// the signature at their end is passed on.
func TestMuchWaits(t *testing.T) {
	stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
	meet(t, stn, home, ship)
	first := makeBundle(t, stn, home, Request{Continue: true}).Data
	hut := place(t, stn, "hut")
	const more = 20
	for i := range more {
		rename(t, stn, hut, fmt.Sprint(i, strings.Repeat("x", pendingBytes/4)))
	}
	taken := carry2(t, stn, home, Request{Continue: true})
	if want := []Gap{{clock.Lane{Site: stn.self.Site}, 1, 1}}; !slices.Equal(taken.Waiting, want) {
		t.Errorf("waits for %v; want %v", taken.Waiting, want)
	}
	pieces := 0
	err := home.View(context.Background(), func(tx *Tx) error {
		_, err := tx.Row("SELECT count(*) FROM pending", nil, &pieces)
		return err
	})
	if err != nil || pieces < 4 {
		t.Errorf("it is kept in %d pieces (%v); want some", pieces, err)
	}
	taken = takeBundle(t, home, first)
	if n, _ := taken.Fresh(); n != more+2 || len(taken.Waiting) > 0 {
		t.Errorf("the first bundle brought %d sets, waiting %v; want %d", n, taken.Waiting, more+2)
	}
	carry(t, home, ship)
	carry(t, ship, home)
	carry(t, home, stn)
	carry(t, ship, stn)
	agree(t, more+4, stn, home, ship)
}

// A bundle that was lost leaves a gap after Continue; the other side tells, and the
// next bundle without Continue fills it.
func TestGapIsToldAndFilled(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	place(t, stn, "lost")
	makeBundle(t, stn, home, Request{Continue: true}) // lost
	place(t, stn, "hut")
	taken := carry2(t, stn, home, Request{Continue: true})
	if want := []Gap{{clock.Lane{Site: stn.self.Site}, 1, 2}}; !slices.Equal(taken.Waiting, want) {
		t.Errorf("waits for %v; want %v", taken.Waiting, want)
	}
	err := home.View(context.Background(), func(tx *Tx) error {
		gaps, err := tx.Gaps()
		if len(gaps) != 1 || gaps[0].To != 2 {
			t.Errorf("Gaps = %v; want numbers 1 to 2", gaps)
		}
		peers, err2 := tx.Peers()
		if len(peers) != 1 || peers[0].Lacking != 3 {
			t.Errorf("Peers = %+v; want 3 change-sets lacking", peers)
		}
		return errors.Join(err, err2)
	})
	if err != nil {
		t.Fatal(err)
	}
	if n, _ := carry(t, stn, home).Fresh(); n != 3 {
		t.Errorf("the whole bundle brought %d sets; want 3", n)
	}
	carry(t, home, stn)
	agree(t, 4, stn, home)
}

func carry2(t *testing.T, from, to *Log, request Request) *Taken {
	t.Helper()
	return takeBundle(t, to, makeBundle(t, from, to, request).Data)
}

func TestMaxBytesCutsAndNothingIsLost(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	for i := range 60 {
		place(t, stn, fmt.Sprintf("place number %d", i*i*7919))
	}
	write(t, stn, func(tx *Tx) {
		tx.SetClass(clock.Expedited)
		tx.Add(change.New(kind.LocationAdd, change.Text("urgent"), change.Text("urgent"), change.Value{}))
	})
	for round, left := 0, 1; left > 0; round++ {
		if round > 30 {
			t.Fatal("it never ends")
		}
		made := makeBundle(t, stn, home, Request{MaxBytes: 400})
		if len(made.Data) > 400 || made.Sets == 0 {
			t.Fatalf("round %d: %d bytes with %d sets; want at most 400 and some", round, len(made.Data), made.Sets)
		}
		if round == 0 && made.Segments[0].Lane.Class != clock.Expedited {
			t.Error("the first bundle does not begin with the expedited lane")
		}
		left = made.Left
		takeBundle(t, home, made.Data)
		carry(t, home, stn)
	}
	agree(t, 63, stn, home)
}

// What the format does not allow in one bundle goes in several, asked for or not.
func TestLimitsOfTheFormatCutAndNothingIsLost(t *testing.T) {
	for _, c := range []struct {
		name  string
		limit func(l *bundle.Limits)
		most  int // change-sets in a bundle; the first has one change, the others two
	}{
		{"changes", func(l *bundle.Limits) { l.Changes = 7 }, 4},
		{"values", func(l *bundle.Limits) { l.Values = 13 }, 3},
		{"packed", func(l *bundle.Limits) { l.Block = 160 }, 20},
		{"whole", func(l *bundle.Limits) { l.Bytes = 280 }, 20},
	} {
		t.Run(c.name, func(t *testing.T) {
			stn, home := newLog(t, "stn"), newLog(t, "home")
			meet(t, stn, home)
			for i := range 20 {
				write(t, stn, func(tx *Tx) {
					for j := range 2 { // changes of three values each
						name := fmt.Sprintf("place %d %d", j, i*i*7919)
						tx.Add(change.New(kind.LocationAdd, change.Text(name), change.Text(name), change.Value{}))
					}
				})
			}
			makeBundle(t, stn, home, Request{}) // reads what the codec has built in, within the true limits
			before := bundle.DefaultLimits
			t.Cleanup(func() { bundle.DefaultLimits = before })
			c.limit(&bundle.DefaultLimits)
			rounds := 0
			for left := 1; left > 0; rounds++ {
				made := makeBundle(t, stn, home, Request{})
				if made.Sets == 0 || made.Sets > c.most || rounds > 30 {
					t.Fatalf("round %d: %d change-sets; want 1 to %d", rounds, made.Sets, c.most)
				}
				left = made.Left
				takeBundle(t, home, made.Data)
				carry(t, home, stn)
			}
			if rounds < 2 {
				t.Errorf("it took %d bundle; the limit was to cut it", rounds)
			}
			agree(t, 22, stn, home)
		})
	}
}

func TestRelayThroughAThirdSite(t *testing.T) {
	stn, ship, home := newLog(t, "stn"), newLog(t, "ship"), newLog(t, "home")
	meet(t, stn, ship, home)
	hut := place(t, stn, "hut")
	carry(t, stn, ship)
	rename(t, ship, hut, "Drill hut")
	taken := carry(t, ship, home)
	if n, _ := taken.Fresh(); n != 4 || taken.From != ship.self.Site {
		t.Errorf("the ship's bundle brought %d sets; want 4", n)
	}
	carry(t, home, ship)
	carry(t, ship, stn)
	agree(t, 5, stn, ship, home)
	v, err := home.Verify(context.Background())
	if err != nil || v.Signatures != 2 {
		t.Errorf("home keeps %d signatures (%v); want the station's and the ship's", v.Signatures, err)
	}
}

// refused takes a bundle that must be refused whole.
func refused(t *testing.T, to *Log, data []byte, what string) {
	t.Helper()
	before := sets(t, to)
	_, err := to.Take(context.Background(), data, bundle.DefaultLimits, testStart)
	var refusal *Refusal
	if !errors.As(err, &refusal) || refusal.Hint == "" {
		t.Fatalf("%s: Take = %v; want a refusal with a hint", what, err)
	}
	if after := sets(t, to); after != before {
		t.Fatalf("%s: refused, and still %d change-sets came in", what, after-before)
	}
}

func TestTakeRefuses(t *testing.T) {
	stn, ship, home := newLog(t, "stn"), newLog(t, "ship"), newLog(t, "home")
	introduce(t, stn, home, true)
	introduce(t, stn, ship, true)
	place(t, stn, "hut")
	good := makeBundle(t, stn, home, Request{}).Data
	refused(t, home, good, "unknown sender")
	introduce(t, home, stn, false)
	refused(t, home, good, "untrusted sender")
	introduce(t, home, stn, true)
	introduce(t, ship, stn, true)
	refused(t, ship, good, "another's bundle")
	refused(t, stn, good, "its own bundle")
	takeBundle(t, ship, makeBundle(t, stn, ship, Request{}).Data)
	introduce(t, ship, home, true)
	introduce(t, home, ship, true)
	introduce(t, home, stn, false)
	refused(t, home, makeBundle(t, ship, home, Request{}).Data, "relay from an untrusted origin")

	store, err := schema.Create(filepath.Join(t.TempDir(), "other.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	other, err := Init(context.Background(), store, Start{Campaign: uuid.UUID{9}, CampaignName: "Another", Code: "other", Name: "other", Now: testStart, Rand: rand.Reader})
	if err != nil {
		t.Fatal(err)
	}
	introduce(t, other, home, true)
	introduce(t, home, other, true)
	refused(t, home, makeBundle(t, other, home, Request{}).Data, "another campaign")
}

func TestTakeRefusesAnyFlippedBitAndAnyCut(t *testing.T) {
	stn, ship, home := newLog(t, "stn"), newLog(t, "ship"), newLog(t, "home")
	meet(t, stn, ship, home)
	place(t, stn, "hut")
	carry(t, stn, ship)
	place(t, ship, "hold")
	good := makeBundle(t, ship, home, Request{}).Data // relays, so that it has two signatures
	for i := range good {
		for bit := range 8 {
			if testing.Short() && bit != i%8 {
				continue
			}
			bad := slices.Clone(good)
			bad[i] ^= 1 << bit
			refused(t, home, bad, fmt.Sprintf("byte %d bit %d", i, bit))
		}
		refused(t, home, good[:i], fmt.Sprintf("cut at %d", i))
	}
	refused(t, home, append(slices.Clone(good), 0), "a byte too many")
	if n, _ := takeBundle(t, home, good).Fresh(); n != 4 {
		t.Errorf("the sound bundle brought %d sets; want 4", n)
	}
}

// Changes of kinds that only a newer program knows are kept, counted and relayed
// byte for byte.
func TestUnknownKindsAreKeptAndRelayed(t *testing.T) {
	stn, ship, home := newLog(t, "stn"), newLog(t, "ship"), newLog(t, "home")
	meet(t, stn, ship, home)
	raw := [][]byte{{}, {0}, {0xff, 0xfe, 0}, []byte("text"), make([]byte, 3000)}
	write(t, stn, func(tx *Tx) {
		for i, payload := range raw {
			tx.Add(change.Change{Kind: kind.FirstDescribed + kind.ID(1000+i*1000), Raw: payload})
		}
		tx.Add(change.New(kind.LocationAdd, change.Text("hut"), change.Text("Hut"), change.Value{}))
	})
	carry(t, stn, ship)
	carry(t, ship, home)
	carry(t, home, ship)
	carry(t, ship, stn)
	agree(t, 4, stn, ship, home)
	err := home.View(context.Background(), func(tx *Tx) error {
		var n int
		if _, err := tx.Row("SELECT count(*) FROM unknown_change", nil, &n); err != nil || n != len(raw) {
			t.Errorf("home counts %d changes of unknown kinds (%v); want %d", n, err, len(raw))
		}
		return tx.EachSet(func(lane clock.Lane, set *change.Set, _ int64) error {
			if lane.Site != stn.self.Site || set.Seq != 2 {
				return nil
			}
			for i, payload := range raw {
				if c := set.Changes[i]; string(c.Raw) != string(payload) || c.Kind != kind.FirstDescribed+kind.ID(1000+i*1000) {
					t.Errorf("change %d came as kind %d with %x; want %x", i, c.Kind, c.Raw, payload)
				}
			}
			return nil
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestVerifySeesContexts: what an author is said to have known follows from the log; where
// it does not, verify tells, and a rebuild mends it.
func TestVerifySeesContexts(t *testing.T) {
	home, stn := newLog(t, "home"), newLog(t, "stn")
	meet(t, home, stn)
	for i, log := range []*Log{stn, home, stn, home} {
		place(t, log, fmt.Sprintf("hut-%d", i))
		carry(t, stn, home)
		carry(t, home, stn)
	}
	faults := func() []string {
		t.Helper()
		v, err := home.Verify(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return v.Faults
	}
	for _, damage := range []string{
		"UPDATE changeset SET ctx = (SELECT min(id) FROM context) WHERE (lane, seq) = (SELECT lane, max(seq) FROM changeset)",
		"UPDATE lane SET tip_ctx = (SELECT min(id) FROM context) WHERE id = (SELECT max(id) FROM lane)",
	} {
		if err := home.store.Update(t.Context(), func(raw *schema.Tx) error { return raw.Exec(damage) }); err != nil {
			t.Fatal(err)
		}
		if list := faults(); len(list) != 1 || !strings.Contains(list[0], "said to have known") {
			t.Errorf("%s: verify says %q", damage, list)
		}
		if err := home.Rebuild(t.Context()); err != nil {
			t.Fatal(err)
		}
		if list := faults(); len(list) > 0 {
			t.Errorf("%s: after a rebuild verify says %q", damage, list)
		}
	}
}
