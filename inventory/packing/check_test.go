package packing

import (
	"fmt"
	"math"
	"slices"
)

// plainCheck holds a packing to every rule, box against box. It uses nothing of the
// packer but its types.
func plainCheck(boxes []Box, containers []Container, options Options, r Result) error {
	seen := make([]int, len(boxes))
	groupIn := map[string]map[int]bool{}
	copies := map[int]int{}
	for n, load := range r.Loads {
		c := containers[load.Container]
		copies[load.Container]++
		if c.Count != AsMany && copies[load.Container] > c.Count {
			return fmt.Errorf("container %d is used %d times", load.Container, copies[load.Container])
		}
		mass, volume := int64(0), 0.0
		var moment [3]float64
		for i, p := range load.Placements {
			b := boxes[p.Box]
			seen[p.Box]++
			mass += b.MassGrams
			volume += float64(p.Size[0]) * float64(p.Size[1]) * float64(p.Size[2])
			if p.Order != i+1 {
				return fmt.Errorf("load %d: placement %d has order %d", n, i, p.Order)
			}
			want, got := slices.Clone(b.Size[:]), slices.Clone(p.Size[:])
			slices.Sort(want)
			slices.Sort(got)
			if !slices.Equal(want, got) {
				return fmt.Errorf("load %d: box %d of %v stands as %v", n, p.Box, b.Size, p.Size)
			}
			up := b.Upright
			if up == [3]bool{} {
				up[2] = true
			}
			if !up[p.Upright] || b.Size[p.Upright] != p.Size[2] {
				return fmt.Errorf("load %d: box %d may not stand as %v", n, p.Box, p.Size)
			}
			for axis := range 3 {
				if p.At[axis] < 0 || p.At[axis]+p.Size[axis] > c.Size[axis] {
					return fmt.Errorf("load %d: placement %d sticks out", n, i)
				}
				moment[axis] += float64(b.MassGrams) * (float64(p.At[axis]) + float64(p.Size[axis])/2)
			}
			first := 1
			if c.Opening == OpenTop {
				first = 0
			}
			for d := range 2 {
				if c.Door[d] > 0 && p.Size[first+d] > c.Door[d] {
					return fmt.Errorf("load %d: placement %d does not pass the door", n, i)
				}
			}
			if b.Cold && !c.Cold {
				return fmt.Errorf("load %d: box %d is not kept cold", n, p.Box)
			}
			if b.FloorOnly && p.At[2] > 0 {
				return fmt.Errorf("load %d: box %d is not on the floor", n, p.Box)
			}
			if b.Group != "" {
				if groupIn[b.Group] == nil {
					groupIn[b.Group] = map[int]bool{}
				}
				groupIn[b.Group][n] = true
			}
			for k, q := range load.Placements {
				if k == i {
					continue
				}
				for _, pair := range options.Apart {
					if pair[0] == b.Segregation && pair[1] == boxes[q.Box].Segregation {
						return fmt.Errorf("load %d: classes %v together", n, pair)
					}
				}
			}
		}
		if c.MassGramsMax > 0 && mass > c.MassGramsMax {
			return fmt.Errorf("load %d: %d g", n, mass)
		}
		if mass != load.MassGrams {
			return fmt.Errorf("load %d: says %d g, is %d g", n, load.MassGrams, mass)
		}
		for axis := range 3 {
			if c.CentreMax[axis] > 0 && mass > 0 {
				share := moment[axis] / float64(mass) / float64(c.Size[axis])
				if share < c.CentreMin[axis]-1e-9 || share > c.CentreMax[axis]+1e-9 {
					return fmt.Errorf("load %d: centre of mass at %g along axis %d", n, share, axis)
				}
			}
		}
		if math.Abs(load.Utilisation*float64(c.Size[0])*float64(c.Size[1])*float64(c.Size[2])-volume) > 1e-6*volume+1e-6 {
			return fmt.Errorf("load %d: utilisation %g", n, load.Utilisation)
		}
		if err := plainStack(boxes, c, options, load); err != nil {
			return fmt.Errorf("load %d: %w", n, err)
		}
	}
	for _, l := range r.Left {
		seen[l.Box] += l.Count
	}
	for i, b := range boxes {
		if seen[i] != b.Count {
			return fmt.Errorf("box %d: %d of %d accounted for", i, seen[i], b.Count)
		}
	}
	for g, in := range groupIn {
		left := slices.ContainsFunc(r.Left, func(l Left) bool { return boxes[l.Box].Group == g })
		if len(in) > 1 || left {
			return fmt.Errorf("group %q is divided", g)
		}
	}
	return nil
}

func shared(aLow, aLength, bLow, bLength int) float64 {
	return float64(max(0, min(aLow+aLength, bLow+bLength)-max(aLow, bLow)))
}

// plainStack checks room, support, loads and the order of loading.
func plainStack(boxes []Box, c Container, options Options, load Load) error {
	list := load.Placements
	base := make([]float64, len(list))
	rest := make([][]float64, len(list)) // area of i on k
	for i, p := range list {
		rest[i] = make([]float64, len(list))
		for k, q := range list {
			if i == k {
				continue
			}
			x := shared(p.At[0], p.Size[0], q.At[0], q.Size[0])
			y := shared(p.At[1], p.Size[1], q.At[1], q.Size[1])
			z := shared(p.At[2], p.Size[2], q.At[2], q.Size[2])
			if x*y*z > 0 {
				return fmt.Errorf("placements %d and %d share room", i, k)
			}
			if q.At[2]+q.Size[2] == p.At[2] && x*y > 0 {
				rest[i][k] = x * y
				base[i] += x * y
				if boxes[q.Box].Fragile {
					return fmt.Errorf("placement %d rests on the fragile %d", i, k)
				}
			}
			if x*y > 0 && q.At[2]+q.Size[2] <= p.At[2] && q.Order > p.Order {
				return fmt.Errorf("placement %d is loaded before %d, which is below it", i, k)
			}
			if y*z > 0 && c.Opening == OpenEnd && q.At[0]+q.Size[0] <= p.At[0] && q.Order > p.Order {
				return fmt.Errorf("placement %d is loaded before %d, which is behind it", i, k)
			}
		}
		if p.At[2] > 0 && base[i] < options.Support*float64(p.Size[0]*p.Size[1])*(1-1e-9) {
			return fmt.Errorf("placement %d: %.0f of %d mm2 of its base is supported", i, base[i], p.Size[0]*p.Size[1])
		}
	}
	// From the top down, each with all that is on it.
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return list[b].At[2] - list[a].At[2] })
	tops := make([]float64, len(list))
	for _, i := range order {
		whole := float64(boxes[list[i].Box].MassGrams) + tops[i]
		for k := range list {
			if rest[i][k] > 0 {
				tops[k] += whole * rest[i][k] / base[i]
			}
		}
	}
	for i, p := range list {
		b := boxes[p.Box]
		if b.TopLoadGrams > 0 && tops[i] > float64(b.TopLoadGrams)*(1+1e-6) {
			return fmt.Errorf("placement %d carries %.0f of %d g", i, tops[i], b.TopLoadGrams)
		}
		if math.Abs(float64(p.TopGrams)-tops[i]) > 1.001 {
			return fmt.Errorf("placement %d: says %d g on top, is %.1f", i, p.TopGrams, tops[i])
		}
		if c.FloorKgPerM2 > 0 && p.At[2] == 0 {
			if got := (float64(b.MassGrams) + tops[i]) * 1000 / float64(p.Size[0]*p.Size[1]); got > float64(c.FloorKgPerM2)*(1+1e-6) {
				return fmt.Errorf("placement %d puts %.1f kg on a square metre", i, got)
			}
		}
	}
	return nil
}
