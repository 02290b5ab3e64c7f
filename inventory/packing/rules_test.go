package packing

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"pgregory.net/rapid"
)

// TestRules goes through the rules one by one: a call that just keeps the rule takes
// everything, one that just breaks it leaves something out, for the reason that people
// are told. Both are checked by plainCheck, and a packing made without the rule is found
// to break it.
func TestRules(t *testing.T) {
	cube := func(id string, n int) Box { return Box{ID: id, Size: [3]int{10, 10, 10}, Count: n, MassGrams: 100} }
	room := func(x, y, z int) Container { return Container{ID: "k", Size: [3]int{x, y, z}, Count: 1} }
	with := func(b Box, change func(*Box)) Box { change(&b); return b }
	in := func(c Container, change func(*Container)) Container { change(&c); return c }
	full := Options{Support: 1, Rollouts: 60}
	for _, c := range []struct {
		name    string
		boxes   []Box
		into    []Container
		options Options
		left    string // ID of a box that is left out, or empty
		reason  Reason
	}{
		{"upright: its height is upright and fits", []Box{{ID: "a", Size: [3]int{20, 10, 5}, Count: 1}}, []Container{room(20, 10, 5)}, full, "", 0},
		{"upright: it would fit on its side, and may not", []Box{{ID: "a", Size: [3]int{20, 5, 10}, Count: 1}}, []Container{room(20, 10, 5)}, full, "a", TooLarge},
		{"upright: it would fit on its side, and may", []Box{{ID: "a", Size: [3]int{20, 5, 10}, Upright: [3]bool{false, true, false}, Count: 1}}, []Container{room(20, 10, 5)}, full, "", 0},
		{"upright: on end", []Box{{ID: "a", Size: [3]int{20, 5, 10}, Upright: [3]bool{true, false, false}, Count: 1}}, []Container{room(5, 10, 20)}, full, "", 0},

		{"fragile: side by side", []Box{with(cube("a", 2), func(b *Box) { b.Fragile = true })}, []Container{room(20, 10, 20)}, full, "", 0},
		{"fragile: one on the other", []Box{with(cube("a", 2), func(b *Box) { b.Fragile = true })}, []Container{room(10, 10, 20)}, full, "a", NotBorne},
		{"fragile: it may stand on another", []Box{with(cube("a", 1), func(b *Box) { b.Fragile = true }), cube("b", 1)}, []Container{room(10, 10, 20)}, full, "", 0},

		{"top load: as much as it bears", []Box{with(cube("a", 2), func(b *Box) { b.TopLoadGrams = 100 })}, []Container{room(10, 10, 20)}, full, "", 0},
		{"top load: a gram too much", []Box{with(cube("a", 2), func(b *Box) { b.TopLoadGrams = 99 })}, []Container{room(10, 10, 20)}, full, "a", NotBorne},
		{"top load: two on one are both borne", []Box{with(cube("a", 3), func(b *Box) { b.TopLoadGrams = 199 })}, []Container{room(10, 10, 30)}, full, "a", NotBorne},

		{"floor only: on the floor", []Box{with(cube("a", 2), func(b *Box) { b.FloorOnly = true })}, []Container{room(20, 10, 10)}, full, "", 0},
		{"floor only: there is floor for one", []Box{with(cube("a", 2), func(b *Box) { b.FloorOnly = true })}, []Container{room(10, 10, 20)}, full, "a", NotBorne},

		{"together: both fit", []Box{with(cube("a", 1), func(b *Box) { b.Group = "g" }), with(cube("b", 1), func(b *Box) { b.Group = "g" })}, []Container{room(20, 10, 10)}, full, "", 0},
		{"together: only one would", []Box{with(cube("a", 1), func(b *Box) { b.Group = "g" }), with(cube("b", 1), func(b *Box) { b.Group = "g" })}, []Container{room(10, 10, 10)}, full, "a", GroupBroken},
		{"together: in the second container, as the first is too small", []Box{with(cube("a", 2), func(b *Box) { b.Group = "g" })}, []Container{room(10, 10, 10), room(20, 10, 10)}, full, "", 0},

		{"cold: a container is", []Box{with(cube("a", 1), func(b *Box) { b.Cold = true })}, []Container{room(20, 10, 10), in(room(10, 10, 10), func(c *Container) { c.Cold = true })}, full, "", 0},
		{"cold: none is", []Box{with(cube("a", 1), func(b *Box) { b.Cold = true })}, []Container{room(20, 10, 10)}, full, "a", NoCold},

		{"apart: in two containers", []Box{with(cube("a", 1), func(b *Box) { b.Segregation = "3" }), with(cube("b", 1), func(b *Box) { b.Segregation = "5.1" })},
			[]Container{in(room(20, 10, 10), func(c *Container) { c.Count = 2 })}, Options{Support: 1, Rollouts: 60, Apart: [][2]string{{"3", "5.1"}}}, "", 0},
		{"apart: one container", []Box{with(cube("a", 1), func(b *Box) { b.Segregation = "3" }), with(cube("b", 1), func(b *Box) { b.Segregation = "5.1" })},
			[]Container{room(20, 10, 10)}, Options{Support: 1, Rollouts: 60, Apart: [][2]string{{"3", "5.1"}}}, "b", KeptApart},
		{"apart: a class from itself", []Box{with(cube("a", 2), func(b *Box) { b.Segregation = "1" })}, []Container{room(20, 10, 10)}, Options{Support: 1, Rollouts: 60, Apart: [][2]string{{"1", "1"}}}, "a", KeptApart},
		{"apart: others go with both", []Box{with(cube("a", 1), func(b *Box) { b.Segregation = "3" }), with(cube("b", 1), func(b *Box) { b.Segregation = "9" })},
			[]Container{room(20, 10, 10)}, Options{Support: 1, Rollouts: 60, Apart: [][2]string{{"3", "5.1"}}}, "", 0},

		{"door: just through", []Box{cube("a", 1)}, []Container{in(room(20, 20, 20), func(c *Container) { c.Door = [2]int{10, 10} })}, full, "", 0},
		{"door: too wide", []Box{cube("a", 1)}, []Container{in(room(20, 20, 20), func(c *Container) { c.Door = [2]int{9, 10} })}, full, "a", TooLarge},
		{"door: too high", []Box{cube("a", 1)}, []Container{in(room(20, 20, 20), func(c *Container) { c.Door = [2]int{10, 9} })}, full, "a", TooLarge},
		{"hatch: too long for it", []Box{cube("a", 1)}, []Container{in(room(20, 20, 20), func(c *Container) { c.Door, c.Opening = [2]int{9, 10}, OpenTop })}, full, "a", TooLarge},
		{"hatch: its height does not matter", []Box{{ID: "a", Size: [3]int{5, 5, 20}, Count: 1}}, []Container{in(room(20, 20, 20), func(c *Container) { c.Door, c.Opening = [2]int{5, 5}, OpenTop })}, full, "", 0},

		{"mass: as much as it takes", []Box{cube("a", 2)}, []Container{in(room(20, 10, 10), func(c *Container) { c.MassGramsMax = 200 })}, full, "", 0},
		{"mass: a gram too much", []Box{cube("a", 2)}, []Container{in(room(20, 10, 10), func(c *Container) { c.MassGramsMax = 199 })}, full, "a", TooMuchMass},
		{"mass: one alone is too heavy", []Box{cube("a", 1)}, []Container{in(room(20, 10, 10), func(c *Container) { c.MassGramsMax = 99 })}, full, "a", TooHeavy},

		// 100 g on 10 × 10 mm are 1000 kg on a square metre.
		{"floor load: as much as it bears", []Box{cube("a", 2)}, []Container{in(room(10, 10, 20), func(c *Container) { c.FloorKgPerM2 = 2000 })}, full, "", 0},
		{"floor load: two on each other are too much", []Box{cube("a", 2)}, []Container{in(room(10, 10, 20), func(c *Container) { c.FloorKgPerM2 = 1999 })}, full, "a", NotBorne},
		{"floor load: one alone is too much", []Box{cube("a", 1)}, []Container{in(room(10, 10, 20), func(c *Container) { c.FloorKgPerM2 = 999 })}, full, "a", FloorTooWeak},
		{"floor load: it stands on another that is light enough", []Box{with(cube("a", 1), func(b *Box) { b.Size = [3]int{5, 5, 5} }), {ID: "wide", Size: [3]int{20, 10, 10}, Count: 1, MassGrams: 50}},
			[]Container{in(room(20, 10, 20), func(c *Container) { c.FloorKgPerM2 = 1000 })}, full, "", 0},

		{"centre: in the middle", []Box{cube("a", 2)}, []Container{in(room(20, 10, 10), func(c *Container) { c.CentreMin[0], c.CentreMax[0] = 0.5, 0.5 })}, full, "", 0},
		{"centre: one box cannot be there", []Box{with(cube("a", 2), func(b *Box) { b.Count = 1 })}, []Container{in(room(11, 10, 10), func(c *Container) { c.CentreMin[0], c.CentreMax[0] = 0.9, 1 })}, full, "a", Unbalanced},

		{"room: none for a second", []Box{cube("a", 2)}, []Container{room(10, 10, 19)}, full, "a", NoRoom},
		{"room: above, where nothing holds it up", []Box{{ID: "long", Size: [3]int{10, 10, 5}, Count: 1}, {ID: "wide", Size: [3]int{20, 10, 5}, Count: 1, Group: ""}},
			[]Container{room(20, 10, 9)}, full, "long", NoRoom},
		{"support: all of it, on one box", []Box{cube("a", 2)}, []Container{room(10, 10, 20)}, full, "", 0},
	} {
		r, err := Pack(context.Background(), c.boxes, c.into, c.options)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if err := plainCheck(c.boxes, c.into, c.options, r); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		switch {
		case c.left == "" && len(r.Left) > 0:
			t.Errorf("%s: left out %s (%s)", c.name, c.boxes[r.Left[0].Box].ID, r.Left[0].Reason)
		case c.left != "" && len(r.Left) == 0:
			t.Errorf("%s: everything is in", c.name)
		case c.left != "" && (c.boxes[r.Left[0].Box].ID != c.left || r.Left[0].Reason != c.reason):
			t.Errorf("%s: left out %s (%s), want %s (%s)", c.name, c.boxes[r.Left[0].Box].ID, r.Left[0].Reason, c.left, c.reason)
		}
	}
}

// TestGroupIsBarredThereOnly: a group that did not fit into one container is tried in the
// next, and what is no part of it goes in.
func TestGroupIsBarredThereOnly(t *testing.T) {
	boxes := []Box{{ID: "a", Size: [3]int{10, 10, 10}, Count: 3, Group: "g"}, {ID: "b", Size: [3]int{10, 10, 10}, Count: 2}}
	into := []Container{{ID: "small", Size: [3]int{20, 10, 10}, Count: 1}, {ID: "large", Size: [3]int{30, 10, 10}, Count: 1}}
	r, err := Pack(context.Background(), boxes, into, Options{Support: 1, Rollouts: 60})
	if err != nil || len(r.Left) > 0 || len(r.Loads) != 2 {
		t.Fatalf("%+v, %v", r, err)
	}
	for n, want := range []int{1, 0} {
		for _, p := range r.Loads[n].Placements {
			if p.Box != want {
				t.Errorf("container %d holds %s", n, boxes[p.Box].ID)
			}
		}
	}
	if err := plainCheck(boxes, into, Options{Support: 1}, r); err != nil {
		t.Error(err)
	}
}

// TestInterrupted ends the context at once, and in mid-search: what is returned keeps
// every rule and says so.
func TestInterrupted(t *testing.T) {
	boxes := []Box{{ID: "a", Size: [3]int{7, 5, 3}, Upright: [3]bool{true, true, true}, Count: 220, MassGrams: 3, TopLoadGrams: 40}, {ID: "b", Size: [3]int{6, 4, 5}, Upright: [3]bool{true, true, true}, Count: 220, MassGrams: 5}}
	into := []Container{{ID: "k", Size: [3]int{31, 23, 21}, Count: 3}}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	r, err := Pack(gone, boxes, into, Options{Support: 1})
	if err != nil || !r.Interrupted || len(r.Loads) != 3 || r.Loads[0].Utilisation < 0.7 {
		t.Fatalf("a context that has ended: %d loads, interrupted %v, %v", len(r.Loads), r.Interrupted, err)
	}
	if err := plainCheck(boxes, into, Options{Support: 1}, r); err != nil {
		t.Error(err)
	}
	for _, after := range []int{1, 2} {
		ctx, cancel := context.WithCancel(context.Background())
		seen := 0
		options := Options{Support: 1, Workers: 2, Rollouts: 3000, Progress: func(p Progress) {
			if p.Utilisation <= 0 || p.Utilisation > 1 || p.Boxes < 1 {
				t.Errorf("progress %+v", p)
			}
			if seen++; seen == after {
				cancel()
			}
		}}
		r, err := Pack(ctx, boxes, into, options)
		cancel()
		if err != nil || !r.Interrupted || len(r.Loads) != 3 {
			t.Fatalf("after %d: %d loads, interrupted %v, %v", after, len(r.Loads), r.Interrupted, err)
		}
		if err := plainCheck(boxes, into, options, r); err != nil {
			t.Errorf("after %d: %v", after, err)
		}
	}
}

// TestRefused: what makes no sense is refused, with the part that it is and why.
func TestRefused(t *testing.T) {
	box := Box{ID: "probe", Size: [3]int{10, 10, 10}, Count: 1}
	k := Container{ID: "crate", Size: [3]int{20, 20, 20}, Count: 1}
	for name, c := range map[string]struct {
		change func(*Box, *Container, *Options)
		say    string
	}{
		"size 0":           {func(b *Box, _ *Container, _ *Options) { b.Size[1] = 0 }, "box probe: its width is 0 mm"},
		"too long":         {func(b *Box, _ *Container, _ *Options) { b.Size[0] = MaxLength + 1 }, "box probe: its length is"},
		"count below 0":    {func(b *Box, _ *Container, _ *Options) { b.Count = -1 }, "box probe: its count is -1"},
		"too many":         {func(b *Box, _ *Container, _ *Options) { b.Count = MaxBoxes + 1 }, "box probe: its count is"},
		"mass below 0":     {func(b *Box, _ *Container, _ *Options) { b.MassGrams = -1 }, "box probe: its mass is -1 g"},
		"top load below 0": {func(b *Box, _ *Container, _ *Options) { b.TopLoadGrams = -1 }, "box probe: the load on top"},
		"container size":   {func(_ *Box, k *Container, _ *Options) { k.Size[2] = 0 }, "container crate: its height is 0 mm"},
		"container count":  {func(_ *Box, k *Container, _ *Options) { k.Count = -2 }, "container crate: its count is -2"},
		"limit below 0":    {func(_ *Box, k *Container, _ *Options) { k.MassGramsMax = -1 }, "container crate: a limit of it is below zero"},
		"centre":           {func(_ *Box, k *Container, _ *Options) { k.CentreMin[1], k.CentreMax[1] = 0.6, 0.4 }, "container crate: its centre of mass is bounded to 0.6 to 0.4 of the width"},
		"opening":          {func(_ *Box, k *Container, _ *Options) { k.Opening = 7 }, "no opening of kind 7"},
		"support":          {func(_ *Box, _ *Container, o *Options) { o.Support = 1.1 }, "support: the share is 1.1"},
		"rollouts":         {func(_ *Box, _ *Container, o *Options) { o.Rollouts = -1 }, "options: rollouts"},
		"no end":           {func(_ *Box, _ *Container, o *Options) { o.Rollouts = 0 }, "neither a bound on rollouts nor a context that ends"},
		"class":            {func(_ *Box, _ *Container, o *Options) { o.Apart = [][2]string{{"", "3"}} }, "apart: a class without a name"},
	} {
		b, into, o := box, k, Options{Support: 1, Rollouts: 5}
		c.change(&b, &into, &o)
		if _, err := Pack(context.Background(), []Box{b}, []Container{into}, o); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %q", name, err, c.say)
		}
	}
	if _, err := Pack(context.Background(), []Box{box}, nil, Options{Rollouts: 1}); err == nil {
		t.Error("no container is taken")
	}
	if r, err := Pack(context.Background(), nil, []Container{k}, Options{Rollouts: 1}); err != nil || len(r.Loads) != 0 {
		t.Errorf("no boxes: %+v, %v", r, err)
	}
}

// TestCheckerFindsEveryBreach breaks a valid packing in each way that there is: the checker
// that all other tests rely on must find it.
func TestCheckerFindsEveryBreach(t *testing.T) {
	options := Options{Support: 1, Rollouts: 1, Apart: [][2]string{{"3", "5.1"}}}
	make := func() ([]Box, []Container, Result) {
		boxes := []Box{
			{ID: "a", Size: [3]int{10, 20, 30}, Upright: [3]bool{false, false, true}, Count: 2, MassGrams: 100},
			{ID: "b", Size: [3]int{10, 20, 10}, Count: 1, MassGrams: 50},
			{ID: "c", Size: [3]int{10, 10, 10}, Count: 1, MassGrams: 10},
		}
		into := []Container{{ID: "k", Size: [3]int{40, 40, 60}, Count: 1}}
		// a at the back, b upon it, the other a beside, c on the floor in front.
		load := Load{Container: 0, Copy: 1, MassGrams: 260, Placements: []Placement{
			{Box: 0, At: [3]int{0, 0, 0}, Size: [3]int{10, 20, 30}, Upright: 2, Order: 1, TopGrams: 50},
			{Box: 1, At: [3]int{0, 0, 30}, Size: [3]int{10, 20, 10}, Upright: 2, Order: 2},
			{Box: 0, At: [3]int{0, 20, 0}, Size: [3]int{10, 20, 30}, Upright: 2, Order: 3},
			{Box: 2, At: [3]int{10, 0, 0}, Size: [3]int{10, 10, 10}, Upright: 2, Order: 4},
		}}
		load.Utilisation = float64(6000+6000+2000+1000) / (40 * 40 * 60)
		return boxes, into, Result{Loads: []Load{load}}
	}
	boxes, into, r := make()
	if err := plainCheck(boxes, into, options, r); err != nil {
		t.Fatalf("what is to be broken is not valid: %v", err)
	}
	for name, spoil := range map[string]func(boxes []Box, k *Container, r *Result, l *Load){
		"two share room":        func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].At = [3]int{9, 0, 0} },
		"it sticks out":         func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].At = [3]int{31, 0, 0} },
		"it is below the floor": func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].At = [3]int{10, 0, -1} },
		"it is another size":    func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].Size[0] = 9 },
		"turned as it may not be": func(_ []Box, _ *Container, _ *Result, l *Load) {
			l.Placements[2].Size, l.Placements[2].Upright = [3]int{30, 20, 10}, 0
		},
		"says another side is upright": func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[2].Upright = 1 },
		"it floats":                    func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].At[2] = 5 },
		"its base is half in the air":  func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[1].At[0] = 5 },
		"rests on what is fragile":     func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].Fragile = true },
		"carries too much":             func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].TopLoadGrams = 49 },
		"says another load on top":     func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[0].TopGrams = 48 },
		"not on the floor":             func(b []Box, _ *Container, _ *Result, _ *Load) { b[1].FloorOnly = true },
		"not kept cold":                func(b []Box, _ *Container, _ *Result, _ *Load) { b[2].Cold = true },
		"classes together":             func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].Segregation, b[2].Segregation = "3", "5.1" },
		"classes the other way round":  func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].Segregation, b[2].Segregation = "5.1", "3" },
		"does not pass the door":       func(_ []Box, k *Container, _ *Result, _ *Load) { k.Door = [2]int{19, 60} },
		"does not pass below the door": func(_ []Box, k *Container, _ *Result, _ *Load) { k.Door = [2]int{40, 29} },
		"does not pass the hatch":      func(_ []Box, k *Container, _ *Result, _ *Load) { k.Door, k.Opening = [2]int{9, 40}, OpenTop },
		"too much mass":                func(_ []Box, k *Container, _ *Result, _ *Load) { k.MassGramsMax = 259 },
		"says another mass":            func(_ []Box, _ *Container, _ *Result, l *Load) { l.MassGrams++ },
		"the floor is too weak":        func(_ []Box, k *Container, _ *Result, _ *Load) { k.FloorKgPerM2 = 740 },
		"out of balance":               func(_ []Box, k *Container, _ *Result, _ *Load) { k.CentreMin[0], k.CentreMax[0] = 0.5, 0.9 },
		"out of balance, high":         func(_ []Box, k *Container, _ *Result, _ *Load) { k.CentreMin[2], k.CentreMax[2] = 0, 0.2 },
		"says it is fuller":            func(_ []Box, _ *Container, _ *Result, l *Load) { l.Utilisation += 0.01 },
		"one box too many":             func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].Count = 1 },
		"one box is lost":              func(b []Box, _ *Container, _ *Result, _ *Load) { b[0].Count = 3 },
		"a group is divided": func(b []Box, _ *Container, r *Result, _ *Load) {
			b[0].Group, b[0].Count, r.Left = "g", 3, []Left{{Box: 0, Count: 1}}
		},
		"a container too many": func(_ []Box, k *Container, r *Result, _ *Load) { k.Count = 0 },
		"loaded before what is below": func(_ []Box, _ *Container, _ *Result, l *Load) {
			l.Placements[0], l.Placements[1] = l.Placements[1], l.Placements[0]
			l.Placements[0].Order, l.Placements[1].Order = 1, 2
		},
		"loaded before what is behind": func(_ []Box, _ *Container, _ *Result, l *Load) {
			l.Placements[0], l.Placements[3] = l.Placements[3], l.Placements[0]
			l.Placements[0].Order, l.Placements[3].Order = 1, 4
		},
		"order with a gap": func(_ []Box, _ *Container, _ *Result, l *Load) { l.Placements[3].Order = 9 },
	} {
		boxes, into, r := make()
		spoil(boxes, &into[0], &r, &r.Loads[0])
		if plainCheck(boxes, into, options, r) == nil {
			t.Errorf("not found: %s", name)
		}
	}
}

// ExamplePack puts four boxes into a crate, this side up.
func ExamplePack() {
	boxes := []Box{
		{ID: "motor", Size: [3]int{400, 300, 300}, Count: 2, MassGrams: 18_000},
		{ID: "gauge", Size: [3]int{400, 300, 150}, Count: 2, MassGrams: 4_000, Fragile: true},
	}
	crate := Container{ID: "crate", Size: [3]int{800, 320, 460}, Count: 1, Opening: OpenTop, MassGramsMax: 60_000}
	result, err := Pack(context.Background(), boxes, []Container{crate}, Options{Support: 1, Rollouts: 100})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, load := range result.Loads {
		fmt.Printf("%d boxes, %.0f kg, %.1f %% of the volume\n", len(load.Placements), float64(load.MassGrams)/1000, 100*load.Utilisation)
		for _, p := range load.Placements {
			fmt.Println(p.Order, boxes[p.Box].ID, p.At)
		}
	}
	// Output:
	// 4 boxes, 44 kg, 91.7 % of the volume
	// 1 motor [0 0 0]
	// 2 motor [400 0 0]
	// 3 gauge [0 0 300]
	// 4 gauge [400 0 300]
}

// TestNoMoreContainersThanWithoutSearch: filling one container to the brim after the other
// never ends with more of them than packing without any search takes.
func TestNoMoreContainersThanWithoutSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		boxes, containers, options := drawCall(t)
		r, err := Pack(context.Background(), boxes, containers, options)
		if err != nil {
			t.Fatal(err)
		}
		if plain := Simple(boxes, containers, options); len(r.Loads) > 1 && fewer(boxes, plain, r) {
			t.Fatalf("%d loads, without search %d", len(r.Loads), len(plain.Loads))
		}
	})
}

// TestTimeIsShared: with a time for all containers together, the first does not take all
// of it.
func TestTimeIsShared(t *testing.T) {
	boxes := []Box{{ID: "a", Size: [3]int{7, 5, 3}, Upright: [3]bool{true, true, true}, Count: 230}, {ID: "b", Size: [3]int{6, 4, 5}, Upright: [3]bool{true, true, true}, Count: 230}}
	into := []Container{{ID: "k", Size: [3]int{31, 23, 21}, Count: 3}}
	var asked atomic.Int64
	const all = 3000
	trials := map[int]int{}
	options := Options{Support: 1, Workers: 2, Used: func() float64 { return float64(asked.Add(1)) / all }, Rollouts: 100_000,
		Progress: func(p Progress) { trials[p.Container] = max(trials[p.Container], p.Rollouts) }}
	r, err := Pack(context.Background(), boxes, into, options)
	if err != nil || r.Interrupted || len(r.Loads) != 3 {
		t.Fatalf("%d loads, interrupted %v, %v", len(r.Loads), r.Interrupted, err)
	}
	if asked.Load() < all/2 || r.Rollouts < 200 {
		t.Errorf("%d of %d of the time were used, for %d trials", asked.Load(), all, r.Rollouts)
	}
	for k := range 3 {
		if trials[k] < 2 {
			t.Errorf("container %d had %d trials, of %d in all", k, trials[k], r.Rollouts)
		}
	}
	if err := plainCheck(boxes, into, options, r); err != nil {
		t.Error(err)
	}
}
