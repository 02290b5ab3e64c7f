package changelog

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// copyOf returns a second store of the same site that does not know that it is
// one: as if the file had been restored in place from a backup taken now.
func copyOf(t *testing.T, log *Log) *Log {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := log.store.Copy(path); err != nil {
		t.Fatal(err)
	}
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	twin, err := Open(context.Background(), store)
	if err != nil {
		t.Fatal(err)
	}
	err = store.Update(context.Background(), func(raw *schema.Tx) error { return twin.begin(raw).rememberFile() })
	if err != nil {
		t.Fatal(err)
	}
	return twin
}

// converge lets all pairs talk until all have want change-sets, then compares.
func converge(t *testing.T, want int, logs ...*Log) {
	t.Helper()
	for range 4 {
		for i, a := range logs {
			for _, b := range logs[i+1:] {
				if a.self.Site == b.self.Site {
					continue
				}
				for range 2 {
					carry(t, a, b)
					carry(t, b, a)
				}
			}
		}
	}
	agree(t, want, logs...)
}

func texts(t *testing.T, log *Log, entity clock.Dot, field kind.FieldID) []string {
	t.Helper()
	var list []string
	err := log.View(context.Background(), func(tx *Tx) error {
		r, err := tx.Register(entity, field, "")
		for _, v := range r.Values {
			list = append(list, v.Text)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Two histories under one number: neither is lost, and the outcome is the same at
// every site, whichever came first.
func TestForkEitherOrder(t *testing.T) {
	for trial := range 6 { // either history may have the lower hash
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		carry(t, stn, home)
		twin := copyOf(t, stn)
		for i := range 3 {
			place(t, stn, fmt.Sprint("a", trial, i))
		}
		place(t, twin, fmt.Sprint("b", trial))
		carry(t, stn, home)
		carry(t, twin, ship)
		taken := carry(t, ship, home)
		if len(taken.Forked) != 1 {
			t.Fatalf("the fork was not told: %+v", taken)
		}
		converge(t, 7, home, ship, stn, twin)
		conflictKinds(t, home, "one number used twice")
		conflictKinds(t, ship, "one number used twice")
	}
}

func conflictKinds(t *testing.T, log *Log, want string) {
	t.Helper()
	err := log.View(context.Background(), func(tx *Tx) error {
		list, err := tx.Conflicts()
		if len(list) != 1 || list[0].Kind != want {
			t.Errorf("%s shows conflicts %+v; want one: %s", log.self.Code, list, want)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A store restored from a backup goes on numbering where the backup ended. It
// learns so from a bundle, and takes a new epoch.
func TestRestoredStoreRenews(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	backup := copyOf(t, stn)
	place(t, stn, "before the crash")
	place(t, stn, "more before the crash")
	carry(t, stn, home)
	carry(t, home, stn)
	place(t, backup, "after the crash") // number 2 again
	carry(t, backup, home)
	taken := carry(t, home, backup)
	if !taken.Renewed || backup.Self().Epoch != 1 {
		t.Errorf("renewed %v, epoch %d; want a new epoch", taken.Renewed, backup.Self().Epoch)
	}
	place(t, backup, "in the new epoch")
	converge(t, 6, home, backup)
}

// A restored store learns from what others say they have of it, before it uses a
// number again: then there is no fork at all.
func TestRestoredStoreRenewsInTime(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	carry(t, stn, home)
	carry(t, home, stn)
	backup := copyOf(t, stn)
	for i := range 20 {
		place(t, stn, fmt.Sprint("place-", i))
	}
	carry(t, stn, home)
	for i := range 3 { // bundles that have no room for what it lacks
		made := makeBundle(t, home, backup, Request{MaxBytes: 160})
		if made.Sets > 0 {
			t.Fatalf("the bundle carries %d change-sets; want only a clock", made.Sets)
		}
		if taken := takeBundle(t, backup, made.Data); taken.Renewed != (i == 0) || backup.Self().Epoch != 1 {
			t.Errorf("bundle %d: renewed %v, epoch %d; want once, to 1", i, taken.Renewed, backup.Self().Epoch)
		}
	}
	place(t, backup, "after")
	converge(t, 23, home, backup)
	if err := home.View(context.Background(), func(tx *Tx) error {
		list, err := tx.Conflicts()
		if len(list) > 0 {
			t.Errorf("conflicts %+v; want none", list)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// A backup that had written nothing since, too.
func TestRestoredStoreGetsItsOwnBack(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	backup := copyOf(t, stn)
	place(t, stn, "hut")
	carry(t, stn, home)
	carry(t, home, stn)
	carry(t, backup, home)
	if taken := carry(t, home, backup); !taken.Renewed {
		t.Errorf("%+v; want renewed", taken)
	}
	converge(t, 3, home, backup)
}

func TestThreeBranchesAndNested(t *testing.T) {
	for trial := range 6 {
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		place(t, stn, "shared")
		b := copyOf(t, stn)
		c := copyOf(t, stn)
		place(t, stn, fmt.Sprint("a1", trial))
		place(t, stn, fmt.Sprint("a2", trial))
		place(t, b, fmt.Sprint("b1", trial))
		nested := copyOf(t, b) // leaves b after b1
		place(t, b, fmt.Sprint("b2", trial))
		place(t, nested, fmt.Sprint("n2", trial))
		place(t, c, fmt.Sprint("c1", trial))
		order := [][2]*Log{{stn, home}, {b, ship}, {nested, home}, {c, ship}}
		for i := range order {
			pair := order[(i+trial)%len(order)]
			carry(t, pair[0], pair[1])
		}
		converge(t, 10, home, ship, stn, b, nested, c)
	}
}

// The author of a branch knew what its lane held before the branch: an assignment
// there replaces one from before it.
func TestBranchKnowsItsTrunk(t *testing.T) {
	for trial := range 8 { // the renaming must come out as the branch in some
		stn, home := newLog(t, "stn"), newLog(t, "home")
		meet(t, stn, home)
		hut := place(t, stn, "hut")
		rename(t, stn, hut, "first")
		twin := copyOf(t, stn)
		place(t, stn, fmt.Sprint("other", trial))
		rename(t, twin, hut, "second")
		carry(t, stn, home)
		carry(t, twin, home)
		if got := texts(t, home, hut, kind.FieldLocationName); len(got) != 1 || got[0] != "second" {
			t.Fatalf("trial %d: the location's names are %q; want only the second", trial, got)
		}
		converge(t, 6, home, twin, stn)
	}
}

// References into a forked lane mean the branch that their author had.
func TestReferencesIntoForkedLanes(t *testing.T) {
	for trial := range 6 {
		stn, home, ship, hut := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship"), newLog(t, "hut")
		meet(t, stn, home, ship, hut)
		carry(t, stn, home)
		carry(t, stn, ship)
		twin := copyOf(t, stn)
		a := place(t, stn, fmt.Sprint("a", trial)) // one and the same dot
		b := place(t, twin, fmt.Sprint("b", trial))
		carry(t, stn, home)
		carry(t, twin, ship)
		rename(t, home, a, "A")
		rename(t, ship, b, "B")
		carry(t, home, hut)
		carry(t, ship, hut)
		// hut knows of the fork and names the branch.
		err := hut.View(context.Background(), func(tx *Tx) error {
			named := map[string]string{}
			all, err := tx.FieldOfAll(kind.FieldLocationName)
			for _, r := range all {
				entry, err := tx.Entry(r.Entity)
				if err != nil {
					return err
				}
				for _, v := range r.Values {
					named[entry.Values[0].Text] += v.Text
				}
			}
			if named[fmt.Sprint("a", trial)] != "A" || named[fmt.Sprint("b", trial)] != "B" {
				t.Errorf("trial %d: the names are %v; want A for a and B for b", trial, named)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, entity := range entities(t, hut) {
			rename(t, hut, entity, "C")
		}
		converge(t, 10, home, ship, hut, stn, twin)
		for _, entity := range entities(t, home) {
			if got := texts(t, home, entity, kind.FieldLocationName); len(got) != 1 || got[0] != "C" {
				t.Errorf("trial %d: names %q; want C alone", trial, got)
			}
		}
	}
}

func entities(t *testing.T, log *Log) []clock.Dot {
	t.Helper()
	var list []clock.Dot
	err := log.View(context.Background(), func(tx *Tx) error {
		all, err := tx.FieldOfAll(kind.FieldLocationName)
		for _, r := range all {
			list = append(list, r.Entity)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Both branches in one bundle, of which the addressee has part of one: the order
// of the segments must not matter.
func TestBothBranchesInOneBundle(t *testing.T) {
	for trial := range 8 {
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		twin := copyOf(t, stn)
		for i := range 2 {
			place(t, stn, fmt.Sprint("a", trial, i))
		}
		carry(t, stn, home)
		carry(t, home, stn)
		for i := range 2 {
			place(t, stn, fmt.Sprint("a", trial, 2+i))
			place(t, twin, fmt.Sprint("b", trial, i))
		}
		carry(t, stn, ship)
		carry(t, twin, ship)
		carry(t, home, ship)
		carry(t, ship, home)
		agree(t, 9, home, ship)
	}
}

// A site that knows both branches of its own lane sends both ends under one
// signature; a third site takes them from a relay.
func TestBothBranchesRelayedUnderOneSignature(t *testing.T) {
	for trial := range 4 {
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		twin := copyOf(t, stn)
		place(t, stn, fmt.Sprint("a", trial))
		place(t, twin, fmt.Sprint("b", trial))
		carry(t, twin, ship)
		carry(t, stn, ship)
		carry(t, ship, stn) // stn has both
		carry(t, stn, home) // both ends are number 2
		other := newLog(t, "quay")
		meet(t, stn, home, ship, other)
		meet(t, twin, other)
		carry(t, home, other)
		converge(t, 6, home, ship, other, stn, twin)
	}
}

// A reference that names a branch may come before what it names.
func TestReferenceToABranchComesFirst(t *testing.T) {
	for trial := range 6 {
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		twin := copyOf(t, stn)
		a := place(t, stn, fmt.Sprint("a", trial))
		place(t, twin, fmt.Sprint("b", trial))
		carry(t, stn, home)
		carry(t, twin, home)
		carry(t, home, stn)
		_ = a
		for _, entity := range entities(t, home) {
			write(t, home, func(tx *Tx) {
				tx.SetClass(clock.Expedited) // it goes first
				tx.AssignText(entity, kind.FieldLocationName, "", "C", "")
				tx.AssignRef(entity, kind.FieldLocationParent, "", entity, "")
			})
		}
		for size := 0; ; size += 20 { // piece by piece
			made, err := home.Make(context.Background(), Request{To: ship.self.Site, Now: tick(), MaxBytes: 300 + size, Continue: true})
			if err != nil {
				continue
			}
			takeBundle(t, ship, made.Data)
			if v, err := ship.Verify(context.Background()); err != nil || len(v.Faults) > 0 {
				t.Fatalf("trial %d: Verify = %+v, %v", trial, v, err)
			}
			if made.Left == 0 {
				break
			}
		}
		converge(t, 7, home, ship, stn, twin)
	}
}

// What replaces a value may itself have been replaced by someone who had not heard
// of the first: the first stays replaced, in whatever order they come.
func TestReplacedStaysReplaced(t *testing.T) {
	stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
	meet(t, stn, home, ship)
	hut := place(t, home, "hut")
	carry(t, home, stn)
	carry(t, home, ship)
	urgent := func(log *Log, name string) {
		write(t, log, func(tx *Tx) { tx.SetClass(clock.Expedited); tx.AssignText(hut, kind.FieldLocationName, "", name, "") })
	}
	rename(t, stn, hut, "A") // normal: goes after what is urgent
	carry(t, stn, home)
	urgent(home, "B") // has seen A
	made := urgentPart(t, home, ship)
	takeBundle(t, ship, made.Data)
	urgent(ship, "C") // has seen B, and not A
	carry(t, ship, home)
	carry(t, home, ship)
	for _, log := range []*Log{home, ship} {
		if got := texts(t, log, hut, kind.FieldLocationName); len(got) != 1 || got[0] != "C" {
			t.Errorf("%s: the names are %q; want C alone", log.self.Code, got)
		}
	}
	converge(t, 7, home, ship, stn)
}

// An unknown kind may be written while a lane is forked.
func TestUnknownKindBesideAFork(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	twin := copyOf(t, stn)
	place(t, stn, "a")
	place(t, twin, "b")
	carry(t, stn, home)
	carry(t, twin, home)
	write(t, home, func(tx *Tx) { tx.Add(change.Change{Kind: kind.FirstDescribed + 1000, Raw: []byte{1}}) })
	converge(t, 5, home, stn, twin)
}

// urgentPart makes the smallest bundle that carries something: of what waits, the
// most urgent.
func urgentPart(t *testing.T, from, to *Log) *Made {
	t.Helper()
	for size := 100; size < 1000; size++ {
		made, err := from.Make(context.Background(), Request{To: to.self.Site, Now: tick(), MaxBytes: size})
		if err == nil && made.Sets > 0 {
			if len(made.Segments) != 1 || made.Segments[0].Lane.Class != clock.Expedited {
				t.Fatalf("the smallest bundle holds %+v; want only what is urgent", made.Segments)
			}
			return made
		}
	}
	t.Fatal("no bundle carries anything")
	return nil
}

// What was agreed with a site does not hold for a copy of its store: what is sent
// on that ground would fit nothing there, and be refused for ever.
func TestACopyIsNotTakenForTheOriginal(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	twin := copyOf(t, stn)
	for i := range 3 {
		place(t, stn, fmt.Sprint("a", i))
	}
	carry(t, stn, home)
	place(t, twin, "b")
	carry(t, home, twin)
	carry(t, twin, home)
	carry(t, home, twin)
	converge(t, 6, home, twin)
}

// A new epoch that was not stored does not count either.
func TestRenewFailsWhole(t *testing.T) {
	stn := newLog(t, "stn")
	failed := errors.New("power cut")
	for n := 1; ; n++ {
		left := n
		stn.store.FailWrite = func() error {
			if left--; left == 0 {
				return failed
			}
			return nil
		}
		epoch, err := stn.Renew(context.Background())
		if err == nil {
			if epoch != 1 || stn.Self().Epoch != 1 {
				t.Errorf("epoch %d, %d; want 1", epoch, stn.Self().Epoch)
			}
			return
		}
		if !errors.Is(err, failed) || stn.Self().Epoch != 0 {
			t.Fatalf("write %d: %v, epoch %d; want 0", n, err, stn.Self().Epoch)
		}
	}
}

// Until the history that its author saw is here, a change vouches for nothing of the
// other history under the same numbers.
func TestHistoryNotHereVouchesForNothing(t *testing.T) {
	for _, first := range []string{"theirs", "mine"} {
		stn, home, ship := newLog(t, "stn"), newLog(t, "home"), newLog(t, "ship")
		meet(t, stn, home, ship)
		hut := place(t, home, "hut")
		carry(t, home, stn)
		carry(t, home, ship)
		twin := copyOf(t, stn)
		rename(t, stn, hut, "A") // under one number, unseen by whoever has the other
		place(t, twin, "other")
		carry(t, twin, home)
		write(t, home, func(tx *Tx) {
			tx.SetClass(clock.Expedited)
			tx.AssignText(hut, kind.FieldLocationName, "", "B", "")
		})
		made := urgentPart(t, home, ship) // names the twin's history, and brings it not
		if first == "mine" {
			carry(t, stn, ship)
			takeBundle(t, ship, made.Data)
		} else {
			takeBundle(t, ship, made.Data)
			carry(t, stn, ship)
		}
		if got := texts(t, ship, hut, kind.FieldLocationName); len(got) != 2 {
			t.Errorf("%s first: the names are %q; want both A and B, as neither author knew the other's", first, got)
		}
		agree(t, sets(t, ship), ship)
		converge(t, 7, home, ship, stn, twin)
	}
}
