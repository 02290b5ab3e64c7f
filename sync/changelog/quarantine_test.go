package changelog

import (
	"strings"
	"testing"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// TestEachAsideTellsAllOnce keeps more aside than is read at a time: many, large ones,
// some under one number, and of several lanes. fn reads the store meanwhile.
func TestEachAsideTellsAllOnce(t *testing.T) {
	log := newLog(t, "home")
	kept := map[change.Hash]bool{}
	write(t, log, func(tx *Tx) {
		keep := func(epoch uint16, seq uint64, fork byte, name string) {
			lane := clock.Lane{Site: 0xfffffff0, Epoch: epoch, Class: clock.Normal}
			set := change.Set{Lane: lane, Seq: seq, Changes: []change.Change{change.New(kind.LocationAdd, change.Text("x"), change.Text(name), change.Value{})}}
			hash := change.Hash{byte(epoch), byte(seq), byte(seq >> 8), fork}
			if err := tx.Exec(`INSERT INTO quarantine (site, epoch, class, seq, hash, previous, bytes, took, peer) VALUES (?, ?, ?, ?, ?, ?, ?, 0, 0)`,
				lane.Site, lane.Epoch, lane.Class, seq, hash[:], hash[:], set.Canonical()); err != nil {
				t.Fatal(err)
			}
			kept[hash] = true
		}
		for seq := range uint64(2 * rebuildBatch) {
			keep(0, seq+1, 0, "small")
		}
		for fork := range byte(3) {
			keep(0, rebuildBatch, fork+1, "under one number, where the first reading ends")
			keep(1, uint64(fork)+1, 0, strings.Repeat("large", rebuildBytes/10))
		}
		tx.Add(change.New(kind.LocationAdd, change.Text("y"), change.Text("y"), change.Value{}))
	})
	list := asideOf(t, log)
	for i, a := range list {
		if !kept[a.Hash] {
			t.Errorf("%s/%d twice, or never kept", a.Lane, a.Seq)
		}
		delete(kept, a.Hash)
		if i > 0 && (list[i-1].Lane.Compare(a.Lane) > 0 || list[i-1].Lane == a.Lane && list[i-1].Seq > a.Seq) {
			t.Errorf("%s/%d comes behind %s/%d", a.Lane, a.Seq, list[i-1].Lane, list[i-1].Seq)
		}
	}
	if len(kept) > 0 {
		t.Errorf("%d were not told of", len(kept))
	}
}
