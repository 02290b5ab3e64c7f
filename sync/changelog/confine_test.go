package changelog

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// secrets is a projection of what is confined.
type secrets struct{}

func (secrets) Name() string { return "secrets" }
func (secrets) Schema() string {
	return "CREATE TABLE secret (dot BLOB PRIMARY KEY, code TEXT NOT NULL) STRICT, WITHOUT ROWID;\n"
}
func (secrets) Tables() []string { return []string{"secret"} }
func (secrets) Confined()        {}
func (secrets) Apply(tx *Tx, e *Entry) error {
	if e.Kind != kind.PersonClearance {
		return nil
	}
	return tx.Exec("INSERT INTO secret (dot, code) VALUES (?, ?)", e.Dot.Key(), e.Values[1].Text)
}

// camp is a campaign of which every site knows every other, and keeps secrets.
func camp(t testing.TB, codes ...string) (home *Log, others []*Log) {
	home, others = found(t, codes...)
	all := append([]*Log{home}, others...)
	for _, log := range all {
		log.projectors = append(log.projectors, secrets{})
		if err := log.Rebuild(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	meet(t, all...)
	return home, others
}

func name(t testing.TB, home, who *Log, named bool) {
	t.Helper()
	write(t, home, func(tx *Tx) {
		s, _, err := tx.SiteByID(who.self.Site)
		if err == nil {
			_, err = tx.NameSite(s, named, "")
		}
		if err != nil {
			t.Fatal(err)
		}
	})
}

// secret writes something confined whose bytes can be found again.
func secret(t testing.TB, log *Log, code string) clock.Dot {
	t.Helper()
	return write(t, log, func(tx *Tx) {
		tx.SetClass(clock.Confined)
		tx.Add(change.New(kind.PersonClearance, change.Value{}, change.Text(code), change.Num(1), change.Num(1), change.Text("2027-12-31")))
	}).Dot()
}

// knowsNothing fails where a store's file, or what it knows of lanes, tells of a secret.
func knowsNothing(t testing.TB, log *Log, codes ...string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := log.store.Copy(path); err != nil {
		t.Fatal(err)
	}
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, code := range codes {
		if bytes.Contains(file, []byte(code)) {
			t.Errorf("%s, which is not named, holds %q", log.self.Code, code)
		}
	}
	err = log.View(context.Background(), func(tx *Tx) error {
		for _, query := range []string{
			"SELECT count(*) FROM lane WHERE class = 3 AND site <> ?", "SELECT count(*) FROM pending WHERE class = 3 AND site <> ?",
			"SELECT count(*) FROM quarantine WHERE class = 3 AND site <> ?",
			"SELECT count(*) FROM awaited WHERE substr(hex(dot), 13, 2) = '03' AND substr(hex(dot), 1, 8) <> printf('%08X', ?)", "SELECT count(*) FROM peer_clock WHERE substr(hex(lane), 13, 2) = '03' AND substr(hex(lane), 1, 8) <> printf('%08X', ?)",
		} {
			var n int
			if _, err := tx.Row(query, []any{log.self.Site}, &n); err != nil || n > 0 {
				t.Errorf("%s: %d rows, %v: %s", log.self.Code, n, err, query)
			}
		}
		// Signatures that were passed on tell of no confined lane either.
		return tx.Each("SELECT bytes FROM statement", nil, func(scan func(...any) error) error {
			var raw []byte
			if err := scan(&raw); err != nil {
				return err
			}
			s, err := decodeStatement(raw)
			for _, head := range s.Heads {
				if head.Lane.Confined() {
					t.Errorf("%s keeps a signature over %s", log.self.Code, head.Lane)
				}
			}
			return err
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}

// tellsNothing fails where a bundle names a confined lane.
func tellsNothing(t testing.TB, data []byte) {
	t.Helper()
	b, err := bundle.Decode(data, bundle.DefaultLimits)
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if err := bundle.Dump(&text, data); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(text.String(), "confined") {
		t.Errorf("a bundle for %08x, which is not named, tells of a confined lane:\n%s", b.To, text.String())
	}
}

func confinedDigest(t testing.TB, log *Log) (digest Digest) {
	t.Helper()
	if err := log.View(context.Background(), func(tx *Tx) (err error) { digest, err = tx.ConfinedDigest(); return err }); err != nil {
		t.Fatal(err)
	}
	return digest
}

func secretsOf(t testing.TB, log *Log) (codes string) {
	t.Helper()
	err := log.View(context.Background(), func(tx *Tx) error {
		_, err := tx.Row("SELECT coalesce(group_concat(code, ' '), '') FROM (SELECT code FROM secret ORDER BY code)", nil, &codes)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return codes
}

// A named site gets what is confined, through a named relay too; one that is not named
// gets none of it, whoever makes the bundle, and misses nothing.
func TestConfinedGoesToNamedSitesAlone(t *testing.T) {
	home, others := camp(t, "stn", "hut", "ship")
	stn, hut, ship := others[0], others[1], others[2]
	name(t, home, stn, true)
	name(t, home, hut, true)
	for _, log := range others {
		carry(t, home, log)
	}
	secret(t, stn, "zz-secret-one")
	place(t, stn, "store")
	secret(t, ship, "zz-secret-two") // a site that is not named may write; it gets back only that
	place(t, ship, "hold")
	for range 3 {
		for _, from := range []*Log{stn, ship, hut, home} {
			for _, to := range []*Log{ship, home, hut, stn} {
				if from == to {
					continue
				}
				data := makeBundle(t, from, to, Request{}).Data
				if (to == ship || to == home) && from != ship {
					if bytes.Contains(data, []byte("zz-secret-one")) {
						t.Errorf("%s gives %s what is confined", from.self.Code, to.self.Code)
					}
				}
				if to == home {
					tellsNothing(t, data)
				}
				takeBundle(t, to, data)
			}
		}
	}
	knowsNothing(t, home, "zz-secret-one", "zz-secret-two")
	knowsNothing(t, ship, "zz-secret-one")
	for _, log := range []*Log{stn, hut} {
		if got := secretsOf(t, log); got != "zz-secret-one zz-secret-two" {
			t.Errorf("%s, which is named, has %q", log.self.Code, got)
		}
	}
	if confinedDigest(t, stn) != confinedDigest(t, hut) {
		t.Error("two named sites have the same confined change-sets and different state")
	}
	sameState(t, home, stn, hut, ship)
	for _, log := range []*Log{home, stn, hut, ship} {
		for _, p := range peersOf(t, log) {
			if p.Waiting > 0 || p.Lacking > 0 {
				t.Errorf("%s: %d wait for %s, which has %d more", log.self.Code, p.Waiting, p.Code, p.Lacking)
			}
		}
	}
	if again := makeBundle(t, stn, hut, Request{}); again.Sets != 0 {
		t.Errorf("a named site is sent again what it has: %d change-sets", again.Sets)
	}
}

func peersOf(t testing.TB, log *Log) (list []PeerState) {
	t.Helper()
	if err := log.View(context.Background(), func(tx *Tx) (err error) { list, err = tx.Peers(); return err }); err != nil {
		t.Fatal(err)
	}
	return list
}

// Through a site that is not named nothing confined comes, be it the only way.
func TestConfinedNeedsAPathOfNamedSites(t *testing.T) {
	home, others := camp(t, "stn", "ship")
	stn, ship := others[0], others[1]
	name(t, home, home, true)
	name(t, home, stn, true)
	carry(t, home, ship)
	carry(t, ship, stn)
	secret(t, stn, "zz-secret-one")
	carry(t, stn, ship)
	carry(t, ship, home)
	knowsNothing(t, ship, "zz-secret-one")
	knowsNothing(t, home, "zz-secret-one")
	carry(t, stn, home)
	if got := secretsOf(t, home); got != "zz-secret-one" {
		t.Errorf("home, which is named, has %q", got)
	}
}

// A site that is taken off the list keeps what it has and gets nothing new; what was on
// its way when the word came is left out there.
func TestConfinedEndsWhereASiteIsTakenOff(t *testing.T) {
	home, others := camp(t, "stn", "hut")
	stn, hut := others[0], others[1]
	name(t, home, stn, true)
	name(t, home, hut, true)
	carry(t, home, stn)
	carry(t, home, hut)
	secret(t, stn, "zz-secret-one")
	carry(t, stn, hut)
	name(t, home, hut, false)
	carry(t, home, hut)
	secret(t, stn, "zz-secret-two") // the station has not heard yet
	taken := carry(t, stn, hut)
	if taken.Withheld == 0 || secretsOf(t, hut) != "zz-secret-one" {
		t.Errorf("hut, which was taken off, left out %d and has %q", taken.Withheld, secretsOf(t, hut))
	}
	knowsNothingOf(t, hut, "zz-secret-two")
	for _, p := range peersOf(t, hut) {
		if p.Lacking > 0 {
			t.Errorf("hut, which was taken off, lacks %d of %s", p.Lacking, p.Code)
		}
	}
	carry(t, home, stn)
	secret(t, stn, "zz-secret-three")
	place(t, stn, "store")
	tellsNothing(t, makeBundle(t, stn, hut, Request{}).Data)
	taken = carry(t, stn, hut)
	if sets, _ := taken.Fresh(); taken.Withheld != 0 || sets != 1 {
		t.Errorf("hut was sent %d confined and %d others; want 0, 1", taken.Withheld, sets)
	}
	name(t, home, hut, true) // and named again: all of it comes
	carry(t, home, hut)
	carry(t, home, stn)
	carry(t, hut, stn)
	carry(t, stn, hut)
	carry(t, stn, home)
	carry(t, hut, home)
	if got := secretsOf(t, hut); got != "zz-secret-one zz-secret-three zz-secret-two" {
		t.Errorf("hut, which is named again, has %q", got)
	}
	sameState(t, home, stn, hut)
}

func knowsNothingOf(t testing.TB, log *Log, code string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := log.store.Copy(path); err != nil {
		t.Fatal(err)
	}
	if file, err := os.ReadFile(path); err != nil || bytes.Contains(file, []byte(code)) {
		t.Errorf("%s holds %q (%v)", log.self.Code, code, err)
	}
}

// The word that names a site and what is confined may come in one bundle.
func TestConfinedComesWithTheNaming(t *testing.T) {
	home, others := camp(t, "stn")
	secret(t, home, "zz-secret-one")
	place(t, home, "store")
	carry(t, home, others[0])
	knowsNothing(t, others[0], "zz-secret-one")
	name(t, home, others[0], true)
	if taken := carry(t, home, others[0]); taken.Withheld != 0 || secretsOf(t, others[0]) != "zz-secret-one" {
		t.Errorf("left out %d, has %q", taken.Withheld, secretsOf(t, others[0]))
	}
}

// A seed for a site that is not named holds nothing confined, whatever it is cut to.
func TestSeedForgetsWhatIsConfined(t *testing.T) {
	home, others := camp(t, "stn", "new", "doc")
	stn, fresh, doctor := others[0], others[1], others[2]
	name(t, home, home, true)
	name(t, home, stn, true)
	name(t, home, doctor, true)
	carry(t, home, stn)
	for range 12 {
		secret(t, stn, "zz-secret-one")
		place(t, stn, "s")
		secret(t, home, "zz-secret-two")
		carry(t, stn, home)
	}
	vouch(t, home, stn)
	for _, size := range []int{0, 900} {
		bundles, _ := seedOf(t, home, fresh, size)
		for _, data := range bundles {
			tellsNothing(t, data)
			takeBundle(t, fresh, data)
		}
	}
	knowsNothing(t, fresh, "zz-secret-one", "zz-secret-two")
	bundles, _ := seedOf(t, home, doctor, 900)
	for _, data := range bundles {
		takeBundle(t, doctor, data)
	}
	if confinedDigest(t, doctor) != confinedDigest(t, home) {
		t.Errorf("a seed for a named site brought %q", secretsOf(t, doctor))
	}
	for _, log := range []*Log{fresh, doctor} {
		carry(t, log, home)
		carry(t, home, fresh)
		carry(t, home, doctor)
	}
	sameState(t, home, fresh, doctor)
}

// Nobody but the founder names a site, and a site that was cut off is named no more.
func TestWhoseNamingCounts(t *testing.T) {
	home, others := camp(t, "stn", "evil")
	stn, evil := others[0], others[1]
	write(t, evil, func(tx *Tx) {
		tx.SetClass(clock.Expedited)
		tx.Add(change.New(kind.SiteConfide, change.Bytes(evil.self.Public()), change.Text("evil"), change.Num(1), change.Value{}))
	})
	carry(t, evil, stn)
	secret(t, stn, "zz-secret-one")
	tellsNothing(t, makeBundle(t, stn, evil, Request{}).Data)
	_, err := evil.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error {
		s, _, err := tx.SiteByID(evil.self.Site)
		if err == nil {
			_, err = tx.NameSite(s, true, "")
		}
		return err
	})
	if !errors.Is(err, ErrNotFounder) {
		t.Errorf("another site names one: %v; want %v", err, ErrNotFounder)
	}
	name(t, home, evil, true)
	carry(t, evil, home)
	cutOff(t, home, evil)
	carry(t, home, stn)
	made, err := stn.Make(context.Background(), Request{To: evil.self.Site, Now: tick()})
	if err == nil {
		tellsNothing(t, made.Data)
	}
}

// What is confined of a site that was cut off counts no more at all, and its open
// change-sets up to the cut do, at every site.
func TestCutOffEndsWhatIsConfined(t *testing.T) {
	home, others := camp(t, "stn", "lost", "ship")
	stn, lost, ship := others[0], others[1], others[2]
	name(t, home, home, true)
	name(t, home, stn, true)
	carry(t, home, lost)
	place(t, lost, "store")
	secret(t, lost, "zz-secret-one")
	carry(t, home, stn)
	carry(t, lost, home)
	carry(t, lost, stn)
	carry(t, lost, ship)
	if secretsOf(t, home) == "" || secretsOf(t, stn) == "" {
		t.Fatal("nothing to cut off")
	}
	cutOff(t, home, lost)
	carry(t, home, stn)
	carry(t, home, ship)
	for _, log := range []*Log{home, stn} {
		if got := secretsOf(t, log); got != "" {
			t.Errorf("%s has %q of a site that was cut off", log.self.Code, got)
		}
	}
	knowsNothing(t, ship, "zz-secret-one")
	for range 2 {
		for _, log := range []*Log{stn, ship} {
			carry(t, log, home)
			carry(t, home, log)
		}
	}
	sameState(t, home, stn, ship)
}

// Where a program by mistake tells of a confined lane in an open one, that is read the
// same at sites that have the lane and at those that have not.
func TestOpenWordOfAConfinedLaneCountsForNothing(t *testing.T) {
	home, others := camp(t, "stn", "ship")
	stn, ship := others[0], others[1]
	name(t, home, home, true)
	carry(t, home, stn)
	dot := secret(t, stn, "zz-secret-one")
	write(t, stn, func(tx *Tx) {
		table, err := tx.laneTable()
		if err != nil {
			t.Fatal(err)
		}
		l := table.byName[clock.Lane{Site: stn.self.Site}]
		branch := dot
		branch.Branch = 77 // as of a fork that nobody here knows of
		set := &change.Set{Lane: l.name, Seq: l.tip + 1, Campaign: stn.self.CampaignTag(), At: clock.StampAt(testStart.Add(clock.Tick)),
			Seen:    []change.Seen{{Lane: dot.Lane, Seq: 1, Check: table.byName[dot.Lane].tipHash.Check()}},
			Changes: []change.Change{change.New(kind.Void, change.Ref(branch), change.Value{}, change.Text("x"))}}
		canonical := set.Canonical()
		if err := tx.append(l, set, canonical, change.Next(l.tipHash, canonical)); err != nil {
			t.Fatal(err)
		}
		if err := tx.settle(); err != nil {
			t.Fatal(err)
		}
	})
	place(t, home, "store")
	for _, log := range []*Log{home, ship} {
		carry(t, stn, log)
	}
	knowsNothing(t, ship, "zz-secret-one")
	for _, log := range []*Log{stn, home, ship} {
		err := log.View(context.Background(), func(tx *Tx) error {
			ctx, err := tx.Context(clock.Dot{Lane: clock.Lane{Site: stn.self.Site}, Seq: 2})
			if err == nil && ctx.Has(dot) {
				t.Errorf("%s: an open change-set counts as knowing a confined one", log.self.Code)
			}
			var n int
			if _, err := tx.Row("SELECT count(*) FROM awaited", nil, &n); err != nil || n > 0 {
				t.Errorf("%s waits for %d change-sets (%v)", log.self.Code, n, err)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		verifySound(t, log)
	}
}

// What a link will have to carry is told of what may go over it.
func TestWrittenLeavesOutWhatIsConfined(t *testing.T) {
	home, others := camp(t, "stn", "ship")
	stn, ship := others[0], others[1]
	name(t, home, stn, true)
	secret(t, home, "zz-secret-one")
	for _, c := range []struct {
		to   *Log
		want bool
	}{{stn, true}, {ship, false}} {
		err := home.View(context.Background(), func(tx *Tx) error {
			days, err := tx.Written(Request{To: c.to.self.Site, Now: testStart.Add(time.Hour)}, 3, time.Hour)
			found := false
			for _, day := range days {
				found = found || day[clock.Confined] > 0
			}
			if found != c.want {
				t.Errorf("for %s confined bytes are told: %t; want %t (%v)", c.to.self.Code, found, c.want, days)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// Two histories of a confined lane are both kept at named sites, and nowhere else.
func TestConfinedLaneForks(t *testing.T) {
	home, others := camp(t, "stn", "ship")
	stn, ship := others[0], others[1]
	name(t, home, home, true)
	name(t, home, stn, true)
	carry(t, home, stn)
	carry(t, home, ship)
	secret(t, stn, "zz-secret-one")
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := stn.store.Copy(path); err != nil {
		t.Fatal(err)
	}
	copied := reopenWith(t, path, secrets{})
	secret(t, stn, "zz-secret-two")
	secret(t, copied, "zz-secret-three")
	for _, from := range []*Log{stn, copied, stn, copied} {
		carry(t, from, home)
		carry(t, from, ship)
		carry(t, home, from)
	}
	for _, log := range []*Log{home, stn, copied} {
		if got := secretsOf(t, log); got != "zz-secret-one zz-secret-three zz-secret-two" {
			t.Errorf("%s has %q", log.self.Code, got)
		}
		if confinedDigest(t, log) != confinedDigest(t, home) {
			t.Errorf("%s and home differ in what is confined", log.self.Code)
		}
	}
	knowsNothing(t, ship, "zz-secret-one", "zz-secret-two", "zz-secret-three")
}

func reopenWith(t testing.TB, path string, projectors ...Projector) *Log {
	t.Helper()
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := Open(context.Background(), store, projectors...)
	if err == nil {
		err = store.Update(context.Background(), func(raw *schema.Tx) error { return log.begin(raw).rememberFile() })
	}
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// What is confined does not go in an open lane, nor what is open in a confined one, and
// nothing open names what is confined.
func TestWriteHeedsTheClass(t *testing.T) {
	home, _ := camp(t)
	dot := secret(t, home, "zz-secret-one")
	for what, fn := range map[string]func(tx *Tx){
		"a confined kind in an open lane": func(tx *Tx) {
			tx.Add(change.New(kind.PersonArrive, change.Value{}, change.Value{}, change.Num(3200), change.Num(1)))
		},
		"an open kind in a confined lane": func(tx *Tx) {
			tx.SetClass(clock.Confined)
			tx.Add(change.New(kind.LocationAdd, change.Text("hut"), change.Text("hut"), change.Value{}))
		},
		"a field in a confined lane": func(tx *Tx) {
			tx.SetClass(clock.Confined)
			tx.AssignText(dot, kind.FieldLocationName, "", "x", "")
		},
		"an open void of what is confined": func(tx *Tx) {
			tx.Add(change.New(kind.Void, change.Ref(dot), change.Value{}, change.Text("wrong")))
		},
	} {
		if _, err := home.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error { fn(tx); return nil }); err == nil {
			t.Errorf("%s was written", what)
		}
	}
	write(t, home, func(tx *Tx) {
		tx.SetClass(clock.Confined)
		tx.Add(change.New(kind.Void, change.Ref(dot), change.Value{}, change.Text("wrong")))
	})
}

// A fork of the founder's lane may come to light in the middle of a bundle, when its
// naming of a site stands in what is read anew only at the end.
func TestNamingInALaneThatForks(t *testing.T) {
	for range 8 { // either history may have the lower hash, by which one is renamed
		home, others := camp(t, "stn")
		stn := others[0]
		twin := copyOf(t, home)
		for _, named := range []bool{true, false, true} { // each is looked up to see what it replaces
			name(t, home, stn, named)
		}
		secret(t, home, "of-home")
		carry(t, home, stn)
		hut := place(t, twin, "hut") // a second lane, taken after the one that forks
		write(t, twin, func(tx *Tx) {
			tx.SetClass(clock.Expedited)
			tx.AssignText(hut, kind.FieldLocationName, "", "Hut", "")
		})
		if taken := carry(t, twin, stn); len(taken.Forked) != 1 {
			t.Errorf("forked lanes: %+v; want one", taken.Forked)
		}
		if got := secretsOf(t, stn); got != "of-home" {
			t.Errorf("the secrets are %q; want that of home", got)
		}
		agree(t, sets(t, stn), stn)
	}
}
