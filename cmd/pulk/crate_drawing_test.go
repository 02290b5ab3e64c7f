package main

import (
	"testing"

	"pulk/inventory/crate"
	"pulk/inventory/packing"
)

// TestPictures: what is on the left seen from the front is at the bottom from above, on
// the left from the front, and nearest from the side; what is nearer is drawn later.
func TestPictures(t *testing.T) {
	kind := &crate.Container{Container: packing.Container{Size: [3]int{1000, 600, 400}, CentreMin: [3]float64{0.4}, CentreMax: [3]float64{0.6}}}
	l := crateLoad{kind: kind, Centre: [3]float64{400, 200, 100}, Places: []cratePlace{
		{Order: 1, Box: "left", At: [3]int{0, 0, 0}, Size: [3]int{300, 200, 100}},
		{Order: 2, Box: "right", At: [3]int{0, 400, 0}, Size: [3]int{300, 200, 250}},
		{Order: 3, Box: "door", At: [3]int{700, 0, 100}, Size: [3]int{300, 200, 100}},
	}}
	views := map[string]picture{}
	for _, p := range l.pictures() {
		views[p.name] = p
	}
	at := func(view, box string) drawn {
		t.Helper()
		for i, b := range views[view].boxes {
			if b.box == box {
				b.order = i
				return b
			}
		}
		t.Fatalf("%s is not on %s", box, view)
		return drawn{}
	}
	for _, c := range []struct {
		view, box          string
		x, y, across, down float64
	}{
		{"layer-01", "left", 0, 400, 300, 200},
		{"layer-01", "right", 0, 0, 300, 200},
		{"layer-02", "door", 700, 400, 300, 200},
		{"front", "left", 0, 300, 200, 100},
		{"front", "right", 400, 150, 200, 250},
		{"side", "left", 0, 300, 300, 100},
		{"side", "door", 700, 200, 300, 100},
	} {
		if b := at(c.view, c.box); b.x != c.x || b.y != c.y || b.across != c.across || b.down != c.down {
			t.Errorf("%s: %s is at %g, %g, %g × %g; want %+v", c.view, c.box, b.x, b.y, b.across, b.down, c)
		}
	}
	if at("side", "left").order < at("side", "right").order {
		t.Error("from the left side what is on the right hides what is on the left")
	}
	if at("front", "door").order < at("front", "left").order {
		t.Error("from the front what is at the back hides what is at the door")
	}
	if !at("layer-02", "right").grey {
		t.Error("what reaches through a layer is not on it")
	}
	if a := views["side"].allowed; a == nil || *a != [4]float64{400, 0, 600, 400} || views["side"].centre != [2]float64{400, 300} {
		t.Errorf("the centre of mass may lie in %v, and is at %v", a, views["side"].centre)
	}
	if views["front"].allowed != nil {
		t.Error("across and up nothing bounds the centre of mass")
	}
}
