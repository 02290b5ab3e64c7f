package crate

import (
	"strings"
	"testing"

	"pulk/inventory/packing"
)

const boxHead = "box,name,count,length_mm,width_mm,height_mm,mass_grams,upright,fragile,top_load_grams,floor_only,together,cold,segregation\n"
const containerHead = "container,name,count,length_mm,width_mm,height_mm,opening,door_wide_mm,door_high_mm,mass_max_grams,floor_kg_per_m2,cold,centre_along,centre_across,centre_up\n"

func TestTables(t *testing.T) {
	boxes, faults := ParseBoxes([]byte(boxHead + "B1,Pump,2,300,200,100,4500,LH,yes,9000,no,set,yes,3\nB2,,,50,60,70,0,,,,,,,\n"))
	if len(faults) > 0 || len(boxes) != 2 {
		t.Fatalf("%v, %v", boxes, faults)
	}
	want := Box{packing.Box{ID: "B1", Size: [3]int{300, 200, 100}, Upright: [3]bool{true, false, true}, Count: 2, MassGrams: 4500, Fragile: true, TopLoadGrams: 9000, Group: "set", Cold: true, Segregation: "3"}, "Pump"}
	if *boxes[0] != want || boxes[1].Count != 1 || boxes[1].Upright != [3]bool{} {
		t.Errorf("%+v, %+v", *boxes[0], *boxes[1])
	}
	kinds, faults := ParseContainers([]byte(containerHead + "C1,Crate,any,1200,800,700,,,,250000,400,,0.4-0.6,,0-0.5\nC2,,,100,100,100,end,90,80,,,yes,,,\n"))
	if len(faults) > 0 || len(kinds) != 2 {
		t.Fatalf("%v, %v", kinds, faults)
	}
	first, second := kinds[0], kinds[1]
	if first.Count != packing.AsMany || first.Opening != packing.OpenTop || first.CentreMin != [3]float64{0.4, 0, 0} || first.CentreMax != [3]float64{0.6, 0, 0.5} ||
		first.MassGramsMax != 250_000 || first.FloorKgPerM2 != 400 || second.Opening != packing.OpenEnd || second.Door != [2]int{90, 80} || !second.Cold || second.Count != 1 {
		t.Errorf("%+v, %+v", first, second)
	}
}

func TestBadCells(t *testing.T) {
	good := strings.Split("B1,Pump,2,300,200,100,4500,LH,yes,9000,no,set,yes,3", ",")
	for column, cell := range map[int]string{0: "", 2: "0", 3: "", 4: "-1", 5: "x", 6: "1.5", 7: "LL", 8: "maybe", 9: "0", 10: "1", 12: "y"} {
		cells := append([]string{}, good...)
		cells[column] = cell
		_, faults := ParseBoxes([]byte(boxHead + strings.Join(cells, ",") + "\n"))
		if len(faults) != 1 || faults[0].Line != 2 || faults[0].Column != column+1 {
			t.Errorf("column %d, %q: %v", column+1, cell, faults)
		}
	}
	good = strings.Split("C1,Crate,any,1200,800,700,top,90,80,250000,400,no,0.4-0.6,,0-0.5", ",")
	for column, cell := range map[int]string{0: "", 2: "many", 3: "0", 6: "side", 7: "0", 9: "-3", 10: "x", 11: "cool", 12: "0.6-0.4", 13: "0.5", 14: "0-NaN"} {
		cells := append([]string{}, good...)
		cells[column] = cell
		_, faults := ParseContainers([]byte(containerHead + strings.Join(cells, ",") + "\n"))
		if len(faults) != 1 || faults[0].Line != 2 || faults[0].Column != column+1 {
			t.Errorf("column %d, %q: %v", column+1, cell, faults)
		}
	}
	if _, faults := ParseBoxes([]byte(boxHead + "B1,,,1,1,1,0,,,,,,,\nB1,,,1,1,1,0,,,,,,,\n")); len(faults) != 1 {
		t.Errorf("one box twice: %v", faults)
	}
}

// FuzzTables: what is read is within the bounds that packing takes, and nothing panics.
func FuzzTables(f *testing.F) {
	f.Add([]byte(boxHead + "B1,Pump,2,300,200,100,4500,LH,yes,9000,no,set,yes,3\n"))
	f.Add([]byte(containerHead + "C1,Crate,any,1200,800,700,,,,250000,400,,0.4-0.6,,0-0.5\n"))
	f.Fuzz(func(t *testing.T, source []byte) {
		boxes, _ := ParseBoxes(source)
		for _, b := range boxes {
			if b.ID == "" || b.Count < 1 || min(b.Size[0], b.Size[1], b.Size[2]) < 1 || b.MassGrams < 0 || b.TopLoadGrams < 0 {
				t.Errorf("%+v", b)
			}
		}
		kinds, _ := ParseContainers(source)
		for _, k := range kinds {
			for axis := range 3 {
				if k.ID == "" || k.Count == 0 || k.Size[axis] < 1 || !(k.CentreMin[axis] >= 0 && k.CentreMax[axis] <= 1) {
					t.Errorf("%+v", k)
				}
			}
		}
	})
}
