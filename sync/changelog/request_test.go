package changelog

import (
	"fmt"
	"testing"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// TestExpeditedAloneThenBehind: what is urgent goes by itself, before all that
// waits; the next bundle starts behind it, and nothing is sent twice.
func TestExpeditedAloneThenBehind(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	for i := range 40 {
		place(t, stn, fmt.Sprintf("place number %d", i*i*7919))
	}
	write(t, stn, func(tx *Tx) {
		tx.SetClass(clock.Expedited)
		tx.Add(change.New(kind.LocationAdd, change.Text("urgent"), change.Text("urgent"), change.Value{}))
	})
	urgent := makeBundle(t, stn, home, Request{Classes: []clock.Class{clock.Expedited}})
	if urgent.Sets != 1 || urgent.Left != 0 || urgent.Segments[0].Lane.Class != clock.Expedited {
		t.Fatalf("the expedited bundle holds %d sets and leaves %d; want 1, 0", urgent.Sets, urgent.Left)
	}
	behind := clock.Vector{}
	for _, s := range urgent.Segments {
		behind[s.Lane] = s.To()
	}
	rest := makeBundle(t, stn, home, Request{Behind: behind})
	if rest.Sets != 41 {
		t.Errorf("the bundle behind it holds %d sets; want 41", rest.Sets)
	}
	if n, _ := takeBundle(t, home, urgent.Data).Fresh(); n != 1 {
		t.Errorf("the expedited bundle brought %d sets; want 1", n)
	}
	takeBundle(t, home, rest.Data)
	carry(t, home, stn)
	agree(t, 43, stn, home)
}

// TestWordCarriesNothingElse: an acknowledgement stays small however much waits.
func TestWordCarriesNothingElse(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	place(t, stn, "hut")
	carry(t, stn, home)
	for i := range 40 {
		place(t, home, fmt.Sprintf("place number %d", i*i*7919))
	}
	word := makeBundle(t, home, stn, Request{Word: true})
	if word.Sets != 0 || len(word.Segments) != 0 || word.Left != 41 || len(word.Data) > 130 {
		t.Errorf("word: %d bytes, %d sets, %d left; want at most 130 bytes, none, 41", len(word.Data), word.Sets, word.Left)
	}
	takeBundle(t, stn, word.Data)
	err := stn.View(t.Context(), func(tx *Tx) error {
		v, err := tx.Acknowledged(home.self.Site)
		if v[clock.Lane{Site: stn.self.Site}] != 2 {
			t.Errorf("acknowledged: %v; want stn up to 2", v)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
