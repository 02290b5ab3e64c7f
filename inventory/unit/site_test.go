package unit_test

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// sites are stores that know and trust each other; their clock only moves on.
type sites struct {
	testing.TB
	now  time.Time
	logs map[string]*changelog.Log
}

func newSites(t testing.TB, codes ...string) *sites {
	t.Helper()
	s := &sites{TB: t, now: start, logs: map[string]*changelog.Log{}}
	source := rand.NewChaCha8([32]byte{3})
	for _, code := range codes {
		store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
		s.must(err)
		t.Cleanup(func() { store.Close() })
		s.logs[code], err = changelog.Init(context.Background(), store, changelog.Start{Campaign: uuid.UUID{5}, CampaignName: "Vindur Deep", Code: code, Name: code, Now: s.now, Rand: source},
			stock.Projection{}, unit.Projection{})
		s.must(err)
	}
	for _, here := range s.logs {
		for code, other := range s.logs {
			s.must(here.Store().Update(context.Background(), func(raw *schema.Tx) error {
				return here.Local(raw, func(tx *changelog.Tx) error {
					self := other.Self()
					if _, err := tx.AddSite(self.Public(), code); err != nil {
						return err
					}
					return tx.Trust(self.Site, true)
				})
			}))
		}
	}
	return s
}

func (s *sites) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

// try writes at a site, an hour after what was written before.
func (s *sites) try(site string, fn func(tx *changelog.Tx) error) error {
	s.now = s.now.Add(time.Hour)
	_, err := s.logs[site].Write(context.Background(), changelog.Author{Now: s.now}, fn)
	return err
}

func (s *sites) do(site string, fn func(tx *changelog.Tx) error) {
	s.Helper()
	s.must(s.try(site, fn))
}

func (s *sites) view(site string, fn func(tx *changelog.Tx) error) {
	s.Helper()
	s.must(s.logs[site].View(context.Background(), fn))
}

// make packs all that a site thinks another lacks.
func (s *sites) make(from, to string) []byte {
	s.Helper()
	made, err := s.logs[from].Make(context.Background(), changelog.Request{To: s.logs[to].Self().Site, Now: s.now})
	s.must(err)
	return made.Data
}

func (s *sites) take(at string, data []byte) {
	s.Helper()
	_, err := s.logs[at].Take(context.Background(), data, bundle.DefaultLimits, s.now)
	s.must(err)
}

func (s *sites) carry(from, to string) { s.Helper(); s.take(to, s.make(from, to)) }

// begin adds, at home, a module part, a string part, places shelf and hut, and units
// SM-1, SM-2, STR-1, STR-2 on the shelf.
func (s *sites) begin() {
	s.Helper()
	s.do("home", func(tx *changelog.Tx) error {
		for _, part := range []string{"SM3-001", "STR-001"} {
			tx.Add(change.New(kind.ItemAdd, change.Text(part), change.Text(part), change.Text(""), change.Text("each"), change.Num(1),
				change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Text(""), change.Num(0), change.Num(0)))
		}
		for _, code := range []string{"shelf", "hut"} {
			if _, err := stock.AddLocation(tx, code, "", clock.Dot{}); err != nil {
				return err
			}
		}
		return nil
	})
	for _, u := range [][2]string{{"SM-1", "SM3-001"}, {"SM-2", "SM3-001"}, {"STR-1", "STR-001"}, {"STR-2", "STR-001"}} {
		s.do("home", func(tx *changelog.Tx) error { return add(tx, u[0], u[1]) })
	}
}

func add(tx *changelog.Tx, serial, part string) error {
	it, err := stock.FindItem(tx, part)
	if err != nil {
		return err
	}
	shelf, err := stock.FindLocation(tx, "shelf")
	if err != nil {
		return err
	}
	_, err = unit.Add(tx, it, serial, "", shelf.ID)
	return err
}

// act is one command on units: install SERIAL ASSEMBLY SLOT, remove SERIAL PLACE,
// move SERIAL PLACE, fail SERIAL, state SERIAL STATE.
func act(line string) func(tx *changelog.Tx) error {
	return func(tx *changelog.Tx) error {
		w := strings.Fields(line)
		u, err := unit.FindBySerial(tx, w[1])
		if err != nil {
			return err
		}
		switch w[0] {
		case "fail":
			return unit.Fail(tx, u, "no answer", unit.UnknownHours, clock.Dot{})
		case "state":
			return unit.SetState(tx, u, w[2], "seen")
		case "install":
			into, err := unit.FindBySerial(tx, w[2])
			if err != nil {
				return err
			}
			return unit.Install(tx, u, into, w[3], clock.Dot{})
		}
		to, err := stock.FindLocation(tx, w[2])
		if err != nil {
			return err
		}
		if w[0] == "remove" {
			return unit.Remove(tx, u, to, "seen")
		}
		return unit.Move(tx, u, to, "")
	}
}

// shown tells where a unit is: PLACE, ASSEMBLY/SLOT and state.
func (s *sites) shown(site, serial string) (text string) {
	s.Helper()
	s.view(site, func(tx *changelog.Tx) error {
		u, err := unit.FindBySerial(tx, serial)
		if err != nil {
			return err
		}
		place, err := stock.LocationLabel(tx, u.Place)
		text = place + " " + u.State
		if u.Installed() {
			in, err := unit.ByID(tx, u.Assembly)
			if err != nil {
				return err
			}
			text = place + " " + in.Serial + "/" + u.Slot + " " + u.State
		}
		return err
	})
	return text
}

func (s *sites) conflicts(site string) (kinds []string) {
	s.Helper()
	s.view(site, func(tx *changelog.Tx) error {
		list, err := tx.Conflicts()
		for _, c := range list {
			kinds = append(kinds, c.Kind)
		}
		return err
	})
	return kinds
}

func TestAssemblyTakesItsUnitsAlong(t *testing.T) {
	s := newSites(t, "home")
	s.begin()
	for _, step := range []struct{ act, module, cable string }{
		{"install SM-1 STR-1 3", "shelf STR-1/3 received", "shelf received"},
		{"move STR-1 hut", "hut STR-1/3 received", "hut received"},
		{"fail SM-1", "hut STR-1/3 failed", "hut received"},
		{"remove SM-1 shelf", "shelf failed", "hut received"},
		{"state SM-1 accepted", "shelf accepted", "hut received"},
		{"install SM-1 STR-2 3", "shelf STR-2/3 accepted", "hut received"},
	} {
		s.do("home", act(step.act))
		if module, cable := s.shown("home", "SM-1"), s.shown("home", "STR-1"); module != step.module || cable != step.cable {
			t.Errorf("after %s: SM-1 %q, STR-1 %q; want %q, %q", step.act, module, cable, step.module, step.cable)
		}
	}
	s.view("home", func(tx *changelog.Tx) error {
		u, err := unit.FindBySerial(tx, "SM-1")
		if err != nil {
			return err
		}
		events, err := unit.Events(tx, u.ID)
		if err != nil {
			return err
		}
		// Installed, moved 1 h later, failed 2 h later; installed again at the last hour.
		if got := unit.ServiceHours(events, s.now.Add(5*time.Hour)); math.Abs(got-7) > tickHours {
			t.Errorf("ServiceHours = %v, want 2 + 5", got)
		}
		return nil
	})
}

// TestAnyOrderOfArrival has two sites get the bundles of two others in either
// order, one doubled, so that what is about a unit comes before the unit.
func TestAnyOrderOfArrival(t *testing.T) {
	s := newSites(t, "home", "stn", "ship", "two")
	s.begin()
	s.carry("home", "stn")
	s.do("stn", act("install SM-1 STR-1 1"))
	s.do("home", act("install SM-1 STR-2 1"))
	s.do("stn", act("install SM-2 STR-1 2"))
	s.do("stn", act("fail SM-2"))
	s.do("home", act("move SM-2 hut"))
	s.do("stn", act("move STR-1 hut"))
	fromStn, fromHome := s.make("stn", "ship"), s.make("home", "ship")
	s.take("ship", fromStn)
	s.take("ship", fromHome)
	s.take("ship", fromStn)
	s.take("two", s.make("home", "two"))
	s.take("two", s.make("stn", "two"))
	all := []string{"home", "stn", "ship", "two"}
	for _, from := range all { // the sites' own introductions, too
		for _, to := range all {
			if from != to {
				s.carry(from, to)
			}
		}
	}
	var digests []changelog.Digest
	for _, site := range all {
		s.view(site, func(tx *changelog.Tx) error {
			d, err := tx.Digest()
			digests = append(digests, d)
			return err
		})
		if got := s.conflicts(site); len(got) != 2 || got[0] != "field" || got[1] != "field" {
			t.Errorf("%s: conflicts %v, want those of the places of SM-1 and SM-2", site, got)
		}
		if got := s.shown(site, "SM-2"); got != "- failed" {
			t.Errorf("%s: SM-2 is %q, want its place unknown and it failed", site, got)
		}
	}
	if d := slices.Compact(digests); len(d) != 1 {
		t.Errorf("the sites differ: %v", digests)
	}
}

func TestUnitInTwoPlacesIsFoundAndCarriedOn(t *testing.T) {
	s := newSites(t, "home", "stn")
	s.begin()
	s.carry("home", "stn")
	s.do("stn", act("install SM-1 STR-1 1"))
	s.do("home", act("install SM-1 STR-2 7"))
	s.carry("stn", "home")
	for _, refused := range []string{"install SM-1 STR-1 2", "remove SM-1 hut", "install SM-2 STR-1 1", "install SM-2 STR-2 7"} {
		if err := s.try("home", act(refused)); err == nil {
			t.Errorf("%s was taken while it is not known where SM-1 is", refused)
		}
	}
	s.do("home", act("move SM-1 hut"))
	if got := s.conflicts("home"); len(got) != 0 {
		t.Errorf("after it was found: conflicts %v", got)
	}
	// Both slots are free again although they named it, and stay so.
	s.do("home", act("install SM-2 STR-1 1"))
	s.do("home", act("install SM-1 STR-2 8"))
	if got := s.shown("home", "SM-1"); got != "shelf STR-2/8 received" {
		t.Errorf("SM-1 is %q", got)
	}
}

func TestOneSlotGivenToTwoUnits(t *testing.T) {
	s := newSites(t, "home", "stn")
	s.begin()
	s.carry("home", "stn")
	s.do("stn", act("install SM-1 STR-1 1"))
	s.do("home", act("install SM-2 STR-1 1"))
	s.carry("stn", "home")
	if err := s.try("home", act("remove SM-2 hut")); err == nil {
		t.Error("SM-2 was removed, which would empty the slot for SM-1 too")
	}
	s.do("home", func(tx *changelog.Tx) error {
		contested, err := tx.Contested()
		if err != nil || len(contested) != 1 {
			t.Fatalf("contested %v, %v; want the slot", contested, err)
		}
		first, err := unit.FindBySerial(tx, "SM-1")
		if err != nil {
			return err
		}
		at := slices.IndexFunc(contested[0].Values, func(v changelog.Value) bool { return v.Ref == first.ID })
		_, err = tx.Settle(contested[0], contested[0].Values[at], "looked")
		return err
	})
	if got := s.conflicts("home"); !slices.Equal(got, []string{"unit in no slot"}) {
		t.Errorf("conflicts %v, want that SM-2 is in no slot", got)
	}
	s.do("home", act("remove SM-2 hut"))
	if one, two, left := s.shown("home", "SM-1"), s.shown("home", "SM-2"), s.conflicts("home"); one != "shelf STR-1/1 received" || two != "hut received" || len(left) != 0 {
		t.Errorf("SM-1 %q, SM-2 %q, conflicts %v", one, two, left)
	}
}

func TestOneSerialAddedTwice(t *testing.T) {
	s := newSites(t, "home", "stn")
	s.begin()
	s.carry("home", "stn")
	s.do("stn", func(tx *changelog.Tx) error { return add(tx, "SM-3", "SM3-001") })
	s.do("home", func(tx *changelog.Tx) error { return add(tx, "SM-3", "SM3-001") })
	s.carry("stn", "home")
	if got := s.conflicts("home"); !slices.Equal(got, []string{"two units with one serial"}) {
		t.Fatalf("conflicts %v", got)
	}
	if err := s.try("home", act("fail SM-3")); err == nil || !strings.Contains(err.Error(), "added 2 times") {
		t.Errorf("using the serial: %v", err)
	}
	var name string
	s.view("home", func(tx *changelog.Tx) error {
		list, err := unit.List(tx, unit.Filter{})
		i := slices.IndexFunc(list, func(u *unit.Unit) bool { return u.Serial == "SM-3" && u.ID.Site == s.logs["stn"].Self().Site })
		name = tx.Name(list[i].ID)
		return err
	})
	s.do("home", act("state "+name+" scrapped"))
	if got := s.shown("home", "SM-3"); got != "shelf received" || len(s.conflicts("home")) != 0 {
		t.Errorf("SM-3 is %q, conflicts %v", got, s.conflicts("home"))
	}
}

// TestUnitsInEachOther has two sites each install one of two units in the other:
// nothing may loop, and a person can end it.
func TestUnitsInEachOther(t *testing.T) {
	s := newSites(t, "home", "stn")
	s.begin()
	s.carry("home", "stn")
	s.do("stn", act("install STR-1 STR-2 1"))
	s.do("home", act("install STR-2 STR-1 1"))
	s.carry("stn", "home")
	if got := s.shown("home", "STR-1"); got != "- STR-2/1 received" {
		t.Errorf("STR-1 is %q", got)
	}
	s.do("home", act("remove STR-1 hut"))
	if got := s.shown("home", "STR-2"); got != "hut STR-1/1 received" {
		t.Errorf("STR-2 is %q", got)
	}
}

func TestFailureGoesAhead(t *testing.T) {
	s := newSites(t, "home")
	s.begin()
	s.do("home", act("fail SM-1"))
	s.view("home", func(tx *changelog.Tx) error {
		u, err := unit.FindBySerial(tx, "SM-1")
		if err != nil {
			return err
		}
		events, err := unit.Events(tx, u.ID)
		if last := events[len(events)-1]; last.Kind != kind.UnitFail || last.Dot.Class != clock.Expedited || last.Text != "no answer" {
			t.Errorf("last event %+v", last)
		}
		return err
	})
}
