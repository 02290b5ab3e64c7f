package transfer

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"pulk/sync/changelog"
)

// post is a carrier in memory that takes small parcels only, and can lose some.
type post struct {
	limit int
	lose  func(n int) bool // whether the n-th parcel that is left is lost
	n     int
	lies  []letter
}

type letter struct {
	name     string
	from, to uint32
	slot     string
	content  []byte
}

func (p *post) List(_ context.Context, site uint32) (names []string, _ error) {
	for _, l := range p.lies {
		if l.to == site {
			names = append(names, l.name)
		}
	}
	return names, nil
}

func (p *post) find(name string) int {
	return slices.IndexFunc(p.lies, func(l letter) bool { return l.name == name })
}

func (p *post) Read(_ context.Context, name string) ([]byte, error) {
	return p.lies[p.find(name)].content, nil
}

func (p *post) Done(_ context.Context, name string) error {
	i := p.find(name)
	p.lies = append(slices.Clone(p.lies[:i]), p.lies[i+1:]...)
	return nil
}

func (p *post) Put(_ context.Context, from, to uint32, slot string, parcels [][]byte) (names []string, _ error) {
	p.lies = slices.DeleteFunc(slices.Clone(p.lies), func(l letter) bool { return l.from == from && l.to == to && l.slot == slot })
	for _, parcel := range parcels {
		p.n++
		name := fmt.Sprint("letter ", p.n)
		names = append(names, name)
		if p.lose == nil || !p.lose(p.n) {
			p.lies = append(p.lies, letter{name, from, to, slot, parcel})
		}
	}
	return names, nil
}

func (p *post) MaxParcelBytes() int { return p.limit }

func (p *post) Sender(name string) (uint32, bool) { return p.lies[p.find(name)].from, true }

// exchange takes and leaves at a carrier, a day after the last time, and returns
// what was left for the other site.
func (s *site) exchange(p *post) Sent {
	s.t.Helper()
	s.Desk = &Desk{Log: s.Log, Now: s.Now.Add(24 * time.Hour)}
	err := s.Receive(ctx, p, func(name string, o Outcome) error {
		if o.Err != nil || o.Whole != nil && o.Whole.Err != nil {
			s.t.Errorf("%s: %s: %+v", s.Log.Self().Code, name, o)
		}
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	var sent Sent // all that was told, in one
	err = s.Send(ctx, p, Request{}, func(left Sent) error {
		left.Again, left.Asks = left.Again+sent.Again, left.Asks+sent.Asks
		sent = left
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, l := range p.lies {
		if len(l.content) > p.limit {
			s.t.Errorf("a parcel of %d bytes; at most %d", len(l.content), p.limit)
		}
	}
	return sent
}

// TestExchangeInFragments: what exceeds a carrier's limit goes in fragments, what
// is lost of them is asked for and sent again, and what comes meanwhile goes by
// itself, not all anew.
func TestExchangeInFragments(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	p := &post{limit: 340, lose: func(n int) bool { return n == 3 || n == 5 }}
	stn.write(100)
	first := stn.exchange(p)
	if first.Made == nil || first.Made.Cut == nil || len(first.Made.Parcels) < 6 {
		t.Fatalf("first: %+v", first)
	}
	home.exchange(p)
	stn.write(2)
	second := stn.exchange(p)
	if second.Made == nil || second.Made.Cut != nil || second.Made.Sets != 2 || len(second.OnWay) != 1 {
		t.Errorf("while the first is on its way: %+v of %+v", second, second.Made)
	}
	if asks := home.exchange(p); asks.Asks != 1 {
		t.Errorf("home asks for %d parcels", asks.Asks)
	}
	if again := stn.exchange(p); again.Again != 2 {
		t.Errorf("the station sends %d fragments again; 2 were lost", again.Again)
	}
	home.exchange(p)
	stn.exchange(p)
	home.exchange(p)
	if home.digest() != stn.digest() {
		t.Error("home has not what the station has")
	}
	if left := stn.exchange(p); left.Made != nil || left.Again+left.Asks > 0 {
		t.Errorf("when all has arrived: %+v", left)
	}
}

// TestExchangeAllLost: of what nothing at all arrived nobody asks; after a time it
// is made anew.
func TestExchangeAllLost(t *testing.T) {
	s := sites(t, "stn", "home")
	stn, home := s[0], s[1]
	p := &post{limit: 340, lose: func(int) bool { return true }}
	stn.write(60)
	first := stn.exchange(p)
	p.lose = nil
	days := 0
	for ; home.digest() != stn.digest() && days < 10; days++ {
		home.exchange(p)
		stn.exchange(p)
	}
	if first.Made.Cut == nil || days < 2 || days > 4 {
		t.Errorf("home had it after %d days, of %v", days, onWayFor)
	}
}

// TestExchangeNoLimit: where a carrier has no limit, nothing is cut, and a bundle
// takes the place of the one before.
func TestExchangeNoLimit(t *testing.T) {
	s := sites(t, "stn", "home")
	stn := s[0]
	p := &post{}
	for range 3 {
		stn.write(20)
		stn.Now = stn.Now.Add(time.Hour)
		if err := stn.Send(ctx, p, Request{Request: changelog.Request{}}, func(Sent) error { return nil }); err != nil {
			t.Fatal(err)
		}
	}
	if len(p.lies) != 1 {
		t.Errorf("%d parcels lie there; want the latest alone", len(p.lies))
	}
}
