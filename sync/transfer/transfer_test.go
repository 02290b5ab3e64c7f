package transfer

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/fragment"
)

var ctx = context.Background()

// site is a site in a test: its log, and a desk whose clock is moved by hand.
type site struct {
	*Desk
	t testing.TB
}

var start = time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC)

// sites makes sites that know and trust each other.
func sites(t testing.TB, codes ...string) []*site {
	t.Helper()
	var list []*site
	for i, code := range codes {
		store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { store.Close() })
		log, err := changelog.Init(ctx, store, changelog.Start{Campaign: uuid.UUID{1}, CampaignName: "Vindur Deep", Code: code, Name: code, Now: start,
			Rand: bytes.NewReader(bytes.Repeat([]byte{byte(i + 1)}, 64))})
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
	return list
}

func (s *site) know(other *site, trusted bool) {
	s.t.Helper()
	self := other.Log.Self()
	err := s.Log.Store().Update(ctx, func(raw *schema.Tx) error {
		return s.Log.Local(raw, func(tx *changelog.Tx) error {
			added, err := tx.AddSite(self.Public(), self.Code)
			if err != nil {
				return err
			}
			return tx.Trust(added.ID, trusted)
		})
	})
	if err != nil {
		s.t.Fatal(err)
	}
}

// write writes n change-sets of texts that do not pack well.
func (s *site) write(n int) {
	s.t.Helper()
	random := rand.New(rand.NewPCG(uint64(n), uint64(s.Now.UnixNano())))
	for range n {
		s.Now = s.Now.Add(time.Second)
		_, err := s.Log.Write(ctx, changelog.Author{Now: s.Now}, func(tx *changelog.Tx) error {
			tx.Add(change.New(kind.LocationAdd, change.Text(fmt.Sprintf("%x", random.Uint64())), change.Text(fmt.Sprintf("%x", random.Uint64())), change.Value{}))
			return nil
		})
		if err != nil {
			s.t.Fatal(err)
		}
	}
}

func (s *site) make(to *site, w Wrapping) *Made {
	s.t.Helper()
	s.Now = s.Now.Add(time.Minute)
	made, err := s.Make(ctx, Request{Request: changelog.Request{To: to.Log.Self().Site}, Wrapping: w})
	if err != nil {
		s.t.Fatal(err)
	}
	return made
}

// take takes parcels at once and returns what came of them.
func (s *site) take(parcels ...[]byte) []Outcome {
	s.t.Helper()
	s.Now = s.Now.Add(time.Minute)
	list := make([]Outcome, len(parcels))
	err := s.Take(ctx, len(parcels), func(i int) ([]byte, error) { return parcels[i], nil }, func(i int, o Outcome) error {
		if i < 0 {
			list = append(list, o)
		} else {
			list[i] = o
		}
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return list
}

func contents(parcels []Parcel) (list [][]byte) {
	for _, p := range parcels {
		list = append(list, p.Data)
	}
	return list
}

func (s *site) digest() string {
	s.t.Helper()
	var digest string
	err := s.Log.View(ctx, func(tx *changelog.Tx) error {
		d, err := tx.Digest()
		digest = fmt.Sprint(d)
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return digest
}

// whole returns the last outcome of a parcel that fragments made.
func whole(list []Outcome) *Outcome {
	for _, o := range slices.Backward(list) {
		if o.Whole != nil {
			return o.Whole
		}
	}
	return nil
}

func TestMixedParcels(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	stn.write(10)
	plain := stn.make(home, Wrapping{})
	stn.write(10)
	cut := stn.make(home, Wrapping{Seal: true, FragmentBytes: 340, ParityShare: 0.3})
	stn.write(1)
	sealed := stn.make(home, Wrapping{Seal: true})
	request := fragment.Request{Data: 3, Missing: []int{1}}.Encode(0)
	home.Attachment = func(_ context.Context, parcel []byte) (string, error) {
		return fmt.Sprintf("%d bytes", len(parcel)), nil
	}
	parcels := append(contents(cut.Parcels), plain.Data, sealed.Parcels[0].Data, request, []byte("\xb5a photo"), []byte("a letter"), nil)
	got := home.take(parcels...)
	if n := len(cut.Parcels); n < 3 || got[n].Taken == nil || !got[n+1].Sealed || got[n+1].Taken == nil || got[n+2].Asked == nil || got[n+3].Attachment != "8 bytes" ||
		got[n+4].Err == nil || got[n+5].Err == nil {
		t.Errorf("after %d fragments: %+v", n, got[n:])
	}
	if w := whole(got); w == nil || !w.Sealed || w.Taken == nil {
		t.Errorf("the fragments made %+v", w)
	}
	stn.take(home.make(stn, Wrapping{}).Data)
	if home.digest() != stn.digest() {
		t.Error("home has not what the station has")
	}
}

// TestFragmentsOverDays: each in a take of its own, in any order, some again.
func TestFragmentsOverDays(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	stn.write(60)
	parcels := contents(stn.make(home, Wrapping{FragmentBytes: 100}).Parcels)
	order := rand.New(rand.NewPCG(1, 2)).Perm(len(parcels))
	for n, i := range order {
		got := home.take(parcels[i], parcels[order[0]])
		last := n == len(order)-1
		if w := whole(got); (w != nil && w.Taken != nil) != last {
			t.Fatalf("after %d of %d: %+v", n+1, len(order), w)
		}
		if !last && (got[0].Set.Here != n+1 || got[1].Again != true) {
			t.Fatalf("after %d: %+v, %+v", n+1, got[0].Set, got[1])
		}
	}
	late := home.take(parcels[0])[0]
	if !late.Again || !late.Set.Done || late.Whole != nil {
		t.Errorf("a fragment of what was taken: %+v", late)
	}
	var kept int
	if _, err := home.row("SELECT count(*) FROM fragment", &kept); err != nil || kept != 0 {
		t.Errorf("%d fragments are kept of what was taken, %v", kept, err)
	}
}

func (s *site) row(query string, dest ...any) (found bool, err error) {
	err = s.Log.Store().View(ctx, func(tx *schema.Tx) (err error) { found, err = tx.Row(query, nil, dest...); return err })
	return found, err
}

// forge returns a fragment as a hostile sender makes it: it names the parcel and
// place of a true one, and its check fits.
func forge(t testing.TB, parcel []byte, n byte) []byte {
	t.Helper()
	f, err := fragment.Parse(parcel)
	if err != nil {
		t.Fatal(err)
	}
	forged := *f
	forged.Body = slices.Clone(f.Body)
	forged.Body[0] ^= 1 + n
	return forged.Encode()
}

// TestHostileDoNotBlockForEver: false fragments for every place, before, between
// and after the true ones. Once the true ones come again, the bundle is taken, whether
// the false ones pushed them out or lie above them.
func TestHostileDoNotBlockForEver(t *testing.T) {
	for variants := range byte(7) { // in the end more than are kept for a place
		s := sites(t, "stn", "home")
		stn, home := s[0], s[1]
		stn.write(60)
		true1 := contents(stn.make(home, Wrapping{FragmentBytes: 100}).Parcels)
		var false1 [][]byte
		for n := range variants {
			for _, parcel := range true1 {
				false1 = append(false1, forge(t, parcel, n))
			}
		}
		got := home.take(append(slices.Clone(true1[:len(true1)-1]), false1...)...)
		if w := whole(got); variants > 0 && (w == nil || w.Err == nil) {
			t.Fatalf("%d false fragments for each place made %+v", variants, w)
		}
		lacks, err := home.Missing(ctx)
		if want := map[bool]int{true: 1, false: len(true1)}[variants == 0]; err != nil || len(lacks) != 1 || (lacks[0].Trouble != "") != (variants > 0) || len(lacks[0].Request.Missing) != want {
			t.Fatalf("%d false fragments for each place: missing %+v, %v; want %d of %d", variants, lacks, err, want, len(true1))
		}
		again, _, err := stn.Again(ctx, lacks[0].Request)
		if err != nil {
			t.Fatal(err)
		}
		if w := whole(home.take(contents(again)...)); w == nil || w.Taken == nil {
			t.Errorf("%d false fragments for each place: the true ones again made %+v", variants, w)
		}
	}
}

// TestUntrustedBundleWaits: what cannot be taken yet is not lost.
func TestUntrustedBundleWaits(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	home.know(stn, false)
	stn.write(30)
	made := stn.make(home, Wrapping{FragmentBytes: 200})
	if w := whole(home.take(contents(made.Parcels)...)); w == nil || w.Err == nil || !strings.Contains(w.Err.Error(), "trusted here") {
		t.Fatalf("from a site that is not trusted: %+v", w)
	}
	home.know(stn, true)
	if w := whole(home.take()); w == nil || w.Taken == nil {
		t.Errorf("once it is trusted: %+v", w)
	}
}

// TestAgainIsTheSameBytes also once acknowledged, when nothing is kept.
func TestAgainIsTheSameBytes(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	stn.write(40)
	for _, w := range []Wrapping{{FragmentBytes: 120}, {FragmentBytes: 120, ParityShare: 0.5}, {Seal: true, FragmentBytes: 100}} {
		made := stn.make(home, w)
		parcels, peer, err := stn.Again(ctx, fragment.Request{Name: made.Cut.Name, Data: made.Cut.Data, Parity: made.Cut.Parity, Missing: []int{0, 2}})
		if err != nil || peer != home.Log.Self().Site || len(parcels) != 2 ||
			!bytes.Equal(parcels[0].Data, made.Parcels[0].Data) || !bytes.Equal(parcels[1].Data, made.Parcels[2].Data) {
			t.Errorf("%+v: %d parcels for %v, %v", w, len(parcels), peer, err)
		}
	}
	made := stn.make(home, Wrapping{FragmentBytes: 120})
	home.take(contents(made.Parcels)...)
	stn.take(home.make(stn, Wrapping{}).Data)
	stn.write(1)
	stn.make(home, Wrapping{FragmentBytes: 64})
	if _, _, err := stn.Again(ctx, fragment.Request{Name: made.Cut.Name, Data: made.Cut.Data, Missing: []int{0}}); err == nil {
		t.Error("what was acknowledged is still kept")
	}
}

// TestMaxBytesHoldsForAllTogether: headers, parity and seal count.
func TestMaxBytesHoldsForAllTogether(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	stn.write(200)
	for _, w := range []Wrapping{{}, {Seal: true}, {FragmentBytes: 100}, {FragmentBytes: 340, ParityShare: 0.3}, {Seal: true, FragmentBytes: 340, ParityShare: 1}} {
		for _, most := range []int{400, 1000, 2500} {
			stn.Now = stn.Now.Add(time.Minute)
			made, err := stn.Make(ctx, Request{Request: changelog.Request{To: home.Log.Self().Site, MaxBytes: most}, Wrapping: w})
			if most == 400 && w.ParityShare == 1 && err != nil {
				continue // a bundle without changes is more
			}
			if err != nil || made.Bytes() > most || made.Left == 0 {
				t.Errorf("%+v in %d bytes: %d, %v", w, most, made.Bytes(), err)
			}
		}
	}
}

// TestParityHoldsWhatItCan: a backlog that is more than parity can span goes in parts,
// each of which is what can be cut.
func TestParityHoldsWhatItCan(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	stn.write(1000)
	made := stn.make(home, Wrapping{FragmentBytes: 32, ParityShare: 4})
	if made.Left == 0 || made.Cut == nil || made.Cut.Total() < fragment.MaxCoded*9/10 {
		t.Fatalf("%d left, %+v", made.Left, made.Cut)
	}
	random := rand.New(rand.NewPCG(1, 1))
	var some [][]byte
	for _, i := range random.Perm(len(made.Parcels))[:made.Cut.Data] {
		some = append(some, made.Parcels[i].Data)
	}
	if o := whole(home.take(some...)); o == nil || o.Err != nil {
		t.Fatalf("any %d of %d fragments: %+v", made.Cut.Data, len(made.Parcels), o)
	}
}

// TestBounds: what has not grown for the longest goes first, and what is old.
func TestBounds(t *testing.T) {
	s := sites(t, "stn", "home")
	home := s[1]
	defer func(was int) { keptBytes = was }(keptBytes)
	keptBytes = 64 << 10
	part := func(n byte) []byte {
		parcel := bytes.Repeat([]byte{n}, 3<<10)
		cut, err := fragment.Plan(parcel, 2<<10, 0)
		if err != nil {
			t.Fatal(err)
		}
		list, err := cut.Fragments(parcel, []int{0})
		if err != nil {
			t.Fatal(err)
		}
		return list[0]
	}
	for n := range byte(60) { // of 1.5 KiB each
		home.take(part(n))
		if n%10 == 9 {
			home.take(part(0), forge(t, part(0), n)) // grows again and again
		}
	}
	lacks, err := home.Missing(ctx)
	if err != nil || len(lacks) < 30 || len(lacks) > keptBytes/(3<<9) {
		t.Fatalf("%d parcels are kept, %v", len(lacks), err)
	}
	if lacks[0].Name != fragment.NameOf(bytes.Repeat([]byte{0}, 3<<10)) {
		t.Error("what grew of late was dropped")
	}
	home.Now = home.Now.Add(keptFor)
	home.take(part(99))
	if lacks, err = home.Missing(ctx); err != nil || len(lacks) != 1 {
		t.Errorf("%d parcels are kept after %v, %v; want 1", len(lacks), keptFor, err)
	}
}
