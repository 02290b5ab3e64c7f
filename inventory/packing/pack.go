package packing

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync/atomic"
)

// job is one call of Pack.
type job struct {
	boxes      []Box
	containers []Container
	options    Options
	classes    map[string]int
	apart      []uint64
	left       []int32  // by box
	reason     []Reason // by box, of those left
	result     Result
	stop       *atomic.Bool
	simple     bool // no search
}

func pack(ctx context.Context, boxes []Box, containers []Container, options Options) Result {
	var stop atomic.Bool
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	if ctx.Err() != nil {
		stop.Store(true)
	}
	r := newJob(boxes, containers, options, &stop).pack()
	if pieces := pieces(boxes); len(r.Loads) > 1 && pieces <= simplePieces {
		// Containers filled to the brim one after the other can leave for the last ones
		// what goes badly together: then packing without search takes fewer.
		if plain := Simple(boxes, containers, options); fewer(boxes, plain, r) {
			plain.Rollouts, plain.Interrupted = r.Rollouts+plain.Rollouts, r.Interrupted
			r = plain
		}
	}
	return r
}

// simplePieces is up to how many boxes packing without search takes no time to speak of.
const simplePieces = 5000

func pieces(boxes []Box) int {
	n := 0
	for i := range boxes {
		n += boxes[i].Count
	}
	return n
}

// fewer reports whether a leaves out less volume than b, or as much and takes fewer
// containers.
func fewer(boxes []Box, a, b Result) bool {
	out := func(r Result) (volume float64) {
		for _, l := range r.Left {
			s := boxes[l.Box].Size
			volume += float64(s[0]) * float64(s[1]) * float64(s[2]) * float64(l.Count)
		}
		return volume
	}
	return cmp.Or(cmp.Compare(out(a), out(b)), cmp.Compare(len(a.Loads), len(b.Loads))) < 0
}

func newJob(boxes []Box, containers []Container, options Options, stop *atomic.Bool) *job {
	j := &job{boxes: boxes, containers: containers, options: options, classes: map[string]int{}, stop: stop}
	for _, pair := range options.Apart {
		for _, class := range pair {
			if _, ok := j.classes[class]; !ok {
				j.classes[class] = len(j.classes)
			}
		}
	}
	j.apart = make([]uint64, len(j.classes))
	for _, pair := range options.Apart {
		a, b := j.classes[pair[0]], j.classes[pair[1]]
		j.apart[a] |= 1 << b
		j.apart[b] |= 1 << a
	}
	for i := range boxes {
		j.left = append(j.left, int32(boxes[i].Count))
		j.reason = append(j.reason, j.hopeless(i))
	}
	return j
}

func (j *job) pack() Result {
	for k := range j.containers {
		for copy := 1; j.containers[k].Count == AsMany || copy <= j.containers[k].Count; copy++ {
			if !j.fill(k, copy) {
				break
			}
		}
	}
	for i, n := range j.left {
		if n > 0 {
			j.reason[i] = j.whyLeft(i)
			j.result.Left = append(j.result.Left, Left{i, int(n), j.reason[i]})
		}
	}
	j.result.Interrupted = j.stop.Load()
	return j.result
}

// standsIn returns the ways box b may stand in a container, each size once.
func standsIn(b *Box, c *Container) []stand {
	var out []stand
	upright := b.Upright
	if upright == ([3]bool{}) {
		upright[2] = true
	}
	for up := range 3 {
		if !upright[up] {
			continue
		}
		x, y := int32(b.Size[(up+1)%3]), int32(b.Size[(up+2)%3])
		for _, size := range [2]vec{{x, y, int32(b.Size[up])}, {y, x, int32(b.Size[up])}} {
			ok := true
			for axis := range 3 {
				ok = ok && int(size[axis]) <= c.Size[axis]
			}
			first := 1 // across and up through an end door
			if c.Opening == OpenTop {
				first = 0
			}
			for d := range 2 {
				ok = ok && (c.Door[d] == 0 || int(size[first+d]) <= c.Door[d])
			}
			if ok && !slices.ContainsFunc(out, func(o stand) bool { return o.size == size }) {
				out = append(out, stand{size, up})
			}
		}
	}
	return out
}

// bearable says whether a box alone is within the mass and floor limits.
func bearable(b *Box, c *Container, stands []stand) []stand {
	if c.MassGramsMax > 0 && b.MassGrams > c.MassGramsMax {
		return nil
	}
	if c.FloorKgPerM2 == 0 || !b.FloorOnly {
		return stands
	}
	return light(b, c, stands)
}

// light returns the stands in which a box alone presses no more on the floor than that
// bears.
func light(b *Box, c *Container, stands []stand) []stand {
	return slices.DeleteFunc(slices.Clone(stands), func(s stand) bool {
		return float64(b.MassGrams) > float64(c.FloorKgPerM2)/1000*float64(s.size[0])*float64(s.size[1])
	})
}

// hopeless returns why a box goes into no container at all; NoRoom if it may.
func (j *job) hopeless(i int) Reason {
	b := &j.boxes[i]
	worst := TooLarge
	for k := range j.containers {
		c := &j.containers[k]
		stands := standsIn(b, c)
		switch {
		case len(stands) == 0:
		case c.MassGramsMax > 0 && b.MassGrams > c.MassGramsMax:
			worst = max(worst, TooHeavy)
		case len(bearable(b, c, stands)) == 0:
			worst = max(worst, FloorTooWeak)
		case b.Cold && !c.Cold:
			worst = NoCold
		default:
			return NoRoom
		}
	}
	return worst
}

// fill fills the next container of kind k; false if nothing goes in.
func (j *job) fill(k, copy int) bool {
	barred := make([]bool, len(j.boxes))
	for {
		f := j.filling(k, barred)
		if len(f.types) == 0 {
			return false
		}
		spots, unbalanced, rollouts := j.fillOnce(f, k, copy)
		j.result.Rollouts += rollouts
		counts := make([]int32, len(j.boxes))
		boxOf := j.assign(f, spots, counts)
		if broken := j.broken(counts, barred); broken {
			continue
		}
		for _, kind := range unbalanced {
			for _, b := range f.types[kind].boxes {
				j.reason[b] = max(j.reason[b], Unbalanced)
			}
		}
		if len(spots) == 0 {
			return false
		}
		j.keep(k, copy, f, spots, boxOf, counts)
		return true
	}
}

// broken bars each group of which only a part is in, and says whether there was one.
func (j *job) broken(counts []int32, barred []bool) bool {
	in, all := map[string]int32{}, map[string]int32{}
	for i := range j.boxes {
		if g := j.boxes[i].Group; g != "" {
			in[g] += counts[i]
			all[g] += j.left[i]
		}
	}
	found := false
	for i := range j.boxes {
		if g := j.boxes[i].Group; g != "" && in[g] > 0 && in[g] < all[g] {
			barred[i], j.reason[i] = true, GroupBroken
			found = true
		}
	}
	return found
}

// assign gives each spot one of the boxes that its type stands for.
func (j *job) assign(f *filling, spots []spot, counts []int32) []int {
	out := make([]int, len(spots))
	for i := range spots {
		for _, b := range f.types[spots[i].kind].boxes {
			if counts[b] < j.left[b] {
				counts[b]++
				out[i] = b
				break
			}
		}
	}
	return out
}

// fillOnce searches for the best filling. It returns the boxes of it in the order of
// loading, and the types of which some were left out for balance.
func (j *job) fillOnce(f *filling, k, copy int) (spots []spot, unbalanced []int32, rollouts int) {
	over := j.stop.Load()
	if over {
		f.prepare(fewBlocks, j.simple)
	} else {
		f.prepare(maxBlocks, j.simple)
	}
	q := &search{f: f, limit: int64(j.options.Rollouts), workers: make([]worker, max(1, j.options.Workers)), stop: j.stop}
	if j.options.Used != nil {
		q.used, q.until = j.options.Used, j.part(f, k, copy)
	}
	for i := range q.workers {
		q.workers[i].f = f
	}
	total := float64(f.size[0]) * float64(f.size[1]) * float64(f.size[2])
	q.found = func(best int64, pieces int) {
		if j.options.Progress != nil {
			j.options.Progress(Progress{len(j.result.Loads), int(q.rollouts.Load()), float64(best) / total, pieces})
		}
	}
	switch {
	case j.simple:
		q.simply()
	case over:
		q.greedily()
	default:
		q.run()
	}
	return q.spots, q.unbalanced, int(q.rollouts.Load())
}

// part is the share of the time up to which a container is searched for: what is left,
// over how many containers like it the boxes that are left take, as far as there are any.
func (j *job) part(f *filling, k, copy int) float64 {
	used := j.options.Used()
	volume := 0.0
	for i := range f.types {
		volume += float64(f.types[i].volume) * float64(f.types[i].count)
	}
	room := float64(f.size[0]) * float64(f.size[1]) * float64(f.size[2])
	const filled = 0.85 // of a container, when as many as it takes are guessed
	there := 1.0 - float64(copy)
	for i := k; i < len(j.containers); i++ {
		if there += float64(j.containers[i].Count); j.containers[i].Count == AsMany {
			there = math.Inf(1)
			break
		}
	}
	return used + (1-used)/max(1, min(there, math.Ceil(volume/(filled*room))))
}

// keep writes a filled container down.
func (j *job) keep(k, copy int, f *filling, spots []spot, boxOf []int, counts []int32) {
	c := &j.containers[k]
	load := Load{Container: k, Copy: copy}
	var touch []touching
	for i := range spots {
		for o := range spots {
			a, b := &spots[o], &spots[i]
			if a.hi[2] != b.lo[2] {
				continue
			}
			r := rect{max(a.lo[0], b.lo[0]), max(a.lo[1], b.lo[1]), min(a.hi[0], b.hi[0]), min(a.hi[1], b.hi[1])}
			if r.x0 < r.x1 && r.y0 < r.y1 {
				touch = append(touch, touching{int32(o), int32(i), r.area()})
			}
		}
	}
	var order []int32
	var areas []int64
	tops := onTop(nil, spots, touch, f.types, &order, &areas)
	volume := int64(0)
	for i := range spots {
		s := &spots[i]
		t := &f.types[s.kind]
		volume += t.volume
		load.MassGrams += t.mass
		p := Placement{Box: boxOf[i], Upright: upright(&j.boxes[boxOf[i]], s), Order: i + 1, TopGrams: ceilGrams(tops[i])}
		for axis := range 3 {
			p.At[axis], p.Size[axis] = int(s.lo[axis]), int(s.hi[axis]-s.lo[axis])
		}
		load.Placements = append(load.Placements, p)
	}
	load.Utilisation = float64(volume) / (float64(c.Size[0]) * float64(c.Size[1]) * float64(c.Size[2]))
	load.Centre = centre(f.types, spots)
	for i, n := range counts {
		j.left[i] -= n
	}
	j.result.Loads = append(j.result.Loads, load)
}

// upright returns which dimension of the box stands upright in a spot: one that may.
func upright(b *Box, s *spot) int {
	size := vec{s.hi[0] - s.lo[0], s.hi[1] - s.lo[1], s.hi[2] - s.lo[2]}
	all := Container{Size: [3]int{MaxLength, MaxLength, MaxLength}}
	for _, o := range standsIn(b, &all) {
		if o.size == size {
			return o.upright
		}
	}
	return 2
}
