package stock

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"pulk/schema"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func dot(n int) clock.Dot { return clock.Dot{Lane: clock.Lane{Site: 1}, Seq: uint64(n)} }

// Stock is the sum of its movements: a plain map that is changed step by step
// agrees with the sum, in whatever order the movements come.
func TestBalanceAgainstPlainMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := map[Shelf]int64{}
		var all []Movement
		for i := range rapid.IntRange(0, 30).Draw(t, "n") {
			m := Movement{ID: dot(100 + i), Item: dot(rapid.IntRange(1, 2).Draw(t, "item")), Lot: rapid.SampledFrom([]string{"", "A"}).Draw(t, "lot"),
				Quantity: rapid.Int64Range(0, 9).Draw(t, "quantity")}
			if place := rapid.IntRange(0, 2).Draw(t, "from"); place > 0 {
				m.From = dot(10 + place)
			}
			if place := rapid.IntRange(0, 2).Draw(t, "to"); place > 0 {
				m.To = dot(10 + place)
			}
			if rapid.Bool().Draw(t, "voided") {
				m.Voided = dot(999)
			} else {
				plain[Shelf{m.Item, m.Lot, m.From}] -= m.Quantity
				plain[Shelf{m.Item, m.Lot, m.To}] += m.Quantity
			}
			all = append(all, m)
		}
		got := Balance(rapid.Permutation(all).Draw(t, "order"))
		for shelf, n := range plain {
			if !shelf.Location.IsZero() && got[shelf] != n {
				t.Fatalf("%v: sum %d, step by step %d", shelf, got[shelf], n)
			}
		}
		for shelf := range got {
			if _, ok := plain[shelf]; !ok {
				t.Fatalf("%v came from nowhere", shelf)
			}
		}
	})
}

func TestPickTakesTheFirstToExpire(t *testing.T) {
	stacks := []Stack{{Lot: "never", Quantity: 5}, {Lot: "late", Quantity: 4, Expires: "2028-01-01"}, {Lot: "soon", Quantity: 3, Expires: "2027-02-01"},
		{Lot: "gone", Quantity: 9, Expires: "2026-12-31"}, {Lot: "held", Quantity: 9, Expires: "2027-01-06", Quarantined: true}}
	for _, c := range []struct {
		quantity, missing int64
		want              string
	}{
		{2, 0, "[{soon 2 3}]"},
		{5, 0, "[{soon 3 3} {late 2 4}]"},
		{12, 0, "[{soon 3 3} {late 4 4} {never 5 5}]"},
		{13, 1, "[{soon 3 3} {late 4 4} {never 5 5}]"},
	} {
		draws, missing := Pick(stacks, c.quantity, "2027-01-05")
		if fmt.Sprint(draws) != c.want || missing != c.missing {
			t.Errorf("Pick %d = %v, %d missing; want %s, %d", c.quantity, draws, missing, c.want, c.missing)
		}
	}
}

type site struct {
	*changelog.Log
	t   *testing.T
	now time.Time
}

func newSite(t *testing.T, code string) *site {
	store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: uuid.UUID{7}, Code: code, Name: code, Now: now, Rand: rand.Reader}, Projection{})
	if err != nil {
		t.Fatal(err)
	}
	return &site{log, t, now}
}

func (s *site) do(fn func(tx *changelog.Tx) error) error {
	s.now = s.now.Add(time.Minute)
	_, err := s.Write(context.Background(), changelog.Author{Now: s.now}, fn)
	return err
}

func (s *site) must(fn func(tx *changelog.Tx) error) {
	s.t.Helper()
	if err := s.do(fn); err != nil {
		s.t.Fatal(err)
	}
}

func (s *site) trust(other *site) {
	s.must(func(tx *changelog.Tx) error {
		id := other.Self()
		known, err := tx.AddSite(id.Public(), id.Code)
		if err != nil {
			return err
		}
		return tx.Trust(known.ID, true)
	})
}

func (s *site) send(to *site) {
	s.t.Helper()
	made, err := s.Make(context.Background(), changelog.Request{To: to.Self().Site, Now: s.now})
	if err != nil {
		s.t.Fatal(err)
	}
	if _, err := to.Take(context.Background(), made.Data, bundle.DefaultLimits, to.now); err != nil {
		s.t.Fatal(err)
	}
}

// Two sites draw from one shelf without having heard of each other: each was right
// by what it knew, the sum is below zero at both, and both see the same conflict.
func TestTwoSitesDrawFromOneShelf(t *testing.T) {
	home, stn := newSite(t, "home"), newSite(t, "stn")
	home.trust(stn)
	stn.trust(home)
	issue := func(s *site, n int64) error {
		return s.do(func(tx *changelog.Tx) error {
			it, err := FindItem(tx, "CON-011")
			if err != nil {
				return err
			}
			shelf, err := FindLocation(tx, "store")
			if err != nil {
				return err
			}
			_, err = Issue(tx, it, AnyLot, shelf, n, clock.Dot{}, 0, "", "")
			return err
		})
	}
	home.must(func(tx *changelog.Tx) error {
		items, faults := ParseCatalogue([]byte(heading + "CON-011,O-ring,seal,each,no,12,20,20,3,,,100,\n"))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		_, err := Import(tx, items)
		return err
	})
	home.must(func(tx *changelog.Tx) error { _, err := AddLocation(tx, "store", "Store", clock.Dot{}); return err })
	home.must(func(tx *changelog.Tx) error {
		it, _ := FindItem(tx, "CON-011")
		shelf, _ := FindLocation(tx, "store")
		_, err := Receive(tx, it, "", shelf, 9, "", "")
		return err
	})
	home.send(stn)
	if err := issue(home, 6); err != nil {
		t.Fatal(err)
	}
	if err := issue(stn, 5); err != nil {
		t.Fatal(err)
	}
	var refused *fault.Refused
	if err := issue(stn, 5); !errors.As(err, &refused) {
		t.Errorf("drawing 5 of 4 gave %v; want a refusal", err)
	}
	home.send(stn)
	stn.send(home)
	var digests []changelog.Digest
	for _, s := range []*site{home, stn} {
		err := s.View(context.Background(), func(tx *changelog.Tx) error {
			list, err := tx.Conflicts()
			if err != nil {
				return err
			}
			if len(list) != 1 || list[0].Kind != "stock below zero" || len(list[0].Sides) != 2 {
				t.Errorf("%s sees %+v; want one shelf below zero with two draws", s.Self().Code, list)
			}
			digest, err := tx.Digest()
			digests = append(digests, digest)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if digests[0] != digests[1] {
		t.Errorf("digests differ: %s, %s", digests[0], digests[1])
	}
	stn.must(func(tx *changelog.Tx) error {
		it, _ := FindItem(tx, "CON-011")
		all, err := MovementsOf(tx, it.ID)
		if err != nil {
			return err
		}
		for _, m := range all {
			if m.Kind == kind.StockIssue && m.Quantity == 6 {
				_, err := Void(tx, m.ID, "was not taken after all")
				return err
			}
		}
		t.Fatal("the draw of 6 is not here")
		return nil
	})
	stn.must(func(tx *changelog.Tx) error {
		list, err := tx.Conflicts()
		if len(list) != 0 {
			t.Errorf("after the void: %+v", list)
		}
		return err
	})
}
