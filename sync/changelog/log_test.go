package changelog

import (
	"context"
	"crypto/rand"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

var testStart = time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)

func newLog(t *testing.T, code string) *Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := Init(context.Background(), store, Start{Campaign: uuid.UUID{1, 2, 3}, CampaignName: "Vindur Deep", Code: code, Name: code, Now: testStart, Rand: rand.Reader})
	if err != nil {
		t.Fatal(err)
	}
	return log
}

func write(t testing.TB, log *Log, fn func(tx *Tx)) Receipt {
	t.Helper()
	receipt, err := log.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error { fn(tx); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return receipt
}

func TestWriteAssignsAndVerifies(t *testing.T) {
	log := newLog(t, "stn")
	var place clock.Dot
	write(t, log, func(tx *Tx) {
		place = tx.Add(change.New(kind.LocationAdd, change.Text("hut"), change.Text("Drill hut"), change.Value{}))
	})
	write(t, log, func(tx *Tx) { tx.AssignText(place, kind.FieldLocationName, "", "Drill hut, north door", "moved") })
	err := log.View(context.Background(), func(tx *Tx) error {
		r, err := tx.Register(place, kind.FieldLocationName, "")
		if err != nil {
			return err
		}
		if len(r.Values) != 1 || r.Values[0].Text != "Drill hut, north door" {
			t.Errorf("location name is %+v; want the later value alone", r.Values)
		}
		if name := tx.Name(place); name != "stn-2" {
			t.Errorf("Name = %q; want stn-2", name)
		}
		back, err := tx.ParseName("stn-2")
		if err != nil || back != place {
			t.Errorf("ParseName(stn-2) = %v, %v; want %v", back, err, place)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	v, err := log.Verify(context.Background())
	if err != nil || len(v.Faults) > 0 || v.Sets != 3 {
		t.Fatalf("Verify = %+v, %v; want 3 sound change-sets", v, err)
	}
}

// A value that was replaced stays in the history, also where its replacement came
// first.
func TestHistoryTellsWhatWasReplaced(t *testing.T) {
	home, stn := newLog(t, "home"), newLog(t, "stn")
	meet(t, home, stn)
	hut := place(t, home, "hut") // sets the name
	rename(t, home, hut, "Drill hut, south door")
	late := makeBundle(t, home, stn, Request{To: stn.Self().Site, Now: tick()})
	write(t, home, func(tx *Tx) {
		tx.SetClass(clock.Expedited)
		tx.AssignText(hut, kind.FieldLocationName, "", "Drill hut, north door", "moved")
	})
	made := makeBundle(t, home, stn, Request{To: stn.Self().Site, Now: tick(), Continue: true})
	takeBundle(t, stn, made.Data)
	takeBundle(t, stn, late.Data)
	err := stn.View(context.Background(), func(tx *Tx) error {
		history, err := tx.History(hut, kind.FieldLocationName, "")
		var got []string
		for i, a := range history {
			got = append(got, a.Text)
			for j, b := range history {
				if knew := a.Ctx.Has(b.Dot); knew != (i != j && (a.Text == "Drill hut, north door" || b.Dot == hut)) {
					t.Errorf("who wrote %q knew %q: %t", a.Text, b.Text, knew)
				}
			}
		}
		slices.Sort(got)
		if want := []string{"Drill hut, north door", "Drill hut, south door", "hut"}; !slices.Equal(got, want) {
			t.Errorf("history of the name is %q; want %q", got, want)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A change-set that no reader would take must never be logged: nothing after it in
// its lane could be read or sent.
func TestWriteRefusesWhatCannotBeRead(t *testing.T) {
	log := newLog(t, "stn")
	_, err := log.Write(context.Background(), Author{Now: testStart}, func(tx *Tx) error {
		tx.Add(change.New(kind.LocationAdd, change.Text("hut"), change.Text("Drill \xff hut"), change.Value{}))
		return nil
	})
	if err == nil {
		t.Error("a text that is not UTF-8 was written")
	}
	if v, err := log.Verify(context.Background()); err != nil || len(v.Faults) > 0 || v.Sets != 1 {
		t.Errorf("Verify = %+v, %v; want one sound change-set", v, err)
	}
}
