package packing

import "testing"

// ring are four boxes of which none can be loaded first through an end door: the first
// lies on the second, which lies on the fourth, which stands in the way of the third, and
// that in the way of the first.
var ring = []cuboid{
	{vec{0, 0, 2}, vec{1, 2, 3}},
	{vec{0, 1, 1}, vec{4, 3, 2}},
	{vec{2, 0, 0}, vec{3, 1, 4}},
	{vec{3, 0, 0}, vec{4, 2, 1}},
}

// TestRingIsNotOffered: a packing counts with what of it can be loaded; one that is
// emptier and can be loaded whole is better.
func TestRingIsNotOffered(t *testing.T) {
	f := &filling{size: vec{6, 4, 4}, opening: OpenEnd}
	alone := cuboid{vec{0, 3, 0}, vec{2, 4, 1}}
	whole := state{}
	for i, room := range append(ring[:len(ring):len(ring)], alone) {
		size := vec{room.hi[0] - room.lo[0], room.hi[1] - room.lo[1], room.hi[2] - room.lo[2]}
		volume := int64(size[0]) * int64(size[1]) * int64(size[2])
		f.types = append(f.types, boxType{stands: []stand{{size, 2}}, volume: volume, count: 1})
		f.blocks = append(f.blocks, block{size: size, volume: volume, pieces: 1, kind: int32(i), grid: vec{1, 1, 1}, axis: -1})
		whole.sets = append(whole.sets, set{room, int32(i)})
		whole.volume += volume
	}
	q := &search{f: f, found: func(int64, int) {}}
	q.offer(&whole, 0)
	if len(q.spots) != 1 || q.spots[0].cuboid != alone || q.best.Load() != alone.volume() {
		t.Fatalf("of the ring and one box beside it %+v were kept, volume %d", q.spots, q.best.Load())
	}
	three := state{sets: []set{whole.sets[1], whole.sets[3], whole.sets[4]}}
	three.volume = ring[1].volume() + ring[3].volume() + alone.volume()
	q.offer(&three, 1)
	if len(q.spots) != 3 || q.best.Load() != three.volume {
		t.Fatalf("what can be loaded was not kept: %+v, volume %d of %d", q.spots, q.best.Load(), three.volume)
	}
	for i := range q.spots {
		for k := range i {
			if before(&q.spots[i], &q.spots[k], OpenEnd) {
				t.Errorf("%+v is loaded after %+v, which stands in its way", q.spots[i], q.spots[k])
			}
		}
	}
	f.opening = OpenTop
	if stay, _ := f.settled(q.spots); len(stay) != 3 {
		t.Errorf("from above %d of 3 go in", len(stay))
	}
}
