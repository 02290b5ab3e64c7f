package transfer

import (
	"bytes"
	"path/filepath"
	"testing"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
)

// confidants makes sites of which the first founded the campaign, and names itself and
// the second for what is confined.
func confidants(t *testing.T, codes ...string) []*site {
	t.Helper()
	var list []*site
	for i, code := range codes {
		store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { store.Close() })
		begin := changelog.Start{CampaignName: "Vindur Deep", Code: code, Name: code, Now: start, Rand: bytes.NewReader(bytes.Repeat([]byte{byte(i + 1)}, 64))}
		if i > 0 {
			begin.Campaign = list[0].Log.Self().Campaign
		}
		log, err := changelog.Init(ctx, store, begin)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, &site{&Desk{Log: log, Now: start}, t})
	}
	for _, a := range list {
		for _, b := range list {
			if a != b {
				a.know(b, true)
			}
		}
	}
	list[0].name(list[0], true)
	list[0].name(list[1], true)
	for _, other := range list[1:] {
		other.take(contents(list[0].make(other, Wrapping{}).Parcels)...)
	}
	return list
}

func (s *site) name(who *site, named bool) {
	s.t.Helper()
	s.Now = s.Now.Add(1e9)
	_, err := s.Log.Write(ctx, changelog.Author{Now: s.Now}, func(tx *changelog.Tx) error {
		to, _, err := tx.SiteByID(who.Log.Self().Site)
		if err == nil {
			_, err = tx.NameSite(to, named, "")
		}
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
}

func (s *site) secret(code string) {
	s.t.Helper()
	s.Now = s.Now.Add(1e9)
	_, err := s.Log.Write(ctx, changelog.Author{Now: s.Now}, func(tx *changelog.Tx) error {
		tx.SetClass(clock.Confined)
		tx.Add(change.New(kind.PersonClearance, change.Value{}, change.Text(code), change.Num(1), change.Num(1), change.Text("2027-12-31")))
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
}

// confinedSets counts the confined change-sets that a site has of others.
func (s *site) confinedSets() (n uint64) {
	s.t.Helper()
	err := s.Log.View(ctx, func(tx *changelog.Tx) error {
		heads, err := tx.Heads()
		for lane, seq := range heads {
			if lane.Confined() && lane.Site != tx.Self().Site {
				n += seq
			}
		}
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return n
}

// TestConfinedIsSealed: what may tell of a confined lane is sealed, whole or in
// fragments, and to a site that is not named goes none of it.
func TestConfinedIsSealed(t *testing.T) {
	s := confidants(t, "home", "stn", "ship")
	home, stn, ship := s[0], s[1], s[2]
	home.write(3)
	if made := home.make(stn, Wrapping{}); made.Sealed {
		t.Error("a parcel is sealed before anything confined was written")
	}
	home.secret("zz-secret")
	for _, w := range []Wrapping{{}, {FragmentBytes: 90}, {FragmentBytes: 90, ParityShare: 0.5}} {
		made := home.make(stn, w)
		if !made.Sealed || bytes.Contains(bytes.Join(contents(made.Parcels), nil), []byte("zz-secret")) {
			t.Errorf("%+v: sealed %t, or to be read", w, made.Sealed)
		}
		other := home.make(ship, w)
		if other.Sealed || bytes.Contains(other.Data, []byte("zz-secret")) {
			t.Errorf("%+v: for a site that is not named: sealed %t, or told", w, other.Sealed)
		}
		for _, segment := range other.Segments {
			if segment.Lane.Confined() {
				t.Errorf("%+v: a site that is not named is sent %s", w, segment.Lane)
			}
		}
		stn.take(contents(made.Parcels)...)
		ship.take(contents(other.Parcels)...)
	}
	if a, b := stn.confinedSets(), ship.confinedSets(); a != 1 || b != 0 {
		t.Errorf("stn has %d, ship %d; want 1, 0", a, b)
	}
	limited := home.make(stn, Wrapping{})
	if made, err := home.Make(ctx, Request{Request: changelog.Request{To: stn.Log.Self().Site, MaxBytes: limited.Bytes()}}); err != nil || made.Bytes() > limited.Bytes() {
		t.Errorf("the seal is not counted: %v", err)
	}
}

// TestConfinedIsNotSentAgain: fragments of what was made for a site are not sent again
// once it is taken off the list.
func TestConfinedIsNotSentAgain(t *testing.T) {
	s := confidants(t, "home", "stn", "ship")
	home, stn := s[0], s[1]
	home.secret("zz-secret")
	home.write(8)
	made := home.make(stn, Wrapping{FragmentBytes: 90})
	request := fragment.Request{Name: made.Cut.Name, Data: made.Cut.Data, Missing: []int{0, 1}}
	if parcels, _, err := home.Again(ctx, request); err != nil || len(parcels) != 2 {
		t.Errorf("while it is named: %d fragments, %v", len(parcels), err)
	}
	home.name(stn, false)
	if parcels, _, err := home.Again(ctx, request); err == nil {
		t.Errorf("taken off: %d fragments again", len(parcels))
	}
	home.make(stn, Wrapping{FragmentBytes: 60})
	kept := 0
	if _, err := home.row("SELECT count(*) FROM fragment_sent WHERE parity = 0 AND size = 90", &kept); err != nil || kept > 0 {
		t.Errorf("what must not be sent again is kept: %d, %v", kept, err)
	}
}

// TestSeedIsSealed: so is the seed of a site that is named.
func TestSeedIsSealed(t *testing.T) {
	s := confidants(t, "home", "stn", "ship")
	home, stn, ship := s[0], s[1], s[2]
	home.secret("zz-secret")
	home.write(20)
	for _, c := range []struct {
		to     *site
		sealed bool
	}{{stn, true}, {ship, false}} {
		parts := 0
		err := home.Seed(ctx, Request{Request: changelog.Request{To: c.to.Log.Self().Site, MaxBytes: 600}}, func(n int, made *Made) error {
			parts = n
			if made.Sealed != c.sealed || made.Bytes() > 600 || len(made.Parcels) != 1 || bytes.Contains(made.Parcels[0].Data, []byte("zz-secret")) {
				t.Errorf("for %s, part %d: sealed %t, %d bytes", c.to.Log.Self().Code, n, made.Sealed, made.Bytes())
			}
			c.to.take(made.Parcels[0].Data)
			return nil
		})
		if err != nil || parts < 2 {
			t.Errorf("%d parts, %v", parts, err)
		}
	}
	if a, b := stn.confinedSets(), ship.confinedSets(); a != 1 || b != 0 {
		t.Errorf("stn has %d, ship %d; want 1, 0", a, b)
	}
}
