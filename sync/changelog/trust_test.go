package changelog

import (
	"context"
	"crypto/rand"
	"errors"
	"path/filepath"
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

// found makes a campaign of a founder, home, and of others that joined by its card.
func found(t testing.TB, others ...string) (*Log, []*Log) {
	t.Helper()
	home := initSite(t, Start{CampaignName: "Vindur Deep", Code: "home", Name: "home", Now: testStart, Rand: rand.Reader})
	var list []*Log
	for _, code := range others {
		list = append(list, initSite(t, Start{Campaign: home.self.Campaign, CampaignName: "Vindur Deep", Code: code, Name: code, Now: testStart, Rand: rand.Reader}))
	}
	return home, list
}

func initSite(t testing.TB, start Start) *Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), start.Code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := Init(context.Background(), store, start)
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// vouch writes at home that a site that home compared belongs to the campaign.
func vouch(t testing.TB, home, who *Log) clock.Dot {
	t.Helper()
	return write(t, home, func(tx *Tx) {
		s, _, err := tx.SiteByID(who.self.Site)
		if err == nil {
			_, err = tx.Introduce(s, who.self.Name, "test")
		}
		if err != nil {
			t.Fatal(err)
		}
	}).Dot()
}

func trustOf(t testing.TB, at, who *Log) Trust {
	t.Helper()
	var by Trust
	err := at.View(context.Background(), func(tx *Tx) error {
		s, _, err := tx.SiteByID(who.self.Site)
		by = s.By
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return by
}

func refusedFor(t testing.TB, to *Log, data []byte, what string) {
	t.Helper()
	before := digestOf(t, to)
	_, err := to.Take(context.Background(), data, bundle.DefaultLimits, testStart)
	var refusal *Refusal
	if !errors.As(err, &refusal) || !strings.Contains(err.Error(), what) {
		t.Fatalf("%s took it: %v; want a refusal that says %q", to.self.Code, err, what)
	}
	if digestOf(t, to) != before {
		t.Fatalf("%s refused the bundle and changed all the same", to.self.Code)
	}
}

func TestCampaignNamesItsFounder(t *testing.T) {
	home, others := found(t, "stn")
	if home.self.Founder() != home.self.Site || !home.self.IsFounder() || others[0].self.IsFounder() {
		t.Errorf("founder %08x of campaign %s; want %08x, home", home.self.Founder(), home.self.Campaign, home.self.Site)
	}
	if home.self.Campaign.Version() != 8 || home.self.Campaign.Variant() != uuid.RFC4122 {
		t.Errorf("campaign %s is no UUID of version 8 (RFC 9562 section 5.8)", home.self.Campaign)
	}
}

// A new laptop that compared one fingerprint, the ship's, gets everything from it:
// the founder by the campaign's id, the station by an introduction in the bundle.
func TestIntroductionComesWithTheBundleItServes(t *testing.T) {
	home, others := found(t, "stn", "ship", "new")
	stn, ship, fresh := others[0], others[1], others[2]
	meet(t, home, stn, ship)
	introduce(t, ship, fresh, true)
	introduce(t, fresh, ship, true)
	at := place(t, stn, "stn-store")
	carry(t, stn, home)
	carry(t, home, ship)

	refusedFor(t, fresh, makeBundle(t, ship, fresh, Request{}).Data, "is not known here")
	vouch(t, home, stn)
	carry(t, home, ship)
	carry(t, ship, fresh)
	carry(t, fresh, ship)
	if got := digestOf(t, fresh); got != digestOf(t, ship) {
		t.Error("the new laptop holds another state than the ship")
	}
	here := false
	fresh.View(context.Background(), func(tx *Tx) (err error) { here, err = tx.Here(at); return err })
	if !here {
		t.Error("the station's entry is not here")
	}
	if by := trustOf(t, fresh, home); by != TrustFounder {
		t.Errorf("home is believed as %d; want %d, the founder", by, TrustFounder)
	}
	if by := trustOf(t, fresh, stn); by != TrustIntroduced {
		t.Errorf("stn is believed as %d; want %d, introduced", by, TrustIntroduced)
	}
	verifySound(t, fresh)

	// The station is a sender, too, whom nobody here compared.
	introduce(t, stn, fresh, true)
	carry(t, stn, fresh)
}

func verifySound(t testing.TB, log *Log) {
	t.Helper()
	v, err := log.Verify(context.Background())
	if err != nil || len(v.Faults) > 0 {
		t.Fatalf("%s: %v, %v", log.self.Code, v.Faults, err)
	}
}

func TestWhoseIntroductionCounts(t *testing.T) {
	home, others := found(t, "stn", "ship", "evil")
	stn, ship, evil := others[0], others[1], others[2]
	meet(t, home, stn, ship)
	introduce(t, evil, ship, true)

	// stn is trusted, and founded nothing.
	write(t, stn, func(tx *Tx) {
		if _, err := tx.Introduce(Site{Key: evil.self.Public(), By: TrustVoice}, "evil", ""); !errors.Is(err, ErrNotFounder) {
			t.Errorf("stn may introduce: %v", err)
		}
		tx.Add(change.New(kind.SiteIntroduce, change.Bytes(evil.self.Public()), change.Text("evil"), change.Text("evil"), change.Text("")))
	})
	carry(t, stn, ship)
	refusedFor(t, ship, makeBundle(t, evil, ship, Request{}).Data, "not known here")

	introduce(t, home, evil, true)
	dot := vouch(t, home, evil)
	// Distrust here is stronger than the founder's word.
	introduce(t, ship, evil, false)
	carry(t, home, ship)
	refusedFor(t, ship, makeBundle(t, evil, ship, Request{}).Data, "distrusted here")
	carry(t, home, stn)
	if by := trustOf(t, stn, evil); by != TrustIntroduced {
		t.Errorf("stn believes evil as %d; want %d", by, TrustIntroduced)
	}

	// The founder takes it back.
	write(t, home, func(tx *Tx) { tx.Retract(dot, "mistake") })
	carry(t, home, stn)
	if by := trustOf(t, stn, evil); by != NotTrusted {
		t.Errorf("after it was taken back stn believes evil as %d", by)
	}
	// The founder itself is distrusted: so is whom it introduced.
	vouch(t, home, evil)
	carry(t, home, stn)
	introduce(t, stn, home, false)
	if by := trustOf(t, stn, evil); by != NotTrusted {
		t.Errorf("with a distrusted founder stn believes evil as %d", by)
	}
}

// A card that bears the founder's id and another key is refused; so is a bundle with
// an introduction that was altered on its way.
func TestForgedIntroduction(t *testing.T) {
	home, others := found(t, "ship", "new", "evil")
	ship, fresh, evil := others[0], others[1], others[2]
	meet(t, home, ship, evil)
	introduce(t, ship, fresh, true)
	introduce(t, fresh, ship, true)
	vouch(t, home, evil)
	carry(t, home, ship)
	data := makeBundle(t, ship, fresh, Request{}).Data
	for at := 0; at < len(data); at += 3 {
		spoilt := append([]byte{}, data...)
		spoilt[at] ^= 0x40
		if _, err := fresh.Take(context.Background(), spoilt, bundle.DefaultLimits, testStart); err == nil {
			t.Fatalf("taken with byte %d altered", at)
		}
	}
	if by := trustOf(t, fresh, evil); by != NotTrusted {
		t.Fatalf("evil is believed as %d", by)
	}
	takeBundle(t, fresh, data)
	if by := trustOf(t, fresh, evil); by != TrustIntroduced {
		t.Errorf("evil is believed as %d; want %d", by, TrustIntroduced)
	}
}

// Nobody compared anything here: then not even the founder is believed, as the
// campaign's id came with an unchecked card.
func TestNothingIsBelievedBeforeAVoice(t *testing.T) {
	home, others := found(t, "stn", "new")
	stn, fresh := others[0], others[1]
	meet(t, home, stn)
	introduce(t, home, fresh, true)
	err := fresh.store.Update(context.Background(), func(raw *schema.Tx) error {
		_, err := fresh.begin(raw).AddSite(home.self.Public(), "home")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	refusedFor(t, fresh, makeBundle(t, home, fresh, Request{}).Data, "not trusted here")
}

func TestCompareFingerprint(t *testing.T) {
	const want = "11433 13285 12957 96659 80096"
	for _, c := range []struct{ name, typed, differs string }{
		{"as_shown", want, ""},
		{"run_together", "1143313285129579665980096", ""},
		{"dashes", "11433-13285-12957-96659-80096", ""},
		{"misheard", "11433 13285 12975 96659 80096", "group 3 of 5 differs, the others fit"},
		{"another_key", "58566 32846 70962 04505 42649", "it is the fingerprint of another key"},
		{"two_groups", "11433 13258 12975 96659 80096", "it is the fingerprint of another key"},
		{"short", "11433 13285 12957 96659 8009", "a fingerprint has 25 digits, these are 24"},
		{"letters", "11433 l3285 12957 96659 80096", "'l' is no digit"},
		{"nothing", "", "a fingerprint has 25 digits, these are 0"},
	} {
		if got := CompareFingerprint(want, c.typed); got != c.differs {
			t.Errorf("%s: CompareFingerprint(%q) = %q; want %q", c.name, c.typed, got, c.differs)
		}
	}
}

func takeAt(t testing.TB, to *Log, data []byte, now time.Time) {
	t.Helper()
	if _, err := to.Take(context.Background(), data, bundle.DefaultLimits, now); err != nil {
		t.Fatal(err)
	}
}

// A peer's clock that is off pulls ours by no more than clock.MaxAhead, and is told.
func TestClocksThatAreOff(t *testing.T) {
	const day = 24 * time.Hour
	for name, off := range map[string]time.Duration{"a_day": day, "a_year": 365 * day, "40_years": 40 * 365 * day,
		"a_day_behind": -day, "a_year_behind": -365 * day} {
		t.Run(name, func(t *testing.T) {
			home, _ := found(t)
			stn := initSite(t, Start{Campaign: home.self.Campaign, Code: "stn", Name: "stn", Now: testStart.Add(off), Rand: rand.Reader})
			meet(t, home, stn)
			_, err := stn.Write(context.Background(), Author{Now: testStart.Add(off)}, func(tx *Tx) error {
				tx.Add(change.New(kind.LocationAdd, change.Text("a"), change.Text("a"), change.Value{}))
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			taken := takeBundle(t, home, makeBundle(t, stn, home, Request{Now: testStart.Add(off)}).Data)
			want := max(off, 0) // before it has heard of anything written here, nothing proves that it is behind
			if d := taken.Skew - want; d.Abs() > clock.Tick {
				t.Errorf("told skew %s; want %s", taken.Skew, want)
			}
			takeAt(t, stn, makeBundle(t, home, stn, Request{Now: testStart}).Data, testStart.Add(off))
			taken = takeBundle(t, home, makeBundle(t, stn, home, Request{Now: testStart.Add(off)}).Data)
			if d := taken.Skew - off; d.Abs() > clock.Tick {
				t.Errorf("told skew %s once it had heard of home; want %s", taken.Skew, off)
			}
			receipt := write(t, home, func(tx *Tx) { tx.Add(change.New(kind.LocationAdd, change.Text("b"), change.Text("b"), change.Value{})) })
			if ahead := receipt.At.Time().Sub(testStart); ahead > clock.MaxAhead {
				t.Errorf("home wrote at %s ahead of its own clock; at most %s", ahead, clock.MaxAhead)
			}
		})
	}
}
