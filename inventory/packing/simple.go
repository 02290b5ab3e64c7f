package packing

import (
	"cmp"
	"slices"
	"sync/atomic"
)

// Simple packs without any search: the largest box first, each into the free space
// nearest to the back, the bottom and the left that takes it. It keeps every rule,
// and is what [Pack] is compared with.
func Simple(boxes []Box, containers []Container, options Options) Result {
	j := newJob(boxes, containers, options, new(atomic.Bool))
	j.simple = true
	return j.pack()
}

// simply fills a container box by box.
func (q *search) simply() {
	w := &q.workers[0]
	n := q.root()
	s := &n.s
	singles := slices.DeleteFunc(n.list, func(i int32) bool { return q.f.blocks[i].pieces > 1 })
	slices.SortStableFunc(singles, func(a, b int32) int { return cmp.Compare(q.f.blocks[b].volume, q.f.blocks[a].volume) })
	for _, i := range singles {
		b := &q.f.blocks[i]
		for s.counts[b.kind] > 0 {
			slices.SortFunc(s.spaces, func(a, b cuboid) int {
				return cmp.Or(cmp.Compare(a.lo[0], b.lo[0]), cmp.Compare(a.lo[2], b.lo[2]), cmp.Compare(a.lo[1], b.lo[1]), cmp.Compare(b.volume(), a.volume()))
			})
			at := slices.IndexFunc(s.spaces, func(c cuboid) bool {
				for axis := range 3 {
					if c.hi[axis]-c.lo[axis] < b.size[axis] {
						return false
					}
				}
				return w.allowed(s, i, c.lo, false)
			})
			if at < 0 {
				break
			}
			w.set(s, i, s.spaces[at].lo)
		}
	}
	q.rollouts.Add(1)
	q.offer(s, 0)
}
