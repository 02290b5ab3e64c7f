package packing

import (
	"context"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// drawCall draws a small call with any of the rules.
func drawCall(t *rapid.T) ([]Box, []Container, Options) {
	length := func(name string, most int) int { return rapid.IntRange(1, most).Draw(t, name) }
	size := func(most int) [3]int { return [3]int{length("x", most), length("y", most), length("z", most)} }
	classes := []string{"", "", "a", "b", "c"}
	var boxes []Box
	for range rapid.IntRange(0, 6).Draw(t, "kinds") {
		b := Box{Size: size(8), Count: rapid.IntRange(0, 6).Draw(t, "count"),
			Upright: [3]bool{rapid.Bool().Draw(t, "up0"), rapid.Bool().Draw(t, "up1"), rapid.Bool().Draw(t, "up2")}}
		b.MassGrams = rapid.Int64Range(0, 9).Draw(t, "mass")
		b.Fragile = rapid.IntRange(0, 3).Draw(t, "fragile") == 0
		b.TopLoadGrams = rapid.Int64Range(0, 9).Draw(t, "topLoad")
		b.FloorOnly = rapid.IntRange(0, 5).Draw(t, "floor") == 0
		b.Cold = rapid.IntRange(0, 5).Draw(t, "cold") == 0
		b.Group = rapid.SampledFrom([]string{"", "", "g", "h"}).Draw(t, "group")
		b.Segregation = rapid.SampledFrom(classes).Draw(t, "class")
		boxes = append(boxes, b)
	}
	var containers []Container
	for range rapid.IntRange(1, 3).Draw(t, "containers") {
		c := Container{Size: size(14), Count: rapid.IntRange(-1, 2).Draw(t, "copies"), Cold: rapid.Bool().Draw(t, "isCold"),
			Opening: Opening(rapid.IntRange(0, 1).Draw(t, "opening")), MassGramsMax: rapid.Int64Range(0, 60).Draw(t, "massMax")}
		c.FloorKgPerM2 = rapid.SampledFrom([]int64{0, 0, 200, 1000}).Draw(t, "floorMax")
		if rapid.IntRange(0, 2).Draw(t, "hasDoor") == 0 {
			c.Door = [2]int{length("door", 10), length("door", 10)}
		}
		if rapid.IntRange(0, 2).Draw(t, "centred") == 0 {
			for axis := range 3 {
				c.CentreMin[axis] = rapid.Float64Range(0, 0.5).Draw(t, "low")
				c.CentreMax[axis] = rapid.Float64Range(0.5, 1).Draw(t, "high")
			}
		}
		containers = append(containers, c)
	}
	options := Options{Rollouts: rapid.IntRange(1, 12).Draw(t, "rollouts"), Workers: 2,
		Support: rapid.SampledFrom([]float64{0, 0.5, 0.8, 1}).Draw(t, "support")}
	for range rapid.IntRange(0, 2).Draw(t, "pairs") {
		options.Apart = append(options.Apart, [2]string{rapid.SampledFrom(classes[2:]).Draw(t, "a"), rapid.SampledFrom(classes[2:]).Draw(t, "b")})
	}
	return boxes, containers, options
}

func TestPackIsValid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		boxes, containers, options := drawCall(t)
		r, err := Pack(context.Background(), boxes, containers, options)
		if err != nil {
			t.Fatal(err)
		}
		if err := plainCheck(boxes, containers, options, r); err != nil {
			t.Fatalf("%v\nboxes %+v\ncontainers %+v\noptions %+v\nresult %+v", err, boxes, containers, options, r)
		}
	})
}

// TestWorkersAgree: how many goroutines search, and which of them is first, changes
// nothing where trials end the search. Boxes of one volume make many ties.
func TestWorkersAgree(t *testing.T) {
	boxes := []Box{
		{ID: "a", Size: [3]int{2, 3, 4}, Upright: [3]bool{true, true, true}, Count: 200, MassGrams: 3},
		{ID: "b", Size: [3]int{1, 4, 6}, Upright: [3]bool{true, true, true}, Count: 200, MassGrams: 2},
		{ID: "c", Size: [3]int{1, 3, 8}, Upright: [3]bool{true, true, true}, Count: 200, MassGrams: 1},
	}
	for seed := 60; seed < 100; seed++ {
		container := Container{ID: "k", Size: [3]int{9 + seed%7, 8 + seed%5, 7 + seed%11}, Count: 1}
		if seed%3 == 0 {
			container.CentreMin, container.CentreMax = [3]float64{0.4, 0.4, 0}, [3]float64{0.55, 0.55, 0.5}
		}
		var first Result
		for i, workers := range []int{1, 8, 8, 8} {
			r, err := Pack(context.Background(), boxes, []Container{container}, Options{Support: 1, Rollouts: 40, Workers: workers})
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				first = r
			} else if !reflect.DeepEqual(r, first) {
				t.Fatalf("container %v: %d workers give other places than one", container.Size, workers)
			}
		}
	}
}

// TestSupportShare: a beam lies on a box that carries six tenths of it, where that is
// enough; the box itself is not stackable.
func TestSupportShare(t *testing.T) {
	flat := [3]bool{false, false, true}
	boxes := []Box{
		{ID: "box", Size: [3]int{6, 1, 1}, Upright: flat, Count: 1, MassGrams: 1, FloorOnly: true},
		{ID: "beam", Size: [3]int{10, 1, 1}, Upright: flat, Count: 1, MassGrams: 1},
	}
	for _, c := range []struct {
		support float64
		want    int
	}{{1, 1}, {0.7, 1}, {0.6, 2}, {0.5, 2}, {0, 2}} {
		r, err := Pack(context.Background(), boxes, []Container{{ID: "k", Size: [3]int{10, 1, 2}, Count: 1}}, Options{Support: c.support, Rollouts: 20})
		if err != nil {
			t.Fatal(err)
		}
		got := 0
		for _, load := range r.Loads {
			got += len(load.Placements)
		}
		if got != c.want {
			t.Errorf("with %g of each base supported %d boxes are in; want %d", c.support, got, c.want)
		}
	}
}
