package changelog

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// cutOff writes at home that a site is cut off: where home has it now, or after the
// change-sets named.
func cutOff(t testing.TB, home, who *Log, after ...clock.Dot) clock.Dot {
	t.Helper()
	return write(t, home, func(tx *Tx) {
		s, _, err := tx.SiteByID(who.self.Site)
		if err != nil {
			t.Fatal(err)
		}
		cuts, err := tx.PlanCutoff(s.ID, after)
		if err == nil {
			_, err = tx.CutOff(s, cuts, "left on the aircraft")
		}
		if err != nil {
			t.Fatal(err)
		}
	}).Dot()
}

func asideOf(t testing.TB, log *Log) []Aside {
	t.Helper()
	var list []Aside
	err := log.View(context.Background(), func(tx *Tx) error {
		return tx.EachAside(func(a Aside) error { list = append(list, a); return nil })
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func sameState(t testing.TB, logs ...*Log) {
	t.Helper()
	for _, log := range logs {
		verifySound(t, log)
		if got, want := digestOf(t, log), digestOf(t, logs[0]); got != want {
			t.Errorf("%s has state %s, %s has %s", log.self.Code, got, logs[0].self.Code, want)
		}
	}
}

// clone opens a copy of a store's file: a thief's, or one that is put back later.
func clone(t testing.TB, log *Log) *Log {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := log.store.Copy(path); err != nil {
		t.Fatal(err)
	}
	return reopen(t, path)
}

func reopen(t testing.TB, path string) *Log {
	t.Helper()
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close(); os.Remove(path) })
	log, err := Open(context.Background(), store)
	if err == nil {
		// As if the file had been written back in place, so that no copy is noticed.
		err = store.Update(context.Background(), func(raw *schema.Tx) error { return log.begin(raw).rememberFile() })
	}
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// The laptop stn is lost after home has heard of two places; the ship has heard of
// three, and wrote on. What home had stays, the third goes, at all alike.
func TestLostLaptop(t *testing.T) {
	home, others := found(t, "stn", "ship")
	stn, ship := others[0], others[1]
	meet(t, home, stn, ship)
	a, b := place(t, stn, "a"), place(t, stn, "b")
	carry(t, stn, home)
	c := place(t, stn, "c")
	rename(t, stn, a, "renamed by a thief")
	carry(t, stn, ship)
	carry(t, home, ship)
	rename(t, ship, b, "as the ship calls it")
	carry(t, ship, home) // home knows of c, too, and takes that back
	sameState(t, ship, home)

	cutOff(t, home, stn, b)
	carry(t, home, ship)
	carry(t, ship, home)
	sameState(t, home, ship)
	for _, log := range []*Log{home, ship} {
		for dot, want := range map[clock.Dot]bool{a: true, b: true, c: false} {
			log.View(context.Background(), func(tx *Tx) error {
				if here, err := tx.Here(dot); err != nil || here != want {
					t.Errorf("%s: %s is here: %v, %v; want %v", log.self.Code, tx.Name(dot), here, err, want)
				}
				return nil
			})
		}
		if list := asideOf(t, log); len(list) != 2 || list[0].Seq != c.Seq || list[0].From != 0 || len(list[0].Set.Changes) != 1 {
			t.Errorf("%s keeps aside %+v; want two change-sets from %d on", log.self.Code, list, c.Seq)
		}
	}

	// What it writes later is taken, kept aside, and never acknowledged or relayed.
	place(t, stn, "d")
	taken := takeBundle(t, ship, makeBundle(t, stn, ship, Request{}).Data)
	if fresh, _ := taken.Fresh(); fresh != 0 || len(taken.Aside) != 1 {
		t.Errorf("taken from the lost laptop: %+v", taken)
	}
	if n := len(asideOf(t, ship)); n != 3 {
		t.Errorf("the ship keeps %d aside; want 3", n)
	}
	takeBundle(t, home, makeBundle(t, ship, home, Request{}).Data)
	if n := len(asideOf(t, home)); n != 2 {
		t.Errorf("home keeps %d aside; want 2: what the ship keeps is not passed on", n)
	}
	sameState(t, home, ship)
	heads(t, ship, stn, b.Seq)

	// At the lost laptop itself: once it hears of it nothing more can be written.
	carry(t, home, stn)
	sameState(t, home, stn)
	_, err := stn.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error { tx.AssignText(a, 1, "", "x", ""); return nil })
	var refusal *Refusal
	if !errors.As(err, &refusal) {
		t.Errorf("a site that was cut off writes: %v", err)
	}
}

// heads checks how far a log has, and acknowledges, a site's normal lane.
func heads(t testing.TB, log, of *Log, want uint64) {
	t.Helper()
	log.View(context.Background(), func(tx *Tx) error {
		acks, err := tx.clockToSend(0)
		for _, ack := range acks {
			if ack.Lane == (clock.Lane{Site: of.self.Site}) && ack.Seq != want {
				t.Errorf("%s acknowledges %d of %s; want %d", log.self.Code, ack.Seq, of.self.Code, want)
			}
		}
		return err
	})
}

// Of two cut-offs the lower head counts; voided, what had counted counts again.
func TestCutOffIsTakenBack(t *testing.T) {
	home, others := found(t, "stn", "ship")
	stn, ship := others[0], others[1]
	meet(t, home, stn, ship)
	a := place(t, stn, "a")
	carry(t, stn, home)
	b := place(t, stn, "b")
	carry(t, stn, home)
	carry(t, home, ship)
	before := digestOf(t, home)
	place(t, stn, "c")
	carry(t, stn, ship)

	high, low := cutOff(t, home, stn, b), cutOff(t, home, stn, a)
	carry(t, home, ship)
	heads(t, home, stn, a.Seq)
	heads(t, ship, stn, a.Seq)
	write(t, home, func(tx *Tx) { tx.Retract(low, "it was found") })
	carry(t, home, ship)
	heads(t, home, stn, b.Seq)
	heads(t, ship, stn, b.Seq)
	if n := len(asideOf(t, ship)); n != 1 {
		t.Errorf("the ship keeps %d aside; want 1", n)
	}
	write(t, home, func(tx *Tx) { tx.Retract(high, "it was found") })
	carry(t, home, ship)
	heads(t, ship, stn, b.Seq+1)
	carry(t, ship, home)
	sameState(t, home, ship)
	if digestOf(t, home) == before {
		t.Error("nothing changed: the test shows nothing")
	}
	if n := len(asideOf(t, ship)) + len(asideOf(t, home)); n != 0 {
		t.Errorf("%d are kept aside; want none", n)
	}
}

// A thief goes on from an old copy: another history under numbers that count.
func TestThiefForksTheLane(t *testing.T) {
	for _, shipFirst := range []bool{true, false} {
		home, others := found(t, "stn", "ship")
		stn, ship := others[0], others[1]
		meet(t, home, stn, ship)
		place(t, stn, "a")
		carry(t, stn, home)
		carry(t, stn, ship)
		thief := clone(t, stn)
		for i := range 4 {
			place(t, thief, fmt.Sprintf("forged %d", i))
		}
		last := place(t, stn, "b")
		last = place(t, stn, "c")
		carry(t, stn, home)
		if shipFirst {
			carry(t, thief, ship)
		}
		cutOff(t, home, stn, last)
		carry(t, home, ship)
		if !shipFirst {
			carry(t, thief, ship)
			carry(t, home, ship)
		}
		carry(t, ship, home)
		carry(t, home, ship)
		carry(t, ship, home)
		sameState(t, home, ship)
		heads(t, ship, stn, last.Seq)
		if n := len(asideOf(t, ship)); n != 4 {
			t.Errorf("ship first %v: the ship keeps %d aside; want 4", shipFirst, n)
		}
	}
}

func TestCutsOnlyWhereTheSiteSigned(t *testing.T) {
	home, others := found(t, "stn", "ship")
	stn := others[0]
	meet(t, home, stn, others[1])
	a := place(t, stn, "a")
	place(t, stn, "b")
	carry(t, stn, home)
	home.View(context.Background(), func(tx *Tx) error {
		if _, err := tx.PlanCutoff(stn.self.Site, []clock.Dot{a}); err == nil || err.Error() != "stn-2 lies within a bundle of its site, so nothing signed ends there" {
			t.Errorf("PlanCutoff within a bundle: %v", err)
		}
		return nil
	})
	// A site that took the same in another bundle, and has no signature of that end,
	// can pass it on all the same: the cut-off carries the signature.
	home, others = found(t, "stn", "ship", "far")
	stn, ship, far := others[0], others[1], others[2]
	meet(t, home, stn, ship, far)
	a = place(t, stn, "a")
	carry(t, stn, home)
	place(t, stn, "b")
	carry(t, stn, ship)
	cutOff(t, home, stn, a)
	carry(t, home, ship)
	carry(t, ship, home)
	carry(t, ship, far)
	sameState(t, home, ship)
	heads(t, far, stn, a.Seq)
	verifySound(t, far)
}

func TestWhoseCutOffCounts(t *testing.T) {
	home, others := found(t, "stn", "ship")
	stn, ship := others[0], others[1]
	meet(t, home, stn, ship)
	place(t, stn, "a")
	carry(t, stn, ship)
	carry(t, stn, home)
	write(t, ship, func(tx *Tx) {
		s, _, _ := tx.SiteByID(stn.self.Site)
		if _, err := tx.CutOff(s, nil, ""); !errors.Is(err, ErrNotFounder) {
			t.Errorf("the ship may cut off: %v", err)
		}
	})
	forged := cutChange(stn.self.Public(), nil, nil)
	write(t, ship, func(tx *Tx) { tx.Add(forged) })
	carry(t, ship, home)
	heads(t, home, stn, 2)
	heads(t, ship, stn, 2)
	// Not even the founder can cut itself off.
	write(t, home, func(tx *Tx) { tx.Add(cutChange(home.self.Public(), nil, nil)) })
	write(t, home, func(tx *Tx) { tx.Add(cutChange(stn.self.Public(), []byte{1, 2, 3}, nil)) }) // makes no sense
	carry(t, home, ship)
	sameState(t, home, ship)
	heads(t, home, stn, 2)
}

// A stolen laptop sends as much as it can. The store keeps a bounded part of it, and
// rebuilds nothing.
func TestStolenLaptopCannotFillAStore(t *testing.T) {
	home, others := found(t, "stn")
	stn := others[0]
	meet(t, home, stn)
	place(t, stn, "a")
	carry(t, stn, home)
	cutOff(t, home, stn)
	size := MaxAsideSets + 1000
	if testing.Short() {
		size = 1200
		lowerAside(t, 1000)
	}
	flood(t, stn, size)
	taken := takeBundle(t, home, makeBundle(t, stn, home, Request{}).Data)
	list := asideOf(t, home)
	if len(list) != maxAsideSets || taken.Dropped != size-maxAsideSets {
		t.Errorf("%d are kept aside, %d dropped; want %d, %d", len(list), taken.Dropped, maxAsideSets, size-maxAsideSets)
	}
	if list[0].Seq != 3 || !slices.IsSortedFunc(list, func(a, b Aside) int { return int(a.Seq) - int(b.Seq) }) {
		t.Errorf("the first kept aside is %d; want 3, what came first", list[0].Seq)
	}
	verifySound(t, home)
}

// The cut-off meets what it cuts in any order; who has the same has the same state.
func TestCutOffInAnyOrder(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		home, others := found(t, "stn", "ship", "hut")
		stn, ship, hut := others[0], others[1], others[2]
		meet(t, home, stn, ship, hut)
		logs := []*Log{home, ship, hut}
		thief := (*Log)(nil)
		var cuts []clock.Dot
		for range rapid.IntRange(4, 16).Draw(r, "steps") {
			at := rapid.SampledFrom(logs).Draw(r, "at")
			switch rapid.SampledFrom([]string{"stn", "stn", "thief", "write", "carry", "carry", "carry", "cut", "void"}).Draw(r, "what") {
			case "stn":
				dot := place(t, stn, "s")
				if rapid.Bool().Draw(r, "urgent") {
					write(t, stn, func(tx *Tx) {
						tx.SetClass(clock.Expedited)
						tx.AssignText(dot, kind.FieldLocationName, "", "n", "")
					})
				} else {
					rename(t, stn, dot, "n")
				}
				hand(t, stn, at)
			case "thief":
				if thief == nil {
					thief = clone(t, stn)
				}
				place(t, thief, "forged")
				hand(t, thief, at)
			case "write":
				dot := place(t, at, "w")
				rename(t, at, dot, "x")
			case "carry":
				hand(t, at, rapid.SampledFrom(logs).Draw(r, "to"))
			case "cut":
				cuts = append(cuts, cutSomewhere(t, r, home, stn))
			case "void":
				if len(cuts) > 0 {
					dot := cuts[0]
					cuts = cuts[1:]
					write(t, home, func(tx *Tx) { tx.Retract(dot, "found") })
				}
			}
		}
		for range 3 {
			for _, from := range logs {
				for _, to := range logs {
					hand(t, from, to)
				}
			}
		}
		sameState(t, logs...)
	})
}

// hand carries what one has to another, unless they are one.
func hand(t testing.TB, from, to *Log) {
	if from != to {
		takeBundle(t, to, makeBundle(t, from, to, Request{}).Data)
	}
}

// cutSomewhere cuts stn off at one of the ends that it signed for home.
func cutSomewhere(t testing.TB, r *rapid.T, home, stn *Log) clock.Dot {
	t.Helper()
	var ends []clock.Dot
	err := home.View(context.Background(), func(tx *Tx) error {
		table, err := tx.laneTable()
		if err != nil {
			return err
		}
		return tx.Each("SELECT lane, seq FROM statement ORDER BY lane, seq", nil, func(scan func(...any) error) error {
			var id int64
			var seq uint64
			err := scan(&id, &seq)
			if l := table.byID[id]; l.name.Site == stn.self.Site {
				ends = append(ends, clock.Dot{Lane: l.name, Seq: seq})
			}
			return err
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(ends) == 0 {
		return cutOff(t, home, stn)
	}
	return cutOff(t, home, stn, rapid.SampledFrom(ends).Draw(r, "end"))
}

func cutChange(key, heads, proof []byte) change.Change {
	return change.New(kind.SiteCutoff, change.Bytes(key), change.Text("stn"), change.Bytes(heads), change.Bytes(proof), change.Text(""))
}

// lowerAside makes the bound small enough for a short test.
func lowerAside(t *testing.T, sets int) {
	maxAsideSets = sets
	t.Cleanup(func() { maxAsideSets = MaxAsideSets })
}

// flood writes many change-sets.
func flood(t testing.TB, log *Log, n int) {
	t.Helper()
	_, err := log.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error {
		for i := range n {
			tx.Add(change.New(kind.LocationAdd, change.Text(fmt.Sprint(i)), change.Text("x"), change.Value{}))
			if err := tx.Cut(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func FuzzDecodeHeads(f *testing.F) {
	f.Add(encodeHeads([]bundle.Head{{Lane: clock.Lane{Site: 7, Class: clock.Expedited}, Seq: 12}}), encodeProof([][]byte{{1, 2}, nil}))
	f.Fuzz(func(t *testing.T, heads, proof []byte) {
		if list, err := decodeHeads(7, heads); err == nil && !slices.Equal(encodeHeads(list), heads) {
			t.Errorf("%x reads as %v, which is written %x", heads, list, encodeHeads(list))
		}
		if list, err := decodeProof(proof); err == nil {
			again, err := decodeProof(encodeProof(list))
			if err != nil || !slices.EqualFunc(list, again, func(a, b []byte) bool { return slices.Equal(a, b) }) {
				t.Errorf("%x reads as %x, then as %x, %v", proof, list, again, err)
			}
		}
	})
}
