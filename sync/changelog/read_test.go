package changelog

import (
	"context"
	"slices"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// spread writes change-sets of one to three changes in two lanes, hours apart, with
// a clock that runs back twice.
func spread(t *testing.T, log *Log) {
	t.Helper()
	hours := []int{0, 1, 1, 5, 3, 9, 30, 31, 29, 50, 50, 75}
	for i, hour := range hours {
		author := Author{Now: testStart.Add(time.Duration(hour) * time.Hour)}
		_, err := log.Write(context.Background(), author, func(tx *Tx) error {
			tx.SetClass([]clock.Class{clock.Normal, clock.Expedited}[i%3/2])
			for range 1 + i%3 {
				tx.Add(change.New(kind.RunNote, change.Ref(clock.Dot{Lane: clock.Lane{Site: 7}, Seq: 1}), change.Num(0), change.Text("note")))
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// The reader by halves must find what reading the whole log finds.
func TestEachBetweenFindsWhatAScanFinds(t *testing.T) {
	log := newLog(t, "stn")
	spread(t, log)
	err := log.View(context.Background(), func(tx *Tx) error {
		var all []clock.Dot
		at := map[clock.Dot]clock.Stamp{}
		err := tx.EachSet(func(_ clock.Lane, set *change.Set, _ int64) error {
			for i := range set.Changes {
				all = append(all, set.ID(i))
				at[set.ID(i)] = set.At
			}
			return nil
		})
		for from := -2; from < 80; from += 3 {
			for to := from; to < 80; to += 5 {
				low, high := clock.StampAt(testStart.Add(time.Duration(from)*time.Hour)), clock.StampAt(testStart.Add(time.Duration(to)*time.Hour))
				want := slices.DeleteFunc(slices.Clone(all), func(d clock.Dot) bool { return at[d] < low || at[d] >= high })
				var got []clock.Dot
				if err := tx.EachBetween(low, high, func(r Recorded) error { got = append(got, r.Dot); return nil }); err != nil {
					return err
				}
				if !slices.Equal(got, want) {
					t.Errorf("between hours %d and %d: %v; want %v", from, to, got, want)
				}
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Reading many changes at once must tell the same as asking for each.
func TestEachRecordedTellsWhatEntryTells(t *testing.T) {
	log := newLog(t, "stn")
	spread(t, log)
	err := log.View(context.Background(), func(tx *Tx) error {
		var dots []clock.Dot
		err := tx.EachSet(func(_ clock.Lane, set *change.Set, _ int64) error {
			for i := range set.Changes {
				dots = append(dots, set.ID(i))
			}
			return nil
		})
		if err != nil {
			return err
		}
		n := 0
		err = tx.EachRecorded(dots, func(r Recorded) error {
			entry, err := tx.Entry(dots[n])
			if err != nil {
				return err
			}
			hash, err := tx.HashOf(dots[n])
			if err != nil {
				return err
			}
			ctx, err := tx.Context(dots[n])
			if err != nil {
				return err
			}
			if r.Dot != entry.Dot || r.At != entry.At || r.Kind != entry.Kind || !slices.Equal(r.Values, entry.Values) || r.Hash != hash ||
				r.Ctx.Of != ctx.Of || r.Ctx.Others.Compare(ctx.Others) != clock.Equal {
				t.Errorf("change %s reads as %+v; Entry tells %+v, hash %x, context %v", dots[n], r, entry, hash, ctx)
			}
			n++
			return nil
		})
		if n != len(dots) {
			t.Errorf("read %d of %d changes", n, len(dots))
		}
		missing := dots[len(dots)-1]
		missing.Seq += 1000
		if tx.EachRecorded([]clock.Dot{dots[0], missing}, func(Recorded) error { return nil }) == nil {
			t.Error("a change that is not here was read without error")
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
