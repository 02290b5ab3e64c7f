package procedure_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/procedure"
	"pulk/schema"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// A revised text is logged as a delta, whose bytes are no UTF-8, in a column of
// text. It must be readable from the log, and give the text back.
func TestImportOfARevisionIsReadable(t *testing.T) {
	ctx, start := context.Background(), time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	store, err := schema.Create(filepath.Join(t.TempDir(), "home.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	log, err := changelog.Init(ctx, store, changelog.Start{Campaign: uuid.UUID{1}, CampaignName: "Vindur Deep", Code: "home", Name: "home", Now: start, Rand: rand.Reader}, procedure.Projection{})
	if err != nil {
		t.Fatal(err)
	}
	var last clock.Dot
	for _, name := range []string{"borehole-lowering.yaml", "borehole-lowering-d.yaml"} {
		_, err := log.Write(ctx, changelog.Author{Now: start}, func(tx *changelog.Tx) error {
			last, _, err = procedure.Import(tx, mustParse(name), read(name))
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	err = log.View(ctx, func(tx *changelog.Tx) error {
		entry, err := tx.Entry(last)
		if err != nil {
			return err
		}
		if entry.Values[3].Ref.IsZero() || len(entry.Values[4].Text) > 1000 {
			t.Errorf("revision D was logged with base %v and %d bytes; want a short delta", entry.Values[3].Ref, len(entry.Values[4].Text))
		}
		got, found, err := procedure.Text(tx, last)
		if want := read("borehole-lowering-d.yaml"); !found || !bytes.Equal(got, want) {
			t.Errorf("Text gives %d bytes (found %v); want the %d of revision D", len(got), found, len(want))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := log.Verify(ctx); err != nil || len(v.Faults) > 0 {
		t.Errorf("Verify = %+v, %v; want a sound store", v, err)
	}
}
